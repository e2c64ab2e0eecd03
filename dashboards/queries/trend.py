"""The trend of systems: measurements into arrays, lines into values."""

from __future__ import annotations

import datetime
import math
from collections import Counter
from collections.abc import Sequence
from typing import Final

import numpy as np

from airflow_jobs.models import Stage

from ..statistics.trends import leaving_time, theil_sen
from ..values.systems import Measurement, Trend

SECONDS_A_YEAR: Final = 365.25 * 86400.0

# Repeatability of log flow between visits: 1.5-2.5 % with one meter, 4 % with several
# (common practice, from memory).
SAME_METER_SD: Final = 0.02
OTHER_METER_SD: Final = 0.04

# Nobody plans further ahead, and no straight line holds that long.
FORESEEABLE_YEARS: Final = 10.0
FEWEST: Final = 3
MOST: Final = 40

# A fall shows in a stretch without adjustments that was measured on three days over half a year.
# Between two visits it can't be told from a step, such as a system that slips back as soon as
# it was set right; of those, pairs would make a steep line.
FEWEST_DAYS: Final = 3
SHORTEST_STRETCH: Final = datetime.timedelta(days=180)


def usual_call(measurements: Sequence[Measurement]) -> str:
    """Return the call under which a system was judged most often, the later one at a tie."""
    calls = Counter(one.call for one in measurements if one.judged is not None)
    if not calls:
        return ""
    order = {one.call: index for index, one in enumerate(measurements)}
    return max(calls, key=lambda call: (calls[call], order[call]))


def trends(systems: Sequence[Sequence[Measurement]]) -> list[Trend | None]:
    """Return each system's trend, or nothing where there is too little to say.

    Parameters
    ----------
    systems
        Each system's measurements in order of time; those judged under the usual call count.
    """
    series = [_series(measurements) for measurements in systems]
    longest = max((len(one) for one in series), default=0)
    if longest < FEWEST:
        return [None] * len(series)
    shape = (len(series), longest)
    time, value, sd = np.full(shape, np.nan), np.full(shape, np.nan), np.full(shape, np.nan)
    stretch = np.zeros(shape, int)
    limits = np.full((len(series), 2), np.nan)
    for index, one in enumerate(series):
        size = len(one)
        if size < FEWEST:
            continue
        judged = [(m, m.judged) for m in one if m.judged is not None]
        time[index, :size] = [m.taken_at.timestamp() / SECONDS_A_YEAR for m, _ in judged]
        value[index, :size] = [math.log(j.value) for _, j in judged]
        meters = {m.instrument_id for m, _ in judged}
        sd[index, :size] = SAME_METER_SD if len(meters) == 1 else OTHER_METER_SD
        stretch[index, :size] = _stretches(one)
        last = judged[-1][1]
        limits[index] = math.log(last.target_low), math.log(last.target_high)
    line = theil_sen(time, value, stretch=stretch, value_sd=sd)
    leaving = leaving_time(line, low=limits[:, 0], high=limits[:, 1])
    return [
        None
        if line.pairs[index] < 1
        else Trend(
            per_year=math.expm1(line.slope[index]),
            per_year_low=math.expm1(line.slope_low[index]),
            per_year_high=math.expm1(line.slope_high[index]),
            pairs=int(line.pairs[index]),
            since=_since(series[index], stretch[index]),
            centre_at=_instant(line.centre_time[index]),
            centre_value=math.exp(line.centre_value[index]),
            leaves_on=_foreseeable(leaving.expected[index], line.centre_time[index]),
            leaves_earliest_on=_foreseeable(leaving.earliest[index], line.centre_time[index]),
            leaves_latest_on=_foreseeable(leaving.latest[index], line.centre_time[index]),
        )
        for index in range(len(series))
    ]


def _series(measurements: Sequence[Measurement]) -> list[Measurement]:
    call = usual_call(measurements)
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


def _stretches(measurements: Sequence[Measurement]) -> list[int]:
    """Number the stretches between adjustments: each as-left measurement begins one.

    What belongs to no stretch long enough to show a trend stands alone: it says where the
    system is, and nothing of where it goes.
    """
    numbers = []
    left = 0
    for one in measurements:
        left += one.stage == Stage.AS_LEFT
        numbers.append(left + one.adjustments_before)
    days: dict[int, list[datetime.date]] = {}
    for number, one in zip(numbers, measurements, strict=True):
        days.setdefault(number, []).append(one.taken_at.date())
    long_enough = {
        number
        for number, when in days.items()
        if len(set(when)) >= FEWEST_DAYS and max(when) - min(when) >= SHORTEST_STRETCH
    }
    # Numbers are spread so that those that stand alone fit in between, in order.
    size = len(numbers) + 1
    return [
        number * size + (0 if number in long_enough else place)
        for place, number in enumerate(numbers)
    ]


def _since(series: Sequence[Measurement], stretch: Sequence[int]) -> datetime.datetime:
    last = stretch[len(series) - 1]
    return next(
        one.taken_at for one, number in zip(series, stretch, strict=False) if number == last
    )


def _instant(year: float) -> datetime.datetime:
    return datetime.datetime.fromtimestamp(year * SECONDS_A_YEAR, datetime.UTC)


def _foreseeable(year: float, start: float) -> datetime.date | None:
    if not math.isfinite(year) or year - start > FORESEEABLE_YEARS:
        return None
    return _instant(year).date()
