"""Which measurements would be judged otherwise without what their meter reads high or low by."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from airflow_jobs.calc.conformity import VERDICTS, judge

from ..filters import read_filters
from ..values.filters import Filters
from ..values.meters import MeterAstray
from ..values.systems import Judged, Measurement, OtherwiseJudged
from .measurements import COVERAGE
from .meters import meters_astray


@dataclass(frozen=True, slots=True)
class Use:
    """A judged value that rests on one meter."""

    instrument_id: UUID
    on: datetime.date
    judged: Judged


def usual_filters(today: datetime.date) -> Filters:
    """Return the usual period of the page of instruments."""
    return read_filters({}, today=today).filters


def judged_otherwise(
    measurements: Sequence[Measurement],
    *,
    today: datetime.date,
    astray: Mapping[UUID, MeterAstray] | None = None,
) -> list[OtherwiseJudged | None]:
    """Return for each measurement what it would be without its meter's offset, where that decides.

    A flow-set may rest on several meters, so that nothing can be taken off it as a whole.
    """
    return otherwise(
        [
            Use(one.instrument_id, one.taken_at.date(), one.judged)
            if one.traverse_id and one.instrument_id and one.judged
            else None
            for one in measurements
        ],
        today=today,
        astray=astray,
    )


def otherwise(
    uses: Sequence[Use | None],
    *,
    today: datetime.date,
    astray: Mapping[UUID, MeterAstray] | None = None,
) -> list[OtherwiseJudged | None]:
    """Return what each value would be without its meter's offset; one statement at most.

    The offsets are those of the page of instruments in its usual period, worked out once for all
    values; of what was measured before that period they say nothing. Where the target's basis
    decides, no meter does. `astray` are the meters where they are worked out already.
    """
    filters = usual_filters(today)
    first = filters.from_on or datetime.date.min
    meant = [
        one if one and one.on >= first and not one.judged.hangs_on_basis else None for one in uses
    ]
    if astray is None:
        astray = meters_astray(filters, today=today) if any(meant) else {}
    return [
        without_offset(one.judged, astray[one.instrument_id])
        if one is not None and one.instrument_id in astray
        else None
        for one in meant
    ]


def without_offset(judged: Judged, meter: MeterAstray) -> OtherwiseJudged | None:
    """Return what a value would be without its meter's offset; nothing where it says the same.

    It says the same where the likeliest side stays, and isn't any less sure.
    """
    scale = 1.0 / (1.0 + meter.held.offset)
    low, value, high = (end * scale for end in (judged.low, judged.value, judged.high))
    found = judge(
        value=value,
        standard_uncertainty=0.5 * (high - low) / COVERAGE,
        low=judged.target_low,
        high=judged.target_high,
    )
    verdict = VERDICTS[found.verdict[0]]
    leaning = VERDICTS[found.leaning[0]] if verdict == "undecided" else ""
    is_same_side = (leaning or verdict) == (judged.leaning or judged.verdict)
    if is_same_side and (verdict == judged.verdict or judged.verdict == "undecided"):
        return None
    chances = (found.probability_low, found.probability_in_range, found.probability_high)
    return OtherwiseJudged(
        meter=meter,
        value=value,
        low=low,
        high=high,
        by_design_flow=judged.by_design_flow,
        verdict=verdict,
        leaning=leaning,
        probability_most=max(float(chance[0]) for chance in chances),
    )
