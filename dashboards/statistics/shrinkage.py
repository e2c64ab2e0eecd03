"""Shares shrunk towards the whole by as much as few jobs can't tell: the beta-binomial model."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, betaln

Floats = NDArray[np.float64]

# The spread between groups is looked for on this grid of intra-class correlations. 0 is no
# spread beyond chance; above a half, a group is nearly all or nothing.
SPREADS: Final[Floats] = np.concatenate(([0.0], np.geomspace(1e-4, 0.5, 60)))


@dataclass(frozen=True, slots=True)
class Shrunk:
    """Shrunk shares with their 95 % intervals; arrays of shape (n,)."""

    share: Floats
    low: Floats
    high: Floats
    mean: float
    """Share of the whole."""
    spread: float
    """Intra-class correlation: how much groups differ beyond chance, 0 to 1."""


def log_likelihood(count: Floats, total: Floats, mean: Floats | float, spread: Floats) -> Floats:
    """Return the beta-binomial log-likelihood of counts, shape (…), less its constant.

    Parameters
    ----------
    count, total
        Counts and sizes, shape (…).
    mean
        Expected shares between 0 and 1, shape (…).
    spread
        Intra-class correlation, 0 to below 1, shape (…); 0 is the binomial.

    Notes
    -----
    J. G. Skellam, J. R. Stat. Soc. B 10 (1948) 257, with a = mean (1 - spread)/spread and
    b = (1 - mean)(1 - spread)/spread.
    """
    mu = np.asarray(mean, float)
    wide = spread > 0
    strength = (1.0 - spread) / np.where(wide, spread, 1.0)
    a, b = mu * strength, (1.0 - mu) * strength
    beta = betaln(count + a, total - count + b) - betaln(a, b)
    plain = count * np.log(mu) + (total - count) * np.log1p(-mu)
    found: Floats = np.where(wide, beta, plain)
    return found


def likeliest_spread(likelihood: Floats, *, least_worth: float = 0.0) -> Floats:
    """Return the spread of highest likelihood.

    Parameters
    ----------
    likelihood
        Log-likelihoods at each of `SPREADS`, shape (…, number of spreads).
    least_worth
        Likelihood ratio (twice the gain over no spread) below which there is none.
    """
    gain = 2.0 * (np.max(likelihood, axis=-1) - likelihood[..., 0])
    found: Floats = SPREADS[np.argmax(likelihood, axis=-1)]
    return np.where(gain < least_worth, 0.0, found)


def fit_spread(count: ArrayLike, total: ArrayLike, *, mean: float) -> float:
    """Return the spread between groups that makes the counts likeliest.

    Parameters
    ----------
    count, total
        Counts and sizes of the groups, shape (n,).
    mean
        The share expected of each, strictly between 0 and 1.

    Notes
    -----
    Maximum likelihood of the beta-binomial on a fixed grid, so that the same counts always give
    the same spread.
    """
    k, n = np.asarray(count, float), np.asarray(total, float)
    each = log_likelihood(k[:, None], n[:, None], mean, SPREADS[None, :])
    return float(likeliest_spread(np.sum(each, axis=0)))


def shrink(count: ArrayLike, total: ArrayLike, *, level: float = 0.95) -> Shrunk:
    """Return empirical-Bayes shares: what to plan with where groups have few jobs.

    Parameters
    ----------
    count
        Counts, shape (n,).
    total
        Sizes, shape (n,); a group without jobs is given the whole's share.
    level
        Confidence of the intervals.

    Raises
    ------
    ValueError
        If a count is negative or above its total.

    Notes
    -----
    B. Efron and C. Morris, J. Am. Stat. Assoc. 70 (1975) 311, for the idea; the beta prior is
    fitted by maximum likelihood. The intervals leave out that the prior is an estimate.
    """
    k, n = np.asarray(count, float), np.asarray(total, float)
    if np.any(k < 0) or np.any(k > n):
        raise ValueError("count must be from 0 to total")
    jobs = float(np.sum(n))
    # Half a job on either side keeps the mean off 0 and 1, where nothing could be fitted.
    mean = (float(np.sum(k)) + 0.5) / (jobs + 1.0)
    spread = fit_spread(k, n, mean=mean)
    if spread == 0.0:
        # All groups are alike as far as can be told: the whole's share, as sure as the whole's.
        a, b = np.full(k.shape, mean * (jobs + 1.0)), np.full(k.shape, (1.0 - mean) * (jobs + 1.0))
    else:
        strength = (1.0 - spread) / spread
        a, b = mean * strength + k, (1.0 - mean) * strength + n - k
    tail = 0.5 * (1.0 - level)
    return Shrunk(
        share=a / (a + b),
        low=np.asarray(betaincinv(a, b, tail), np.float64),
        high=np.asarray(betaincinv(a, b, 1.0 - tail), np.float64),
        mean=mean,
        spread=spread,
    )
