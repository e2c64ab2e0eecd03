"""Where the points of a traverse were: the section's plan by its rule, and what was recorded."""

from __future__ import annotations

import math
from typing import Any

from airflow_jobs.calc.layouts import Plan, plan_for
from airflow_jobs.calc.positions import chords_m, walls_along_shaft_m
from airflow_jobs.calc.recorded_places import counts_read, plan_as_recorded
from airflow_jobs.calc.sections import InsideSection, inside_section
from airflow_jobs.models import Material, Mode, Shape, Traverse

from ..values.places import LinePlace, Place, PointPlace, SectionPlaces


def places_of(traverse: Traverse) -> SectionPlaces | None:
    """Return the section with the traverse's lines and points; no statement.

    None where what is recorded doesn't go together: the computation then says why.
    """
    section = traverse.duct_section
    side: Any = section.drilled_side
    try:
        inside = inside_section(
            section.shape,  # type: ignore[arg-type]  # a named constraint holds it to the shapes
            outside_width_m=section.width_m,
            outside_height_m=section.height_m,
            outside_diameter_m=section.diameter_m,
            lining_thickness_m=section.lining_thickness_m,
        )
        lines, points = counts_read(
            traverse.mode, traverse.readings, lines=section.lines, points=section.points_per_line
        )
        rule: Any = section.layout_rule
        plan = plan_for(inside, rule=rule, lines=lines, points=points, drilled_side=side)
        actual = plan_as_recorded(
            plan, inside, side, drilled=section.holes, sent=traverse.positions
        )
    except (ValueError, LookupError):
        return None
    if [len(line) for line in plan.depths] != [len(line) for line in actual.depths]:
        return None
    reasons = {(int(line), int(point)): str(text) for line, point, text in traverse.reasons or ()}
    return SectionPlaces(
        shape=section.shape,
        width_m=inside.width_m,
        height_m=inside.height_m,
        wall_m=inside.wall_m,
        is_board=section.material == Material.FIBROUS_BOARD,
        drilled_side="" if section.shape == Shape.ROUND else section.drilled_side,
        mode=traverse.mode,
        lines=_lines(traverse, _Drawn(plan, inside, side), _Drawn(actual, inside, side), reasons),
        near_gap_m=float(traverse.readings.get("near_gap_m") or 0.0),
        far_gap_m=float(traverse.readings.get("far_gap_m") or 0.0),
    )


class _Drawn:
    """A plan in metres from the section's centre, as it is drawn."""

    def __init__(self, plan: Plan, inside: InsideSection, side: Any) -> None:
        self.plan = plan
        self.is_round = plan.shape == Shape.ROUND
        self.is_turned = not self.is_round and side == "height"
        self.along_m, _ = inside.extents_m(side)
        self.chords = chords_m(plan, inside, side)
        self.walls = walls_along_shaft_m(plan, inside, side)

    def at(self, line: int, depth_m: float) -> Place:
        """Return the place so deep in a line; negative is outside."""
        from_centre = depth_m - 0.5 * self.chords[line]
        if self.is_round:
            turn = math.radians(self.plan.lines[line])
            # The first hole is on top, angles run clockwise: y grows downwards.
            return Place(-from_centre * math.sin(turn), from_centre * math.cos(turn))
        along = (self.plan.lines[line] - 0.5) * self.along_m
        return Place(from_centre, along) if self.is_turned else Place(along, from_centre)

    def depth_m(self, line: int, point: int) -> float:
        """Return the insertion depth of a point, m."""
        return self.plan.depths[line][point] * self.chords[line]

    def along(self, line: int) -> float:
        """Return the distance along the drilled side, m; round: the angle in degrees."""
        fraction = self.plan.lines[line]
        return fraction if self.is_round else fraction * self.along_m


def _lines(
    traverse: Traverse,
    planned: _Drawn,
    actual: _Drawn,
    reasons: dict[tuple[int, int], str],
) -> tuple[LinePlace, ...]:
    readings = traverse.readings
    gaps = (float(readings.get("near_gap_m") or 0.0), float(readings.get("far_gap_m") or 0.0))
    found = []
    for line in range(len(actual.plan.lines)):
        points: tuple[PointPlace, ...] = ()
        swept = None
        chord = actual.chords[line]
        if traverse.mode == Mode.POINTS:
            values = readings["values"][line]
            points = tuple(
                PointPlace(
                    number=point + 1,
                    planned=planned.at(line, planned.depth_m(line, point)),
                    actual=actual.at(line, actual.depth_m(line, point)),
                    planned_depth_m=planned.depth_m(line, point),
                    actual_depth_m=actual.depth_m(line, point),
                    value=values[point],
                    reason=reasons.get((line + 1, point + 1), ""),
                )
                for point in range(len(values))
            )
        elif traverse.mode == Mode.SWEEPS:
            swept = (actual.at(line, gaps[0]), actual.at(line, chord - gaps[1]))
        found.append(
            LinePlace(
                number=line + 1,
                planned_hole=planned.at(line, 0.0),
                hole=actual.at(line, 0.0),
                far_end=actual.at(line, chord),
                outside=actual.at(line, -actual.walls[line]),
                planned_along=planned.along(line),
                along=actual.along(line),
                swept=swept,
                points=points,
            )
        )
    return tuple(found)
