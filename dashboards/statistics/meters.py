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
    y = np.asarray(log_flow, float)
    which, where = np.asarray(meter, int), np.asarray(stratum, int)
    if not y.shape == which.shape == where.shape or y.ndim != 1:
        raise ValueError("log_flow, meter and stratum must have one shape, (n,)")
    if y.size and (which.min() < 0 or which.max() >= meters):
        raise ValueError(f"meter must be from 0 to {meters - 1}")
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must be between 0 and 1, not {level}")
    if y.size:
        where = np.unique(where, return_inverse=True)[1]
    others = (np.bincount(where)[where] - 1) if y.size else np.zeros(0, int)
    y, which, where, others = (part[others > 0] for part in (y, which, where, others))
    of_each = [np.flatnonzero(which == one) for one in range(meters)]
    offset = np.zeros(meters)
    difference = np.zeros(y.shape)
    for _ in range(ROUNDS):
        cleaned = y - offset[which]
        total = np.bincount(where, weights=cleaned) if y.size else np.zeros(0)
        difference = y - (total[where] - cleaned) / others if y.size else y
        found = np.array([np.median(difference[rows]) if rows.size else np.nan for rows in of_each])
        if np.any(np.isfinite(found)):
            found = found - np.nanmedian(found)
        moved = np.nan_to_num(found) - offset
        # Half a step: two meters that only met each other would swap their offsets for ever.
        offset = offset + 0.5 * moved
        if np.max(np.abs(moved), initial=0.0) < SETTLED:
            break
    known = np.array([rows.size > 0 for rows in of_each], bool)
    ends = [_median_ends(difference[rows], level) for rows in of_each]
    middles = [float(np.median(difference[rows])) if rows.size else 0.0 for rows in of_each]
    return Offsets(
        offset=np.where(known, offset, np.nan),
        low=np.array([o + (e[0] - m) for o, e, m in zip(offset, ends, middles, strict=True)]),
        high=np.array([o + (e[1] - m) for o, e, m in zip(offset, ends, middles, strict=True)]),
        comparisons=np.array([rows.size for rows in of_each], int),
    )


def _median_ends(values: Floats, level: float) -> tuple[float, float]:
    """Return the narrowest order statistics that hold the median with at least that level."""
    count = values.size
    tail = 0.5 * (1.0 - level)
    # The k-th smallest lies above the median with probability P(B(n, 1/2) < k).
    rank = int(binom.ppf(tail, count, 0.5)) if count else 0
    if rank > 0 and binom.cdf(rank - 1, count, 0.5) > tail:
        rank -= 1
    if rank < 1:
        return -np.inf, np.inf
    ordered = np.sort(values)
    return float(ordered[rank - 1]), float(ordered[count - rank])
