"""The share of jobs outside their range, allowing for what the measurement cannot tell."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]

# The interquartile range of a normal distribution is 1.349 of its standard deviations.
QUARTILES_TO_SD = 1.3489795003921634


def probability_inside(
    value: ArrayLike, u: ArrayLike, *, low: ArrayLike, high: ArrayLike
) -> Floats:
    """Return the probability that the true value lies in its range.

    Parameters
    ----------
    value, u
        Best estimates and their standard uncertainties (above zero), shape (…).
    low, high
        The range in the same unit, shape (…).

    Returns
    -------
    array
        Probabilities, shape (…); NaN where anything is NaN.

    Notes
    -----
    JCGM 106:2012, "The role of measurement uncertainty in conformity assessment", section 7,
    with a flat prior and a normal distribution.
    """
    y, s = np.asarray(value, float), np.asarray(u, float)
    inside: Floats = ndtr((np.asarray(high, float) - y) / s) - ndtr(
        (np.asarray(low, float) - y) / s
    )
    return inside


def robust_variance(value: ArrayLike) -> float:
    """Return a variance that a few wild values don't move: from the quartiles.

    Parameters
    ----------
    value
        At least two values; NaN is left out.

    Notes
    -----
    Common practice: (interquartile range / 1.349) squared, consistent for normal values.
    """
    known = np.asarray(value, float)
    known = known[np.isfinite(known)]
    if known.size < 2:
        return float("nan")
    lower, upper = np.quantile(known, [0.25, 0.75])
    return float(((upper - lower) / QUARTILES_TO_SD) ** 2)


def corrected_share_inside(
    value: ArrayLike, u: ArrayLike, *, low: ArrayLike, high: ArrayLike
) -> float:
    """Return the share of jobs in range, corrected for measurement uncertainty.

    Each job is shrunk towards the fleet by as much as its measurement is uncertain, and the
    probabilities of being in range are averaged. Counting verdicts instead is biased: near a
    limit more jobs are measured out of range than are, or fewer.

    Parameters
    ----------
    value, u
        Best estimates and standard uncertainties, shape (n,), one unit for all jobs (such as
        the position in the target range). NaN is left out.
    low, high
        The range, shape (n,) or scalar.

    Returns
    -------
    float
        Between 0 and 1; NaN for fewer than two jobs.

    Notes
    -----
    Normal-normal shrinkage, y* = mu + rho (y - mu), u* = sqrt(rho) u, rho = (s2 - u2)/s2 with
    mu the median and s2 the robust variance of the values: B. Efron and C. Morris, J. Am. Stat.
    Assoc. 70 (1975) 311, and the conditional probability of JCGM 106:2012, section 7.
    """
    y, s = np.broadcast_arrays(np.asarray(value, float), np.asarray(u, float))
    floor, ceiling = np.broadcast_arrays(np.asarray(low, float) + 0.0 * y, np.asarray(high, float))
    known = np.isfinite(y) & np.isfinite(s) & (s > 0) & np.isfinite(floor) & np.isfinite(ceiling)
    if np.count_nonzero(known) < 2:
        return float("nan")
    y, s, floor, ceiling = y[known], s[known], floor[known], ceiling[known]
    spread = robust_variance(y)
    middle = float(np.median(y))
    # Where the measurements scatter no more than their own uncertainty, the jobs are all alike
    # as far as can be told; a hair of weight keeps the probabilities defined.
    weight = np.clip((spread - s**2) / spread if spread > 0 else 0.0 * s, 1e-6, 1.0)
    shrunk = middle + weight * (y - middle)
    return float(np.mean(probability_inside(shrunk, np.sqrt(weight) * s, low=floor, high=ceiling)))
