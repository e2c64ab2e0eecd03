"""What every row of the record has in common: identifier, instants, revision, as typed."""

from __future__ import annotations

from typing import Any, ClassVar
from uuid import UUID

import pghistory
import pgtrigger
import uuid_utils.compat
from django.db import models
from django.db.models.functions import Now


def new_id() -> UUID:
    """Return a fresh UUID version 7 (RFC 9562): ordered by time, so indexes stay compact."""
    return uuid_utils.compat.uuid7()


def count_revision(*unnoticed: str) -> pgtrigger.Trigger:
    """Return the trigger that counts revisions and stamps changes, but for some fields."""
    return pgtrigger.Trigger(
        name="count_revision",
        level=pgtrigger.Row,
        when=pgtrigger.Before,
        operation=pgtrigger.Update,
        condition=pgtrigger.AnyChange(exclude=["revision", "updated_at", *unnoticed]),
        func=("NEW.revision = OLD.revision + 1; NEW.updated_at = clock_timestamp(); RETURN NEW;"),
    )


class Record(models.Model):
    """A row with a client-made or own UUID, a revision and the quantities as they were typed.

    The database itself counts revisions and stamps changes (a trigger), so that no path around
    the actions can change a row unseen.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    created_at = models.DateTimeField(db_default=Now(), editable=False)
    updated_at = models.DateTimeField(db_default=Now(), editable=False)
    revision = models.PositiveIntegerField(default=1, editable=False)
    as_sent = models.JSONField(default=dict, blank=True, editable=False)
    """Field name -> {"value", "unit"} exactly as typed, beside the SI column."""

    class Meta:
        abstract = True
        triggers: ClassVar[list[Any]] = [count_revision()]


def with_history(exclude: list[str] | None = None) -> Any:
    """Keep every state of a row: who changed it, when, before and after.

    The database writes the history by trigger; who did it comes from the context that the
    actions open.
    """
    return pghistory.track(pghistory.InsertEvent(), pghistory.UpdateEvent(), exclude=exclude or [])


def positive(field: str, name: str) -> models.CheckConstraint:
    """Return a named constraint: the field is empty or above zero."""
    return models.CheckConstraint(
        condition=models.Q(**{f"{field}__isnull": True}) | models.Q(**{f"{field}__gt": 0}),
        name=f"{name}_{field}_positive",
    )


def not_negative(field: str, name: str) -> models.CheckConstraint:
    """Return a named constraint: the field is empty or at least zero."""
    return models.CheckConstraint(
        condition=models.Q(**{f"{field}__isnull": True}) | models.Q(**{f"{field}__gte": 0}),
        name=f"{name}_{field}_not_negative",
    )


def one_of(field: str, choices: type[models.TextChoices], name: str) -> models.CheckConstraint:
    """Return a named constraint: the field is one of the choices."""
    return models.CheckConstraint(
        condition=models.Q(**{f"{field}__in": list(choices.values)}),
        name=f"{name}_{field}_known",
    )
