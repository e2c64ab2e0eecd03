"""How jobs were found and left: by month, by the calendar, by kind, before and after a day."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Sequence
from typing import Final

from airflow_jobs.models import Stage

from ..statistics.drift import FEWEST_POINTS, share_slope, smoothed_means
from ..statistics.month_limits import month_limits
from ..values.filters import Filters
from ..values.over_time import (
    CalendarMonth,
    DriftStep,
    HeldStep,
    HeldSteps,
    OverTime,
    Part,
    SlowDrift,
)
from ..values.shares import MonthShare
from .contrasts import (
    AFTER,
    EARLIER,
    LATELY,
    before_and_after,
    cells_of,
    halves_of_the_year,
    heating_and_cooling,
)
from .counted import Row, added_share, grouped, known, known_change
from .jobs import jobs
from .measured import parameters, rows
from .shares import COUNTS, shares_of

# So many months, and so many quarters, are shown one by one.
MOST_MONTHS: Final = 18
MOST_QUARTERS: Final = 48
# Kinds and calls have fewer jobs each: they are shown in longer steps.
PARTS_BY_MONTH_UP_TO: Final = 6
PARTS_BY_QUARTER_UP_TO: Final = 72
SHORTEST_TREND_MONTHS: Final = 6
"""Less than half a year says nothing about a change a year."""
LATELY_MONTHS: Final = 3
"""A day is often chosen because of the months just before it."""

# Which columns a row is counted by, as PostgreSQL numbers grouping sets of (month, kind, call,
# phase).
_WHOLE, _BY_MONTH, _BY_KIND, _BY_CALL, _BY_PHASE = 15, 7, 3, 5, 14

# A job far outside counts as one range's width outside: a single wild one moves no mean.
_OVER_TIME: Final = f"""
WITH {{jobs}},
seen AS (
    SELECT jobs.*, least(greatest(position, -1.0), 2.0) AS place,
           CASE WHEN %(campaign)s::date IS NULL THEN NULL
                WHEN taken_on >= %(campaign)s::date THEN {AFTER}
                WHEN taken_on >= %(campaign)s::date - interval '{LATELY_MONTHS} months'
                THEN {LATELY} ELSE {EARLIER} END AS phase
    FROM jobs
),
counted AS (
    SELECT grouping(j.month, j.kind, j.call, j.phase) AS counted_by,
           j.stage, j.month, j.kind, j.call, j.phase, {COUNTS},
           avg(j.place)::float AS place, coalesce(var_samp(j.place), 0.0)::float AS place_variance
    FROM seen j
    GROUP BY GROUPING SETS ((j.stage), (j.stage, j.month), (j.stage, j.month, j.kind),
                            (j.stage, j.month, j.call), (j.stage, j.phase))
),
cells AS (
    SELECT array_agg(site) AS sites, array_agg(stratum) AS strata, array_agg(month) AS months,
           array_agg(call) AS calls, array_agg(phase) AS phases, array_agg(total) AS totals,
           array_agg(inside) AS insides
    FROM (
        SELECT dense_rank() OVER (ORDER BY site_id) AS site,
               dense_rank() OVER (ORDER BY site_id, kind) AS stratum,
               (extract(year FROM month) * 12 + extract(month FROM month) - 1)::int AS month,
               call, phase, count(*) AS total,
               count(*) FILTER (WHERE NOT is_below AND NOT is_above) AS inside
        FROM seen WHERE stage = 'as_left'
        GROUP BY site_id, kind, call, month, phase
        ORDER BY site_id, kind, call, month, phase
    ) one
)
SELECT counted.*, cells.*
FROM counted
LEFT JOIN cells ON counted.counted_by = {_WHOLE} AND counted.stage = 'as_left'
ORDER BY counted.stage, counted.counted_by, counted.month, counted.kind, counted.call,
         counted.phase
"""


def over_time(
    filters: Filters, *, campaign: datetime.date | None = None, campaign_name: str = ""
) -> OverTime:
    """Return how jobs were found and left over the period; one statement.

    Parameters
    ----------
    filters
        The view; its stage is left out, for found and left stand apart.
    campaign, campaign_name
        A day before and after which the share left in range is compared, and what it is called.
    """
    found = rows(
        _OVER_TIME.format(jobs=jobs(filters)),
        {**parameters(filters), "step": "month", "campaign": campaign},
    )
    months = {
        stage: [row for row in found if row["counted_by"] == _BY_MONTH and row["stage"] == stage]
        for stage in (str(Stage.AS_FOUND), str(Stage.AS_LEFT))
    }
    whole = {row["stage"]: row for row in found if row["counted_by"] == _WHOLE}
    left_months = months[Stage.AS_LEFT]
    step = _step([row["month"] for stage in months.values() for row in stage])
    spanned = _spanned([row["month"] for row in left_months])
    part_step = _part_step(spanned)
    cells = cells_of(whole.get(Stage.AS_LEFT, {}))
    return OverTime(
        left=_held(Stage.AS_LEFT, left_months, step),
        found=_held(Stage.AS_FOUND, months[Stage.AS_FOUND], step),
        drift=_drift(left_months, step),
        calendar=_calendar(months),
        months_spanned=spanned,
        halves=halves_of_the_year(left_months, cells),
        calls=heating_and_cooling([row for row in found if row["counted_by"] == _BY_CALL], cells),
        kinds=_parts(found, _BY_KIND, "kind", part_step),
        by_call=_parts(found, _BY_CALL, "call", part_step),
        part_step=part_step,
        campaign=None
        if campaign is None
        else before_and_after(
            campaign,
            campaign_name,
            {
                row["phase"]: row
                for row in found
                if row["counted_by"] == _BY_PHASE and row["stage"] == Stage.AS_LEFT
            },
            cells,
        ),
        pending=sum(row["pending"] for row in whole.values()),
    )


def first_of(month: datetime.date, step: str) -> datetime.date:
    """Return the first day of the month, quarter or year that a month lies in."""
    if step == "year":
        return month.replace(month=1, day=1)
    if step == "quarter":
        return month.replace(month=(month.month - 1) // 3 * 3 + 1, day=1)
    return month.replace(day=1)


def _spanned(months: Sequence[datetime.date]) -> int:
    if not months:
        return 0
    first, last = min(months), max(months)
    return (last.year - first.year) * 12 + last.month - first.month + 1


def _step(months: Sequence[datetime.date]) -> str:
    spanned = _spanned(months)
    if spanned <= MOST_MONTHS:
        return "month"
    return "quarter" if spanned <= 3 * MOST_QUARTERS else "year"


def _part_step(spanned: int) -> str:
    if spanned <= PARTS_BY_MONTH_UP_TO:
        return "month"
    return "quarter" if spanned <= PARTS_BY_QUARTER_UP_TO else "year"


def _by_step(given: Iterable[Row], step: str) -> tuple[MonthShare, ...]:
    steps = grouped(given, lambda row: first_of(row["month"], step))
    shares = shares_of(list(steps.values()))
    return tuple(MonthShare(first, share) for first, share in zip(steps, shares, strict=True))


def _held(stage: str, months: Sequence[Row], step: str) -> HeldSteps:
    steps = _by_step(months, step)
    limits = month_limits([one.share.inside for one in steps], [one.share.total for one in steps])
    return HeldSteps(
        stage=str(stage),
        step=step,
        whole=added_share(months),
        steps=tuple(
            HeldStep(one.month, one.share, known(low), known(high), bool(differs))
            for one, low, high, differs in zip(
                steps, limits.low, limits.high, limits.differs, strict=True
            )
        ),
        centre=limits.centre,
        spread_sd=limits.spread_sd,
        has_spread=limits.has_spread,
    )


def _drift(months: Sequence[Row], step: str) -> SlowDrift | None:
    groups: dict[datetime.date, list[Row]] = {}
    for row in months:
        groups.setdefault(first_of(row["month"], step), []).append(row)
    if len(groups) < FEWEST_POINTS:
        return None
    jobs_of = [sum(row["total"] for row in group) for group in groups.values()]
    means = [
        sum(row["total"] * row["place"] for row in group) / count
        for group, count in zip(groups.values(), jobs_of, strict=True)
    ]
    freedom = sum(row["total"] - 1 for row in months)
    if freedom < 1:
        return None
    within = sum((row["total"] - 1) * row["place_variance"] for row in months) / freedom
    smoothed = smoothed_means(means, jobs_of, job_sd=math.sqrt(within))
    return SlowDrift(
        step=step,
        steps=tuple(
            DriftStep(first, count, mean, float(average), float(low), float(high))
            for first, count, mean, average, low, high in zip(
                groups, jobs_of, means, smoothed.average, smoothed.low, smoothed.high, strict=True
            )
        ),
        centre=smoothed.centre,
        sigmas=smoothed.sigmas,
    )


def _calendar(months: dict[str, list[Row]]) -> tuple[CalendarMonth, ...]:
    by_number = {
        stage: grouped(given, lambda row: row["month"].month) for stage, given in months.items()
    }
    found, left = (
        shares_of([by_number[stage].get(number, {}) for number in range(1, 13)])
        for stage in (str(Stage.AS_FOUND), str(Stage.AS_LEFT))
    )
    return tuple(
        CalendarMonth(number, found[number - 1], left[number - 1])
        for number in range(1, 13)
        if found[number - 1].total or left[number - 1].total
    )


def _parts(found: Sequence[Row], counted_by: int, name: str, step: str) -> tuple[Part, ...]:
    """Return kinds or calls that were measured as left, those with most jobs first."""
    mine = [row for row in found if row["counted_by"] == counted_by]
    keys = sorted({row[name] for row in mine if row["stage"] == Stage.AS_LEFT})
    level = 1.0 - 0.05 / max(len(keys), 1)
    parts = []
    for key in keys:
        left = [row for row in mine if row[name] == key and row["stage"] == Stage.AS_LEFT]
        slope = None
        if _spanned([row["month"] for row in left]) >= SHORTEST_TREND_MONTHS:
            slope = share_slope(
                [row["total"] - row["below"] - row["above"] for row in left],
                [row["total"] for row in left],
                [row["month"].year + row["month"].month / 12.0 for row in left],
                level=level,
            )
        parts.append(
            Part(
                key=key,
                found=added_share(
                    row for row in mine if row[name] == key and row["stage"] == Stage.AS_FOUND
                ),
                left=added_share(left),
                steps=_by_step(left, step),
                per_year=known_change(slope.slope) if slope else None,
                low=known_change(slope.low) if slope else None,
                high=known_change(slope.high) if slope else None,
            )
        )
    return tuple(sorted(parts, key=lambda part: (-part.left.total, part.key)))
