"""The trend of one system: a line that outliers do not tilt, and when it leaves the range.

Measurements between two adjustments form a *stretch*; an adjustment moves the level and leaves
the slope alone, so slopes are taken within stretches and pooled over them. All functions work
on many systems at once: the last axis holds one system's measurements, padded with NaN.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, ndtri, stdtrit

Floats = NDArray[np.float64]

# Those of five measurements: with fewer, Sen's limits don't reach 95 %.
FEWEST_PAIRS: Final = 10


@dataclass(frozen=True, slots=True)
class Line:
    """Slopes with their limits and where the last stretch stands; arrays of shape (…)."""

    slope: Floats
    slope_low: Floats
    slope_high: Floats
    centre_time: Floats
    """Mean time of the last stretch."""
    centre_value: Floats
    """Height of the line at `centre_time`."""
    centre_u: Floats
    """Standard uncertainty of `centre_value`."""
    pairs: NDArray[np.int_]
    """How many pairs of measurements the slope rests on."""
    tau: Floats
    """Kendall's rank correlation: pairs that rise less pairs that fall, over all pairs."""


def theil_sen(
    time: ArrayLike,
    value: ArrayLike,
    *,
    stretch: ArrayLike | None = None,
    value_sd: ArrayLike | None = None,
    level: float = 0.95,
) -> Line:
    """Return the median of pairwise slopes with an interval, for many series at once.

    Parameters
    ----------
    time
        Instants in any unit of time, shape (…, k), in order; NaN pads.
    value
        What was measured, shape (…, k); NaN where there is nothing.
    stretch
        Numbers of the stretches between adjustments, shape (…, k), not falling along the last
        axis; only measurements of one stretch are compared. None: all are one stretch.
    value_sd
        Known repeatability of each value, shape (…, k). Where given, the interval is the wider,
        at each end, of Sen's and the one that follows from it; with two or three measurements
        Sen's alone would be no interval at all. Values that scatter more than that about their
        line are given what they show.
    level
        Two-sided confidence, between 0 and 1.

    Returns
    -------
    Line
        Slopes in value per unit of time; NaN where no two measurements can be compared.

    Raises
    ------
    ValueError
        If shapes don't agree or the level is not between 0 and 1.

    Notes
    -----
    P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379, for the median slope and its limits with
    Kendall's variance, ties as in M. G. Kendall, "Rank Correlation Methods"; pooling over
    stretches as R. M. Hirsch, J. R. Slack and R. A. Smith, Water Resources Research 18 (1982)
    107, pool over seasons. The interval from a known standard deviation is that of the
    least-squares slope.

    Examples
    --------
    >>> line = theil_sen([1, 2, 3, 4, 5, 6, 7], [1, 2, 3, 4, 5, 16, 7])
    >>> float(line.slope)
    1.0
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must be between 0 and 1, not {level}")
    z = float(ndtri(0.5 + level / 2.0))
    t, y = np.asarray(time, float), np.asarray(value, float)
    if t.shape != y.shape or t.ndim == 0:
        raise ValueError(f"time and value must have one shape, not {t.shape} and {y.shape}")
    groups = np.zeros(t.shape, int) if stretch is None else np.asarray(stretch, int)
    if groups.shape != t.shape:
        raise ValueError(f"stretch must have the shape {t.shape}, not {groups.shape}")
    present = np.isfinite(t) & np.isfinite(y)
    together = (
        (groups[..., :, None] == groups[..., None, :])
        & present[..., :, None]
        & present[..., None, :]
    )
    slopes = _sorted_slopes(t, y, together)
    pairs = np.sum(np.isfinite(slopes), axis=-1)
    slope = _median_of_sorted(slopes, pairs)
    low, high = _sen_limits(slopes, pairs, np.sqrt(_kendall_variance(t, y, together)), z)
    sd = None if value_sd is None else np.where(present, np.asarray(value_sd, float), 0.0)
    if sd is not None:
        half = _half_width(t, y, present, together, slope, pairs, sd, level)
        low, high = np.fmin(low, slope - half), np.fmax(high, slope + half)
    last = _last_stretch(t, y, groups, present, slope, sd)
    return Line(slope, low, high, *last, pairs, _tau(slopes, pairs))


def _sorted_slopes(t: Floats, y: Floats, together: NDArray[np.bool_]) -> Floats:
    first, second = np.triu_indices(t.shape[-1], k=1)
    step = t[..., second] - t[..., first]
    comparable = together[..., first, second] & (step != 0)
    rise = y[..., second] - y[..., first]
    slopes = np.where(comparable, rise, np.nan) / np.where(comparable, step, 1.0)
    return np.sort(slopes, axis=-1)


def _at(values: Floats, index: NDArray[np.int_], pairs: NDArray[np.int_]) -> Floats:
    if values.shape[-1] == 0:
        return np.full(pairs.shape, np.nan)
    inside = np.clip(index, 0, np.maximum(pairs - 1, 0))
    taken: Floats = np.take_along_axis(values, inside[..., None], axis=-1)[..., 0]
    return taken


def _median_of_sorted(values: Floats, pairs: NDArray[np.int_]) -> Floats:
    middle: Floats = 0.5 * (_at(values, (pairs - 1) // 2, pairs) + _at(values, pairs // 2, pairs))
    return middle


def _tau(slopes: Floats, pairs: NDArray[np.int_]) -> Floats:
    some = pairs > 0
    balance = np.nansum(np.sign(slopes), axis=-1) / np.maximum(pairs, 1)
    tau: Floats = np.where(some, balance, np.nan)
    return tau


def _kendall_variance(t: Floats, y: Floats, together: NDArray[np.bool_]) -> Floats:
    """Return the variance of Kendall's S: summed over stretches, less what ties take away."""

    def group_terms(same: NDArray[np.bool_]) -> Floats:
        # Each of a group's n members adds (n - 1)(2n + 5)/18, the group n(n - 1)(2n + 5)/18.
        size = np.sum(same, axis=-1)
        terms: Floats = np.sum(np.where(size > 0, (size - 1) * (2 * size + 5), 0), axis=-1) / 18.0
        return terms

    same_y = together & (y[..., :, None] == y[..., None, :])
    same_t = together & (t[..., :, None] == t[..., None, :])
    return np.maximum(group_terms(together) - group_terms(same_y) - group_terms(same_t), 0.0)


def _sen_limits(
    slopes: Floats, pairs: NDArray[np.int_], s_sd: Floats, z: float
) -> tuple[Floats, Floats]:
    high = np.round((pairs + z * s_sd) / 2.0).astype(int)
    low = np.round((pairs - z * s_sd) / 2.0).astype(int) - 1
    return _at(slopes, low, pairs), _at(slopes, high, pairs)


def _half_width(
    t: Floats,
    y: Floats,
    present: NDArray[np.bool_],
    together: NDArray[np.bool_],
    slope: Floats,
    pairs: NDArray[np.int_],
    sd: Floats,
    level: float,
) -> Floats:
    """Return the half-width that the known scatter gives, or the scatter seen where it is more.

    Sen's limits reach their confidence from five measurements on. With fewer, values that jump
    about can fall in a row by chance; if they lie further from their line than the known
    scatter explains, the scatter about the line takes its place, with Student's t.
    """
    size = np.maximum(np.sum(together, axis=-1), 1)

    def within(x: Floats) -> Floats:
        filled = np.where(present, x, 0.0)
        mean = np.sum(np.where(together, filled[..., None, :], 0.0), axis=-1) / size
        away: Floats = np.where(present, filled - mean, 0.0)
        return away

    away = within(t)
    spread = np.sum(away**2, axis=-1)
    comparable = spread > 0
    divisor = np.where(comparable, spread, 1.0)
    known = float(ndtri(0.5 + level / 2.0)) * np.sqrt(np.sum((away * sd) ** 2, axis=-1)) / divisor
    tilt = np.where(np.isfinite(slope), slope, 0.0)[..., None]
    residual = within(y) - tilt * away
    weight = np.where(sd > 0, 1.0 / np.where(sd > 0, sd, 1.0), 0.0)
    misfit = np.sum((residual * weight) ** 2, axis=-1)
    # Stretches of one measurement add as much to the count as to the means: nothing.
    freedom = np.sum(np.where(present, 1.0 - 1.0 / size, 0.0), axis=-1) - 1.0
    usable = np.maximum(freedom, 1.0)
    scatter = np.sqrt(np.sum(residual**2, axis=-1) / usable / divisor)
    seen = stdtrit(usable, 0.5 + level / 2.0) * scatter
    jumps = (freedom > 0.5) & (pairs < FEWEST_PAIRS) & (misfit > chdtri(usable, 1.0 - level))
    half: Floats = np.where(comparable, np.where(jumps, np.maximum(known, seen), known), np.nan)
    return half


def _last_stretch(
    t: Floats,
    y: Floats,
    groups: NDArray[np.int_],
    present: NDArray[np.bool_],
    slope: Floats,
    sd: Floats | None,
) -> tuple[Floats, Floats, Floats]:
    last = np.max(np.where(present, groups, -1), axis=-1, initial=-1)
    here = present & (groups == last[..., None])
    count = np.sum(here, axis=-1)
    some = count > 0
    divisor = np.maximum(count, 1)
    centre = np.sum(np.where(here, t, 0.0), axis=-1) / divisor
    tilt = np.where(np.isfinite(slope), slope, 0.0)[..., None] * (t - centre[..., None])
    heights = np.sort(np.where(here, y - tilt, np.nan), axis=-1)
    value = _median_of_sorted(heights, count)
    if sd is None:
        u = np.full(value.shape, np.nan)
    else:
        u = np.sqrt(np.sum(np.where(here, sd, 0.0) ** 2, axis=-1)) / divisor
    nothing = np.nan
    return (
        np.where(some, centre, nothing),
        np.where(some, value, nothing),
        np.where(some, u, nothing),
    )


@dataclass(frozen=True, slots=True)
class Leaving:
    """When a line leaves the range: times of shape (…), NaN where it is not foreseeable."""

    expected: Floats
    earliest: Floats
    latest: Floats
    """Infinite where the slower end of the interval never reaches the limit."""


def leaving_time(line: Line, *, low: ArrayLike, high: ArrayLike, level: float = 0.95) -> Leaving:
    """Return when each line is expected to leave its range, with both ends.

    Parameters
    ----------
    line
        From `theil_sen`.
    low, high
        The range in the unit of the line's values, shape (…).
    level
        Confidence of the ends, the one that the line's limits have.

    Returns
    -------
    Leaving
        Times on the scale of the line's own; NaN where the slope's interval holds zero, where
        the line stands outside already, or where it cannot be said.

    Notes
    -----
    The expected time is where the line meets the limit. The ends are where the band
    ``line -/+ sqrt((z u)^2 + (slope half-width * time)^2)`` meets it: inverse prediction, as
    E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175, solves it.
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must be between 0 and 1, not {level}")
    z = float(ndtri(0.5 + level / 2.0))
    falling = line.slope_high < 0
    rising = line.slope_low > 0
    limit = np.where(falling, low, high)
    # Turned so that every line falls from `gap` above its limit towards zero.
    sign = np.where(falling, 1.0, -1.0)
    gap = sign * (line.centre_value - limit)
    speed = -sign * line.slope
    faster = np.where(falling, line.slope - line.slope_low, line.slope_high - line.slope)
    slower = np.where(falling, line.slope_high - line.slope, line.slope - line.slope_low)
    blur = z * np.where(np.isfinite(line.centre_u), line.centre_u, 0.0)
    moves = (falling | rising) & (gap > 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        expected = gap / speed
        earliest = _crossing(gap, speed, blur, faster, early=True)
        latest = _crossing(gap, speed, blur, slower, early=False)
    start = line.centre_time
    return Leaving(
        np.where(moves, start + expected, np.nan),
        np.where(moves, start + earliest, np.nan),
        np.where(moves, start + latest, np.nan),
    )


def _crossing(gap: Floats, speed: Floats, blur: Floats, half: Floats, *, early: bool) -> Floats:
    """Solve gap - speed x -/+ sqrt(blur^2 + half^2 x^2) = 0 for the time x >= 0."""
    a = speed**2 - half**2
    b = gap * speed
    c = gap**2 - blur**2
    root = np.sqrt(np.maximum(b**2 - a * c, 0.0))
    if early:
        # A level within its own blur of the limit may be there already.
        x = np.where(c > 0, c / (b + root), 0.0)
        return np.maximum(x, 0.0)
    return np.where(a > 0, (b + root) / np.where(a > 0, a, 1.0), np.inf)
