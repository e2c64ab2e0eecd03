"""Recording and correcting traverses: kept as sent, safe to send twice, computed afterwards."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final
from uuid import UUID

from django.db import IntegrityError, models, transaction

from airflow_jobs import recompute, tasks
from airflow_jobs.models import (
    Computation,
    DuctSection,
    Instrument,
    Traverse,
    TraverseRevision,
    Visit,
)
from airflow_jobs.recompute.outcomes import Computed

from . import access
from .access import Actor, NotVisible, writing
from .constraints import BrokenRule, RulesBroken, broken_constraint, violated_constraint
from .records import AlreadyTaken, DifferentContent, Recorded, StaleRevision, unknown_reference
from .traverse_content import COLUMNS, TraverseContent
from .traverse_rules import broken_traverse_rules

PRIMARY_KEY: Final = "airflow_jobs_traverse_pkey"


@dataclass(frozen=True)
class Outcome:
    """What became of one item of a batch: stored, found stored, or the exception instead."""

    identifier: UUID
    recorded: Recorded[Traverse] | None = None
    refused: Exception | None = None


@dataclass
class Named:
    """The rows that contents name, looked up together."""

    visits: Mapping[UUID, Visit] = field(default_factory=dict)
    sections: Mapping[UUID, DuctSection] = field(default_factory=dict)
    instruments: Mapping[UUID, Instrument] = field(default_factory=dict)
    traverses: frozenset[UUID] = frozenset()

    @classmethod
    def by(cls, actor: Actor, contents: Sequence[TraverseContent]) -> Named:
        """Look up what the contents name, as far as the actor may know of it."""
        repeated = {item.repeats_id for item in contents if item.repeats_id is not None}
        known = access.visible(actor, Traverse.objects.filter(pk__in=repeated))
        visits = access.visible(
            actor, Visit.objects.filter(pk__in={item.visit_id for item in contents})
        )
        sections = DuctSection.objects.filter(pk__in={item.duct_section_id for item in contents})
        instruments = Instrument.objects.filter(pk__in={item.instrument_id for item in contents})
        return cls(
            visits={row.pk: row for row in visits.select_related("site", "crew")},
            sections={row.pk: row for row in sections.select_related("equipment__site")},
            instruments={row.pk: row for row in instruments},
            traverses=frozenset(known.values_list("pk", flat=True)) if repeated else frozenset(),
        )


def record_traverse(
    *, actor: Actor, identifier: UUID, content: TraverseContent, now: datetime.datetime
) -> Recorded[Traverse]:
    """Record a traverse durably, its result pending; the same again changes nothing.

    Parameters
    ----------
    actor
        Who records it.
    identifier
        The client's id of the traverse.
    content
        Parsed, in SI, with what was sent.
    now
        The clock.

    Raises
    ------
    NotAllowed, DifferentContent, AlreadyTaken, RulesBroken
    """
    outcome = record_batch(actor=actor, items=[(identifier, content)], now=now)[0]
    if outcome.recorded is None:
        assert outcome.refused is not None
        raise outcome.refused
    return outcome.recorded


def record_batch(
    *,
    actor: Actor,
    items: Sequence[tuple[UUID, TraverseContent]],
    now: datetime.datetime,
) -> list[Outcome]:
    """Record many traverses; each has its own outcome and good ones stay whatever others do.

    Parameters
    ----------
    actor
        Who records them.
    items
        Identifier and content of each.
    now
        The clock.
    """
    access.require_write(actor, Traverse)
    outcomes: list[Outcome | None] = [None] * len(items)
    stored = _stored_already(actor, items)
    named = Named.by(actor, [content for key, content in items if key not in stored])
    fresh: dict[UUID, tuple[int, TraverseContent]] = {}
    again: list[int] = []
    for number, (key, content) in enumerate(items):
        if key in stored:
            outcomes[number] = _compared(key, content, stored[key])
        elif key in fresh:
            # Twice in one batch: the first is stored, the second held against it.
            again.append(number)
        else:
            try:
                _check(actor, content, named, now)
            except (RulesBroken, access.NotAllowed) as refusal:
                outcomes[number] = Outcome(key, refused=refusal)
            else:
                fresh[key] = (number, content)
    rows = _insert(actor, fresh, named)
    for key, (number, content) in fresh.items():
        outcomes[number] = rows[key]
        for later in again:
            if items[later][0] == key:
                first = rows[key].recorded
                outcomes[later] = (
                    _held_against(key, items[later][1], content, first.row)
                    if first is not None
                    else rows[key]
                )
    return [item for item in outcomes if item is not None]


def correct_traverse(
    *,
    actor: Actor,
    identifier: UUID,
    content: TraverseContent,
    reason: str,
    expected_revision: int | None,
    now: datetime.datetime,
) -> Recorded[Traverse]:
    """Make a whole new content the current revision; what was sent before stays readable.

    The content that is current already changes nothing, so a correction may be sent twice.

    Parameters
    ----------
    actor
        Who corrects it.
    identifier
        Which traverse.
    content
        The whole content, as for `record_traverse`.
    reason
        Why, in words.
    expected_revision
        The revision that the caller read; None where any will do.
    now
        The clock.

    Raises
    ------
    NotVisible, NotAllowed, StaleRevision, RulesBroken
    """
    access.require_write(actor, Traverse)
    if not access.visible(actor, Traverse.objects.filter(pk=identifier)).exists():
        raise NotVisible("There is no such traverse.")
    try:
        with writing(actor):
            # The worker, which holds what this waits for below, may still refer to the row.
            row = (
                Traverse.objects.select_for_update(of=("self",), no_key=True)
                .select_related("visit")
                .get(pk=identifier)
            )
            access.require_crew(actor, row.visit.crew_id)
            latest = row.revisions.order_by("-number")[0]
            digest = content.digest()
            if latest.content_digest == digest:
                return Recorded(row, is_new=False)
            if expected_revision is not None and row.revision != expected_revision:
                raise StaleRevision(row, expected_revision)
            if content.repeats_id == identifier:
                raise RulesBroken(
                    [BrokenRule("/repeats", "invalid", "A traverse can't repeat itself.")]
                )
            _check(actor, content, Named.by(actor, [content]), now)
            for name, value in content.columns().items():
                setattr(row, name, value)
            # Counted here too: a change of units alone changes no column.
            row.revision += 1
            row.updated_at = now
            row.save(update_fields=[*COLUMNS, "revision", "updated_at"])
            TraverseRevision.objects.create(
                traverse=row,
                number=latest.number + 1,
                content=content.sent,
                content_digest=digest,
                reason=reason,
                actor=actor.name,
            )
            recompute.mark_affected_by(row)
            transaction.on_commit(tasks.wake_worker)
    except IntegrityError as error:
        raise broken_constraint(error) from error
    row.refresh_from_db(fields=["revision", "updated_at"])
    return Recorded(row, is_new=True)


def preview_traverse(
    *, actor: Actor, content: TraverseContent, identifier: UUID, now: datetime.datetime
) -> dict[str, Any]:
    """Compute what a content would give, in SI, without storing anything.

    Raises
    ------
    NotAllowed, RulesBroken
    """
    named = Named.by(actor, [content])
    _check(actor, content, named, now)
    traverse = content.unsaved(identifier)
    traverse.visit = named.visits[content.visit_id]
    traverse.duct_section = named.sections[content.duct_section_id]
    traverse.instrument = named.instruments[content.instrument_id]
    outcome = recompute.preview(traverse)
    if isinstance(outcome, Computed):
        return outcome.values
    reason = outcome.reason if outcome is not None else "Something it depends on is pending."
    raise RulesBroken([BrokenRule("", "not_computable", reason)])


@dataclass(frozen=True)
class _Stored:
    row: Traverse | None
    """None where the actor may not know of it."""
    digests: frozenset[str]


def _stored_already(
    actor: Actor, items: Sequence[tuple[UUID, TraverseContent]]
) -> dict[UUID, _Stored]:
    keys = {key for key, _ in items}
    rows = {
        row.pk: row
        for row in Traverse.objects.filter(pk__in=keys).select_related(
            "visit", "computation__result"
        )
    }
    if not rows:
        return {}
    digests: dict[UUID, set[str]] = {key: set() for key in rows}
    # What was sent first, and what is current: a client may send either again.
    for revision in TraverseRevision.objects.filter(
        models.Q(number=1) | models.Q(number=_latest_number()), traverse__in=rows
    ).only("traverse_id", "content_digest"):
        digests[revision.traverse_id].add(revision.content_digest)
    return {
        key: _Stored(
            row=row if not actor.is_field_app or row.visit.crew_id in actor.crew_ids else None,
            digests=frozenset(digests[key]),
        )
        for key, row in rows.items()
    }


def _latest_number() -> models.Subquery:
    return models.Subquery(
        TraverseRevision.objects.filter(traverse=models.OuterRef("traverse"))
        .order_by("-number")
        .values("number")[:1]
    )


def _compared(key: UUID, content: TraverseContent, stored: _Stored) -> Outcome:
    if stored.row is None:
        return Outcome(key, refused=AlreadyTaken(key))
    if content.digest() in stored.digests:
        return Outcome(key, recorded=Recorded(stored.row, is_new=False))
    return Outcome(key, refused=DifferentContent(stored.row))


def _held_against(
    key: UUID, content: TraverseContent, first: TraverseContent, row: Traverse
) -> Outcome:
    if content.digest() == first.digest():
        return Outcome(key, recorded=Recorded(row, is_new=False))
    return Outcome(key, refused=DifferentContent(row))


def _check(actor: Actor, content: TraverseContent, named: Named, now: datetime.datetime) -> None:
    visit = named.visits.get(content.visit_id)
    section = named.sections.get(content.duct_section_id)
    instrument = named.instruments.get(content.instrument_id)
    broken = []
    if visit is None:
        broken.append(unknown_reference("visit", Visit, content.visit_id))
    if section is None:
        broken.append(unknown_reference("duct_section", DuctSection, content.duct_section_id))
    if instrument is None:
        broken.append(unknown_reference("instrument", Instrument, content.instrument_id))
    if content.repeats_id is not None and content.repeats_id not in named.traverses:
        broken.append(unknown_reference("repeats", Traverse, content.repeats_id))
    if visit is not None:
        access.require_crew(actor, visit.crew_id)
    if visit is not None and section is not None and instrument is not None:
        broken += broken_traverse_rules(
            content, visit=visit, section=section, instrument=instrument, now=now
        )
    if broken:
        raise RulesBroken(broken)


def _insert(
    actor: Actor, fresh: Mapping[UUID, tuple[int, TraverseContent]], named: Named
) -> dict[UUID, Outcome]:
    """Insert all at once; where the database refuses one, insert one by one to find it."""
    contents = {key: content for key, (_, content) in fresh.items()}
    if not contents:
        return {}
    try:
        rows = _insert_together(actor, contents, named)
    except IntegrityError as error:
        if len(contents) > 1:
            return {key: _insert(actor, {key: fresh[key]}, named)[key] for key in sorted(contents)}
        (key,) = contents
        return {key: _refused_by_database(actor, key, contents[key], error)}
    return {key: Outcome(key, recorded=Recorded(row, is_new=True)) for key, row in rows.items()}


def _insert_together(
    actor: Actor, contents: Mapping[UUID, TraverseContent], named: Named
) -> dict[UUID, Traverse]:
    # In the order of ids, so that two batches with common ids can't lock each other out.
    rows = {key: contents[key].unsaved(key) for key in sorted(contents)}
    with writing(actor):
        Traverse.objects.bulk_create(rows.values())
        TraverseRevision.objects.bulk_create(
            TraverseRevision(
                traverse_id=key,
                number=1,
                content=contents[key].sent,
                content_digest=contents[key].digest(),
                actor=actor.name,
            )
            for key in rows
        )
        computations = Computation.objects.bulk_create(Computation(traverse_id=key) for key in rows)
        transaction.on_commit(tasks.wake_worker)
    # Its times came back with the insert: they are defaults of the database.
    for row, computation in zip(rows.values(), computations, strict=True):
        row.visit = named.visits[row.visit_id]
        row.duct_section = named.sections[row.duct_section_id]
        row.instrument = named.instruments[row.instrument_id]
        row.computation = computation
    return rows


def _refused_by_database(
    actor: Actor, key: UUID, content: TraverseContent, error: IntegrityError
) -> Outcome:
    if violated_constraint(error) != PRIMARY_KEY:
        return Outcome(key, refused=broken_constraint(error))
    # Somebody stored the same id between the look and the insert, and has committed.
    return _compared(key, content, _stored_already(actor, [(key, content)])[key])
