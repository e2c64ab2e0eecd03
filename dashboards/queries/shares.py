"""How jobs were found and left: over the months, by crew, by site."""

from __future__ import annotations

import datetime
from dataclasses import replace
from typing import Any, Final
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from airflow_jobs.models import Stage

from ..statistics.comparisons import mark
from ..statistics.intervals import share_difference, wilson
from ..statistics.shares import corrected_share
from ..statistics.shrinkage import shrink
from ..values.filters import Filters
from ..values.shares import (
    Change,
    Compared,
    CorrectedShare,
    FleetShares,
    MonthShare,
    NamedShare,
    Share,
)
from .jobs import jobs
from .measured import parameters, rows

Floats = NDArray[np.float64]

# Over a longer period than this, shares go by quarters.
MONTHS_UP_TO_DAYS: Final = 18 * 31

# Of jobs `j`.
COUNTS: Final = """
    count(*) AS total,
    count(*) FILTER (WHERE j.is_below) AS below,
    count(*) FILTER (WHERE j.is_above) AS above,
    count(*) FILTER (WHERE j.is_below AND j.verdict = 'undecided') AS below_undecided,
    count(*) FILTER (WHERE j.is_above AND j.verdict = 'undecided') AS above_undecided,
    count(*) FILTER (WHERE NOT j.is_below AND NOT j.is_above AND j.verdict = 'undecided')
        AS inside_undecided,
    count(*) FILTER (WHERE j.state = 'pending') AS pending
"""

_COUNTED: Final = (
    "total",
    "below",
    "above",
    "below_undecided",
    "above_undecided",
    "inside_undecided",
    "pending",
    "without_as_left",
)
_SUMS: Final = ", ".join(f"sum(c.{name})::bigint AS {name}" for name in _COUNTED)

# Which columns a row is counted by, as PostgreSQL numbers grouping sets of (month, crew, site).
_WHOLE, _BY_MONTH, _BY_CREW, _BY_SITE = 7, 3, 5, 6

# Jobs are counted once, in cells; all else are sums of cells, which are fewer. What only numbers
# are wanted of comes in arrays on the row of the whole.
_SHARES: Final = f"""
WITH {{jobs}},
told AS MATERIALIZED (
    SELECT jobs.stage, jobs.month, jobs.crew_id, jobs.site_id, jobs.is_below, jobs.is_above,
           jobs.verdict, jobs.state, jobs.position, jobs.position_u,
           bool_or(jobs.stage = 'as_left') OVER (PARTITION BY jobs.visit_id, jobs.equipment_id)
               AS is_left_measured
    FROM jobs
),
cells AS MATERIALIZED (
    SELECT j.stage, j.month, j.crew_id, j.site_id, {COUNTS},
           count(*) FILTER (WHERE j.stage = 'as_found' AND (j.is_below OR j.is_above)
                            AND NOT j.is_left_measured) AS without_as_left
    FROM told j
    GROUP BY j.stage, j.month, j.crew_id, j.site_id
),
counted AS (
    SELECT grouping(c.month, c.crew_id, c.site_id) AS counted_by,
           c.stage, c.month, c.crew_id, c.site_id, {_SUMS}
    FROM cells c
    GROUP BY GROUPING SETS ((c.stage), (c.stage, c.month), (c.stage, c.crew_id),
                            (c.stage, c.site_id))
),
positions AS (
    SELECT told.stage, array_agg(told.position) AS positions,
           array_agg(told.position_u) AS positions_u
    FROM told GROUP BY told.stage
),
crews_at_sites AS (
    SELECT c.stage, array_agg(c.crew_id) AS cell_crews, array_agg(c.site_id) AS cell_sites,
           array_agg(c.total) AS cell_totals, array_agg(c.outside) AS cell_outsides
    FROM (
        SELECT c.stage, c.crew_id, c.site_id, sum(c.total)::bigint AS total,
               sum(c.below + c.above)::bigint AS outside
        FROM cells c GROUP BY c.stage, c.crew_id, c.site_id
        ORDER BY c.stage, c.crew_id, c.site_id
    ) c
    GROUP BY c.stage
)
SELECT counted.*, crew.name AS crew, site.name AS site,
       p.positions, p.positions_u, b.cell_crews, b.cell_sites, b.cell_totals, b.cell_outsides
FROM counted
LEFT JOIN positions p ON counted.counted_by = {_WHOLE} AND p.stage = counted.stage
LEFT JOIN crews_at_sites b ON counted.counted_by = {_WHOLE} AND b.stage = counted.stage
LEFT JOIN airflow_jobs_crew crew ON crew.id = counted.crew_id
LEFT JOIN airflow_jobs_site site ON site.id = counted.site_id
ORDER BY counted.stage, counted.month, counted.crew_id, counted.site_id
"""


def fleet_shares(filters: Filters) -> FleetShares:
    """Return how jobs were found and left in the period; one statement.

    `check` traverses are in no share, nor are results without an uncertainty.
    """
    step = "quarter" if spans_many_months(filters) else "month"
    found = rows(_SHARES.format(jobs=jobs(filters)), {**parameters(filters), "step": step})
    shares = shares_of(found)
    counted = [(row["counted_by"], row, share) for row, share in zip(found, shares, strict=True)]
    empty = shares_of([{}])[0]
    whole = {row["stage"]: (row, share) for by, row, share in counted if by == _WHOLE}
    found_row, found_share = whole.get(Stage.AS_FOUND, ({}, empty))
    left_row, left_share = whole.get(Stage.AS_LEFT, ({}, empty))

    def over_time(stage: str) -> tuple[MonthShare, ...]:
        return tuple(
            MonthShare(row["month"], share)
            for by, row, share in counted
            if by == _BY_MONTH and row["stage"] == stage
        )

    def by(what: int, noun: str) -> tuple[NamedShare, ...]:
        named = [(row, share) for by, row, share in counted if by == what]
        return _named(named, noun, empty, _groups(found, noun))

    return FleetShares(
        step=step,
        found=found_share,
        left=left_share,
        found_by_month=over_time(Stage.AS_FOUND),
        left_by_month=over_time(Stage.AS_LEFT),
        by_crew=by(_BY_CREW, "crew"),
        by_site=by(_BY_SITE, "site"),
        left_corrected=_corrected(left_row),
        found_corrected=_corrected(found_row),
        found_outside_without_as_left=found_row.get("without_as_left", 0),
        pending=found_row.get("pending", 0) + left_row.get("pending", 0),
    )


_BEFORE: Final = f"""
WITH {{jobs}}
SELECT {COUNTS} FROM jobs j WHERE j.stage = %(stage)s
"""


def change_against_before(filters: Filters, now: Share) -> Change | None:
    """Return the change against as many days just before the period; one statement, or none.

    Parameters
    ----------
    filters
        As for `fleet_shares`; the stage says which of the two facts is compared.
    now
        The share of that stage in the period.

    Returns
    -------
    Change or None
        None where the period has no beginning, or either period has no job.
    """
    if filters.from_on is None or filters.to_on is None or not now.total:
        return None
    days = filters.to_on - filters.from_on + datetime.timedelta(days=1)
    earlier = replace(
        filters,
        from_on=filters.from_on - days,
        to_on=filters.from_on - datetime.timedelta(days=1),
    )
    values = {**parameters(earlier), "step": "month", "stage": str(filters.stage)}
    (before,) = shares_of(rows(_BEFORE.format(jobs=jobs(earlier)), values))
    if not before.total or earlier.from_on is None or earlier.to_on is None:
        return None
    low, high = share_difference(
        count=now.inside,
        total=now.total,
        count_before=before.inside,
        total_before=before.total,
    )
    return Change(
        before=before,
        from_on=earlier.from_on,
        to_on=earlier.to_on,
        change=now.inside / now.total - before.inside / before.total,
        low_end=float(low),
        high_end=float(high),
    )


def spans_many_months(filters: Filters) -> bool:
    """Return whether single months would crowd the time axis."""
    if filters.from_on is None or filters.to_on is None:
        return True
    return (filters.to_on - filters.from_on).days > MONTHS_UP_TO_DAYS


def shares_of(found: list[dict[str, Any]]) -> list[Share]:
    """Return the share of each row of `COUNTS`; a row without them is one without jobs."""
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


def _groups(found: list[dict[str, Any]], noun: str) -> dict[tuple[str, UUID], Compared]:
    """Hold crews against what others did at the same sites, and sites against each other."""
    compared: dict[tuple[str, UUID], Compared] = {}
    for stage in (Stage.AS_FOUND, Stage.AS_LEFT):
        rows_of_stage = [row for row in found if row["stage"] == stage]
        keys, total, outside = (
            _crews_at_sites(rows_of_stage) if noun == "crew" else _sites(rows_of_stage)
        )
        if not keys:
            continue
        marked = mark(outside, total)
        jobs = total.sum(axis=1)
        shrunk = shrink(outside.sum(axis=1), jobs)
        for index, key in enumerate(keys):
            compared[stage, key] = Compared(
                planning_share=float(1.0 - shrunk.share[index]),
                planning_low=float(1.0 - shrunk.high[index]),
                planning_high=float(1.0 - shrunk.low[index]),
                spread=float(marked.spread[index]),
                expected_outside=float(marked.expected[index]),
                is_comparable=bool(np.isfinite(marked.p_value[index])),
                differs=bool(marked.is_marked[index]),
            )
    return compared


def _sites(found: list[dict[str, Any]]) -> tuple[list[UUID], Floats, Floats]:
    """Return the sites with how many jobs each had, and how many outside, in one stratum."""
    cells = [row for row in found if row["counted_by"] == _BY_SITE]
    total = np.array([[row["total"]] for row in cells], float)
    outside = np.array([[row["below"] + row["above"]] for row in cells], float)
    return [row["site_id"] for row in cells], total, outside


def _crews_at_sites(found: list[dict[str, Any]]) -> tuple[list[UUID], Floats, Floats]:
    """Return the crews with how many jobs each had, and how many outside; a site is a stratum."""
    for row in found:
        if row["counted_by"] == _WHOLE:
            crews = {key: index for index, key in enumerate(dict.fromkeys(row["cell_crews"]))}
            sites = {key: index for index, key in enumerate(dict.fromkeys(row["cell_sites"]))}
            place = (
                [crews[key] for key in row["cell_crews"]],
                [sites[key] for key in row["cell_sites"]],
            )
            total = np.zeros((len(crews), len(sites)))
            outside = np.zeros_like(total)
            total[place], outside[place] = row["cell_totals"], row["cell_outsides"]
            return list(crews), total, outside
    return [], np.zeros((0, 0)), np.zeros((0, 0))


def _named(
    named: list[tuple[dict[str, Any], Share]],
    noun: str,
    empty: Share,
    compared: dict[tuple[str, UUID], Compared],
) -> tuple[NamedShare, ...]:
    stages: dict[UUID, dict[str, Share]] = {}
    names: dict[UUID, str] = {}
    without_as_left: dict[UUID, int] = {}
    for row, share in named:
        stages.setdefault(row[f"{noun}_id"], {})[row["stage"]] = share
        names[row[f"{noun}_id"]] = row[noun]
        if row["stage"] == Stage.AS_FOUND:
            without_as_left[row[f"{noun}_id"]] = row["without_as_left"]
    return tuple(
        NamedShare(
            id=key,
            name=name,
            found=stages[key].get(Stage.AS_FOUND, empty),
            left=stages[key].get(Stage.AS_LEFT, empty),
            found_compared=compared.get((Stage.AS_FOUND, key)),
            left_compared=compared.get((Stage.AS_LEFT, key)),
            found_outside_without_as_left=without_as_left.get(key, 0),
        )
        for key, name in sorted(names.items(), key=lambda item: (item[1].lower(), item[0]))
    )


def _corrected(row: dict[str, Any]) -> CorrectedShare | None:
    if not row.get("total"):
        return None
    found = corrected_share(row["positions"], row["positions_u"], low=0.0, high=1.0)
    return None if found is None else CorrectedShare(found.share, found.low, found.high)
