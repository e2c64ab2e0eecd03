"""Sudden changes of one system's flow, told from slow ones.

Adjustments set the level anew, so each stretch between them has a level of its own. Within the
stretches a change is first looked for as if nothing drifted; where one stands out, the place is
held against a straight line: only what no line explains is a step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, stdtr, stdtrit

Floats = NDArray[np.float64]

PRIOR_FREEDOM: Final = 8.0
"""How many values the known repeatability is worth."""
MISFIT_LEVEL: Final = 0.05
"""Values that scatter more than the known repeatability explains speak for themselves."""
CHANGE_LEVEL: Final = 0.05 / 150.0
"""Of naming a change wrongly: in a fleet of 150 steady systems one time in twenty at most."""
OWN_LEVEL: Final = 0.01
"""The same by the scatter of the values alone, whatever is known of the meters."""
DOUBT_LEVEL: Final = 0.05
"""From here on a straight line is doubted."""
STEP_LEVEL: Final = 0.005
"""Of taking a drift for a step: in a fleet with ten drifting systems one time in twenty."""


@dataclass(frozen=True, slots=True)
class Change:
    """The place of a series where a change of level explains most."""

    after: int
    """Number of the last value before it; the next one lies beyond it."""
    size: float
    low: float
    high: float
    """In the unit of the values, with its interval, as if nothing drifted."""
    change_p: float
    """Chance of so clear a change somewhere in a steady series, all places allowed for."""
    own_p: float
    """Chance of so clear a change there by the scatter of the values alone."""
    step_p: float
    """Chance of so much beside a straight line; 1 where line and step can't be told apart."""

    @property
    def is_sure(self) -> bool:
        """Whether the level changed, at once or slowly."""
        return self.change_p <= CHANGE_LEVEL and self.own_p <= OWN_LEVEL

    @property
    def is_step(self) -> bool:
        """Whether it changed at once."""
        return self.is_sure and self.step_p <= STEP_LEVEL

    @property
    def may_be_step(self) -> bool:
        """Whether it may well have changed at once."""
        return self.is_sure and self.step_p <= DOUBT_LEVEL


def clearest_change(
    time: ArrayLike,
    value: ArrayLike,
    *,
    stretch: ArrayLike,
    value_sd: float,
    swap_sd: ArrayLike | None = None,
    level: float = 0.95,
) -> Change | None:
    """Return the clearest change of level of a series, or nothing where there are too few values.

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
        Repeatability to go by for the change after each value, shape (k - 1,); None: `value_sd`.
        Where one meter took over from another, both are as repeatable as one meter is.
    level
        Confidence of the interval.

    Returns
    -------
    Change or None
        None where no two values of one stretch have a value beside them to see the scatter by.

    Raises
    ------
    ValueError
        If shapes don't agree or the repeatability is not above 0.

    Notes
    -----
    Least squares with a level a stretch and a change after each value in turn. The variance is
    moderated: the known one, worth `PRIOR_FREEDOM` values, pooled with what the residuals show
    (G. K. Smyth, Stat. Appl. Genet. Mol. Biol. 3 (2004) article 3); values that scatter more than
    the known one explains are judged by their own scatter alone. The chance is Student's t, times
    the number of places (Bonferroni's inequality; O. J. Dunn, J. Am. Stat. Assoc. 56 (1961) 52).
    At the place of the smallest chance a common slope joins the model, and the change is tested
    beside it.

    Examples
    --------
    >>> values = [0.0, 0.01, -0.01, 0.0, -0.15, -0.14, -0.16, -0.15]
    >>> change = clearest_change(range(8), values, stretch=[0] * 8, value_sd=0.02)
    >>> change.after, round(change.size, 2), change.is_step
    (3, -0.15, True)
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
    levels = (groups[:, None] == np.unique(groups)[None, :]).astype(float)
    if not places or t.size - levels.shape[1] < 2:
        return None
    best: tuple[int, _Fitted] | None = None
    for place in places:
        tried = _fitted(_with_change(levels, groups, place), y, float(swaps[place]))
        if best is None or tried.chance < best[1].chance:
            best = place, tried
    assert best is not None
    place, found = best
    half = float(stdtrit(found.freedom, 0.5 + level / 2.0)) * found.u
    return Change(
        after=place,
        size=found.size,
        low=found.size - half,
        high=found.size + half,
        change_p=min(found.chance * len(places), 1.0),
        own_p=found.own_chance,
        step_p=_beside_a_line(t, y, groups, levels, place, float(swaps[place])),
    )


@dataclass(frozen=True, slots=True)
class _Fitted:
    size: float
    u: float
    freedom: float
    chance: float
    own_chance: float


def _with_change(levels: Floats, groups: NDArray[np.int_], place: int) -> Floats:
    beyond = (groups == groups[place]) & (np.arange(groups.size) > place)
    return np.column_stack([levels, beyond.astype(float)])


def _beside_a_line(
    t: Floats,
    y: Floats,
    groups: NDArray[np.int_],
    levels: Floats,
    place: int,
    known_sd: float,
) -> float:
    columns = np.column_stack([t - np.mean(t), _with_change(levels, groups, place)])
    if t.size <= columns.shape[1] or np.linalg.matrix_rank(columns) < columns.shape[1]:
        return 1.0
    return _fitted(columns, y, known_sd).chance


def _fitted(columns: Floats, y: Floats, known_sd: float) -> _Fitted:
    """Return the last column's coefficient and how likely so large a one is by chance."""
    freedom = float(y.size - columns.shape[1])
    inverse = np.linalg.inv(columns.T @ columns)
    found = inverse @ columns.T @ y
    misfit = float(np.sum((y - columns @ found) ** 2))
    # A hair of scatter keeps values that agree to the last digit from a division by zero.
    own = max(misfit / freedom, 1e-12 * known_sd**2)
    size, leverage = float(found[-1]), float(np.sqrt(inverse[-1, -1]))
    own_chance = 2.0 * float(stdtr(freedom, -abs(size) / (np.sqrt(own) * leverage)))
    if misfit > known_sd**2 * chdtri(freedom, MISFIT_LEVEL):
        return _Fitted(size, float(np.sqrt(own)) * leverage, freedom, own_chance, own_chance)
    sure = PRIOR_FREEDOM + freedom
    u = float(np.sqrt((PRIOR_FREEDOM * known_sd**2 + misfit) / sure)) * leverage
    return _Fitted(size, u, sure, 2.0 * float(stdtr(sure, -abs(size) / u)), own_chance)
