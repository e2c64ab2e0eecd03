"""Sudden changes of one system's flow, told from slow ones.

A step is a change of level that no straight line explains: the line's slope stays in the model
while every place between two measurements is tried. Adjustments have set the level anew anyway,
so each stretch between them has a level of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, stdtr, stdtrit

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEWEST: Final = 4
"""A level, a slope and a step, and one value to see how they scatter."""
PRIOR_FREEDOM: Final = 8.0
"""How many values the known repeatability is worth."""
MISFIT_LEVEL: Final = 0.05
"""Values that scatter more than the known repeatability explains speak for themselves."""
LEVEL: Final = 0.05


@dataclass(frozen=True, slots=True)
class Step:
    """The place where a step explains most, whether or not it is more than chance."""

    after: int
    """Number of the last value before it; the next one lies beyond it."""
    size: float
    low: float
    high: float
    """In the unit of the values, with its interval, the slope allowed for."""
    p_value: float
    """Of so clear a step somewhere in the series by chance, all places allowed for."""
    slope: float
    """Of the line beside the step, per unit of time."""


def likeliest_step(
    time: ArrayLike,
    value: ArrayLike,
    *,
    stretch: ArrayLike,
    value_sd: float,
    swap_sd: ArrayLike | None = None,
    level: float = 0.95,
) -> Step | None:
    """Return the clearest step of a series, or nothing where there are too few values.

    Parameters
    ----------
    time
        Instants in any unit of time, shape (k,), in order.
    value
        What was measured, shape (k,), finite.
    stretch
        Numbers of the stretches between adjustments, shape (k,), not falling. Each has a level
        of its own; slope and repeatability are common.
    value_sd
        Known repeatability of a value, above 0.
    swap_sd
        Repeatability to go by for the step after each value, shape (k - 1,); None: `value_sd`.
        Where one meter took over from another, both are as repeatable as one meter is.
    level
        Confidence of the interval.

    Returns
    -------
    Step or None
        None where no place has values of one stretch on both sides, or fewer than one value
        would be left to see how they scatter.

    Raises
    ------
    ValueError
        If shapes don't agree or the repeatability is not above 0.

    Notes
    -----
    Least squares with a level a stretch, a common slope, and a step after each value in turn;
    the variance is moderated: the known one, worth `PRIOR_FREEDOM` values, pooled with what the
    residuals show (G. K. Smyth, Stat. Appl. Genet. Mol. Biol. 3 (2004) article 3). Values that
    scatter more than the known one explains are judged by their own scatter alone. The chance is
    Student's t, times the number of places (C. E. Bonferroni's inequality; O. J. Dunn, J. Am.
    Stat. Assoc. 56 (1961) 52).

    Examples
    --------
    >>> values = [0.0, 0.01, -0.01, 0.0, -0.15, -0.14, -0.16, -0.15]
    >>> step = likeliest_step(range(8), values, stretch=[0] * 8, value_sd=0.02)
    >>> step.after, round(step.size, 2), step.p_value < 0.05
    (3, -0.16, True)
    """
    t, y, groups = np.asarray(time, float), np.asarray(value, float), np.asarray(stretch, int)
    if not t.shape == y.shape == groups.shape or t.ndim != 1:
        raise ValueError(
            f"time, value and stretch must have one shape (k,), not {t.shape}, {y.shape}, "
            f"{groups.shape}"
        )
    if not value_sd > 0.0:
        raise ValueError(f"value_sd must be above 0, not {value_sd}")
    swaps = np.full(max(t.size - 1, 0), value_sd)
    if swap_sd is not None:
        swaps = np.asarray(swap_sd, float)
        if swaps.shape != (max(t.size - 1, 0),):
            raise ValueError(f"swap_sd must have the shape ({max(t.size - 1, 0)},)")
    places = [
        place
        for place in range(t.size - 1)
        if groups[place] == groups[place + 1] and t[place + 1] > t[place]
    ]
    plain = _plain_columns(t, groups)
    freedom = t.size - plain.shape[1] - 1
    if not places or freedom < 1:
        return None
    best: Step | None = None
    for place in places:
        step = np.where((groups == groups[place]) & (np.arange(t.size) > place), 1.0, 0.0)
        tried = _fitted(np.column_stack([plain, step]), y, float(swaps[place]), freedom, level)
        if tried is None:
            continue
        size, half, chance, slope = tried
        p_value = min(chance * len(places), 1.0)
        if best is None or p_value < best.p_value:
            best = Step(place, size, size - half, size + half, p_value, slope)
    return best


def _plain_columns(t: Floats, groups: NDArray[np.int_]) -> Floats:
    """Return the columns without a step: the slope first, then a level for each stretch."""
    known = np.unique(groups)
    levels = (groups[:, None] == known[None, :]).astype(float)
    return np.column_stack([t - np.mean(t) if t.size else t, levels])


def _fitted(
    columns: Floats, y: Floats, known_sd: float, freedom: int, level: float
) -> tuple[float, float, float, float] | None:
    """Return the step's size, half-width and chance, and the slope; None where they can't be told
    apart."""
    if np.linalg.matrix_rank(columns) < columns.shape[1]:
        return None
    inverse = np.linalg.inv(columns.T @ columns)
    found = inverse @ columns.T @ y
    misfit = float(np.sum((y - columns @ found) ** 2))
    if misfit > known_sd**2 * chdtri(freedom, MISFIT_LEVEL):
        variance, sure = misfit / freedom, float(freedom)
    else:
        variance = (PRIOR_FREEDOM * known_sd**2 + misfit) / (PRIOR_FREEDOM + freedom)
        sure = PRIOR_FREEDOM + freedom
    u = float(np.sqrt(variance * inverse[-1, -1]))
    size = float(found[-1])
    chance = 2.0 * float(stdtr(sure, -abs(size) / u))
    return size, float(stdtrit(sure, 0.5 + level / 2.0)) * u, chance, float(found[0])
