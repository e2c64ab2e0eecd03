"""The drawing of a traverse's section, its words and its table."""

from __future__ import annotations

from typing import Any, Final

from django.urls import reverse

from airflow_jobs import units as dimensions
from airflow_jobs.calc.positions import INCH_M, tape_position
from airflow_jobs.models import Mode

from ..charts.section import section_drawing
from ..display import Units, write
from ..tables import Cell, Column, Table
from ..values.places import LinePlace, SectionPlaces
from ..values.traverses import TraverseRecord
from ..words import count_of
from .traverse_profile import reading_dimension, reading_text

SCALES_M: Final = {
    "ip": tuple(inches * INCH_M for inches in (1, 2, 3, 6, 12, 24, 48, 96)),
    "si": (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0),
}
SIDES: Final = {"width": "the width", "height": "the height"}


def length_text(length_m: float, units: Units) -> str:
    """Return a length as a tape shows it: sixteenths of an inch, or whole millimetres."""
    tape = tape_position(length_m)
    return f"{tape.sixteenths} in" if units.system == "ip" else f"{tape.millimetres} mm"


def section_of(record: TraverseRecord, units: Units) -> dict[str, Any] | None:
    """Return the drawing with its words; None where what is recorded doesn't go together."""
    places = record.places
    if places is None:
        return None
    return {
        "title": "The section",
        "drawing": section_drawing(
            places,
            length_text=lambda length: length_text(length, units),
            scale_lengths_m=SCALES_M[units.system],
        ),
        "sentence": _sentence(places),
        "wall_text": f"{'board' if places.is_board else 'lining'}, "
        f"{length_text(places.wall_m, units)}",
        "moved": _moved(places, units),
        "missing": _missing(places),
    }


def _sentence(places: SectionPlaces) -> str:
    lines = count_of(len(places.lines), "line")
    if places.shape == "round":
        said = (
            "Seen facing downstream: the first hole is on top, the others follow clockwise, "
            f"{lines.replace('line', 'diameter')} in all."
        )
    else:
        side = SIDES[places.drilled_side]
        start = "left" if places.drilled_side == "width" else "top"
        said = (
            f"Drilled along {side}, {lines}; hole 1 is nearest to where the tape starts, drawn at "
            f"the {start}. Depths count from the drilled wall."
        )
    if places.mode == Mode.AVERAGE:
        return f"{said} Only one average is known; the lines are where the plan has them."
    if places.mode == Mode.SWEEPS:
        return f"{said} The probe was drawn along each line."
    if not places.is_off_plan and not places.missing:
        return f"{said} Every point was read where the rule puts it."
    return said


def _moved(places: SectionPlaces, units: Units) -> list[str]:
    """Say which holes and depths were elsewhere, and by how much."""
    said = []
    for line in places.lines:
        if line.moved_m:
            said.append(
                f"Hole {line.number} is {length_text(line.moved_m, units)} from where the rule "
                f"puts it: at {_along_text(line.along, places, units)} instead of "
                f"{_along_text(line.planned_along, places, units)}."
            )
    off = [
        abs(point.actual_depth_m - point.planned_depth_m)
        for line in places.lines
        for point in line.points
        if abs(point.actual_depth_m - point.planned_depth_m) > 0.0005
    ]
    if off:
        said.append(
            f"{count_of(len(off), 'point was', 'points were')} read at another depth than "
            f"planned, by {length_text(max(off), units)} at most."
        )
    return said


def _missing(places: SectionPlaces) -> list[str]:
    return [
        f"Line {line.number}, point {point.number} was not read: "
        f"{point.reason or 'no reason given'}."
        for line in places.lines
        for point in line.points
        if point.value is None
    ]


def _along_text(along: float, places: SectionPlaces, units: Units) -> str:
    return f"{write(along, 0)}°" if places.shape == "round" else length_text(along, units)


def positions_table(record: TraverseRecord, units: Units) -> Table | None:
    """Return where each point was planned and where it was, line by line."""
    places = record.places
    if places is None:
        return None
    is_round = places.shape == "round"
    length = "" if is_round else f", {units.name(dimensions.LENGTH)}"
    name = "Angle of the hole, °" if is_round else f"Hole along the side{length}"
    depth = f"Depth, {units.name(dimensions.LENGTH)}"
    return Table(
        slug="positions",
        caption="Where each point was planned by the rule and where it was, from the inside faces",
        columns=(
            Column("Line", is_short=True),
            Column("Point", is_number=True),
            Column(f"{name}, planned", is_number=True),
            Column(name, is_number=True),
            Column(f"{depth}, planned", is_number=True),
            Column(depth, is_number=True),
            Column(f"Reading, {units.name(reading_dimension(record))}", is_number=True),
            Column("Note"),
        ),
        rows=tuple(
            row for line in places.lines for row in _position_rows(line, places, record, units)
        ),
        href=reverse("traverse-file", args=[record.id, "positions"]),
    )


def _position_rows(
    line: LinePlace, places: SectionPlaces, record: TraverseRecord, units: Units
) -> list[tuple[Cell, ...]]:
    def along(value: float) -> Cell:
        if places.shape == "round":
            return Cell(write(value, 1), value)
        return _length(value, units)

    hole = (along(line.planned_along), along(line.along))
    if not line.points:
        nothing = Cell("–", "")
        note = "swept as a line" if line.swept else ""
        return [(Cell(f"{line.number}"), nothing, *hole, nothing, nothing, nothing, Cell(note))]
    return [
        (
            Cell(f"{line.number}"),
            Cell(f"{point.number}", point.number),
            *hole,
            _length(point.planned_depth_m, units),
            _length(point.actual_depth_m, units),
            Cell(
                reading_text(record, units, point.value),
                "" if point.value is None else units.number(point.value, reading_dimension(record)),
            ),
            Cell(
                (point.reason or "not read")
                if point.value is None
                else f"moved {length_text(point.moved_m, units)}"
                if point.moved_m
                else ""
            ),
        )
        for point in line.points
    ]


def _length(length_m: float, units: Units) -> Cell:
    number = units.number(length_m, dimensions.LENGTH)
    return Cell(write(number, 3 if units.system == "si" else 2), number)
