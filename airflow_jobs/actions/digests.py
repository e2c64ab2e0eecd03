"""The weekly digest: who wants it, and sending it once a week."""

from __future__ import annotations

import datetime
import logging
from collections.abc import Callable
from typing import Final
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction

from airflow_jobs.models import DigestSubscription, Person

from .access import Actor, NotAllowed, writing
from .constraints import BrokenRule, RulesBroken

LOG = logging.getLogger(__name__)

SENT_FROM_HOUR: Final = 6
"""On Mondays, in the company's time zone: before the week is planned."""

Send = Callable[[str], None]
"""Sends the digest to one address, or raises OSError."""


def week_of(day: datetime.date) -> datetime.date:
    """Return the Monday of a day's week."""
    return day - datetime.timedelta(days=day.weekday())


def subscribe_to_digest(*, actor: Actor, address: str, today: datetime.date) -> DigestSubscription:
    """Have the digest sent to a manager every Monday, from the next one on.

    Parameters
    ----------
    actor
        The manager who wants it.
    address
        Where to; a new one takes the place of the old.
    today
        The day in the company's time zone.

    Raises
    ------
    NotAllowed, RulesBroken
    """
    person_id = _manager(actor)
    address = address.strip()
    try:
        validate_email(address)
    except ValidationError as error:
        raise RulesBroken(
            [
                BrokenRule(
                    "/address",
                    "invalid",
                    f"“{address}” is no mail address: write it as name@host.example.",
                )
            ]
        ) from error
    with writing(actor):
        subscription, _ = DigestSubscription.objects.update_or_create(
            person_id=person_id,
            defaults={"address": address},
            create_defaults={"address": address, "sent_week_on": week_of(today)},
        )
    return subscription


def unsubscribe_from_digest(*, actor: Actor) -> None:
    """Send the digest no longer; where none was sent nothing changes.

    Raises
    ------
    NotAllowed
    """
    person_id = _manager(actor)
    with writing(actor):
        DigestSubscription.objects.filter(person_id=person_id).delete()


def send_waiting_digests(*, send: Send, now: datetime.datetime) -> int:
    """Send the digest to everybody who waits for this week's; return how many were sent.

    From Monday morning on, and where nothing could be sent then, as soon as it can be in the same
    week. An address that fails is tried again at the next call and holds up nobody else. A crash
    between sending and writing it down sends it twice, never not at all.

    Parameters
    ----------
    send
        Sends it to one address.
    now
        The clock, in the company's time zone.
    """
    week_on = week_of(now.date())
    if now.date() == week_on and now.hour < SENT_FROM_HOUR:
        return 0
    sent = 0
    waiting = DigestSubscription.objects.waiting_for(week_on)
    for key in list(waiting.values_list("pk", flat=True)):
        with transaction.atomic():
            one = (
                waiting.filter(pk=key)
                .select_for_update(skip_locked=True, of=("self",))
                .select_related("person")
                .first()
            )
            if one is None:
                continue
            try:
                send(one.address)
            except OSError:
                LOG.warning("The digest for %s was not sent; it is tried again", one.person_id)
                LOG.debug("What the mail server said", exc_info=True)
                continue
            one.sent_week_on = week_on
            one.save(update_fields=["sent_week_on"])
            sent += 1
    return sent


def _manager(actor: Actor) -> UUID:
    if actor.person_id is None or not actor.is_manager:
        raise NotAllowed("The digest names crews and meters: only managers get it.")
    if not Person.objects.filter(pk=actor.person_id, is_active=True).exists():
        raise NotAllowed("Only people in service get the digest.")
    return actor.person_id
