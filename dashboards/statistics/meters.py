"""Whether one meter reads high or low against the others on the same flows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import binom

Floats = NDArray[np.float64]

ROUNDS: Final = 50
SETTLED: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Offsets:
    """What each meter reads above the others; arrays of shape (meters,)."""

    offset: Floats
    """Natural logarithm of reading over the others' reading; NaN without a comparison."""
    low: Floats
    high: Floats
    """Ends of the interval; infinite where there are too few comparisons for any."""
    comparisons: NDArray[np.int_]


@dataclass(frozen=True, slots=True)
class Polished:
    """The offsets of meters with all that their intervals rest on."""

    offset: Floats
    """Shape (meters,); 0 without a comparison."""
    differences: tuple[Floats, ...]
    """Each meter's differences from the others, in order."""

    def at(self, level: float) -> Offsets:
        """Return the offsets with intervals of a confidence between 0 and 1."""
        if not 0.0 < level < 1.0:
            raise ValueError(f"level must be between 0 and 1, not {level}")
        comparisons = np.array([ordered.size for ordered in self.differences], int)
        low, high = np.full(self.offset.shape, -np.inf), np.full(self.offset.shape, np.inf)
        for index, rank in enumerate(_ranks(comparisons, level)):
            if rank > 0:
                ordered = self.differences[index]
                shift = self.offset[index] - _median_of(ordered)
                low[index] = ordered[rank - 1] + shift
                high[index] = ordered[ordered.size - rank] + shift
        return Offsets(np.where(comparisons > 0, self.offset, np.nan), low, high, comparisons)


def meter_offsets(
    log_flow: ArrayLike,
    *,
    meter: ArrayLike,
    stratum: ArrayLike,
    meters: int,
    level: float = 0.95,
) -> Offsets:
    """Return by how much each meter reads above or below the others on the same flows.

    Parameters
    ----------
    log_flow
        Logarithm of the flow that a meter gave in a stratum, shape (n,), one value for each
        meter and stratum.
    meter
        Which meter, shape (n,), 0 to `meters` - 1.
    stratum
        What was measured, shape (n,), whole numbers: values of one stratum are of one flow.
    meters
        How many meters there are.
    level
        Confidence of the intervals, between 0 and 1.

    Returns
    -------
    Offsets
        The median of all offsets is 0: they are against each other, not against the truth.

    Raises
    ------
    ValueError
        If shapes differ, a meter is out of range, or the level is not between 0 and 1.

    Notes
    -----
    Median polish of a two-way table with gaps: J. W. Tukey, "Exploratory Data Analysis",
    Addison-Wesley 1977, chapter 11. Each meter's offset is the median of its differences from
    the others, theirs taken off. The interval is of the median, by order statistics: W. J.
    Conover, "Practical Nonparametric Statistics", 3rd edition, Wiley 1999, section 3.2; it
    leaves out that the others' offsets are estimates.
    """
    return polished_meters(log_flow, meter=meter, stratum=stratum, meters=meters).at(level)


def polished_meters(
    log_flow: ArrayLike, *, meter: ArrayLike, stratum: ArrayLike, meters: int
) -> Polished:
    """Return the offsets for intervals of any level; parameters and errors of `meter_offsets`."""
    y = np.asarray(log_flow, float)
    which, where = np.asarray(meter, int), np.asarray(stratum, int)
    if not y.shape == which.shape == where.shape or y.ndim != 1:
        raise ValueError("log_flow, meter and stratum must have one shape, (n,)")
    if y.size and (which.min() < 0 or which.max() >= meters):
        raise ValueError(f"meter must be from 0 to {meters - 1}")
    if y.size:
        where = np.unique(where, return_inverse=True)[1]
    others = (np.bincount(where)[where] - 1) if y.size else np.zeros(0, int)
    # Sorted by meter, so that each one's values lie side by side.
    order = np.argsort(which, kind="stable")
    order = order[others[order] > 0]
    y, which, where, others = (part[order] for part in (y, which, where, others))
    ends = np.searchsorted(which, np.arange(meters + 1))
    offset = np.zeros(meters)
    difference = np.zeros(y.shape)
    for _ in range(ROUNDS):
        cleaned = y - offset[which]
        total = np.bincount(where, weights=cleaned) if y.size else np.zeros(0)
        difference = y - (total[where] - cleaned) / others if y.size else y
        found = np.array(
            [
                _median_of(difference[ends[one] : ends[one + 1]])
                if ends[one] < ends[one + 1]
                else np.nan
                for one in range(meters)
            ]
        )
        if np.any(np.isfinite(found)):
            found = found - np.nanmedian(found)
        moved = np.nan_to_num(found) - offset
        # Half a step: two meters that only met each other would swap their offsets for ever.
        offset = offset + 0.5 * moved
        if np.max(np.abs(moved), initial=0.0) < SETTLED:
            break
    return Polished(
        offset,
        tuple(np.sort(difference[ends[one] : ends[one + 1]]) for one in range(meters)),
    )


def _median_of(values: Floats) -> float:
    """Return the median of at least one value, without numpy's overhead a call."""
    half = values.size // 2
    if values.size % 2:
        return float(np.partition(values, half)[half])
    parted = np.partition(values, (half - 1, half))
    return 0.5 * float(parted[half - 1] + parted[half])


def _ranks(count: NDArray[np.int_], level: float) -> NDArray[np.int_]:
    """Return which order statistics, from both ends, hold the median with at least that level.

    The narrowest; 0 where there are too few values for any.
    """
    tail = 0.5 * (1.0 - level)
    # The k-th smallest lies above the median with probability P(B(n, 1/2) < k).
    rank = np.where(count > 0, binom.ppf(tail, count, 0.5), 0.0).astype(int)
    too_narrow = (rank > 0) & (binom.cdf(rank - 1, count, 0.5) > tail)
    return np.where(too_narrow, rank - 1, rank)
