"""How jobs were found and left: over the months, by crew, by site."""

from __future__ import annotations

import datetime
from typing import Any, Final
from uuid import UUID

import numpy as np

from airflow_jobs.models import Stage

from ..statistics.intervals import wilson
from ..statistics.shares import corrected_share_inside
from ..values.filters import Filters
from ..values.shares import FleetShares, MonthShare, NamedShare, Share
from .measured import MEASURED, in_period, of_measurements, of_systems, parameters, rows

# Over a longer period than this, shares go by quarters.
MONTHS_UP_TO_DAYS: Final = 18 * 31

# A job is one system in one state on one visit at one stage: as it was found counts the first
# judged measurement, as it was left the last. Both stages are read in one go and stay apart.
_JOBS: Final = """
jobs AS (
    SELECT DISTINCT ON (m.visit_id, m.equipment_id, m.call, m.stage)
           m.visit_id, m.equipment_id, m.stage, m.state, v.crew_id, s.id AS site_id,
           date_trunc(%(step)s, m.taken_at AT TIME ZONE s.time_zone)::date AS month,
           r.verdict, r.judged_value < r.target_low AS is_below,
           r.judged_value > r.target_high AS is_above,
           (r.judged_value - r.target_low) / (r.target_high - r.target_low) AS position,
           r.judged_u / (r.target_high - r.target_low) AS position_u
    FROM measured m
    JOIN airflow_jobs_result r ON r.id = m.result_id
    JOIN airflow_jobs_visit v ON v.id = m.visit_id
    JOIN airflow_jobs_equipment e ON e.id = m.equipment_id
    JOIN airflow_jobs_site s ON s.id = e.site_id
    WHERE m.stage IN ('as_found', 'as_left') AND r.verdict <> 'not_judged'
      AND r.judged_u > 0 AND r.target_high > r.target_low
      AND {conditions}
    ORDER BY m.visit_id, m.equipment_id, m.call, m.stage,
             CASE m.stage WHEN 'as_found' THEN 1 ELSE -1 END * extract(epoch FROM m.taken_at),
             m.computation_id
)
"""

_COUNTS: Final = """
    count(*) AS total,
    count(*) FILTER (WHERE j.is_below) AS below,
    count(*) FILTER (WHERE j.is_above) AS above,
    count(*) FILTER (WHERE j.is_below AND j.verdict = 'undecided') AS below_undecided,
    count(*) FILTER (WHERE j.is_above AND j.verdict = 'undecided') AS above_undecided,
    count(*) FILTER (WHERE NOT j.is_below AND NOT j.is_above AND j.verdict = 'undecided')
        AS inside_undecided,
    count(*) FILTER (WHERE j.state = 'pending') AS pending
"""

_SHARES: Final = f"""
WITH {MEASURED}, {_JOBS},
counted AS (
    SELECT j.stage, j.month, j.crew_id, j.site_id, {_COUNTS},
           CASE WHEN grouping(j.month, j.crew_id, j.site_id) = 7
                THEN array_agg(j.position) END AS positions,
           CASE WHEN grouping(j.month, j.crew_id, j.site_id) = 7
                THEN array_agg(j.position_u) END AS positions_u,
           CASE WHEN grouping(j.month, j.crew_id, j.site_id) = 7 THEN
               count(*) FILTER (WHERE j.stage = 'as_found' AND (j.is_below OR j.is_above)
                   AND NOT EXISTS (
                       SELECT FROM jobs l WHERE l.stage = 'as_left'
                       AND l.visit_id = j.visit_id AND l.equipment_id = j.equipment_id))
           END AS without_as_left
    FROM jobs j
    GROUP BY GROUPING SETS ((j.stage), (j.stage, j.month), (j.stage, j.crew_id),
                            (j.stage, j.site_id))
)
SELECT counted.*, coalesce(crew.name, site.name) AS name
FROM counted
LEFT JOIN airflow_jobs_crew crew ON crew.id = counted.crew_id
LEFT JOIN airflow_jobs_site site ON site.id = counted.site_id
ORDER BY counted.stage, counted.month, name, counted.crew_id, counted.site_id
"""


def fleet_shares(filters: Filters) -> FleetShares:
    """Return how jobs were found and left in the period; one statement.

    `check` traverses are in no share, nor are results without an uncertainty.
    """
    conditions = " AND ".join((of_systems(filters), of_measurements(filters), in_period(filters)))
    step = "quarter" if spans_many_months(filters) else "month"
    found = rows(_SHARES.format(conditions=conditions), {**parameters(filters), "step": step})
    shares = _shares(found)
    whole = {
        row["stage"]: row
        for row in found
        if row["month"] is None and row["crew_id"] is None and row["site_id"] is None
    }
    months: dict[str, dict[datetime.date, Share]] = {stage: {} for stage in Stage.values}
    for row, share in zip(found, shares, strict=True):
        if row["month"] is not None:
            months[row["stage"]][row["month"]] = share
    overall = {
        row["stage"]: share
        for row, share in zip(found, shares, strict=True)
        if row is whole.get(row["stage"])
    }
    empty = _shares([{}])[0]
    return FleetShares(
        step=step,
        found=overall.get(Stage.AS_FOUND, empty),
        left=overall.get(Stage.AS_LEFT, empty),
        found_by_month=_by_month(months[Stage.AS_FOUND]),
        left_by_month=_by_month(months[Stage.AS_LEFT]),
        by_crew=_named(found, shares, "crew_id", empty),
        by_site=_named(found, shares, "site_id", empty),
        left_planning_share=_planning_share(whole.get(Stage.AS_LEFT)),
        found_planning_share=_planning_share(whole.get(Stage.AS_FOUND)),
        found_outside_without_as_left=(whole.get(Stage.AS_FOUND) or {}).get("without_as_left", 0),
        pending=sum(row["pending"] for row in whole.values()),
    )


def spans_many_months(filters: Filters) -> bool:
    """Return whether single months would crowd the time axis."""
    if filters.from_on is None or filters.to_on is None:
        return True
    return (filters.to_on - filters.from_on).days > MONTHS_UP_TO_DAYS


def _shares(found: list[dict[str, Any]]) -> list[Share]:
    total = np.array([row.get("total", 0) for row in found])
    outside = np.array([row.get("below", 0) + row.get("above", 0) for row in found])
    low, high = wilson(count=total - outside, total=total)
    return [
        Share(
            total=row.get("total", 0),
            below=row.get("below", 0),
            above=row.get("above", 0),
            below_undecided=row.get("below_undecided", 0),
            above_undecided=row.get("above_undecided", 0),
            inside_undecided=row.get("inside_undecided", 0),
            low_end=float(low[index]),
            high_end=float(high[index]),
        )
        for index, row in enumerate(found)
    ]


def _by_month(shares: dict[datetime.date, Share]) -> tuple[MonthShare, ...]:
    return tuple(MonthShare(month, share) for month, share in sorted(shares.items()))


def _named(
    found: list[dict[str, Any]], shares: list[Share], column: str, empty: Share
) -> tuple[NamedShare, ...]:
    stages: dict[UUID, dict[str, Share]] = {}
    names: dict[UUID, str] = {}
    for row, share in zip(found, shares, strict=True):
        key = row[column]
        if key is not None:
            stages.setdefault(key, {})[row["stage"]] = share
            names[key] = row["name"]
    return tuple(
        NamedShare(
            id=key,
            name=name,
            found=stages[key].get(Stage.AS_FOUND, empty),
            left=stages[key].get(Stage.AS_LEFT, empty),
        )
        for key, name in sorted(names.items(), key=lambda item: (item[1].lower(), item[0]))
    )


def _planning_share(row: dict[str, Any] | None) -> float | None:
    if row is None or row["total"] < 2:
        return None
    share = corrected_share_inside(row["positions"], row["positions_u"], low=0.0, high=1.0)
    return float(share) if np.isfinite(share) else None
