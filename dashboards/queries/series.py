"""A system's measurements as series: one call, in stretches, and where they change at once."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import Final
from uuid import UUID

import numpy as np

from airflow_jobs.models import Stage

from ..statistics.steps import Change, clearest_change
from ..values.systems import Measurement

SECONDS_A_YEAR: Final = 365.25 * 86400.0

# Repeatability of log flow between visits: 1.5-2.5 % with one meter, 4 % with several
# (common practice, from memory).
SAME_METER_SD: Final = 0.02
OTHER_METER_SD: Final = 0.04

# A trend and a step rest on the latest so many.
MOST: Final = 40
# More changes than these in the part that is looked at are no changes but a system that wanders.
MOST_CHANGES: Final = 3


def usual_call(measurements: Sequence[Measurement]) -> str:
    """Return the call under which a system was judged most often, the later one at a tie."""
    calls = Counter(one.call for one in measurements if one.judged is not None)
    if not calls:
        return ""
    order = {one.call: index for index, one in enumerate(measurements)}
    return max(calls, key=lambda call: (calls[call], order[call]))


def series_of(measurements: Sequence[Measurement], call: str) -> list[Measurement]:
    """Return what a trend or a step under one call rests on, the latest `MOST` of it."""
    found = [
        one
        for one in measurements
        if one.call == call
        and one.stage != Stage.CHECK
        and one.judged is not None
        and one.judged.value > 0
        and one.judged.target_low > 0
    ]
    return found[-MOST:]


def stretches_between_adjustments(measurements: Sequence[Measurement]) -> list[int]:
    """Number the stretches: each adjustment, and each as-left measurement, begins one."""
    numbers = []
    left = 0
    for one in measurements:
        left += one.stage == Stage.AS_LEFT
        numbers.append(left + one.adjustments_before)
    return numbers


def apart_from(stretch: Sequence[int], place: int) -> list[int]:
    """Return the stretches with what lies beyond a place in one of its own."""
    return [number + (index > place) for index, number in enumerate(stretch)]


def stretches_between_steps(series: Sequence[Measurement]) -> list[int]:
    """Number the stretches between adjustments and steps: a step is no part of a slow change."""
    stretch = stretches_between_adjustments(series)
    for _ in range(MOST_CHANGES):
        change = clearest(series, stretch)
        if change is None or not change.is_step:
            break
        stretch = apart_from(stretch, change.after)
    return stretch


def clearest(series: Sequence[Measurement], stretch: Sequence[int]) -> Change | None:
    """Return the clearest change of level in the stretches, or nothing that is sure."""
    meters = {one.instrument_id for one in series}
    sd = SAME_METER_SD if len(meters) == 1 else OTHER_METER_SD
    change = clearest_change(
        np.array([one.taken_at.timestamp() / SECONDS_A_YEAR for one in series]),
        np.array([math.log(one.judged.value) for one in series if one.judged is not None]),
        stretch=np.array(stretch, int),
        value_sd=sd,
        swap_sd=np.array(
            [
                SAME_METER_SD if _is_one_for_one(series, stretch, place) else sd
                for place in range(len(series) - 1)
            ]
        ),
    )
    if change is None or not change.is_sure:
        return None
    return change


def takes_over(series: Sequence[Measurement], stretch: Sequence[int], place: int) -> bool:
    """Return whether no meter was used on both sides, so that the change may be the meter's."""
    before, after = _sides(series, stretch, place)
    return before.isdisjoint(after)


def _is_one_for_one(series: Sequence[Measurement], stretch: Sequence[int], place: int) -> bool:
    before, after = _sides(series, stretch, place)
    return len(before) == len(after) == 1 and len({one.instrument_id for one in series}) == 2


def _sides(
    series: Sequence[Measurement], stretch: Sequence[int], place: int
) -> tuple[set[UUID | None], set[UUID | None]]:
    """Return the meters of the stretch before and after a place."""
    here = [index for index, number in enumerate(stretch) if number == stretch[place]]
    before = {series[index].instrument_id for index in here if index <= place}
    after = {series[index].instrument_id for index in here if index > place}
    return before, after
