"""How the flows of jobs are distributed, counted in columns by the database."""

from __future__ import annotations

import math
from collections import Counter
from typing import Any, Final

from airflow_jobs.models import Stage

from ..statistics.spread import real_part_of_spread
from ..values.filters import Filters
from ..values.flows import Bin, Distribution, Flows, Spread, TargetUse
from .jobs import jobs
from .measured import parameters, rows

# Columns of the place in the range: four of them fill it.
PLACE_WIDTH: Final = 0.25
# How much of either end may go into the open columns, and how many columns a phone can show.
TAIL: Final = 0.01
MOST_BINS: Final = 26
# Two ranges that agree to so many digits are one: they were typed in different units.
DIGITS: Final = 6

_FLOWS: Final = """
WITH {jobs},
held AS (
    SELECT j.stage, j.call, j.target_low, j.target_high, j.position,
           j.judged_value IS DISTINCT FROM j.flow_per_capacity_m3_s_per_w AS by_design_flow,
           j.judged_value AS value, j.judged_u, j.position_u
    FROM jobs j
),
scaled AS (
    SELECT 'rates' AS scale, stage, value, judged_u AS u, value / %(width)s AS place
    FROM held WHERE NOT by_design_flow
    UNION ALL
    SELECT 'places', stage, position, position_u, position / %(place_width)s FROM held
)
SELECT 'bin' AS what, scale, stage, floor(place + 1e-9)::int AS bin, count(*) AS total,
       NULL::float8[] AS quartiles, NULL::float8 AS u, NULL AS call, NULL::float8 AS low,
       NULL::float8 AS high, NULL::bool AS by_design_flow
FROM scaled GROUP BY scale, stage, floor(place + 1e-9)
UNION ALL
SELECT 'spread', scale, stage, NULL, count(*),
       percentile_cont(ARRAY[0.25, 0.5, 0.75]) WITHIN GROUP (ORDER BY value),
       percentile_cont(0.5) WITHIN GROUP (ORDER BY u), NULL, NULL, NULL, NULL
FROM scaled GROUP BY scale, stage
UNION ALL
SELECT 'target', NULL, stage, NULL, count(*), NULL, NULL, call, target_low, target_high,
       by_design_flow
FROM held GROUP BY stage, call, target_low, target_high, by_design_flow
"""


def flows(filters: Filters, *, width: float) -> Flows:
    """Return how the flows of the jobs in the view are distributed; one statement.

    Parameters
    ----------
    filters
        As for the shares; both stages are counted whichever is asked for.
    width
        Width of the columns of flow per capacity, m3/s per watt.
    """
    values = {
        **parameters(filters),
        "step": "month",
        "width": width,
        "place_width": PLACE_WIDTH,
    }
    found = rows(_FLOWS.format(jobs=jobs(filters)), values)
    targets = _targets([row for row in found if row["what"] == "target"])
    band = next(((one.low, one.high) for one in targets if not one.by_design_flow), None)
    return Flows(
        rates=_distribution(found, "rates", width, band),
        places=_distribution(found, "places", PLACE_WIDTH, (0.0, 1.0)),
        targets=targets,
    )


def _targets(found: list[dict[str, Any]]) -> tuple[TargetUse, ...]:
    counted: dict[tuple[str, float, float, bool], Counter[str]] = {}
    for row in found:
        low, high = (float(f"{row[end]:.{DIGITS}g}") for end in ("low", "high"))
        key = (row["call"], low, high, row["by_design_flow"])
        counted.setdefault(key, Counter())[row["stage"]] += row["total"]
    return tuple(
        sorted(
            (
                TargetUse(*key, found=of[Stage.AS_FOUND], left=of[Stage.AS_LEFT])
                for key, of in counted.items()
            ),
            key=lambda one: (-one.jobs, one.call, one.low, one.high, one.by_design_flow),
        )
    )


def _distribution(
    found: list[dict[str, Any]], scale: str, width: float, band: tuple[float, float] | None
) -> Distribution:
    counts: dict[str, dict[int, int]] = {Stage.AS_FOUND: {}, Stage.AS_LEFT: {}}
    spreads: dict[str, Spread] = {}
    for row in found:
        if row["scale"] != scale:
            continue
        if row["what"] == "bin":
            counts[row["stage"]][row["bin"]] = row["total"]
        else:
            spreads[row["stage"]] = _spread(row)
    return Distribution(
        bins=_bins(counts[Stage.AS_FOUND], counts[Stage.AS_LEFT], width, band),
        width=width,
        found=spreads.get(Stage.AS_FOUND),
        left=spreads.get(Stage.AS_LEFT),
    )


def _spread(row: dict[str, Any]) -> Spread:
    lower, middle, upper = row["quartiles"]
    return Spread(
        total=row["total"],
        lower=lower,
        middle=middle,
        upper=upper,
        u=row["u"],
        real=real_part_of_spread(lower=lower, upper=upper, u=row["u"]),
    )


def _bins(
    found: dict[int, int], left: dict[int, int], width: float, band: tuple[float, float] | None
) -> tuple[Bin, ...]:
    """Return the columns without a gap, what lies far out in an open one at either end."""
    if not found and not left:
        return ()
    ends = [_ends(counts) for counts in (found, left) if counts]
    first, last = min(low for low, _ in ends), max(high for _, high in ends)
    if band is not None:
        # The range stands in the drawing with a column beside it, wherever the jobs lie.
        first = min(first, math.floor(band[0] / width) - 1)
        last = max(last, math.ceil(band[1] / width))
    if last - first >= MOST_BINS:
        # Around the middle of what was measured, not of its extremes.
        centre = _median(found, left)
        first, last = centre - MOST_BINS // 2, centre + MOST_BINS // 2 - 1

    def counted(counts: dict[int, int], at: int) -> int:
        return counts.get(at, 0)

    def beyond(counts: dict[int, int], *, below: bool) -> int:
        return sum(count for at, count in counts.items() if (at < first if below else at > last))

    bins = [
        Bin(at * width, (at + 1) * width, counted(found, at), counted(left, at))
        for at in range(first, last + 1)
    ]
    under = Bin(None, first * width, beyond(found, below=True), beyond(left, below=True))
    over = Bin((last + 1) * width, None, beyond(found, below=False), beyond(left, below=False))
    return tuple(
        ([under] if under.found + under.left else [])
        + bins
        + ([over] if over.found + over.left else [])
    )


def _median(*counted: dict[int, int]) -> int:
    """Return the column that holds the middle job of all."""
    together = sum((Counter(counts) for counts in counted), Counter[int]())
    passed, half = 0, together.total() / 2.0
    for at in sorted(together):
        passed += together[at]
        if passed > half:
            return at
    return max(together)


def _ends(counts: dict[int, int]) -> tuple[int, int]:
    """Return the first and the last column but for a sparse tail."""
    spare = TAIL * sum(counts.values())

    def end(places: list[int]) -> int:
        passed = 0
        for at in places:
            passed += counts[at]
            if passed > spare:
                return at
        return places[-1]

    return end(sorted(counts)), end(sorted(counts, reverse=True))
