"""Measurements of systems: one statement's columns, and rows made into values."""

from __future__ import annotations

from typing import Any, Final
from zoneinfo import ZoneInfo

from airflow_jobs.models import Stage, State, Verdict

from ..values.systems import Judged, Measurement

# What is read of each measurement `m`, its result `r`, crew `w` and instrument `i`.
COLUMNS: Final = """
    m.traverse_id, m.flow_set_id, m.visit_id, m.taken_at, m.stage, m.call, m.state,
    m.failure, m.instrument_id, m.air_paths,
    r.verdict, r.leaning, r.indicative, r.judged_value, r.judged_u, r.judged_low, r.judged_high,
    r.target_low, r.target_nominal, r.target_high, r.probability_in_range,
    greatest(r.probability_low, r.probability_in_range, r.probability_high) AS probability_most,
    r.flow_standard_m3_s, r.flow_relative_u,
    r.judged_value IS DISTINCT FROM r.flow_per_capacity_m3_s_per_w AS by_design_flow,
    coalesce(nullif(i.label, ''), i.serial, '') AS instrument, m.crew_id, w.name AS crew,
    m.adjustments_before
"""

JOINS: Final = """
    LEFT JOIN airflow_jobs_result r ON r.id = m.result_id
    JOIN airflow_jobs_crew w ON w.id = m.crew_id
    LEFT JOIN airflow_jobs_instrument i ON i.id = m.instrument_id
"""

# Of a normal distribution, for results that are not judged and keep no interval of their own.
COVERAGE: Final = 1.96


def measurement_of(row: dict[str, Any], zone: ZoneInfo) -> Measurement:
    """Return the value of one row of `COLUMNS`."""
    flow = row["flow_standard_m3_s"]
    judged = _judged_of(row)
    half = flow_half_width(
        flow,
        judged=None if judged is None else (judged.value, judged.low, judged.high),
        relative_u=row["flow_relative_u"],
    )
    return Measurement(
        traverse_id=row["traverse_id"],
        flow_set_id=row["flow_set_id"],
        visit_id=row["visit_id"],
        taken_at=row["taken_at"].astimezone(zone),
        stage=row["stage"],
        call=row["call"],
        state=row["state"],
        failure=row["failure"] if row["state"] == State.FAILED else "",
        verdict=row["verdict"] or "",
        judged=judged,
        flow_standard=flow,
        flow_standard_low=None if half is None else flow - half,
        flow_standard_high=None if half is None else flow + half,
        indicative=bool(row["indicative"]),
        instrument_id=row["instrument_id"],
        instrument=row["instrument"],
        crew_id=row["crew_id"],
        crew=row["crew"],
        adjustments_before=row["adjustments_before"],
        air_paths=tuple(row["air_paths"] or ()),
        is_doubtful=bool(row.get("is_doubtful")),
        is_changed_since=bool(row.get("is_changed_since")),
    )


def flow_half_width(
    flow: float | None, *, judged: tuple[float, float, float] | None, relative_u: float | None
) -> float | None:
    """Return the half-width of the flow's interval: relative, it is that of the judged value.

    `judged` is that value with its ends; nothing where it was not judged.
    """
    if flow is None:
        return None
    if judged is not None and judged[0] != 0:
        value, low, high = judged
        return 0.5 * (high - low) * abs(flow / value)
    return None if relative_u is None else COVERAGE * relative_u * abs(flow)


def _judged_of(row: dict[str, Any]) -> Judged | None:
    needed = ("judged_value", "judged_low", "judged_high", "target_low", "target_high")
    if row["verdict"] in (None, Verdict.NOT_JUDGED) or any(row[name] is None for name in needed):
        return None
    nominal = row["target_nominal"]
    return Judged(
        value=row["judged_value"],
        low=row["judged_low"],
        high=row["judged_high"],
        target_low=row["target_low"],
        target_nominal=(
            0.5 * (row["target_low"] + row["target_high"]) if nominal is None else nominal
        ),
        target_high=row["target_high"],
        verdict=row["verdict"],
        leaning=row["leaning"],
        probability_in_range=row["probability_in_range"] or 0.0,
        probability_most=row["probability_most"] or 0.0,
        by_design_flow=row["by_design_flow"],
    )


def standing_measurements(measurements: tuple[Measurement, ...]) -> tuple[Measurement, ...]:
    """Return what the last visit says of the system: one measurement a call.

    As it was left, or, where nothing was measured after the work, as it was found. Checks say
    nothing about either.
    """
    jobs = [one for one in measurements if one.stage != Stage.CHECK]
    if not jobs:
        return ()
    last = max(jobs, key=lambda one: one.taken_at)
    chosen: dict[str, Measurement] = {}
    for one in sorted(jobs, key=lambda one: (one.stage == Stage.AS_LEFT, one.taken_at)):
        if one.visit_id == last.visit_id:
            chosen[one.call] = one
    judged = [one for one in chosen.values() if one.verdict != Verdict.NOT_JUDGED]
    return tuple(judged or chosen.values())
