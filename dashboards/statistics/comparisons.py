"""Which groups differ more than chance and the mix of their work explain.

Marking a crew is an accusation, so the bar is high: many comparisons are allowed for, crews are
let to differ among themselves, each is held against what the others did at the same kind of
work, and nobody is marked on a handful of jobs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaln, gammaln

from .shrinkage import SPREADS, fit_spread, likeliest_spread, log_likelihood

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEWEST_JOBS: Final = 20
FALSE_DISCOVERY_RATE: Final = 0.05
ROUNDS: Final = 5

# Of the risk of marking somebody wrongly, so much goes to the side that matters: leaving more
# outside than the others. The rest finds who leaves fewer.
MORE_SHARE: Final = 0.9

# The others' spread counts only where it makes their counts likelier by as much as chance alone
# would do in one case of six (likelihood ratio over 1): spread read out of noise costs power.
SPREAD_WORTH: Final = 1.0


@dataclass(frozen=True, slots=True)
class Marked:
    """What the comparison says of each group; arrays of shape (n,)."""

    expected: Floats
    """How many the others would have had at the same work; NaN for a group without jobs."""
    spread: Floats
    """How much the other groups differ among themselves (intra-class correlation)."""
    p_value: Floats
    """Of a difference either way; NaN for groups with too few jobs, or too few of the others."""
    is_marked: Flags


def mark(count: ArrayLike, total: ArrayLike) -> Marked:
    """Mark groups whose counts differ more than chance, spread and mix of work explain.

    Parameters
    ----------
    count
        How many jobs ended outside, shape (n, s): n groups by s strata of like work, such as
        sites or how the system was found; shape (n,) is one stratum.
    total
        How many jobs there were, same shape.

    Returns
    -------
    Marked
        Groups with fewer than `FEWEST_JOBS` jobs, or held against fewer, are never marked.

    Raises
    ------
    ValueError
        If shapes differ or a count is negative or above its total.

    Notes
    -----
    Each group is held against a beta-binomial whose mean is what the others did in the same
    strata and whose spread is fitted to the others, groups already marked left out (a trimmed
    null after B. Efron, J. Am. Stat. Assoc. 99 (2004) 96); mid-p values, and the false discovery
    rate of Y. Benjamini and Y. Hochberg, J. R. Stat. Soc. B 57 (1995) 289, at 5 %. Over-dispersion
    in such comparisons: D. J. Spiegelhalter, Statistics in Medicine 24 (2005) 1185.
    """
    k, n = np.asarray(count, float), np.asarray(total, float)
    if k.shape != n.shape or k.ndim not in (1, 2):
        raise ValueError(f"count and total must have one shape, not {k.shape} and {n.shape}")
    if np.any(k < 0) or np.any(k > n):
        raise ValueError("count must be from 0 to total")
    if k.ndim == 1:
        k, n = k[:, None], n[:, None]
    groups = k.shape[0]
    outside, jobs = np.sum(k, axis=1), np.sum(n, axis=1)
    enough = (jobs >= FEWEST_JOBS) & (np.sum(jobs) - jobs >= FEWEST_JOBS)
    flagged = np.zeros(groups, bool)
    expected = spread = p_value = np.full(groups, np.nan)
    for _ in range(ROUNDS):
        expected = _expected(k, n, flagged)
        spread = _spread_of_others(outside, jobs, expected, flagged)
        p_value = _p_values(outside, np.where(enough, jobs, 0.0), expected, spread)
        found = false_discovery(p_value)
        if np.array_equal(found, flagged):
            break
        flagged = found
    return Marked(np.where(jobs > 0, expected, np.nan), spread, p_value, flagged)


def _expected(k: Floats, n: Floats, flagged: Flags) -> Floats:
    """Return what each group's count would be at the rates of the others in its strata."""
    trusted = ~flagged[:, None]
    # A group that is marked must not set the bar for the others; its own is set by them anyway.
    k_others = np.sum(k * trusted, axis=0) - k * trusted
    n_others = np.sum(n * trusted, axis=0) - n * trusted
    whole = (np.sum(k_others, axis=1) + 0.5) / (np.sum(n_others, axis=1) + 1.0)
    if k.shape[1] == 1:
        rate = np.broadcast_to(whole[:, None], k.shape)
    else:
        # Few jobs say little about a stratum: its rate is shrunk to the whole's.
        strength = _strength(np.sum(k * trusted, axis=0), np.sum(n * trusted, axis=0))
        rate = (k_others + strength * whole[:, None]) / (n_others + strength)
    expected: Floats = np.sum(n * rate, axis=1)
    return expected


def _strength(k: Floats, n: Floats) -> float:
    mean = (float(np.sum(k)) + 0.5) / (float(np.sum(n)) + 1.0)
    spread = fit_spread(k, n, mean=mean)
    return 1e6 if spread == 0.0 else (1.0 - spread) / spread


def _spread_of_others(outside: Floats, jobs: Floats, expected: Floats, flagged: Flags) -> Floats:
    """Return, for each group, the spread that makes the others' counts likeliest."""
    mean = np.clip(expected / np.maximum(jobs, 1.0), 1e-6, 1.0 - 1e-6)
    usable = (jobs > 0) & ~flagged
    each = log_likelihood(outside[:, None], jobs[:, None], mean[:, None], SPREADS[None, :])
    each = np.where(usable[:, None], each, 0.0)
    others = np.sum(each, axis=0) - each
    return likeliest_spread(others, least_worth=SPREAD_WORTH)


def _p_values(outside: Floats, jobs: Floats, expected: Floats, spread: Floats) -> Floats:
    """Return mid-p values under the beta-binomial, the risk split between the sides."""
    values = np.full(outside.shape, np.nan)
    for group in np.flatnonzero(jobs > 0):
        k, n = int(outside[group]), float(jobs[group])
        mean = min(max(expected[group] / n, 1e-6), 1.0 - 1e-6)
        chance = np.exp(_log_pmf(np.arange(n + 1.0), n, mean, spread[group]))
        below = float(np.sum(chance[:k])) + 0.5 * chance[k]
        above = float(np.sum(chance[k + 1 :])) + 0.5 * chance[k]
        values[group] = min(1.0, above / MORE_SHARE, below / (1.0 - MORE_SHARE))
    return values


def _log_pmf(support: Floats, n: float, mean: float, spread: float) -> Floats:
    choose = gammaln(n + 1.0) - gammaln(support + 1.0) - gammaln(n - support + 1.0)
    if spread == 0.0:
        plain: Floats = choose + support * np.log(mean) + (n - support) * np.log1p(-mean)
        return plain
    strength = (1.0 - spread) / spread
    a, b = mean * strength, (1.0 - mean) * strength
    wide: Floats = choose + betaln(support + a, n - support + b) - betaln(a, b)
    return wide


def false_discovery(p_value: Floats) -> Flags:
    """Return which hypotheses fall by the step-up procedure; NaN is not tested."""
    found = np.zeros(p_value.shape, bool)
    tested = np.flatnonzero(np.isfinite(p_value))
    if not tested.size:
        return found
    order = tested[np.argsort(p_value[tested], kind="stable")]
    bars = FALSE_DISCOVERY_RATE * np.arange(1, tested.size + 1) / tested.size
    below = np.flatnonzero(p_value[order] <= bars)
    if below.size:
        found[order[: below[-1] + 1]] = True
    return found
