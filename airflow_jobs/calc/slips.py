"""Slips in a layout: a hole that isn't where the rule puts it, and what probably happened.

Every rule is symmetric: a position x has its twin at L - x. A layout that isn't has a slip in
it, and the rule says which of the twins is off.
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from airflow_jobs.calc.quantities import FloatArray, checked

Pattern = Literal[
    "as_planned",
    "one_off",
    "several_off",
    "laid_out_on_outside_size",
    "measured_from_outside",
    "shifted",
    "other_count",
]

POSITION_TOLERANCE_M: Final = 0.005
"""What a drilled hole may miss its place by before it is worth saying. Common practice."""

# A printed fraction has three decimals and tapes have millimetres: a position may miss its
# written fraction by half a millimetre.
_WRITTEN_DECIMALS = 3
_WRITTEN_TOLERANCE_M = 0.00075


@dataclass(frozen=True, slots=True)
class Misplaced:
    """One position that is off.

    Attributes
    ----------
    number
        Of the hole or depth in the order given, from 1.
    found_m, expected_m
        Where it is and where the rule has it, m.
    written, meant
        The fraction that was probably written and the one that belongs there, as three decimals,
        where one digit or two neighbouring ones explain the difference; otherwise None.
    """

    number: int
    found_m: float
    expected_m: float
    written: str | None = None
    meant: str | None = None


@dataclass(frozen=True, slots=True)
class LayoutCheck:
    """What a row of positions looks like beside the rule.

    Attributes
    ----------
    pattern
        `as_planned`; `one_off` or `several_off` (see `misplaced`); all of them explained by
        `laid_out_on_outside_size` (lining forgotten), `measured_from_outside` (lining counted
        in) or `shifted` by the same amount; `other_count`: not as many as the rule has.
    is_symmetric
        Each position has its twin.
    misplaced
        What is off, in the order given; empty for `as_planned` and `other_count`.
    shift_m
        Common shift where the pattern is `shifted` or `measured_from_outside`, otherwise 0.
    """

    pattern: Pattern
    is_symmetric: bool
    misplaced: tuple[Misplaced, ...] = ()
    shift_m: float = 0.0


def asymmetries_m(positions_m: npt.ArrayLike, extent_m: float) -> FloatArray:
    """Return by how much each position and its twin miss the whole extent.

    Parameters
    ----------
    positions_m
        Shape (n,), along one side or one line, in any order, m.
    extent_m
        The inside extent, m, above 0.

    Returns
    -------
    Shape (n,), in rising order of position: x_i + x_(n+1-i) - L, m.

    Raises
    ------
    ValueError
        If the extent isn't positive.

    Notes
    -----
    Source: geometry.

    Examples
    --------
    >>> asymmetries_m([0.1, 0.5, 0.8], 1.0).round(12).tolist()
    [-0.1, 0.0, -0.1]
    """
    extent = float(checked("extent_m", extent_m, "m", above=0.0))
    positions = np.sort(checked("positions_m", positions_m, "m"))
    return positions + positions[::-1] - extent


def check_positions(
    positions_m: npt.ArrayLike,
    planned_fractions: npt.ArrayLike,
    extent_m: float,
    *,
    wall_m: float = 0.0,
    tolerance_m: float = POSITION_TOLERANCE_M,
) -> LayoutCheck:
    """Compare positions as drilled, or as written down, with the rule and say what is off.

    Parameters
    ----------
    positions_m
        Shape (n,), in any order, from the inside face, m.
    planned_fractions
        Shape (n,), the rule's fractions of the extent, rising.
    extent_m
        Inside extent (of an oval's line: its chord), m, above 0.
    wall_m
        Lining or board at each wall, m.
    tolerance_m
        How far a position may be off before it counts, m, above 0.

    Returns
    -------
    LayoutCheck

    Raises
    ------
    ValueError
        If a length is impossible.

    Notes
    -----
    Source: common practice. With fractions in place of metres (extent 1) it checks a table.

    Examples
    --------
    >>> rule = (0.074, 0.288, 0.5, 0.712, 0.926)
    >>> check = check_positions([0.034, 0.109, 0.229, 0.326, 0.423], rule, 0.4572)
    >>> check.pattern, check.is_symmetric, check.misplaced[0].number
    ('one_off', False, 2)
    >>> check.misplaced[0].written, check.misplaced[0].meant
    ('0.238', '0.288')
    """
    extent = float(checked("extent_m", extent_m, "m", above=0.0))
    wall = float(checked("wall_m", wall_m, "m", at_least=0.0))
    tolerance = float(checked("tolerance_m", tolerance_m, "m", above=0.0))
    given = np.atleast_1d(checked("positions_m", positions_m, "m"))
    fractions = np.atleast_1d(np.asarray(planned_fractions, dtype=np.float64))
    symmetric = bool(np.all(np.abs(asymmetries_m(given, extent)) <= tolerance))
    if given.size != fractions.size:
        return LayoutCheck("other_count", symmetric)

    order = np.argsort(given, kind="stable")
    found, planned = given[order], fractions * extent
    miss = found - planned
    is_off = np.abs(miss) > tolerance
    if not is_off.any():
        return LayoutCheck("as_planned", symmetric)
    misplaced = tuple(
        sorted(
            (
                _misplaced(int(order[i]) + 1, float(found[i]), float(fractions[i]), extent)
                for i in np.flatnonzero(is_off)
            ),
            key=lambda position: position.number,
        )
    )
    pattern, shift = _pattern(found, fractions, extent, wall, tolerance, int(is_off.sum()))
    return LayoutCheck(pattern, symmetric, misplaced, shift)


def _pattern(
    found: FloatArray,
    fractions: FloatArray,
    extent: float,
    wall: float,
    tolerance: float,
    number_off: int,
) -> tuple[Pattern, float]:
    miss = found - fractions * extent
    if wall > 0.0:
        outside = fractions * (extent + 2.0 * wall)
        # Laid out on the outside size, and counted from either face.
        for start in (0.0, wall):
            if np.all(np.abs(found - (outside - start)) <= tolerance):
                explained_by_shift = np.ptp(miss) <= tolerance
                if not explained_by_shift:
                    return "laid_out_on_outside_size", 0.0
        if np.all(np.abs(miss - wall) <= tolerance):
            return "measured_from_outside", wall
    if number_off == 1:
        return "one_off", 0.0
    if found.size > 2 and np.ptp(miss) <= tolerance:
        return "shifted", float(np.mean(miss))
    return "several_off", 0.0


def _misplaced(number: int, found: float, fraction: float, extent: float) -> Misplaced:
    meant = f"{fraction:.{_WRITTEN_DECIMALS}f}"
    nearest = min(_slips_of(meant), key=lambda text: abs(float(text) * extent - found))
    if abs(float(nearest) * extent - found) <= _WRITTEN_TOLERANCE_M:
        return Misplaced(number, found, fraction * extent, written=nearest, meant=meant)
    return Misplaced(number, found, fraction * extent)


def _slips_of(meant: str) -> list[str]:
    """Every fraction that differs in one decimal, or has two neighbouring ones swapped."""
    point = meant.index(".") + 1
    slips = []
    for i in range(point, len(meant)):
        slips += [meant[:i] + d + meant[i + 1 :] for d in "0123456789" if d != meant[i]]
        if i + 1 < len(meant) and meant[i] != meant[i + 1]:
            slips.append(meant[:i] + meant[i + 1] + meant[i] + meant[i + 2 :])
    return slips
