"""Which systems keep being found outside beyond chance, in a fleet where many are found so.

Found outside on three visits of four is nothing special where seven systems in ten are found
outside. So each system is held against the others of its kind, and only an excess counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln

from .comparisons import SPREAD_WORTH, false_discovery
from .shrinkage import SPREADS, fit_spread, likeliest_spread, log_likelihood

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEWEST_VISITS: Final = 3
# Systems whose tails are worked out at once: bounds the memory, not the result.
AT_ONCE: Final = 4096


@dataclass(frozen=True, slots=True)
class Repeats:
    """What the comparison says of each system; arrays of shape (n,)."""

    expected_share: Floats
    """Share of visits on which the other systems of its kind are found outside."""
    p_value: Floats
    """Of being found outside as often or more often by chance; NaN with too few visits."""
    is_marked: Flags
    spread: float
    """How much the systems that are not marked differ among themselves (intra-class
    correlation)."""


def found_too_often(count: ArrayLike, total: ArrayLike, kind: ArrayLike) -> Repeats:
    """Mark the systems that are found outside more often than chance and their kind explain.

    Parameters
    ----------
    count
        On how many visits each was found outside, shape (n,).
    total
        On how many visits each was found and judged, shape (n,).
    kind
        Numbers of the groups of like systems, shape (n,), whole numbers from 0.

    Returns
    -------
    Repeats
        Systems with fewer than `FEWEST_VISITS` visits are never marked.

    Raises
    ------
    ValueError
        If shapes differ, a count is negative or above its total, or a kind is negative.

    Notes
    -----
    Upper tail of the beta-binomial (J. G. Skellam, J. R. Stat. Soc. B 10 (1948) 257) around what
    the *other* systems of the kind did, few of a kind drawn towards the whole. Its spread adds
    how much unmarked systems differ among themselves, such as by faults that last from visit to
    visit, to how little the others' visits tell about the mean. Those marked are left out of
    both, beginning with those that the binomial marks (a trimmed null after B. Efron, J. Am.
    Stat. Assoc. 99 (2004) 96). False discovery rate 5 %, on whole tails, which keeps few visits
    on the safe side: Y. Benjamini and Y. Hochberg, J. R. Stat. Soc. B 57 (1995) 289.
    """
    k, n = np.asarray(count, float), np.asarray(total, float)
    group = np.asarray(kind, int)
    if not k.shape == n.shape == group.shape or k.ndim != 1:
        raise ValueError(
            f"count, total and kind must have one shape (n,), not {k.shape}, {n.shape}, "
            f"{group.shape}"
        )
    if np.any(k < 0) or np.any(k > n):
        raise ValueError("count must be from 0 to total")
    if np.any(group < 0):
        raise ValueError("kind must be 0 or more")
    enough = n >= FEWEST_VISITS
    nobody = np.zeros(k.shape, bool)
    share, known = _shares_of_others(k, n, group, nobody)
    alone = _p_values(k, n, share, 0.0 * n, known, enough)
    # Those that stand out of systems that are all alike set no bar for the others.
    apart = false_discovery(alone)
    share, known = _shares_of_others(k, n, group, apart)
    spread = _spread_of_others(k, n, share, apart)
    p_value = _p_values(k, n, share, spread, known, enough)
    return Repeats(
        expected_share=np.where(n > 0, share, np.nan),
        p_value=p_value,
        is_marked=false_discovery(p_value),
        spread=float(np.median(spread)) if spread.size else 0.0,
    )


def _shares_of_others(
    k: Floats, n: Floats, group: NDArray[np.int_], flagged: Flags
) -> tuple[Floats, Floats]:
    """Return, for each, the others' share in its kind and how many visits that rests on."""
    if not k.size:
        return k, n
    k_trusted, n_trusted = np.where(flagged, 0.0, k), np.where(flagged, 0.0, n)
    k_kind = np.bincount(group, weights=k_trusted)
    n_kind = np.bincount(group, weights=n_trusted)
    k_others, n_others = k_kind[group] - k_trusted, n_kind[group] - n_trusted
    # Half a visit on either side keeps the share off 0 and 1.
    whole = (np.sum(k_trusted) - k_trusted + 0.5) / (np.sum(n_trusted) - n_trusted + 1.0)
    mean = (float(np.sum(k_trusted)) + 0.5) / (float(np.sum(n_trusted)) + 1.0)
    between = fit_spread(k_kind, n_kind, mean=mean)
    strength = np.sum(n_trusted) if between == 0.0 else (1.0 - between) / between
    strength = max(float(strength), 1.0)
    share: Floats = (k_others + strength * whole) / (n_others + strength)
    known = np.asarray(n_others + min(strength, float(np.sum(n_trusted)) + 1.0), np.float64)
    return share, known


def _p_values(
    k: Floats, n: Floats, share: Floats, spread: Floats, known: Floats, enough: Flags
) -> Floats:
    """Return the upper tails, as wide as the spread and the little that is known make them."""
    visits = float(np.mean(n[n > 0])) if np.any(n > 0) else 1.0
    unsure = np.clip((1.0 + (visits - 1.0) * spread) / np.maximum(known, 1.0), 0.0, 0.5)
    width = spread + (1.0 - spread) * unsure
    p_value: Floats = np.where(enough, upper_tail(k, n, share, width), np.nan)
    return p_value


def _spread_of_others(k: Floats, n: Floats, share: Floats, flagged: Flags) -> Floats:
    mean = np.clip(share, 1e-6, 1.0 - 1e-6)
    each = log_likelihood(k[:, None], n[:, None], mean[:, None], SPREADS[None, :])
    each = np.where(((n > 0) & ~flagged)[:, None], each, 0.0)
    return likeliest_spread(np.sum(each, axis=0) - each, least_worth=SPREAD_WORTH)


def upper_tail(count: ArrayLike, total: ArrayLike, share: ArrayLike, spread: ArrayLike) -> Floats:
    """Return the chance of so many or more under the beta-binomial.

    Parameters
    ----------
    count, total
        Whole numbers, shape (n,); 0 of anything has the chance 1.
    share
        The mean, between 0 and 1, shape (n,).
    spread
        Intra-class correlation, 0 (the binomial) to below 1, shape (n,).

    Examples
    --------
    >>> round(float(upper_tail([3], [4], [0.7], [0.0])[0]), 4)
    0.6517
    """
    k, n, mean, wide = (
        np.atleast_1d(np.asarray(one, float)) for one in (count, total, share, spread)
    )
    tail = np.ones(k.shape)
    # Those of like size together, so that short ones don't pay for the longest.
    order = np.argsort(n, kind="stable")
    for start in range(0, order.size, AT_ONCE):
        part = order[start : start + AT_ONCE]
        tail[part] = _upper_tail(k[part], n[part], mean[part], wide[part])
    return tail


def _upper_tail(k: Floats, n: Floats, share: Floats, spread: Floats) -> Floats:
    support = np.arange(float(np.max(n, initial=0.0)) + 1.0)
    counted = (support >= k[:, None]) & (support <= n[:, None])
    j = np.minimum(support, n[:, None])
    mean = np.clip(share, 1e-9, 1.0 - 1e-9)[:, None]
    ways = gammaln(n[:, None] + 1.0) - gammaln(j + 1.0) - gammaln(n[:, None] - j + 1.0)
    chance = np.exp(ways + log_likelihood(j, n[:, None], mean, spread[:, None]))
    tail: Floats = np.clip(np.sum(np.where(counted, chance, 0.0), axis=-1), 0.0, 1.0)
    return np.where(k <= 0, 1.0, tail)
