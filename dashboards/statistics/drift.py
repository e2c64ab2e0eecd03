"""Slow change of the whole: a smoothed mean against its limits, and the slope of a share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from .control_charts import D2, ewma, ewma_band

Floats = NDArray[np.float64]

FEWEST_POINTS: Final = 6
WEIGHT: Final = 0.3
SIGMAS: Final = 2.7
SIGMAS_OF_MANY: Final = 3.0
MANY_POINTS: Final = 18
"""More points have more chances to lie beyond a limit."""
FEWEST_MONTHS: Final = 3


@dataclass(frozen=True, slots=True)
class Smoothed:
    """A moving average against its limits; arrays of shape (n,)."""

    centre: float
    average: Floats
    low: Floats
    high: Floats
    sigmas: float
    scatter: float
    """How many times as much the means scatter as their jobs explain, 1 at least."""


def smoothed_means(mean: ArrayLike, jobs: ArrayLike, *, job_sd: float) -> Smoothed:
    """Return the exponentially weighted moving average of means with its limits.

    Parameters
    ----------
    mean
        Means in order of time, shape (n,).
    jobs
        How many jobs each is the mean of, 1 or more, shape (n,).
    job_sd
        Standard deviation of a single job about its mean.

    Returns
    -------
    Smoothed
        The average starts at the mean of all jobs.

    Raises
    ------
    ValueError
        If there are fewer than two means, or shapes differ.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4, with the limits of means that are
    not equally sure. Where neighbouring means differ by more than their jobs explain, the limits
    are as much wider (D. B. Laney, Quality Engineering 14 (2002) 531, for proportions): their
    mean moving range over `D2`.
    """
    m, n = np.asarray(mean, float), np.asarray(jobs, float)
    if m.ndim != 1 or m.shape != n.shape or m.size < 2:
        raise ValueError("mean and jobs must have one shape (n,), two at least")
    centre = float(np.sum(m * n) / np.sum(n))
    sd = np.full(m.shape, job_sd) / np.sqrt(n)
    scatter = 1.0
    if job_sd > 0.0:
        scatter = max(float(np.mean(np.abs(np.diff((m - centre) / sd)))) / D2, 1.0)
    sigmas = SIGMAS if m.size <= MANY_POINTS else SIGMAS_OF_MANY
    low, high = ewma_band(scatter * sd, centre=centre, weight=WEIGHT, sigmas=sigmas)
    average = ewma(m, weight=WEIGHT, start=centre)[1:]
    return Smoothed(centre, average, low, high, sigmas, scatter)


@dataclass(frozen=True, slots=True)
class Slope:
    """How a share changes per unit of time, with its interval; NaN where it can't be said."""

    slope: float
    low: float
    high: float

    @property
    def is_sure(self) -> bool:
        """Whether the interval leaves out no change."""
        return self.low > 0.0 or self.high < 0.0


def share_slope(
    count: ArrayLike, total: ArrayLike, time: ArrayLike, *, level: float = 0.95
) -> Slope:
    """Return the straight-line change of a share over time.

    Parameters
    ----------
    count, total
        How many jobs of how many, shape (n,); totals 1 or more.
    time
        When, in any unit, shape (n,).
    level
        Two-sided confidence, between 0 and 1.

    Returns
    -------
    Slope
        NaN for fewer than `FEWEST_MONTHS` times or all at one time.

    Raises
    ------
    ValueError
        If the level is not between 0 and 1.

    Notes
    -----
    Weighted least squares with weights total. The variance is the binomial one at the share of the
    whole, or the scatter about the line where that is more (quasi-binomial: P. McCullagh and J. A.
    Nelder, Generalized Linear Models, 2nd edition, 1989, section 4.5); Student's t with two fewer
    degrees of freedom than times.
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must be between 0 and 1, not {level}")
    k, n, t = (np.asarray(one, float) for one in (count, total, time))
    nothing = float("nan")
    if t.size < FEWEST_MONTHS or float(np.ptp(t)) <= 0.0:
        return Slope(nothing, nothing, nothing)
    weight = n / np.sum(n)
    away = t - float(np.sum(weight * t))
    share = k / n
    spread = float(np.sum(n * away**2))
    slope = float(np.sum(n * away * share)) / spread
    # Half a job on either side: a share of 0 or 1 is not known for sure.
    whole = (float(np.sum(k)) + 0.5) / (float(np.sum(n)) + 1.0)
    residual = share - float(np.sum(weight * share)) - slope * away
    scatter = float(np.sum(n * residual**2)) / (t.size - 2)
    half = float(stdtrit(t.size - 2.0, 0.5 + level / 2.0)) * float(
        np.sqrt(max(whole * (1.0 - whole), scatter) / spread)
    )
    return Slope(slope, slope - half, slope + half)
