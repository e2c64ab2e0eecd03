"""Two groups of jobs, like with like: halves of the year, calls, before and after a day."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from airflow_jobs.models import Call, Stage

from ..statistics.intervals import share_difference
from ..statistics.stratified import stratified_difference
from ..values.over_time import Campaign, Contrast
from ..values.shares import Share
from .counted import Row, added_share, grouped, known, known_change
from .shares import shares_of

Numbers = NDArray[np.int_]

OCTOBER_TO_MARCH: Final = (10, 11, 12, 1, 2, 3)

# When a job was done: long before the day, in the months just before it, since.
EARLIER, LATELY, AFTER = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Cells:
    """Jobs as left, counted by site, kind, call, month and phase: arrays of one shape (n,)."""

    site: Numbers
    stratum: Numbers
    month: Numbers
    call: NDArray[np.str_]
    phase: Numbers
    total: Numbers
    inside: Numbers

    def contrast(
        self, first: Share, second: Share, *, kept: NDArray[np.bool_], is_second: NDArray[np.bool_]
    ) -> Contrast:
        """Compare two groups of the cells that are kept, at the same sites, of the same kinds."""
        found = stratified_difference(
            count=self.inside[kept],
            total=self.total[kept],
            group=is_second[kept].astype(int),
            stratum=self.stratum[kept],
            month=self.month[kept],
            site=self.site[kept],
        )
        return Contrast(
            first=first,
            second=second,
            difference=known(found.difference),
            low=known_change(found.low),
            high=known_change(found.high),
            compared=found.total,
            alone=found.alone,
            strata=found.strata,
            months=found.months,
            month_sd=found.month_sd,
            site_sd=found.site_sd,
        )


def cells_of(whole: Row) -> Cells:
    """Read the cells from the arrays of one row; without them there are none."""

    def numbers(name: str) -> Numbers:
        given = whole.get(name) or ()
        return np.array([0 if one is None else one for one in given], dtype=int)

    return Cells(
        site=numbers("sites"),
        stratum=numbers("strata"),
        month=numbers("months"),
        call=np.array(whole.get("calls") or (), dtype=str),
        phase=numbers("phases"),
        total=numbers("totals"),
        inside=numbers("insides"),
    )


def halves_of_the_year(months: Sequence[Row], cells: Cells) -> Contrast | None:
    """Compare October to March with April to September."""
    groups = grouped(months, lambda row: row["month"].month in OCTOBER_TO_MARCH)
    if len(groups) < 2:
        return None
    first, second = shares_of([groups[False], groups[True]])
    is_second = np.isin(cells.month % 12 + 1, OCTOBER_TO_MARCH)
    return cells.contrast(first, second, kept=np.ones(is_second.shape, bool), is_second=is_second)


def heating_and_cooling(given: Sequence[Row], cells: Cells) -> Contrast | None:
    """Compare jobs measured in heating with those measured in cooling."""
    groups = grouped(
        (row for row in given if row["stage"] == Stage.AS_LEFT), lambda row: row["call"]
    )
    if not {str(Call.COOLING), str(Call.HEATING)} <= set(groups):
        return None
    first, second = shares_of([groups[Call.COOLING], groups[Call.HEATING]])
    is_second = cells.call == str(Call.HEATING)
    return cells.contrast(
        first, second, kept=is_second | (cells.call == str(Call.COOLING)), is_second=is_second
    )


def before_and_after(
    day: datetime.date, name: str, by_phase: dict[int, Row], cells: Cells
) -> Campaign:
    """Compare what was left before a day with what was left since.

    Parameters
    ----------
    day, name
        The day, and what it is called.
    by_phase
        Counts of the jobs as left by `EARLIER`, `LATELY` and `AFTER`.
    cells
        The same jobs.
    """
    earlier, lately, after = (by_phase.get(phase) for phase in (EARLIER, LATELY, AFTER))

    def share(*given: Row | None) -> Share:
        return added_share(row for row in given if row is not None)

    before_share, after_share = share(earlier, lately), share(after)
    everything = np.ones(cells.phase.shape, bool)
    is_after = cells.phase == AFTER
    low, high = (
        share_difference(
            count=after_share.inside,
            total=after_share.total,
            count_before=before_share.inside,
            total_before=before_share.total,
        )
        if before_share.total and after_share.total
        else (np.array(np.nan), np.array(np.nan))
    )
    return Campaign(
        on=day,
        name=name,
        contrast=cells.contrast(before_share, after_share, kept=everything, is_second=is_after),
        plain_low=known(float(low)),
        plain_high=known(float(high)),
        lately=share(lately),
        earlier=share(earlier),
        without_lately=cells.contrast(
            share(earlier), after_share, kept=cells.phase != LATELY, is_second=is_after
        )
        if earlier and lately and after
        else None,
    )
