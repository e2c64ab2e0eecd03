"""Is the flow within its target? Probabilities, a verdict and how much room it had.

Source: JCGM 106:2012, Evaluation of measurement data - The role of measurement uncertainty in
conformity assessment, sections 7 and 8, with a flat prior.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from airflow_jobs.calc.quantities import BoolArray, FloatArray

VERDICTS: Final = ("low", "in_range", "high", "undecided", "not_judged")
LOW, IN_RANGE, HIGH, UNDECIDED, NOT_JUDGED = range(5)

DECIDING_PROBABILITY: Final = 0.95
# JCGM 106:2012, 8.3.2: guard band as a multiple of the standard uncertainty, one-sided.
GUARD_FACTOR: Final = float(ndtri(DECIDING_PROBABILITY))
# A range narrower than this many standard uncertainties leaves next to no room for a pass.
HARDLY_SHOWN_BELOW: Final = 4.0

CodeArray = npt.NDArray[np.int8]


@dataclass(frozen=True)
class Conformity:
    """What N values say about their targets.

    Attributes
    ----------
    probability_low, probability_in_range, probability_high : ndarray, shape (N,)
        Adding up to one; NaN where not judged.
    verdict : ndarray of int8, shape (N,)
        Index into `VERDICTS`.
    leaning : ndarray of int8, shape (N,)
        For the undecided the likeliest of low, in_range, high; -1 elsewhere.
    guard_band : ndarray, shape (N,)
        How far inside a limit a value must be to be called in range, unit of the value.
    accepted_low, accepted_high : ndarray, shape (N,)
        Between these a value with the same relative uncertainty would be called in range, as
        far as each limit goes by itself.
    can_hardly_pass : ndarray of bool, shape (N,)
        The range is narrower than four standard uncertainties.
    """

    probability_low: FloatArray
    probability_in_range: FloatArray
    probability_high: FloatArray
    verdict: CodeArray
    leaning: CodeArray
    guard_band: FloatArray
    accepted_low: FloatArray
    accepted_high: FloatArray
    can_hardly_pass: BoolArray


def judge(
    *,
    value: npt.ArrayLike,
    standard_uncertainty: npt.ArrayLike,
    low: npt.ArrayLike,
    high: npt.ArrayLike,
    is_judged: npt.ArrayLike = True,
) -> Conformity:
    """Hold values against their limits.

    Parameters
    ----------
    value : array_like, shape (N,) or scalar
        Best estimates, in any unit.
    standard_uncertainty : array_like, shape (N,) or scalar
        Combined standard uncertainties, same unit, not negative.
    low, high : array_like, shape (N,) or scalar
        Limits, same unit; NaN where there is no target.
    is_judged : array_like of bool, shape (N,) or scalar
        False where the value isn't to be judged at all.

    Returns
    -------
    Conformity
        Whatever lacks a value, an uncertainty or a limit is not judged.

    Raises
    ------
    ValueError
        If an uncertainty is negative or a low limit isn't below its high one.

    Notes
    -----
    Source: JCGM 106:2012, equations (6) to (9): the probability that a normal quantity lies
    between the limits.

    Examples
    --------
    >>> result = judge(value=574.0, standard_uncertainty=0.06 * 574.0, low=350.0, high=450.0)
    >>> VERDICTS[result.verdict[0]], float(round(result.probability_in_range[0], 5))
    ('high', 0.00016)
    """
    y, u, lower, upper, wanted = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(a, float)) for a in (value, standard_uncertainty, low, high)),
        np.atleast_1d(np.asarray(is_judged, dtype=bool)),
    )
    if np.any(u < 0.0):
        raise ValueError(f"standard_uncertainty is {u[u < 0.0][0]:g}; it must be at least 0")
    if np.any(lower >= upper):
        first = int(np.argmax(lower >= upper))
        raise ValueError(f"low is {lower[first]:g}; it must be below high, {upper[first]:g}")
    possible = wanted & np.isfinite(y) & np.isfinite(u) & np.isfinite(lower) & np.isfinite(upper)
    below, above = _shares_beyond(y, u, lower, upper)
    below = np.where(possible, below, np.nan)
    above = np.where(possible, above, np.nan)
    shares = np.stack([below, 1.0 - below - above, above])
    likeliest = np.argmax(np.where(possible, shares, 0.0), axis=0).astype(np.int8)
    decided = possible & (
        np.take_along_axis(shares, likeliest[None].astype(int), axis=0)[0] >= DECIDING_PROBABILITY
    )
    verdict = np.where(decided, likeliest, np.where(possible, UNDECIDED, NOT_JUDGED))
    guarded = GUARD_FACTOR * u / np.where(y > 0.0, y, np.nan)
    return Conformity(
        probability_low=shares[0],
        probability_in_range=shares[1],
        probability_high=shares[2],
        verdict=verdict.astype(np.int8),
        leaning=np.where(possible & ~decided, likeliest, -1).astype(np.int8),
        guard_band=np.where(possible, GUARD_FACTOR * u, np.nan),
        accepted_low=np.where(possible & (guarded < 1.0), lower / (1.0 - guarded), np.nan),
        accepted_high=np.where(possible, upper / (1.0 + guarded), np.nan),
        can_hardly_pass=possible & (HARDLY_SHOWN_BELOW * u > upper - lower),
    )


def _shares_beyond(
    y: FloatArray, u: FloatArray, lower: FloatArray, upper: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Probabilities below the low and above the high limit; a step where nothing is uncertain."""
    exact = u == 0.0
    scale = np.where(exact, 1.0, u)
    below = np.where(exact, (y < lower).astype(float), ndtr((lower - y) / scale))
    above = np.where(exact, (y > upper).astype(float), ndtr((y - upper) / scale))
    return below, above


def both_bases(
    first: Conformity, second: Conformity, only_first: npt.ArrayLike
) -> tuple[Conformity, BoolArray]:
    """Judge on one basis, and let another basis withdraw the verdict where the two disagree.

    Parameters
    ----------
    first : Conformity
        On the basis of the target.
    second : Conformity
        On the other basis.
    only_first : array_like of bool, shape (N,)
        True where the basis is the maker's word and the other one doesn't count.

    Returns
    -------
    Conformity, ndarray of bool
        The first, undecided where they disagree; and where they do.

    Notes
    -----
    They disagree where another verdict is the likeliest on each and one of them is sure of its
    own. A percent of density that turns "in range" into "too close to call, probably in range"
    is no disagreement: near sea level it would ask for the basis of every tenth target.
    """
    likeliest, other = _likeliest(first), _likeliest(second)
    either_sure = (first.verdict < UNDECIDED) | (second.verdict < UNDECIDED)
    differ = (likeliest != other) & either_sure & ~np.asarray(only_first, dtype=bool)
    result = Conformity(
        probability_low=first.probability_low,
        probability_in_range=first.probability_in_range,
        probability_high=first.probability_high,
        verdict=np.where(differ, UNDECIDED, first.verdict).astype(np.int8),
        leaning=np.where(differ, likeliest, first.leaning).astype(np.int8),
        guard_band=first.guard_band,
        accepted_low=first.accepted_low,
        accepted_high=first.accepted_high,
        can_hardly_pass=first.can_hardly_pass,
    )
    return result, differ


def _likeliest(judged: Conformity) -> npt.NDArray[np.intp]:
    """Return the index of the likeliest of low, in range and high; 0 where nothing is judged."""
    shares = np.stack(
        [judged.probability_low, judged.probability_in_range, judged.probability_high]
    )
    likeliest: npt.NDArray[np.intp] = np.argmax(np.where(np.isnan(shares), 0.0, shares), axis=0)
    return likeliest
