"""Layouts: where the published rules put the points of a traverse.

Positions are fractions of the inside extent from the inside face where the tape starts.
Every rule here gives each point the same weight 1/n. `positions` turns a plan into tape
distances and compares it with what was drilled.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import ceil

import numpy as np
import numpy.typing as npt

from airflow_jobs.calc.ovals import oval_chord, oval_line_fraction
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.rules import (
    RULES_BY_SHAPE,
    Rule,
    equal_annuli_fractions,
    equal_area_fractions,
    log_linear_fractions,
    log_tchebycheff_fractions,
)
from airflow_jobs.calc.sections import DrilledSide, InsideSection, Shape

# ASHRAE 111 and ASHRAE Handbook Fundamentals, rectangular traverse figure (from memory):
# under 30 in five lines, to 36 in six, beyond seven.
SIX_LINES_FROM_M = 0.760
SEVEN_LINES_ABOVE_M = 0.915

# Older ASHRAE and balancing procedure (from memory): 16 to 64 points, 150 mm apart at most.
EQUAL_AREA_SPACING_M = 0.150
EQUAL_AREA_LEAST_A_SIDE = 4
EQUAL_AREA_MOST_POINTS = 64

DEFAULT_DIAMETERS = 3
DEFAULT_POINTS_PER_DIAMETER = 6


@dataclass(frozen=True)
class Plan:
    """Where the points of a traverse are, normalised; equal plans compare and hash equal.

    Attributes
    ----------
    shape, rule
        The section's shape and the published rule that the plan follows, or would follow
        where holes were drilled elsewhere.
    lines
        Rectangle and oval: line positions along the drilled side, fractions of the inside
        extent. Round: angles of the holes, degrees, 0 at the first hole, clockwise facing
        downstream.
    depths
        One tuple a line: fractions of the way through the duct at that line (rectangle: of
        the other extent; round: of the diameter; oval: of the local chord, so that depth 0 is
        the wall met at that line).
    oval_aspect
        Flat oval only: extent along the drilled side over extent along the depth. None
        for the other shapes, whose weights don't depend on proportions.
    """

    shape: Shape
    rule: Rule
    lines: tuple[float, ...]
    depths: tuple[tuple[float, ...], ...]
    oval_aspect: float | None = None

    @property
    def number_of_points(self) -> int:
        """Number of points on all lines together."""
        return sum(len(depths) for depths in self.depths)

    @cached_property
    def line_of_point(self) -> npt.NDArray[np.intp]:
        """Index of the line that each point lies on, shape (n,)."""
        index = np.repeat(np.arange(len(self.lines)), [len(d) for d in self.depths])
        index.setflags(write=False)
        return index

    @cached_property
    def xi(self) -> FloatArray:
        """Normalised coordinate of each point, shape (n,), from -1 to 1, line by line.

        Rectangle and oval: 2x/W along the drilled side, from the centre. Round: x/R, to the
        right of the first hole, facing downstream.
        """
        return self._coordinates[0]

    @cached_property
    def eta(self) -> FloatArray:
        """Normalised coordinate of each point, shape (n,), from -1 to 1, line by line.

        Rectangle and oval: 2y/H along the depth, from the centre. Round: y/R, towards the
        first hole.
        """
        return self._coordinates[1]

    @cached_property
    def _coordinates(self) -> tuple[FloatArray, FloatArray]:
        line = np.repeat(np.asarray(self.lines, dtype=np.float64), [len(d) for d in self.depths])
        depth = np.concatenate([np.asarray(d, dtype=np.float64) for d in self.depths])
        if self.shape == "round":
            towards_hole = 1.0 - 2.0 * depth
            angle = np.radians(line)
            return _fixed(towards_hole * np.sin(angle)), _fixed(towards_hole * np.cos(angle))
        xi = 2.0 * line - 1.0
        eta = 2.0 * depth - 1.0
        if self.shape == "flat_oval":
            assert self.oval_aspect is not None
            eta = eta * oval_chord(xi, self.oval_aspect)
        return _fixed(xi), _fixed(eta)


def default_counts(
    section: InsideSection, rule: Rule, drilled_side: DrilledSide = "width"
) -> tuple[int, int]:
    """Return how many lines and how many points a line a section gets by default.

    Parameters
    ----------
    section
        The inside section.
    rule
        A rule for its shape.
    drilled_side
        The side along which the holes are spaced; no matter for a round section.

    Returns
    -------
    (lines or diameters, points a line). The number of lines follows from the drilled side's
    inside extent, the number of points from the other's.

    Notes
    -----
    Three diameters of six in a round duct: two can't see a four-lobed field, and more points
    a diameter hardly matter. Rectangles: ASHRAE 111 (from memory); equal area: older ASHRAE
    and balancing procedure (from memory), where 64 points win over 150 mm in a large duct.

    Examples
    --------
    >>> default_counts(InsideSection("rectangular", 0.8, 0.3), "log_tchebycheff")
    (6, 5)
    """
    if section.shape == "round":
        return DEFAULT_DIAMETERS, DEFAULT_POINTS_PER_DIAMETER
    along, across = section.extents_m(drilled_side)
    if rule == "log_tchebycheff":
        return _log_tchebycheff_count(along), _log_tchebycheff_count(across)
    lines = max(EQUAL_AREA_LEAST_A_SIDE, ceil(along / EQUAL_AREA_SPACING_M - 1e-9))
    points = max(EQUAL_AREA_LEAST_A_SIDE, ceil(across / EQUAL_AREA_SPACING_M - 1e-9))
    while lines * points > EQUAL_AREA_MOST_POINTS:
        spacing_along, spacing_across = along / lines, across / points
        if points == EQUAL_AREA_LEAST_A_SIDE or (
            lines > EQUAL_AREA_LEAST_A_SIDE and spacing_along <= spacing_across
        ):
            lines -= 1
        else:
            points -= 1
    return lines, points


def plan_for(
    section: InsideSection,
    *,
    rule: Rule | None = None,
    lines: int | None = None,
    points: int | None = None,
    drilled_side: DrilledSide = "width",
) -> Plan:
    """Return the plan of a section by a published rule.

    Parameters
    ----------
    section
        The inside section.
    rule
        A rule for its shape; by default log-Tchebycheff, or log-linear in a round duct.
    lines
        Number of lines (round: diameters); by default from the drilled side.
    points
        Points a line (round: a diameter); by default from the other side.
    drilled_side
        The side along which the holes are spaced, `width` or `height`.

    Returns
    -------
    Plan

    Raises
    ------
    ValueError
        If the rule isn't one for this shape, or has no such count.

    Examples
    --------
    >>> plan_for(InsideSection("rectangular", 0.4572, 0.6096)).lines
    (0.074, 0.288, 0.5, 0.712, 0.926)
    """
    chosen = rule if rule is not None else RULES_BY_SHAPE[section.shape][0]
    default_lines, default_points = default_counts(section, chosen, drilled_side)
    along, across = section.extents_m(drilled_side)
    return plan_by_rule(
        section.shape,
        chosen,
        lines if lines is not None else default_lines,
        points if points is not None else default_points,
        oval_aspect=along / across if section.shape == "flat_oval" else None,
    )


@lru_cache(maxsize=512)
def plan_by_rule(
    shape: Shape, rule: Rule, lines: int, points: int, oval_aspect: float | None = None
) -> Plan:
    """Return the normalised plan of a rule; the same object for the same arguments.

    Parameters
    ----------
    shape
        `rectangular`, `round` or `flat_oval`.
    rule
        A rule for that shape, see `RULES_BY_SHAPE`.
    lines
        Number of lines; in a round duct 2 or 3 diameters, evenly turned.
    points
        Number of points a line.
    oval_aspect
        Flat oval only: extent along the drilled side over extent along the depth.

    Returns
    -------
    Plan

    Raises
    ------
    ValueError
        If shape, rule and counts don't go together.

    Notes
    -----
    Flat oval: lines where the rule's fractions of the *area* lie along the drilled side,
    points at the rule's fractions of the local chord, so that equal weights hold.

    Examples
    --------
    >>> plan_by_rule("round", "log_linear", 3, 6).lines
    (0.0, 60.0, 120.0)
    """
    if shape not in RULES_BY_SHAPE:
        raise ValueError(f"shape is {shape!r}; it must be one of {', '.join(RULES_BY_SHAPE)}")
    if rule not in RULES_BY_SHAPE[shape]:
        raise ValueError(
            f"rule is {rule!r}; a {shape} section has {' or '.join(RULES_BY_SHAPE[shape])}"
        )
    if shape == "round":
        if lines not in (2, 3):
            raise ValueError(f"lines is {lines}; a round section is measured on 2 or 3 diameters")
        fractions = (
            log_linear_fractions(points) if rule == "log_linear" else equal_annuli_fractions(points)
        )
        angles = tuple(180.0 * i / lines for i in range(lines))
        return Plan(shape, rule, angles, (fractions,) * lines)
    across_side = log_tchebycheff_fractions if rule == "log_tchebycheff" else equal_area_fractions
    positions = across_side(lines)
    depths = (across_side(points),) * lines
    if shape == "rectangular":
        return Plan(shape, rule, positions, depths)
    if oval_aspect is None or not oval_aspect > 0.0:
        raise ValueError(f"oval_aspect is {oval_aspect}; a flat oval needs one above 0")
    by_area = tuple(oval_line_fraction(f, oval_aspect) for f in positions)
    return Plan(shape, rule, by_area, depths, oval_aspect)


def _log_tchebycheff_count(extent_m: float) -> int:
    if extent_m < SIX_LINES_FROM_M:
        return 5
    return 6 if extent_m <= SEVEN_LINES_ABOVE_M else 7


def _fixed(array: FloatArray) -> FloatArray:
    array.setflags(write=False)
    return array
