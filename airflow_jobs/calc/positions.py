"""From a plan to the tape: metres, millimetres and sixteenths, outside marks, and back.

Distances are from the inside face where the tape starts unless a name says otherwise.
"""

from dataclasses import dataclass
from math import floor, gcd
from typing import Final

import numpy as np

from airflow_jobs.calc.layouts import Plan
from airflow_jobs.calc.ovals import oval_chord
from airflow_jobs.calc.sections import DrilledSide, InsideSection

INCH_M: Final = 0.0254
"""One inch, m; exact. NIST SP 811 (2008), Appendix B."""

PARTS_OF_AN_INCH: Final = 16


@dataclass(frozen=True, slots=True)
class TapePosition:
    """A distance as it is found on a tape, and what the tape's marks cost.

    Attributes
    ----------
    exact_m
        Unrounded, m.
    millimetres
        Nearest whole millimetre.
    sixteenths
        Nearest sixteenth of an inch in words of the trade, such as `5 3/16`.
    millimetre_rounding_m, sixteenth_rounding_m
        Rounded less exact, m.
    """

    exact_m: float
    millimetres: int
    sixteenths: str
    millimetre_rounding_m: float
    sixteenth_rounding_m: float


@dataclass(frozen=True, slots=True)
class LayoutDistances:
    """A plan in metres, for the tape, the drill and the shaft.

    Attributes
    ----------
    lines_m, lines_on_outside_tape_m
        Rectangle and oval: holes along the drilled side from the inside face, and from the
        outside face where a tape is hooked. Empty for a round section.
    angles_deg, around_outside_m
        Round: holes by angle from the first, clockwise facing downstream, and along the outside.
        Empty for the other shapes.
    depths_m
        One tuple a line: from the inside face of the wall met there to the sensor.
    depths_from_outside_m
        The same from the outside face.
    shaft_marks_m
        From the probe's tip to the mark that stands at the outside face.
    """

    lines_m: tuple[float, ...]
    lines_on_outside_tape_m: tuple[float, ...]
    angles_deg: tuple[float, ...]
    around_outside_m: tuple[float, ...]
    depths_m: tuple[tuple[float, ...], ...]
    depths_from_outside_m: tuple[tuple[float, ...], ...]
    shaft_marks_m: tuple[tuple[float, ...], ...]


def tape_position(exact_m: float) -> TapePosition:
    """Return a distance in whole millimetres and in sixteenths of an inch.

    Parameters
    ----------
    exact_m
        Distance, m, at least 0.

    Returns
    -------
    TapePosition

    Raises
    ------
    ValueError
        If the distance is negative or missing.

    Notes
    -----
    Halves are rounded up. Source: common practice.

    Examples
    --------
    >>> position = tape_position(0.288 * 18 * 0.0254)
    >>> position.millimetres, position.sixteenths
    (132, '5 3/16')
    """
    if not 0.0 <= exact_m < float("inf"):
        raise ValueError(f"exact_m is {exact_m} m; it must be at least 0 m")
    millimetres = floor(exact_m * 1000.0 + 0.5)
    sixteenths = floor(exact_m / INCH_M * PARTS_OF_AN_INCH + 0.5)
    return TapePosition(
        exact_m=exact_m,
        millimetres=millimetres,
        sixteenths=inches_in_words(sixteenths),
        millimetre_rounding_m=millimetres / 1000.0 - exact_m,
        sixteenth_rounding_m=sixteenths * INCH_M / PARTS_OF_AN_INCH - exact_m,
    )


def inches_in_words(sixteenths: int) -> str:
    """Return a number of sixteenths of an inch as whole inches and a reduced fraction.

    Parameters
    ----------
    sixteenths
        At least 0.

    Returns
    -------
    For instance `5 3/16`, `3/4`, `12`, `0`.

    Raises
    ------
    ValueError
        If the number is negative.

    Notes
    -----
    Source: common practice.

    Examples
    --------
    >>> [inches_in_words(n) for n in (0, 3, 12, 16, 90)]
    ['0', '3/16', '3/4', '1', '5 5/8']
    """
    if sixteenths < 0:
        raise ValueError(f"sixteenths is {sixteenths}; it must be at least 0")
    whole, part = divmod(sixteenths, PARTS_OF_AN_INCH)
    if part == 0:
        return str(whole)
    divisor = gcd(part, PARTS_OF_AN_INCH)
    fraction = f"{part // divisor}/{PARTS_OF_AN_INCH // divisor}"
    return f"{whole} {fraction}" if whole else fraction


def chords_m(
    plan: Plan, section: InsideSection, drilled_side: DrilledSide = "width"
) -> tuple[float, ...]:
    """Return how far it is through the duct at each line, inside.

    Parameters
    ----------
    plan
        The plan, or the positions as drilled.
    section
        The inside section.
    drilled_side
        The side along which the holes are spaced; no matter for a round section.

    Returns
    -------
    One length a line, m: the other extent, the diameter, or an oval's local chord.

    Examples
    --------
    >>> from airflow_jobs.calc.layouts import plan_for
    >>> duct = InsideSection("rectangular", 0.5, 0.3)
    >>> chords_m(plan_for(duct), duct)
    (0.3, 0.3, 0.3, 0.3, 0.3)
    """
    along, across = section.extents_m(drilled_side)
    if section.shape != "flat_oval":
        return (across,) * len(plan.lines)
    xi = 2.0 * np.asarray(plan.lines, dtype=np.float64) - 1.0
    return tuple(float(c) for c in across * oval_chord(xi, along / across))


def walls_along_shaft_m(
    plan: Plan, section: InsideSection, drilled_side: DrilledSide = "width"
) -> tuple[float, ...]:
    """Return how much wall the shaft passes at each line.

    Parameters
    ----------
    plan, section, drilled_side
        As for `chords_m`.

    Returns
    -------
    One thickness a line, m: the wall's, and somewhat more where an oval's end slopes.

    Examples
    --------
    >>> from airflow_jobs.calc.layouts import plan_for
    >>> duct = InsideSection("round", 0.3, 0.3, wall_m=0.025)
    >>> walls_along_shaft_m(plan_for(duct), duct)
    (0.025, 0.025, 0.025)
    """
    if section.shape != "flat_oval" or section.wall_m == 0.0:
        return (section.wall_m,) * len(plan.lines)
    along, across = section.extents_m(drilled_side)
    outer_along, outer_across = along + 2.0 * section.wall_m, across + 2.0 * section.wall_m
    from_centre = (2.0 * np.asarray(plan.lines, dtype=np.float64) - 1.0) * along
    outer = outer_across * oval_chord(from_centre / outer_along, outer_along / outer_across)
    inner = np.asarray(chords_m(plan, section, drilled_side))
    return tuple(float(w) for w in 0.5 * (outer - inner))


def layout_distances(
    plan: Plan,
    section: InsideSection,
    drilled_side: DrilledSide = "width",
    *,
    tip_to_sensor_m: float = 0.0,
) -> LayoutDistances:
    """Return a plan in metres, with what a tape outside and a shaft show.

    Parameters
    ----------
    plan, section, drilled_side
        As for `chords_m`.
    tip_to_sensor_m
        How far the sensor sits behind the probe's tip, m, at least 0.

    Returns
    -------
    LayoutDistances

    Raises
    ------
    ValueError
        If the tip-to-sensor distance is negative.

    Notes
    -----
    Source: geometry. Where holes are spaced along a round duct's outside, the arc is taken on
    the outside of sheet or board.

    Examples
    --------
    >>> from airflow_jobs.calc.layouts import plan_for
    >>> board = InsideSection("rectangular", 0.4191, 0.4191, wall_m=0.01905)
    >>> distances = layout_distances(plan_for(board), board)
    >>> round(distances.lines_m[0], 3), round(distances.lines_on_outside_tape_m[0], 3)
    (0.031, 0.05)
    """
    if not tip_to_sensor_m >= 0.0:
        raise ValueError(f"tip_to_sensor_m is {tip_to_sensor_m} m; it must be at least 0 m")
    along, _ = section.extents_m(drilled_side)
    walls = walls_along_shaft_m(plan, section, drilled_side)
    depths = tuple(
        tuple(fraction * chord for fraction in fractions)
        for fractions, chord in zip(plan.depths, chords_m(plan, section, drilled_side), strict=True)
    )
    from_outside = tuple(
        tuple(depth + wall for depth in line) for line, wall in zip(depths, walls, strict=True)
    )
    is_round = plan.shape == "round"
    lines = () if is_round else tuple(fraction * along for fraction in plan.lines)
    angles = plan.lines if is_round else ()
    circumference = np.pi * (along + 2.0 * section.wall_m)
    return LayoutDistances(
        lines_m=lines,
        lines_on_outside_tape_m=tuple(x + section.wall_m for x in lines),
        angles_deg=angles,
        around_outside_m=tuple(float(circumference * a / 360.0) for a in angles),
        depths_m=depths,
        depths_from_outside_m=from_outside,
        shaft_marks_m=tuple(tuple(x + tip_to_sensor_m for x in line) for line in from_outside),
    )


def plan_as_drilled(
    plan: Plan,
    section: InsideSection,
    drilled_side: DrilledSide = "width",
    *,
    lines_m: tuple[float, ...] | None = None,
    angles_deg: tuple[float, ...] | None = None,
    depths_m: tuple[tuple[float, ...], ...] | None = None,
) -> Plan:
    """Return the plan with the positions that were really used in place of the rule's.

    Parameters
    ----------
    plan
        The plan by the rule; it stands for whatever isn't given.
    section, drilled_side
        As for `chords_m`.
    lines_m
        Rectangle and oval: true distances along the drilled side, m, inside the section.
    angles_deg
        Round: true angles of the holes, degrees.
    depths_m
        True depths, m, one tuple a line. Where they are left out, each line has the plan's
        fractions of its own chord.

    Returns
    -------
    Plan
        Equal to `plan` where nothing differs.

    Raises
    ------
    ValueError
        If a position lies outside the section, lines and angles don't fit the shape, or there
        aren't as many lists of depths as lines.

    Examples
    --------
    >>> from airflow_jobs.calc.layouts import plan_for
    >>> duct = InsideSection("rectangular", 0.5, 0.5)
    >>> plan_as_drilled(plan_for(duct), duct, lines_m=(0.04, 0.14, 0.27, 0.36, 0.46)).lines
    (0.08, 0.28, 0.54, 0.72, 0.92)
    """
    along, _ = section.extents_m(drilled_side)
    if plan.shape == "round":
        if lines_m is not None:
            raise ValueError("lines_m is given; a round section has angles_deg in its place")
        lines = plan.lines if angles_deg is None else tuple(float(a) for a in angles_deg)
        _require(all(np.isfinite(lines)), "angles_deg has a missing value")
    else:
        if angles_deg is not None:
            raise ValueError(f"angles_deg is given; a {plan.shape} section has lines_m instead")
        lines = plan.lines
        if lines_m is not None:
            _require_inside("lines_m", lines_m, along)
            lines = tuple(x / along for x in lines_m)
    _require(len(lines) > 0, "there is no line; at least one is needed")
    count = len(lines) if depths_m is None else len(depths_m)
    _require(
        count == len(lines),
        f"depths_m has {count} lists for {len(lines)} lines; it must have one a line",
    )
    moved = Plan(plan.shape, plan.rule, lines, (plan.depths[0],) * len(lines), plan.oval_aspect)
    if depths_m is None:
        return moved
    fractions = []
    for line, chord in zip(depths_m, chords_m(moved, section, drilled_side), strict=True):
        _require_inside("depths_m", line, chord)
        fractions.append(tuple(depth / chord for depth in line))
    return Plan(plan.shape, plan.rule, lines, tuple(fractions), plan.oval_aspect)


def _require(condition: bool, message: str) -> None:
    if not condition:
        raise ValueError(message)


def _require_inside(name: str, values_m: tuple[float, ...], extent_m: float) -> None:
    _require(len(values_m) > 0, f"{name} has an empty list; at least one position is needed")
    for value in values_m:
        if not 0.0 < value < extent_m:
            raise ValueError(
                f"{name} has {value:g} m; it must lie inside the section, "
                f"above 0 m and below {extent_m:g} m"
            )
