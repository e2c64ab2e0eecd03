"""Correcting what a meter read before a calibration found it off, and taking that back."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

import pghistory
from django.db.models import F

from airflow_jobs import recompute
from airflow_jobs.models import Calibration, FlowSet, Result, Traverse
from airflow_jobs.recompute.outcomes import Computed

from . import access
from .access import Actor, NotVisible
from .constraints import RulesBroken
from .records import change_record
from .rules import broken_rules

AT_ONCE: Final = 200
"""How many traverses are computed as one set of arrays."""


@dataclass(frozen=True, slots=True)
class Before:
    """A stored result beside what it would become."""

    traverse_id: UUID
    verdict: str
    flow_standard_m3_s: float | None
    relative_u: float | None
    """Relative standard uncertainty of the judged flow."""


@dataclass(frozen=True, slots=True)
class Corrected:
    """What one result would become."""

    before: Before
    verdict: str
    """Empty where it could not be computed."""
    flow_standard_m3_s: float | None
    relative_u: float | None

    @property
    def changes_verdict(self) -> bool:
        """Whether another verdict comes out."""
        return bool(self.verdict) and self.verdict != self.before.verdict


@dataclass(frozen=True, slots=True)
class CorrectionPreview:
    """What a correction would do, worked out by the engine that would do it."""

    results: tuple[Corrected, ...]
    """Those looked at, the latest first."""
    total: int
    """How many there are."""
    waiting: int
    """Of those in the period, without a result yet: they are computed with the correction."""
    flow_sets: int
    """Flow-sets that rest on one of them and are computed again as well."""

    @property
    def verdicts_changed(self) -> int:
        """How many of those looked at would be judged otherwise."""
        return sum(one.changes_verdict for one in self.results)


def preview_correction(
    *,
    actor: Actor,
    calibration_id: UUID,
    corrects_from: datetime.date,
    corrects_wholly: bool,
    most: int,
    now: datetime.datetime,
) -> CorrectionPreview:
    """Compute what earlier results would become, without storing anything.

    Parameters
    ----------
    actor
        Who asks; who may write calibrations.
    calibration_id
        The calibration that found the meter off.
    corrects_from
        From which day on readings would be corrected.
    corrects_wholly
        Whether the meter is known to have gone off on that day.
    most
        At most so many of the latest results are worked out.
    now
        The clock.

    Raises
    ------
    NotAllowed, NotVisible, RulesBroken
    """
    access.require_write(actor, Calibration)
    calibration = _calibration(calibration_id)
    calibration.corrects_from = corrects_from
    calibration.corrects_wholly = corrects_wholly
    calibration.corrects_because = calibration.corrects_because or "preview"
    broken = broken_rules(calibration, now=now, changed=frozenset({"corrects_from"}))
    if broken:
        raise RulesBroken(broken)
    rows = (
        Traverse.objects.filter(
            instrument_id=calibration.instrument_id,
            # The first two bounds are there for the index: no zone is further than this from UTC.
            taken_at__gte=_start(corrects_from) - datetime.timedelta(days=1),
            taken_at__lt=_start(calibration.performed_on) + datetime.timedelta(days=2),
        )
        .annotate(
            zone=F("duct_section__equipment__site__time_zone"),
            result_id=F("computation__result"),
        )
        .order_by("-taken_at", "pk")
        .values_list("pk", "taken_at", "zone", "result_id")
    )
    concerned = [
        (key, result)
        for key, taken_at, zone, result in rows
        if corrects_from <= _day(taken_at, zone) < calibration.performed_on
    ]
    known = [(key, result) for key, result in concerned if result is not None]
    return CorrectionPreview(
        results=tuple(_corrected(known[:most], calibration)),
        total=len(known),
        waiting=len(concerned) - len(known),
        flow_sets=FlowSet.objects.filter(members__traverse__in=[key for key, _ in concerned])
        .distinct()
        .count(),
    )


def correct_earlier_readings(
    *,
    actor: Actor,
    calibration_id: UUID,
    corrects_from: datetime.date,
    corrects_wholly: bool,
    because: str,
    expected_revision: int | None,
    now: datetime.datetime,
) -> Calibration:
    """Correct readings from a day up to the calibration with what it found; results follow.

    Raises
    ------
    NotAllowed, NotVisible, StaleRevision, RulesBroken
    """
    return change_record(
        actor=actor,
        model=Calibration,
        record_id=calibration_id,
        values={
            "corrects_from": corrects_from,
            "corrects_wholly": corrects_wholly,
            "corrects_because": because.strip(),
        },
        expected_revision=expected_revision,
        now=now,
    )


def take_correction_back(
    *,
    actor: Actor,
    calibration_id: UUID,
    because: str,
    expected_revision: int | None,
    now: datetime.datetime,
) -> Calibration:
    """Let earlier readings count as they did before; the history keeps both, and why.

    Raises
    ------
    NotAllowed, NotVisible, StaleRevision, RulesBroken
    """
    with pghistory.context(correction_taken_back=because.strip()):
        return change_record(
            actor=actor,
            model=Calibration,
            record_id=calibration_id,
            values={"corrects_from": None, "corrects_wholly": False, "corrects_because": ""},
            expected_revision=expected_revision,
            now=now,
        )


def _calibration(calibration_id: UUID) -> Calibration:
    row = Calibration.objects.select_related("instrument").filter(pk=calibration_id).first()
    if row is None:
        raise NotVisible("There is no such calibration.")
    return row


def _start(day: datetime.date) -> datetime.datetime:
    return datetime.datetime.combine(day, datetime.time(), datetime.UTC)


def _day(moment: datetime.datetime, zone: str) -> datetime.date:
    return moment.astimezone(ZoneInfo(zone)).date()


def _corrected(known: Sequence[tuple[UUID, int]], calibration: Calibration) -> Iterator[Corrected]:
    """Yield stored results with what they would become, a set of arrays at a time."""
    for start in range(0, len(known), AT_ONCE):
        part = known[start : start + AT_ONCE]
        stored = {
            row.pk: row
            for row in Result.objects.filter(pk__in=[result for _, result in part]).defer("values")
        }
        outcomes = recompute.outcomes_as_if([key for key, _ in part], calibration)
        for key, result in part:
            outcome = outcomes.get(key)
            columns = outcome.columns if isinstance(outcome, Computed) else {}
            before = stored[result]
            yield Corrected(
                before=Before(
                    traverse_id=key,
                    verdict=before.verdict,
                    flow_standard_m3_s=before.flow_standard_m3_s,
                    relative_u=before.flow_relative_u,
                ),
                verdict=columns.get("verdict", ""),
                flow_standard_m3_s=columns.get("flow_standard_m3_s"),
                relative_u=columns.get("flow_relative_u"),
            )
