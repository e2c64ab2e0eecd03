"""Intervals of a share."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri


def wilson(
    *, count: ArrayLike, total: ArrayLike, level: float = 0.95
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the Wilson score interval of a share.

    Parameters
    ----------
    count
        How many of the total, shape (…), 0 to `total`.
    total
        Out of how many, shape (…) broadcast with `count`; 0 gives the whole range, 0 to 1.
    level
        Two-sided confidence, between 0 and 1.

    Returns
    -------
    tuple of arrays
        Low and high end, shape (…), between 0 and 1; NaN where `count` or `total` is NaN.

    Raises
    ------
    ValueError
        If a count is negative or above its total, or the level is not between 0 and 1.

    Notes
    -----
    E. B. Wilson, "Probable inference, the law of succession, and statistical inference",
    J. Am. Stat. Assoc. 22 (1927) 209; R. G. Newcombe, Statistics in Medicine 17 (1998) 857,
    method 3.

    Examples
    --------
    >>> low, high = wilson(count=81, total=263)
    >>> round(float(low), 4), round(float(high), 4)
    (0.2553, 0.3662)
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must be between 0 and 1, not {level}")
    k, n = np.broadcast_arrays(np.asarray(count, float), np.asarray(total, float))
    if np.any(k < 0) or np.any(k > n):
        raise ValueError("count must be from 0 to total")
    z2 = ndtri(0.5 + level / 2.0) ** 2
    known = n > 0
    n_known = np.where(known, n, 1.0)
    share = k / n_known
    centre = share + z2 / (2.0 * n_known)
    half = np.sqrt(z2 * (share * (1.0 - share) / n_known + z2 / (4.0 * n_known**2)))
    scale = 1.0 + z2 / n_known
    # At the ends rounding would leave a hair on the wrong side of 0 and of 1.
    low = np.where(k == 0, 0.0, (centre - half) / scale)
    high = np.where(k == n, 1.0, (centre + half) / scale)
    unknown = np.isnan(k) | np.isnan(n)
    low = np.where(known, low, 0.0)
    high = np.where(known, high, 1.0)
    return np.where(unknown, np.nan, low), np.where(unknown, np.nan, high)


def share_difference(
    *,
    count: ArrayLike,
    total: ArrayLike,
    count_before: ArrayLike,
    total_before: ArrayLike,
    level: float = 0.95,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the interval of the difference of two independent shares, the first less the second.

    Parameters
    ----------
    count, total
        How many of how many, shape (…), as for `wilson`.
    count_before, total_before
        The same of the share that is taken off, shape (…).
    level
        Two-sided confidence, between 0 and 1.

    Returns
    -------
    tuple of arrays
        Low and high end, shape (…), between -1 and 1; NaN where a total is 0.

    Raises
    ------
    ValueError
        As `wilson` does.

    Notes
    -----
    R. G. Newcombe, "Interval estimation for the difference between independent proportions",
    Statistics in Medicine 17 (1998) 873, method 10.

    Examples
    --------
    >>> low, high = share_difference(count=56, total=70, count_before=48, total_before=80)
    >>> round(float(low), 4), round(float(high), 4)
    (0.0524, 0.3339)
    """
    low, high = wilson(count=count, total=total, level=level)
    low_before, high_before = wilson(count=count_before, total=total_before, level=level)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.asarray(count, float) / np.asarray(total, float)
        before = np.asarray(count_before, float) / np.asarray(total_before, float)
    change = share - before
    below: NDArray[np.float64] = change - np.hypot(share - low, high_before - before)
    above: NDArray[np.float64] = change + np.hypot(high - share, before - low_before)
    return below, above
