"""Funnel limits: how far a share may lie from the whole's by chance, given the number of jobs."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri
from scipy.stats import binom

Floats = NDArray[np.float64]


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
