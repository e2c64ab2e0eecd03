"""The contents of one traverse with what came of each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from airflow_jobs.models import (
    REDACTED,
    Computation,
    DuctSection,
    Instrument,
    Result,
    State,
    Traverse,
    TraverseRevision,
)

from ..values.revisions import Revision, RevisionResult, TraverseRevisions
from ..values.systems import SystemName
from .outcome import interval_of


def traverse_revisions(traverse_id: UUID) -> TraverseRevisions | None:
    """Return every content of a traverse; five statements, however many there are."""
    traverse = (
        Traverse.objects.with_context().select_related("computation").filter(pk=traverse_id).first()
    )
    if traverse is None:
        return None
    equipment = traverse.duct_section.equipment
    zone = ZoneInfo(equipment.site.time_zone)
    computation: Computation | None = getattr(traverse, "computation", None)
    results = _results(computation, zone)
    rows = list(TraverseRevision.objects.filter(traverse_id=traverse_id).order_by("number"))
    return TraverseRevisions(
        traverse_id=traverse.pk,
        system=SystemName(
            equipment.pk, equipment.tag, equipment.kind, equipment.site_id, equipment.site.name
        ),
        crew_id=traverse.visit.crew_id,
        taken_at=traverse.taken_at.astimezone(zone),
        stage=traverse.stage,
        state=computation.state if computation else State.PENDING,
        revisions=tuple(
            Revision(
                number=one.number,
                content=one.content,
                reason=one.reason,
                actor=one.actor,
                is_redacted=one.actor == REDACTED,
                recorded_at=one.recorded_at.astimezone(zone),
                result=results.get(one.number),
            )
            for one in rows
        ),
        names=_names(one.content for one in rows),
    )


def _results(computation: Computation | None, zone: ZoneInfo) -> dict[int, RevisionResult]:
    """Return revision -> what was computed last from it."""
    found: dict[int, RevisionResult] = {}
    if computation is None:
        return found
    rows = (
        Result.objects.filter(computation=computation)
        .defer("values")
        .order_by("content_revision", "computed_at", "pk")
    )
    for row in rows:
        before = found.get(row.content_revision)
        flow, u = row.flow_standard_m3_s, row.flow_relative_u
        half = _half_of(row)
        ends = (
            (None, None)
            if flow is None or u is None or half is None
            else (flow * (1.0 - half), flow * (1.0 + half))
        )
        chances = [
            chance
            for chance in (row.probability_low, row.probability_in_range, row.probability_high)
            if chance is not None
        ]
        found[row.content_revision] = RevisionResult(
            computed_at=row.computed_at.astimezone(zone),
            engine=row.engine,
            verdict=row.verdict,
            leaning=row.leaning,
            probability_most=max(chances, default=None),
            flow_standard=interval_of(flow, *ends),
            flow_per_capacity=row.flow_per_capacity_m3_s_per_w,
            computations=(before.computations if before else 0) + 1,
        )
    return found


def _half_of(row: Result) -> float | None:
    """Return the relative half-width of the judged interval."""
    if not row.judged_value or row.judged_low is None or row.judged_high is None:
        return None
    return 0.5 * (row.judged_high - row.judged_low) / row.judged_value


def _names(contents: Iterable[Mapping[str, Any]]) -> dict[str, str]:
    """Return id -> name of the sections and meters that the contents name; two statements."""
    kept = list(contents)
    sections = [key for one in kept if (key := _uuid(one.get("duct_section")))]
    meters = [key for one in kept if (key := _uuid(one.get("instrument")))]
    found: dict[str, str] = {}
    for section in DuctSection.objects.filter(pk__in=sections).order_by("pk"):
        found[str(section.pk)] = section.name
    for meter in Instrument.objects.filter(pk__in=meters).order_by("pk"):
        found[str(meter.pk)] = (
            str(meter) if meter.label in ("", meter.serial) else f"{meter.label}, {meter.serial}"
        )
    return found


def _uuid(text: Any) -> UUID | None:
    try:
        return UUID(str(text))
    except ValueError:
        return None
