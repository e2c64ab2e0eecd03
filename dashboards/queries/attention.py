"""Which systems need a look now, and why; which meters are overdue."""

from __future__ import annotations

import datetime
import math
from dataclasses import replace
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from airflow_jobs.models import State, Verdict

from ..values.filters import Filters
from ..values.systems import (
    Attention,
    InstrumentDue,
    Measurement,
    NeedsALook,
    Reason,
    Trend,
)
from .measured import LAST_USED_ON, MEASURED, of_measurements, of_systems, parameters, rows
from .measurements import COLUMNS, JOINS, measurement_of
from .standings import LATEST, MADE_BY, SYSTEM, Stands, name_of, stand

# What a reason weighs: a system surely out of range first, then what can't be known, then what
# is coming. The weight of the first three grows with how far, how surely, how soon.
OUTSIDE_WEIGHT: Final = 3.0
UNDECIDED_WEIGHT: Final = 1.5
DOUBTFUL_WEIGHT: Final = 1.2
CHANGED_WEIGHT: Final = 1.2
DRIFTING_WEIGHT: Final = 2.0
FAILED_WEIGHT: Final = 1.5
NOT_JUDGED_WEIGHT: Final = 0.6
CALIBRATION_WEIGHT: Final = 0.5
PENDING_WEIGHT: Final = 0.2
SOON_YEARS: Final = 2.0
# Four measurements in a row: three fall in a row once in six times by chance alone.
FEWEST_PAIRS: Final = 6

IN_USE: Final = "e.retired_on IS NULL AND s.retired_on IS NULL"

_TREND: Final = (
    "per_year",
    "per_year_low",
    "per_year_high",
    "pairs",
    "since",
    "centre_at",
    "centre_value",
    "leaves_on",
    "leaves_earliest_on",
    "leaves_latest_on",
)

# Of systems whose standing was worked out ahead and still holds, only those come that can have a
# reason; the others come with their latest measurements, as if nothing were kept. Which
# measurements a standing rests on is only looked up where something is asked of them.
_KEPT: Final = f"""
WITH {MEASURED},
spans AS (
    SELECT c.instrument_id, range_agg(daterange(c.performed_on, c.due_on, '[]')) AS days
    FROM airflow_jobs_calibration c WHERE c.retired_on IS NULL GROUP BY c.instrument_id
),
looked AS MATERIALIZED (
    SELECT {SYSTEM}, k.measurements, {", ".join(f"k.{name} AS trend_{name}" for name in _TREND)},
           k.equipment_id IS NULL OR x.equipment_id IS NOT NULL AS is_changed
    FROM airflow_jobs_equipment e
    JOIN airflow_jobs_site s ON s.id = e.site_id
    LEFT JOIN airflow_jobs_standing k ON k.equipment_id = e.id AND k.made_by = %(made_by)s
    LEFT JOIN (SELECT DISTINCT equipment_id FROM airflow_jobs_changedsystem) x
           ON x.equipment_id = e.id
    WHERE {IN_USE} AND {{systems}}
),
latest AS (
    SELECT l.equipment_id, m.computation_id
    FROM looked l
    CROSS JOIN LATERAL (
        SELECT m.computation_id FROM airflow_jobs_measurement m
        WHERE m.equipment_id = l.equipment_id AND m.stage <> 'check'
        ORDER BY m.taken_at DESC, m.computation_id DESC
        LIMIT {LATEST}
    ) m
    WHERE l.is_changed
),
kept AS (
    SELECT l.equipment_id, one.computation_id, one.place
    FROM looked l
    CROSS JOIN LATERAL unnest(l.measurements) WITH ORDINALITY AS one (computation_id, place)
    {{of_measurements}}
    WHERE NOT l.is_changed AND {{measurements}}
),
chosen AS (
    SELECT kept.equipment_id, kept.computation_id, kept.place FROM kept
    UNION ALL
    SELECT latest.equipment_id, latest.computation_id, NULL FROM latest
),
counted AS (
    SELECT count(*) FILTER (WHERE NOT l.is_changed AND kept.equipment_id IS NOT NULL) AS kept,
           count(*) FILTER (WHERE CASE WHEN l.is_changed THEN latest.equipment_id IS NULL
                                       ELSE l.measurements = '{{{{}}}}' END) AS never_measured
    FROM looked l
    LEFT JOIN (SELECT DISTINCT equipment_id FROM latest) latest USING (equipment_id)
    LEFT JOIN (SELECT DISTINCT equipment_id FROM kept) kept USING (equipment_id)
)
SELECT counted.*, told.*
FROM counted
LEFT JOIN (
    SELECT l.*, chosen.place, {COLUMNS},
           jsonb_path_exists(r.values, '$.findings[*] ? (@.severity == "serious")')
               AS is_doubtful,
           EXISTS (SELECT FROM airflow_jobs_adjustment a
                   WHERE a.equipment_id = l.equipment_id AND a.made_at > m.taken_at)
               AS is_changed_since
    FROM looked l
    JOIN chosen ON chosen.equipment_id = l.equipment_id
    JOIN measured m ON m.computation_id = chosen.computation_id {JOINS}
    LEFT JOIN spans ON spans.instrument_id = m.instrument_id
    WHERE l.is_changed OR l.trend_leaves_on IS NOT NULL
       OR m.state <> 'computed' OR m.verdict <> 'in_range'
       OR (m.instrument_id IS NOT NULL AND NOT coalesce(spans.days @> m.taken_on, FALSE))
) told ON TRUE
ORDER BY told.equipment_id, told.place, told.taken_at, told.traverse_id, told.flow_set_id
"""

_CALIBRATIONS: Final = f"""
SELECT i.id, coalesce(nullif(i.label, ''), i.serial) AS name, i.serial,
       array_agg(c.performed_on ORDER BY c.performed_on, c.id)
           FILTER (WHERE c.id IS NOT NULL) AS performed_on,
       array_agg(c.due_on ORDER BY c.performed_on, c.id)
           FILTER (WHERE c.id IS NOT NULL) AS due_on,
       {LAST_USED_ON} AS last_used_on,
       i.retired_on
FROM airflow_jobs_instrument i
LEFT JOIN airflow_jobs_calibration c ON c.instrument_id = i.id AND c.retired_on IS NULL
GROUP BY i.id
ORDER BY lower(i.serial), i.id
"""


def attention(filters: Filters, *, today: datetime.date) -> Attention:
    """Return what needs a look now, whatever the period; two statements.

    Parameters
    ----------
    filters
        Customer, site and kind narrow the systems. Crew and air path ask for those whose last
        visit was that crew's, or measured there: what another crew has set since is no longer
        as this one left it.
    today
        The day on which calibrations are due or not, and from which drifts are foreseen.
    """
    meters = rows(_CALIBRATIONS, {})
    spans = {row["id"]: _spans(row) for row in meters}
    systems, looked_at, never_measured = _standing(filters)
    needing = [_needs(one, spans, today) for one in systems]
    return Attention(
        systems=tuple(
            sorted(
                (one for one in needing if one.reasons),
                key=lambda one: (-one.weight, one.system.site, one.system.tag, one.system.id),
            )
        ),
        looked_at=looked_at,
        never_measured=never_measured,
        instruments_overdue=_overdue(meters, today),
    )


def _standing(filters: Filters) -> tuple[list[Stands], int, int]:
    """Return the systems that can have a reason, how many were looked at, how many never were."""
    asks = filters.crew is not None or filters.air_path is not None
    found = rows(
        _KEPT.format(
            systems=of_systems(filters),
            measurements=of_measurements(filters),
            of_measurements="JOIN airflow_jobs_measurement m USING (computation_id)"
            if asks
            else "",
        ),
        {**parameters(filters), "made_by": MADE_BY},
    )
    counted = found[0]
    told = [row for row in found if row["equipment_id"] is not None]
    kept: dict[UUID, list[dict[str, Any]]] = {}
    for row in told:
        if not row["is_changed"]:
            kept.setdefault(row["equipment_id"], []).append(row)
    changed = [
        asked
        for one in stand([row for row in told if row["is_changed"]])
        if (asked := _asked_of(one, filters)).standing
    ]
    # A system that nobody has measured is no crew's and has no air path yet.
    never_measured = 0 if asks else counted["never_measured"]
    return (
        [*changed, *(_as_kept(group) for group in kept.values())],
        counted["kept"] + len(changed) + never_measured,
        never_measured,
    )


def _asked_of(one: Stands, filters: Filters) -> Stands:
    """Return a system with those measurements of its standing that are asked for."""
    return replace(
        one,
        standing=tuple(
            each
            for each in one.standing
            if filters.crew in (None, each.crew_id)
            and (filters.air_path is None or filters.air_path in each.air_paths)
        ),
    )


def _as_kept(group: list[dict[str, Any]]) -> Stands:
    first = group[0]
    zone = ZoneInfo(first["time_zone"])
    line = {name: first[f"trend_{name}"] for name in _TREND}
    if line["pairs"] is not None:
        line["since"] = line["since"].astimezone(zone)
    return Stands(
        system=name_of(first),
        standing=tuple(measurement_of(row, zone) for row in group),
        trend=Trend(**line) if line["pairs"] is not None else None,
    )


def _needs(
    one: Stands,
    spans: dict[UUID, list[tuple[datetime.date, datetime.date]]],
    today: datetime.date,
) -> NeedsALook:
    reasons = [reason for each in one.standing for reason in _reasons(each, spans)]
    drifting = _drifting(one.trend, today)
    is_outside = any(reason.code in ("low", "high", "doubtful", "changed") for reason in reasons)
    if drifting is not None and not is_outside:
        reasons.append(drifting)
    reasons.sort(key=lambda reason: -reason.weight)
    worst = reasons[0].measurement if reasons else None
    return NeedsALook(
        one.system, tuple(reasons), worst or (one.standing[0] if one.standing else None)
    )


def _reasons(
    one: Measurement, spans: dict[UUID, list[tuple[datetime.date, datetime.date]]]
) -> list[Reason]:
    reasons = []
    if one.state == State.FAILED:
        reasons.append(Reason("failed", FAILED_WEIGHT, one))
    elif one.state == State.PENDING:
        reasons.append(Reason("pending", PENDING_WEIGHT, one))
    if one.judged is not None and one.verdict != Verdict.IN_RANGE and one.is_changed_since:
        # How it stands now nobody knows.
        reasons.append(Reason("changed", CHANGED_WEIGHT, one))
    elif one.judged is not None and one.verdict != Verdict.IN_RANGE and one.is_doubtful:
        reasons.append(Reason("doubtful", DOUBTFUL_WEIGHT, one))
    elif one.judged is not None:
        outside = 1.0 - one.judged.probability_in_range
        if one.verdict in (Verdict.LOW, Verdict.HIGH):
            far = 1.0 + min(one.judged.widths_outside, 2.0)
            reasons.append(Reason(one.verdict, OUTSIDE_WEIGHT * outside * far, one))
        elif one.verdict == Verdict.UNDECIDED:
            reasons.append(Reason("undecided", UNDECIDED_WEIGHT * outside, one))
    elif one.verdict == Verdict.NOT_JUDGED:
        reasons.append(Reason("not_judged", NOT_JUDGED_WEIGHT, one))
    if one.instrument_id is not None and not _in_calibration(
        spans.get(one.instrument_id, []), one.taken_at.date()
    ):
        reasons.append(Reason("calibration", CALIBRATION_WEIGHT, one))
    return reasons


def _drifting(trend: Trend | None, today: datetime.date) -> Reason | None:
    if trend is None or not trend.is_certain or trend.leaves_on is None:
        return None
    if trend.pairs < FEWEST_PAIRS:
        return None
    years = (trend.leaves_on - today).days / 365.25
    if years > SOON_YEARS:
        return None
    return Reason("drifting", DRIFTING_WEIGHT * math.exp(-max(years, 0.0)), trend=trend)


def _spans(row: dict[str, Any]) -> list[tuple[datetime.date, datetime.date]]:
    return list(zip(row["performed_on"] or (), row["due_on"] or (), strict=True))


def _in_calibration(spans: list[tuple[datetime.date, datetime.date]], day: datetime.date) -> bool:
    return any(performed <= day <= due for performed, due in spans)


def _overdue(meters: list[dict[str, Any]], today: datetime.date) -> tuple[InstrumentDue, ...]:
    found = []
    for row in meters:
        if row["retired_on"] is not None and row["retired_on"] <= today:
            continue
        spans = _spans(row)
        if not _in_calibration(spans, today):
            found.append(
                InstrumentDue(
                    id=row["id"],
                    name=row["name"],
                    serial=row["serial"],
                    due_on=max((due for _, due in spans), default=None),
                    last_used_on=row["last_used_on"],
                )
            )
    return tuple(sorted(found, key=lambda one: (one.due_on or datetime.date.min, one.serial)))
