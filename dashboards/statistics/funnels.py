"""Funnel limits: how far a share may lie from the whole's by chance, given the number of jobs."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, ndtri
from scipy.stats import betabinom, binom

Floats = NDArray[np.float64]

# Above so many jobs the exact distribution and a smooth one of the same variance can't be told
# apart in a drawing, and the exact one would take long.
MOST_EXACT: Final = 2000


def exact_limits(*, total: ArrayLike, share: ArrayLike, probability: ArrayLike) -> Floats:
    """Return binomial funnel limits, interpolated so that they run smoothly with the total.

    Parameters
    ----------
    total
        Numbers of jobs (1 or more), shape (…).
    share
        The share that holds if there is no difference, between 0 and 1, shape (…).
    probability
        Probability below the limit, such as 0.025 or 0.999, shape (…).

    Returns
    -------
    array
        Limits as shares, shape (…). Interpolation can bring the lowest a little below 0.

    Raises
    ------
    ValueError
        If anything lies outside its range.

    Notes
    -----
    D. J. Spiegelhalter, "Funnel plots for comparing institutional performance", Statistics in
    Medicine 24 (2005) 1185, appendix: with r the smallest count whose distribution function F
    reaches p, the limit is (r - alpha)/n, alpha = (F(r) - p)/f(r). The interpolation rule is
    from memory.
    """
    n, theta, p = _checked(total, share, probability)
    count = binom.ppf(p, n, theta)
    alpha = (binom.cdf(count, n, theta) - p) / binom.pmf(count, n, theta)
    limits: Floats = (count - alpha) / n
    return limits


def normal_limits(*, total: ArrayLike, share: ArrayLike, probability: ArrayLike) -> Floats:
    """Return funnel limits by the normal approximation, clipped to 0 and 1.

    Parameters, errors and source are those of `exact_limits`.
    """
    n, theta, p = _checked(total, share, probability)
    limits: Floats = np.clip(theta + ndtri(p) * np.sqrt(theta * (1.0 - theta) / n), 0.0, 1.0)
    return limits


def spread_limits(*, total: ArrayLike, share: float, probability: float, spread: float) -> Floats:
    """Return funnel limits for groups that differ a little among themselves, clipped to 0 and 1.

    Parameters
    ----------
    total
        Numbers of jobs (whole numbers, 1 or more), shape (n,).
    share
        The share that holds on the whole, between 0 and 1.
    probability
        Probability below the limit, between 0 and 1.
    spread
        Intra-class correlation, 0 (chance alone, the binomial) to below 1.

    Returns
    -------
    array
        Limits as shares, shape (n,).

    Raises
    ------
    ValueError
        If anything lies outside its range.

    Notes
    -----
    The rule of `exact_limits` on the beta-binomial of J. G. Skellam, J. R. Stat. Soc. B 10 (1948)
    257; over-dispersed funnels: D. J. Spiegelhalter, Statistics in Medicine 24 (2005) 1185. Above
    `MOST_EXACT` jobs a beta distribution of the same mean and variance,
    share (1 - share) (1 + (n - 1) spread)/n.
    """
    n, theta, p = _checked(total, share, probability)
    if not 0.0 <= spread < 1.0:
        raise ValueError(f"spread must be from 0 to below 1, not {spread}")
    if np.any(n != np.floor(n)):
        raise ValueError("total must be whole numbers")
    if spread == 0.0:
        return np.clip(exact_limits(total=n, share=theta, probability=p), 0.0, 1.0)
    alike = n / (1.0 + (n - 1.0) * spread) - 1.0
    with np.errstate(invalid="ignore"):
        limits = np.asarray(betaincinv(theta * alike, (1.0 - theta) * alike, p), np.float64)
    strength = (1.0 - spread) / spread
    for place in np.flatnonzero(n <= MOST_EXACT):
        jobs = int(n[place])
        chance = betabinom.pmf(
            np.arange(jobs + 1), jobs, share * strength, (1.0 - share) * strength
        )
        below = np.cumsum(chance)
        count = min(int(np.searchsorted(below, probability)), jobs)
        limits[place] = (count - (below[count] - probability) / chance[count]) / jobs
    return np.clip(limits, 0.0, 1.0)


def _checked(
    total: ArrayLike, share: ArrayLike, probability: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    n, theta, p = np.broadcast_arrays(
        np.asarray(total, float), np.asarray(share, float), np.asarray(probability, float)
    )
    if np.any(n < 1):
        raise ValueError("total must be 1 or more")
    if np.any(theta <= 0) or np.any(theta >= 1):
        raise ValueError("share must be between 0 and 1")
    if np.any(p <= 0) or np.any(p >= 1):
        raise ValueError("probability must be between 0 and 1")
    return n, theta, p
