"""Taking personal data out of the record on request: out of the row and out of its history.

That it was done, by whom and why, is itself in the history. Measurements stay as they were sent.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Any, Final, TypeVar
from uuid import UUID

import pghistory
import pgtrigger
from django.db import connection

from airflow_jobs.models import (
    REDACTED,
    Customer,
    DigestSubscription,
    Person,
    Record,
    Site,
    Token,
    TraverseRevision,
)

from . import access
from .access import Actor, NotVisible, writing
from .one_time_codes import forget_codes

Row = TypeVar("Row", bound=Record)

PERSONAL: Final[dict[type[Record], dict[str, Callable[[Any], Any]]]] = {
    Person: {
        "username": lambda row: f"redacted-{row.pk.hex[-12:]}",
        "name": lambda row: REDACTED,
        "is_active": lambda row: False,
    },
    Customer: {
        "name": lambda row: f"{REDACTED} {row.pk.hex[-12:]}",
        "contact": lambda row: "",
        "notes": lambda row: "",
    },
    Site: {"address": lambda row: "", "notes": lambda row: ""},
}
"""What may be personal, and what takes its place."""


def redact(
    *, actor: Actor, model: type[Row], record_id: UUID, reason: str, now: datetime.datetime
) -> Row:
    """Take the personal data of a row out of it and of its history; administrators only.

    Parameters
    ----------
    actor
        Who does it.
    model
        A kind of row that has personal data (see `PERSONAL`).
    record_id
        Which row.
    reason
        On whose request, in words without personal data: the history keeps it.
    now
        The clock.

    Raises
    ------
    NotAllowed, NotVisible
    """
    access.require_administrator(actor, "redact personal data")
    with writing(actor), pghistory.context(redaction=reason):
        row = model._default_manager.select_for_update(no_key=True).filter(pk=record_id).first()
        if row is None:
            raise NotVisible(f"There is no such {model._meta.verbose_name}.")
        values = {name: replacement(row) for name, replacement in PERSONAL[model].items()}
        if isinstance(row, Person):
            _forget_person(row, now)
        for name, value in values.items():
            setattr(row, name, value)
        row.save(update_fields=list(values))
        told = {name: value for name, value in values.items() if name != "is_active"}
        events: Any = model.pgh_event_model  # type: ignore[attr-defined]
        events.objects.filter(pgh_obj_id=record_id).update(**told)
    row.refresh_from_db()
    return row


def _forget_person(person: Person, now: datetime.datetime) -> None:
    """End every sign-in and take the name out of what the person did."""
    forget_codes(person)
    person.set_unusable_password()
    person.one_time_codes_since = None
    person.sign_in_changed_at = now
    person.save(update_fields=["password", "one_time_codes_since", "sign_in_changed_at"])
    Token.objects.filter(person=person, revoked_at__isnull=True).update(revoked_at=now)
    DigestSubscription.objects.filter(person=person).delete()
    # The content of a revision stays exactly as sent; only who sent it is a name.
    with pgtrigger.ignore("airflow_jobs.TraverseRevision:keep_as_sent"):
        TraverseRevision.objects.filter(actor=person.name).update(actor=REDACTED)
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE pghistory_context SET metadata = metadata || jsonb_build_object("
            "'actor_name', %s::text) WHERE metadata ->> 'actor' = %s",
            [REDACTED, str(person.pk)],
        )
