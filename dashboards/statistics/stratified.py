"""The difference of two shares, like compared with like: at the same sites, with the same kinds.

Jobs of one month share what happened in it, and jobs at one site what happened there. Where the
record shows that such things move the share, the interval is as much wider.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

Floats = NDArray[np.float64]
Numbers = NDArray[np.int_]

FEWEST_SITES: Final = 3
FEWEST_MONTHS: Final = 3
"""With fewer months there is nothing to tell how much months differ anyway."""


@dataclass(frozen=True, slots=True)
class Difference:
    """The share of group 1 less that of group 0, compared within strata."""

    difference: float
    """NaN where no stratum holds jobs of both groups."""
    low: float
    high: float
    """95 % interval; NaN where there are too few months to give one."""
    chance_sd: float
    """Standard error if jobs were independent of each other."""
    month_sd: float
    site_sd: float
    """What months and sites that differ add to it; 0 where they show nothing beyond chance."""
    total: tuple[int, int]
    """Jobs of groups 0 and 1 in strata that hold both: these are compared."""
    alone: tuple[int, int]
    """Jobs of groups 0 and 1 in strata without the other: nothing to compare them with."""
    strata: int
    """How many strata hold both."""
    months: int

    @property
    def is_sure(self) -> bool:
        """Whether it is more than chance, months and the mix of strata explain."""
        return self.low > 0.0 or self.high < 0.0


def stratified_difference(
    *,
    count: ArrayLike,
    total: ArrayLike,
    group: ArrayLike,
    stratum: ArrayLike,
    month: ArrayLike,
    site: ArrayLike,
    level: float = 0.95,
) -> Difference:
    """Return the Mantel-Haenszel difference of two shares with an interval that months widen.

    Parameters
    ----------
    count
        How many jobs of each cell were in range, shape (n,).
    total
        How many jobs it holds, shape (n,).
    group
        0 or 1 for each cell: the groups that are compared, shape (n,).
    stratum, month, site
        Whole numbers that say which cells belong together, shape (n,); strata lie within sites.
    level
        Two-sided confidence, between 0 and 1.

    Returns
    -------
    Difference
        NaN where nothing can be compared.

    Raises
    ------
    ValueError
        If shapes differ, a count is impossible, or a group is neither 0 nor 1.

    Notes
    -----
    Estimate: N. Mantel and W. Haenszel, J. Natl. Cancer Inst. 22 (1959) 719, weights n0 n1/n.
    Variance of independent jobs: T. Sato, Biometrics 45 (1989) 1323, good for few large strata and
    for many small ones. The estimate is also the least-squares difference with a level for each
    stratum, so each month's and each site's part in its error can be read from the residuals
    (A. C. Cameron, J. B. Gelbach and D. L. Miller, J. Bus. Econ. Stat. 29 (2011) 238); what they
    scatter beyond chance is added, months by the method of moments (after R. DerSimonian and N.
    Laird, Controlled Clinical Trials 7 (1986) 177). Student's t with two fewer degrees of freedom
    than months.

    Examples
    --------
    >>> found = stratified_difference(
    ...     count=[8, 9, 5, 9], total=[10, 10, 10, 10], group=[0, 1, 0, 1],
    ...     stratum=[0, 0, 1, 1], month=[0, 1, 2, 3], site=[0, 0, 1, 1],
    ... )
    >>> round(found.difference, 3)
    0.25
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must be between 0 and 1, not {level}")
    k, n = np.asarray(count, float), np.asarray(total, float)
    is_one = np.asarray(group)
    _check(k, n, is_one)
    strata = _numbered(stratum)
    sizes = max(int(strata.max(initial=-1)) + 1, 1)
    n0, n1, k0, k1 = (
        np.bincount(strata, weights=values * (is_one == side), minlength=sizes).astype(np.float64)
        for values, side in ((n, 0), (n, 1), (k, 0), (k, 1))
    )
    both = (n0 > 0) & (n1 > 0)
    whole = np.where(both, n0 + n1, 1.0)
    weight = np.where(both, n0 * n1 / whole, 0.0)
    months = int(np.unique(np.asarray(month)[both[strata]]).size)
    compared = (int(np.sum(n0[both])), int(np.sum(n1[both])))
    alone = (int(np.sum(n0[~both])), int(np.sum(n1[~both])))
    if not np.any(both):
        nothing = float("nan")
        return Difference(*(nothing,) * 6, compared, alone, 0, months)
    apart = k1 / np.where(both, n1, 1.0) - k0 / np.where(both, n0, 1.0)
    difference = float(np.sum(weight * apart) / np.sum(weight))
    chance = _chance_variance(n0, n1, k0, k1, both, difference)
    # Each cell's part in the error: its weight times how far it lies from what the strata and
    # the difference say of it.
    share_one = np.where(both, n1 / whole, 0.0)
    level_of = np.where(both, (k0 + k1) / whole, 0.0)
    lever = np.where(both[strata], is_one - share_one[strata], 0.0) / np.sum(weight)
    fitted = level_of[strata] + difference * (is_one - share_one[strata])
    part = lever * (k - n * fitted)
    held = np.clip(fitted, 0.0, 1.0)
    variance = lever**2 * n * held * (1.0 - held)
    by_month = _month_variance(part, variance, lever * n, is_one, _numbered(month))
    by_site = _site_variance(part, variance, both[strata], _numbered(site))
    sd = float(np.sqrt(chance + by_month + by_site))
    reach = float("nan")
    if months >= FEWEST_MONTHS:
        reach = float(stdtrit(months - 2.0, 0.5 + level / 2.0)) * sd
    return Difference(
        difference=difference,
        low=max(difference - reach, -1.0) if reach == reach else reach,
        high=min(difference + reach, 1.0) if reach == reach else reach,
        chance_sd=float(np.sqrt(chance)),
        month_sd=float(np.sqrt(by_month)),
        site_sd=float(np.sqrt(by_site)),
        total=compared,
        alone=alone,
        strata=int(np.count_nonzero(both)),
        months=months,
    )


def _check(k: Floats, n: Floats, group: NDArray[np.int_]) -> None:
    if k.ndim != 1 or k.shape != n.shape or k.shape != group.shape:
        raise ValueError("count, total and group must have one shape (n,)")
    if np.any(k < 0) or np.any(k > n):
        raise ValueError("count must be from 0 to total")
    if np.any((group != 0) & (group != 1)):
        raise ValueError("group must be 0 or 1")


def _numbered(labels: ArrayLike) -> Numbers:
    """Return the labels as numbers from 0 without gaps."""
    found: Numbers = np.unique(np.asarray(labels), return_inverse=True)[1]
    return found


def _chance_variance(
    n0: Floats, n1: Floats, k0: Floats, k1: Floats, both: NDArray[np.bool_], difference: float
) -> float:
    a, b, c, d = n1[both], n0[both], k1[both], k0[both]
    n = a + b
    p = (a**2 * d - b**2 * c + a * b * (b - a) / 2.0) / n**2
    q = (c * (b - d) + d * (a - c)) / (2.0 * n)
    # Half a job on either side: that all of a few jobs agree is not known for sure.
    least = sum(0.5 * (size + 0.5) / ((size + 1.0) ** 2 * size) for size in (np.sum(a), np.sum(b)))
    found = (difference * np.sum(p) + np.sum(q)) / np.sum(a * b / n) ** 2
    return float(max(found, least))


def _month_variance(
    part: Floats, variance: Floats, weight: Floats, group: NDArray[np.int_], month: Numbers
) -> float:
    """Return what months that differ add to the variance of the difference."""
    sums = np.bincount(month, weights=part)
    chance = np.bincount(month, weights=variance)
    # A month that has both groups moves both: only what is left over counts.
    share = np.bincount(month, weights=weight)
    side = share > 0
    squares = np.where(side, np.sum(share[side] ** 2), np.sum(share[~side] ** 2))
    # A month also moves the mean that it is held against.
    freedom = np.maximum(1.0 - 2.0 * np.abs(share) + squares, 0.0)
    kept = np.maximum(1.0 - np.abs(share), 0.0)
    worth = float(np.sum(share**2 * freedom))
    if worth <= 0.0:
        return 0.0
    excess = float(np.sum(sums**2) - np.sum(chance * kept))
    return max(excess / worth, 0.0) * float(np.sum(share**2))


def _site_variance(
    part: Floats, variance: Floats, compared: NDArray[np.bool_], site: Numbers
) -> float:
    """Return what sites whose difference differs add to the variance of the difference."""
    sites = int(np.unique(site[compared]).size)
    if sites < FEWEST_SITES:
        return 0.0
    sums = np.bincount(site, weights=part)
    scatter = sites / (sites - 1.0) * float(np.sum(sums**2))
    return max(scatter - float(np.sum(variance)), 0.0)
