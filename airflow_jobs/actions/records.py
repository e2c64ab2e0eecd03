"""Adding and changing rows of reference: idempotent by the client's id, guarded by revision."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Generic, TypeVar
from uuid import UUID

from django.db import IntegrityError, models, transaction

from airflow_jobs import recompute, tasks
from airflow_jobs.models import Record, Visit

from . import access
from .access import Actor, NotVisible, writing
from .constraints import BrokenRule, RulesBroken, broken_constraint, violated_constraint
from .rules import broken_rules

Row = TypeVar("Row", bound=Record)

_COMMON: Final = frozenset({"id", "created_at", "updated_at", "revision"})


class StaleRevision(Exception):
    """The row was changed since the caller read it; carries the row as it is now."""

    def __init__(self, row: Record, expected: int) -> None:
        self.row = row
        self.expected = expected
        super().__init__(
            f"Revision {expected} was expected, but the current one is {row.revision}: "
            "read it again, apply the change to it, and send that revision."
        )


class DifferentContent(Exception):
    """The id is taken by other content; carries the row that is stored."""

    def __init__(self, row: Record) -> None:
        self.row = row
        super().__init__(
            f"The id {row.pk} is already stored with other content; nothing was changed. "
            "To change what is stored, send a change to it; to add another one, make a new id."
        )


class AlreadyTaken(Exception):
    """The id is taken by something that the actor may not know of."""

    def __init__(self, identifier: UUID) -> None:
        super().__init__(f"The id {identifier} is taken; make a new one.")


@dataclass(frozen=True)
class Recorded(Generic[Row]):
    """A stored row, and whether this call stored it."""

    row: Row
    is_new: bool


def add_record(
    *,
    actor: Actor,
    model: type[Row],
    values: Mapping[str, Any],
    as_sent: Mapping[str, Any] | None = None,
    record_id: UUID | None = None,
    now: datetime.datetime,
    then: Callable[[Row], None] | None = None,
) -> Recorded[Row]:
    """Add a row; the same id and content again changes nothing and returns what is stored.

    Parameters
    ----------
    actor
        Who adds it.
    model
        The kind of row.
    values
        Column values in SI; foreign keys by their ``…_id``.
    as_sent
        Quantities as typed, by the API's field names.
    record_id
        The client's id; without one a new id is made.
    now
        The clock.
    then
        What else belongs to the row (members, say), done in the same transaction.

    Raises
    ------
    NotAllowed, DifferentContent, AlreadyTaken, RulesBroken
    """
    access.require_write(actor, model)
    row = model(**values, as_sent=dict(as_sent or {}))
    if record_id is not None:
        row.pk = record_id
        stored = model._default_manager.filter(pk=record_id).first()
        if stored is not None:
            return _already_stored(actor, stored, row)
    _check(actor, row, now=now, changed=frozenset(values))
    try:
        with writing(actor):
            row.save(force_insert=True)
            if then is not None:
                then(row)
            _mark_and_wake(row)
    except IntegrityError as error:
        if violated_constraint(error) != f"{model._meta.db_table}_pkey":
            raise broken_constraint(error) from error
        # Somebody stored the same id between the look and the insert, and has committed.
        stored = model._default_manager.get(pk=row.pk)
        return _already_stored(actor, stored, row)
    row.refresh_from_db(fields=["created_at", "updated_at", "revision"])
    return Recorded(row, is_new=True)


def change_record(
    *,
    actor: Actor,
    model: type[Row],
    record_id: UUID,
    values: Mapping[str, Any],
    as_sent: Mapping[str, Any] | None = None,
    expected_revision: int | None,
    now: datetime.datetime,
    then: Callable[[Row], None] | None = None,
) -> Row:
    """Change some columns of a row, if it is still the revision that the caller knows.

    Parameters
    ----------
    actor
        Who changes it.
    model
        The kind of row.
    record_id
        Which row.
    values
        The columns to change, in SI; foreign keys by their ``…_id``.
    as_sent
        Quantities as typed, merged into those kept; None takes one away.
    expected_revision
        The revision that the caller read; None where any will do.
    now
        The clock.
    then
        What else belongs to the change, done in the same transaction.

    Raises
    ------
    NotVisible, NotAllowed, StaleRevision, RulesBroken
    """
    access.require_write(actor, model)
    if not access.visible(actor, model._default_manager.filter(pk=record_id)).exists():
        raise NotVisible(f"There is no such {model._meta.verbose_name}.")
    try:
        with writing(actor):
            # The worker, which holds what this waits for below, may still refer to the row.
            row = model._default_manager.select_for_update(no_key=True).get(pk=record_id)
            if expected_revision is not None and row.revision != expected_revision:
                raise StaleRevision(row, expected_revision)
            before = dict(row.__dict__)
            _require_crew(actor, row)
            for name, value in values.items():
                setattr(row, name, value)
            row.as_sent = merged(row.as_sent, as_sent or {})
            changed = [
                item.attname
                for item in model._meta.concrete_fields
                if item.attname in before and before[item.attname] != getattr(row, item.attname)
            ]
            _check(actor, row, now=now, changed=frozenset(changed))
            if changed:
                row.save(update_fields=changed)
            if then is not None:
                then(row)
            if changed or then is not None:
                _mark_and_wake(row)
    except IntegrityError as error:
        raise broken_constraint(error) from error
    row.refresh_from_db(fields=["updated_at", "revision"])
    return row


def merged(kept: Mapping[str, Any], sent: Mapping[str, Any]) -> dict[str, Any]:
    """Merge quantities as typed: a group keeps what is not named, None takes away."""
    result = dict(kept)
    for name, value in sent.items():
        if value is None:
            result.pop(name, None)
        elif _is_group(value) and _is_group(result.get(name)):
            result[name] = merged(result[name], value)
        else:
            result[name] = value
        if result.get(name) == {}:
            del result[name]
    return result


def _is_group(value: Any) -> bool:
    return isinstance(value, dict) and "unit" not in value


def _already_stored(actor: Actor, stored: Row, sent: Row) -> Recorded[Row]:
    if not access.is_visible(actor, stored):
        raise AlreadyTaken(stored.pk)
    if not (_is_same(stored, sent) or _is_same(_as_first_stored(stored), sent)):
        raise DifferentContent(stored)
    return Recorded(stored, is_new=False)


def _as_first_stored(stored: Row) -> models.Model | None:
    """Return the row as its insert left it: what was sent first may have been changed since."""
    found: models.Model | None = (
        _history_of(stored)
        ._default_manager.filter(pgh_obj_id=stored.pk, pgh_label="insert")
        .first()
    )
    return found


def _history_of(row: Record) -> type[models.Model]:
    events: type[models.Model] = row.pgh_event_model  # type: ignore[attr-defined]
    return events


def _is_same(stored: models.Model | None, sent: Record) -> bool:
    """Compare what the history keeps: secrets are no part of a content."""
    kept = {item.attname for item in _history_of(sent)._meta.concrete_fields} - _COMMON
    return stored is not None and all(
        getattr(stored, item.attname) == getattr(sent, item.attname)
        for item in sent._meta.concrete_fields
        if item.attname in kept
    )


def _check(actor: Actor, row: Record, *, now: datetime.datetime, changed: frozenset[str]) -> None:
    """Refuse a row whose references are unknown, whose crew is another's or that breaks rules."""
    broken = _unknown_references(actor, row, changed)
    if not broken:
        _require_crew(actor, row)
        broken = broken_rules(row, now=now, changed=changed)
    if broken:
        raise RulesBroken(broken)


def _unknown_references(actor: Actor, row: Record, changed: frozenset[str]) -> list[BrokenRule]:
    broken = []
    for item in row._meta.concrete_fields:
        if not isinstance(item, models.ForeignKey):
            continue
        identifier = getattr(row, item.attname)
        if identifier is None or item.attname not in changed:
            continue
        model: Any = item.related_model
        found = access.visible(actor, model._default_manager.filter(pk=identifier)).first()
        if found is None:
            broken.append(unknown_reference(item.name, model, identifier))
        else:
            setattr(row, item.name, found)
    return broken


def unknown_reference(name: str, model: type[models.Model], identifier: object) -> BrokenRule:
    """Say that a reference leads nowhere."""
    return BrokenRule(
        f"/{name}",
        "does_not_exist",
        f"There is no {model._meta.verbose_name} with the id {identifier}; "
        "add it first, or send the id of one that exists.",
    )


def _require_crew(actor: Actor, row: Record) -> None:
    if isinstance(row, Visit):
        access.require_crew(actor, row.crew_id)
    elif isinstance(row, access.OF_A_VISIT):
        visit: Visit = row.visit  # type: ignore[attr-defined]
        access.require_crew(actor, visit.crew_id)


def _mark_and_wake(row: Record) -> None:
    if recompute.mark_affected_by(row):
        transaction.on_commit(tasks.wake_worker)
