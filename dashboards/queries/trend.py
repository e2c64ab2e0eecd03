"""The trend of systems: measurements into arrays, lines into values."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from ..statistics.trends import leaving_time, theil_sen
from ..values.systems import Measurement, Trend
from .series import (
    OTHER_METER_SD,
    SAME_METER_SD,
    SECONDS_A_YEAR,
    series_of,
    stretches_between_adjustments,
    stretches_between_steps,
    usual_call,
)

# Nobody plans further ahead, and no straight line holds that long.
FORESEEABLE_YEARS: Final = 10.0
FEWEST: Final = 3
# Measurements minutes apart make lines as steep as one likes; beyond a thousandfold a year they
# say nothing more.
STEEPEST: Final = math.log(1000.0)

# A fall shows in a stretch without adjustments that was measured on three days over half a year.
# Between two visits it can't be told from a step, such as a system that slips back as soon as
# it was set right; of those, pairs would make a steep line.
FEWEST_DAYS: Final = 3
SHORTEST_STRETCH: Final = datetime.timedelta(days=180)


def trends(systems: Sequence[Sequence[Measurement]]) -> list[Trend | None]:
    """Return each system's trend, or nothing where there is too little to say.

    Parameters
    ----------
    systems
        Each system's measurements in order of time; those judged under the usual call count.
    """
    return _lines([series_of(one, usual_call(one)) for one in systems])


def trends_by_call(measurements: Sequence[Measurement]) -> dict[str, Trend | None]:
    """Return one system's trend under each call it was judged under, the usual call first."""
    usual = usual_call(measurements)
    judged = {one.call for one in measurements if one.judged is not None}
    calls = sorted(judged, key=lambda call: (call != usual, call))
    lines = _lines([series_of(measurements, call) for call in calls])
    return dict(zip(calls, lines, strict=True))


def _lines(series: Sequence[Sequence[Measurement]]) -> list[Trend | None]:
    """Return the line of each series; what changed at a step is no slow change."""
    plain = [stretches_between_adjustments(one) for one in series]
    found = _fitted(series, plain)
    # Steps are looked for only where they would pass for a trend: that is few systems of many.
    certain = [index for index, one in enumerate(found) if one is not None and one.is_certain]
    apart = {index: stretches_between_steps(series[index]) for index in certain}
    stepped = [index for index in certain if apart[index] != plain[index]]
    again = _fitted([series[index] for index in stepped], [apart[index] for index in stepped])
    for index, one in zip(stepped, again, strict=True):
        found[index] = one
    return found


def _fitted(
    series: Sequence[Sequence[Measurement]], stretches: Sequence[Sequence[int]]
) -> list[Trend | None]:
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
        stretch[index, :size] = _long_enough(one, stretches[index])
        last = judged[-1][1]
        limits[index] = math.log(last.target_low), math.log(last.target_high)
    line = theil_sen(time, value, stretch=stretch, value_sd=sd)
    leaving = leaving_time(line, low=limits[:, 0], high=limits[:, 1])
    return [
        None
        if line.pairs[index] < 1
        else Trend(
            per_year=_relative(line.slope[index]),
            per_year_low=_relative(line.slope_low[index]),
            per_year_high=_relative(line.slope_high[index]),
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


def _long_enough(measurements: Sequence[Measurement], numbers: Sequence[int]) -> list[int]:
    """Number the stretches anew so that only those are one that are long enough for a trend.

    What belongs to none stands alone: it says where the system is, and nothing of where it goes.
    """
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


def _relative(slope: float) -> float:
    return math.expm1(min(slope, STEEPEST))


def _instant(year: float) -> datetime.datetime:
    return datetime.datetime.fromtimestamp(year * SECONDS_A_YEAR, datetime.UTC)


def _foreseeable(year: float, start: float) -> datetime.date | None:
    if not math.isfinite(year) or year - start > FORESEEABLE_YEARS:
        return None
    return _instant(year).date()
