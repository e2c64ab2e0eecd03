"""Links to a visit's report for its customer: made with a secret shown once, revoked, opened."""

from __future__ import annotations

import datetime
import hashlib
import secrets
from typing import Final
from uuid import UUID

from django.conf import settings
from django.urls import reverse

from airflow_jobs.models import ReportLink, Visit

from . import access
from .access import Actor, NotVisible, writing
from .constraints import BrokenRule, RulesBroken

USUAL_DAYS: Final = 30
LONGEST_DAYS: Final = 365
OPENED_EVERY: Final = datetime.timedelta(minutes=1)
"""When it was last opened is written down at most this often."""


def make_report_link(
    *,
    actor: Actor,
    visit_id: UUID,
    lifetime_days: int = USUAL_DAYS,
    label: str = "",
    now: datetime.datetime,
) -> tuple[ReportLink, str]:
    """Make a link to one visit's report; the secret is nowhere kept.

    Parameters
    ----------
    actor
        Who makes it: a manager or an administrator.
    visit_id
        Which visit's report it opens.
    lifetime_days
        How long it is good, from 1 to 365.
    label
        For whom it is, as lists show it.
    now
        The clock.

    Raises
    ------
    NotAllowed, NotVisible, RulesBroken
    """
    access.require_write(actor, ReportLink)
    if not 1 <= lifetime_days <= LONGEST_DAYS:
        raise RulesBroken(
            [
                BrokenRule(
                    "/lifetime_days",
                    "out_of_range",
                    f"A link is good for 1 to {LONGEST_DAYS} days; {lifetime_days} came.",
                )
            ]
        )
    visit = access.visible(actor, Visit.objects.filter(pk=visit_id)).first()
    if visit is None:
        raise NotVisible("There is no such visit.")
    secret = secrets.token_urlsafe(32)
    with writing(actor):
        link = ReportLink.objects.create(
            visit=visit,
            digest=digest_of(secret),
            made_by_id=actor.person_id,
            label=label,
            expires_at=now + datetime.timedelta(days=lifetime_days),
        )
    link.refresh_from_db(fields=["created_at", "updated_at", "revision"])
    return link, secret


def revoke_report_link(
    *, actor: Actor, visit_id: UUID, link_id: UUID, now: datetime.datetime
) -> ReportLink:
    """Make a link useless from now on; revoking it again changes nothing.

    Raises
    ------
    NotAllowed, NotVisible
    """
    access.require_write(actor, ReportLink)
    with writing(actor):
        found = ReportLink.objects.filter(pk=link_id, visit_id=visit_id)
        link = found.select_for_update(of=("self",)).first()
        if link is None:
            raise NotVisible("There is no such link to this visit's report.")
        if link.revoked_at is None:
            link.revoked_at = now
            link.save(update_fields=["revoked_at"])
    link.refresh_from_db(fields=["updated_at", "revision"])
    return link


def link_of(secret: str) -> ReportLink | None:
    """Return the link of a secret, whatever became of it."""
    return ReportLink.objects.filter(digest=digest_of(secret)).first()


def address_of(secret: str) -> str:
    """Return the whole address that a link's secret opens."""
    return f"{settings.SITE_URL.rstrip('/')}{reverse('customer-report', args=[secret])}"


def note_opening(link: ReportLink, now: datetime.datetime) -> None:
    """Write down when a link was last opened, at most once a minute."""
    if link.last_opened_at is None or link.last_opened_at <= now - OPENED_EVERY:
        ReportLink.objects.filter(pk=link.pk).update(last_opened_at=now)


def digest_of(secret: str) -> str:
    """Return the digest under which a link's secret is kept (256 random bits need no salt)."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()
