"""Months against each other: where each would lie by chance and by how much months differ anyway.

A chart of proportions whose limits vary with the number of jobs. How much months differ among
themselves beyond chance is never known exactly, least of all from a year of them; the limits
average over what the other months leave plausible instead of trusting one estimate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betainc, betaln

from .shrinkage import log_likelihood

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEWEST_MONTHS: Final = 3
OUTSIDE: Final = 0.05
"""How often any of a company's months may lie beyond its limits although nothing differs."""
ROUNDS: Final = 5

# Spreads are standard deviations between months, in units of that of a single job: up to a half.
# Before looking, small ones are likelier, and large ones not impossible.
SPREAD_SDS: Final[Floats] = np.linspace(0.0, 0.5, 26)
PRIOR_SCALE: Final = 0.2
_PRIOR: Final[Floats] = -np.log1p((SPREAD_SDS / PRIOR_SCALE) ** 2)
# A twentieth of unchanged series show a likelihood ratio (twice the gain) above this.
SPREAD_SHOWN: Final = 2.706

# Above so many jobs a smooth distribution of the same mean and variance can't be told apart.
MOST_EXACT: Final = 400
HALVINGS: Final = 24
LEAST_WEIGHT: Final = 1e-4


@dataclass(frozen=True, slots=True)
class MonthLimits:
    """Limits of each month as shares, and which months lie beyond; arrays of shape (n,)."""

    centre: float
    """Share of the months that don't differ, together."""
    low: Floats
    high: Floats
    """Limits, each month's set by the others; NaN where there are too few months to compare."""
    differs: Flags
    spread_sd: float
    """How much the months that don't differ scatter beyond chance, as a share (likeliest)."""
    has_spread: bool
    """Whether they show such a scatter."""


def month_limits(count: ArrayLike, total: ArrayLike) -> MonthLimits:
    """Return where each month would lie if it were like the others.

    Parameters
    ----------
    count
        How many jobs of each month were in range, shape (n,).
    total
        How many jobs there were, shape (n,), whole numbers, 1 or more.

    Returns
    -------
    MonthLimits
        With fewer than `FEWEST_MONTHS` months the limits are NaN and none differs.

    Raises
    ------
    ValueError
        If shapes differ or a count is impossible.

    Notes
    -----
    A chart of proportions (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2) with limits
    of the beta-binomial of J. G. Skellam, J. R. Stat. Soc. B 10 (1948) 257, in place of three
    standard deviations; that charts of many jobs must allow for spread: D. B. Laney, Quality
    Engineering 14 (2002) 531. Each month is held against the others, those that differ left out
    (a trimmed null after B. Efron, J. Am. Stat. Assoc. 99 (2004) 96). Over the spread between
    months it is averaged, weighted by how likely each makes the others' counts, with a
    half-Cauchy prior (A. Gelman, Bayesian Analysis 1 (2006) 515); that the others' share is an
    estimate adds to it. The tails divide `OUTSIDE` by the number of months.
    """
    k, n = np.asarray(count, float), np.asarray(total, float)
    if k.shape != n.shape or k.ndim != 1:
        raise ValueError(f"count and total must have one shape (n,), not {k.shape} and {n.shape}")
    if np.any(k < 0) or np.any(k > n) or np.any(n < 1) or np.any(n != np.floor(n)):
        raise ValueError("count must be from 0 to total, and total a whole number, 1 or more")
    differs = np.zeros(n.shape, bool)
    low = high = np.full(n.shape, np.nan)
    if n.size >= FEWEST_MONTHS:
        for _ in range(ROUNDS):
            low, high = _limits(k, n, differs)
            # A hair: a share at its limit is inside, whatever rounding says.
            found = (k / n < low - 1e-9) | (k / n > high + 1e-9)
            if np.array_equal(found, differs) or np.count_nonzero(~found) < FEWEST_MONTHS:
                break
            differs = found
    kept = ~differs
    centre = _centre(k[kept], n[kept])
    likelihood = np.sum(_each(k[kept], n[kept], centre), axis=0)
    likeliest = SPREAD_SDS[np.argmax(likelihood)]
    return MonthLimits(
        centre=centre,
        low=low,
        high=high,
        differs=differs,
        spread_sd=float(likeliest * np.sqrt(centre * (1.0 - centre))),
        has_spread=bool(2.0 * (np.max(likelihood) - likelihood[0]) > SPREAD_SHOWN),
    )


def _centre(k: Floats, n: Floats) -> float:
    # Half a job on either side keeps the mean off 0 and 1.
    return (float(np.sum(k)) + 0.5) / (float(np.sum(n)) + 1.0)


def _each(k: Floats, n: Floats, centre: float) -> Floats:
    return log_likelihood(k[:, None], n[:, None], centre, SPREAD_SDS[None, :] ** 2)


def _limits(k: Floats, n: Floats, differs: Flags) -> tuple[Floats, Floats]:
    tail = OUTSIDE / (2.0 * n.size)
    spreads = SPREAD_SDS**2
    each = _each(k, n, _centre(k[~differs], n[~differs])) * ~differs[:, None]
    whole = np.sum(each, axis=0)
    low, high = np.empty(n.shape), np.empty(n.shape)
    for month in range(n.size):
        others = ~differs
        others[month] = False
        centre = _centre(k[others], n[others])
        logs = whole - each[month] + _PRIOR
        weights = np.exp(logs - np.max(logs))
        likely = weights > LEAST_WEIGHT
        weights = weights[likely] / np.sum(weights[likely])
        between = spreads[likely]
        # How many independent jobs the others' share is worth.
        worth = np.sum(n[others] / (1.0 + (n[others] - 1.0) * between[:, None]), axis=1)
        between = between + (1.0 - between) / (worth + 1.0)
        low[month] = _lower(n[month], centre, between, weights, tail)
        high[month] = 1.0 - _lower(n[month], 1.0 - centre, between, weights, tail)
    return low, high


def _lower(n: float, mean: float, spreads: Floats, weights: Floats, tail: float) -> float:
    """Return the limit below which a share has a probability of `tail` at most."""
    if n > MOST_EXACT:
        alike = n / (1.0 + (n - 1.0) * spreads) - 1.0
        low, high = 0.0, mean
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            below = float(weights @ betainc(mean * alike, (1.0 - mean) * alike, middle))
            low, high = (middle, high) if below < tail else (low, middle)
        return low
    strength = ((1.0 - spreads) / spreads)[:, None]
    a, b = mean * strength, (1.0 - mean) * strength
    counts = np.arange(n)
    # The probabilities by their ratios: three logarithms each.
    steps = (
        np.log((n - counts) / (counts + 1.0)) + np.log(a + counts) - np.log(b + n - 1.0 - counts)
    )
    logs = np.concatenate((np.zeros(a.shape), np.cumsum(steps, axis=1)), axis=1)
    chance = weights @ np.exp(logs + betaln(a, b + n) - betaln(a, b))
    sums = np.cumsum(chance)
    first = min(int(np.searchsorted(sums, tail)), int(n))
    return float(max((first - (sums[first] - tail) / chance[first]) / n, 0.0))
