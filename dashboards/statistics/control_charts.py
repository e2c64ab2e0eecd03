"""Control charts: a series against the limits that its own scatter sets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# Constants for moving ranges of two, as the tables of statistical process control print them
# (d2 is 2/sqrt(pi) = 1.12838, d3 is sqrt(2 - 4/pi) = 0.85250): NIST/SEMATECH e-Handbook of
# Statistical Methods, 6.3.2. Limits then agree with what others draw.
D2: Final = 1.128
D3: Final = 0.853
D4: Final = 3.267
E2: Final = 3.0 / D2


def ewma(value: ArrayLike, *, weight: float, start: float) -> Floats:
    """Return the exponentially weighted moving average of a series.

    Parameters
    ----------
    value
        The series in order of time, shape (n,).
    weight
        Weight of the newest value, above 0 and up to 1.
    start
        The average before the first value, usually the target.

    Returns
    -------
    array
        Averages, shape (n + 1,); the first is `start`.

    Raises
    ------
    ValueError
        If the weight is out of its range.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
    """
    if not 0.0 < weight <= 1.0:
        raise ValueError(f"weight must be above 0 and up to 1, not {weight}")
    averages = [float(start)]
    for one in np.asarray(value, float):
        averages.append(weight * float(one) + (1.0 - weight) * averages[-1])
    return np.array(averages)


def ewma_limits(*, centre: float, sd: float, weight: float, sigmas: float) -> tuple[float, float]:
    """Return the limits that an EWMA settles to.

    Parameters
    ----------
    centre
        The target.
    sd
        Standard deviation of single values, not negative.
    weight
        The weight of `ewma`.
    sigmas
        Half-width in standard deviations of the average.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4:
    centre -/+ k s sqrt(weight/(2 - weight)).
    """
    half = sigmas * sd * (weight / (2.0 - weight)) ** 0.5
    return centre - half, centre + half


@dataclass(frozen=True, slots=True)
class Individuals:
    """Limits of a chart of single values and of their moving ranges."""

    centre: float
    mean_moving_range: float
    low: float
    high: float
    moving_range_high: float


def individuals(value: ArrayLike) -> Individuals:
    """Return the limits of a chart of individuals.

    Parameters
    ----------
    value
        At least two values in order of time, shape (n,).

    Raises
    ------
    ValueError
        If there are fewer than two.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    x = np.asarray(value, float)
    if x.ndim != 1 or x.size < 2:
        raise ValueError("a chart of individuals needs at least two values")
    centre = float(np.mean(x))
    moving = float(np.mean(np.abs(np.diff(x))))
    return Individuals(
        centre=centre,
        mean_moving_range=moving,
        low=centre - E2 * moving,
        high=centre + E2 * moving,
        moving_range_high=D4 * moving,
    )


@dataclass(frozen=True, slots=True)
class Proportions:
    """Limits of a chart of proportions, and which samples lie beyond them."""

    centre: float
    low: Floats
    high: Floats
    outside: tuple[int, ...]
    """Numbers of the samples, counted from 1."""


def proportions(count: ArrayLike, total: ArrayLike) -> Proportions:
    """Return the limits of a p-chart, three standard deviations either way, clipped to 0 and 1.

    Parameters
    ----------
    count
        How many in each sample, shape (n,).
    total
        Sizes of the samples (1 or more), shape (n,) or scalar.

    Raises
    ------
    ValueError
        If a count is negative or above its sample's size.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2.
    """
    k, n = np.broadcast_arrays(np.asarray(count, float), np.asarray(total, float))
    if np.any(k < 0) or np.any(k > n) or np.any(n < 1):
        raise ValueError("count must be from 0 to total, and total 1 or more")
    centre = float(np.sum(k) / np.sum(n))
    half = 3.0 * np.sqrt(centre * (1.0 - centre) / n)
    low, high = np.clip(centre - half, 0.0, 1.0), np.clip(centre + half, 0.0, 1.0)
    beyond = np.flatnonzero((k / n < low) | (k / n > high))
    return Proportions(centre, low, high, tuple(int(index) + 1 for index in np.atleast_1d(beyond)))


def ewma_band(
    sd: ArrayLike, *, centre: float, weight: float, sigmas: float
) -> tuple[Floats, Floats]:
    """Return the limits of an EWMA whose values are not equally sure.

    Parameters
    ----------
    sd
        Standard deviation of each value in order of time, shape (n,).
    centre
        What the average starts at.
    weight, sigmas
        As for `ewma_limits`.

    Returns
    -------
    tuple of arrays
        Low and high limit after each value, shape (n,).

    Notes
    -----
    The variance of `ewma` followed step by step, weight^2 s^2 + (1 - weight)^2 (the one before);
    with equal standard deviations it settles to `ewma_limits` (NIST/SEMATECH e-Handbook of
    Statistical Methods, 6.3.2.4).
    """
    variance, variances = 0.0, []
    for one in np.asarray(sd, float):
        variance = weight**2 * float(one) ** 2 + (1.0 - weight) ** 2 * variance
        variances.append(variance)
    half = sigmas * np.sqrt(np.array(variances))
    return centre - half, centre + half
