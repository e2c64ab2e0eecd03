"""A drawing of the section: walls, lining, holes, lines and points; made here, drawn as SVG.

Everything is text that a template writes down: coordinates of a picture 360 wide.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from ..values.places import LinePlace, Place, SectionPlaces

WIDTH: Final = 360.0
MOST_HEIGHT: Final = 300.0
LEFT: Final = 58.0
RIGHT: Final = 58.0
TOP: Final = 46.0
BOTTOM: Final = 66.0
LEAST_WALL: Final = 3.0
"""A lining thinner than this would not be seen."""
LABEL_AWAY: Final = 13.0
SCALE_SHARE: Final = 0.35
"""The scale is at most so much of the drawing's width."""


@dataclass(frozen=True, slots=True)
class Label:
    """A short text and where its middle is."""

    x: str
    y: str
    text: str
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight line."""

    x1: str
    y1: str
    x2: str
    y2: str
    kind: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A point: `planned` is hollow, `taken` filled, `missing` a cross."""

    x: str
    y: str
    kind: str


@dataclass(frozen=True, slots=True)
class SectionDrawing:
    """The whole picture."""

    width: str
    height: str
    walls: str
    """Path of the outside with the inside left out; empty where there is no lining."""
    inside: str
    strokes: tuple[Stroke, ...]
    marks: tuple[Mark, ...]
    labels: tuple[Label, ...]
    is_lined: bool
    has_moved: bool
    has_missing: bool
    has_points: bool
    has_sweeps: bool


def section_drawing(
    places: SectionPlaces,
    *,
    length_text: Callable[[float], str],
    scale_lengths_m: tuple[float, ...],
) -> SectionDrawing:
    """Return the drawing of a section.

    Parameters
    ----------
    places
        What is drawn.
    length_text
        Writes a length in the page's units.
    scale_lengths_m
        Round lengths to choose the scale from, the shortest first.
    """
    outer_width = places.width_m + 2.0 * places.wall_m
    outer_height = places.height_m + 2.0 * places.wall_m
    scale = min((WIDTH - LEFT - RIGHT) / outer_width, MOST_HEIGHT / outer_height)
    middle_x = WIDTH / 2.0
    middle_y = TOP + 0.5 * outer_height * scale
    height = TOP + outer_height * scale + BOTTOM

    def x(place: Place) -> float:
        return middle_x + place.x_m * scale

    def y(place: Place) -> float:
        return middle_y + place.y_m * scale

    def stroke(start: Place, end: Place, kind: str) -> Stroke:
        return Stroke(_text(x(start)), _text(y(start)), _text(x(end)), _text(y(end)), kind)

    wall = max(places.wall_m * scale, LEAST_WALL) if places.wall_m else 0.0
    inner = (0.5 * places.width_m * scale, 0.5 * places.height_m * scale)
    outer = (inner[0] + wall, inner[1] + wall)
    strokes: list[Stroke] = []
    marks: list[Mark] = []
    labels: list[Label] = []
    for line in places.lines:
        strokes.append(stroke(line.hole, line.far_end, "line"))
        strokes.append(stroke(line.outside, line.hole, "hole"))
        if line.moved_m:
            marks.append(Mark(_text(x(line.planned_hole)), _text(y(line.planned_hole)), "planned"))
            strokes.append(stroke(line.planned_hole, line.hole, "moved"))
        if line.swept:
            strokes.append(stroke(*line.swept, "swept"))
        labels.append(_number(line, x, y))
        for point in line.points:
            at = (_text(x(point.actual)), _text(y(point.actual)))
            if point.moved_m:
                strokes.append(stroke(point.planned, point.actual, "moved"))
                marks.append(Mark(_text(x(point.planned)), _text(y(point.planned)), "planned"))
            marks.append(Mark(*at, "missing" if point.value is None else "taken"))
    left, right = middle_x - outer[0], middle_x + outer[0]
    top, bottom = middle_y - outer[1], middle_y + outer[1]
    # A round end is no straight side: an oval drilled along its height has only the label.
    if places.drilled_side == "width":
        end = outer[1] if places.shape == "flat_oval" else 0.0
        strokes.append(_straight(left + end, top, right - end, top, "drilled"))
        labels.append(Label(_text(middle_x), "15", "Drilled side", "soft"))
    elif places.drilled_side == "height":
        if places.shape == "rectangular":
            strokes.append(_straight(left, top, left, bottom, "drilled"))
        labels.append(Label(_text(middle_x), "15", "Drilled side at the left", "soft"))
    else:
        labels.append(Label(_text(middle_x), "15", "First hole on top, facing downstream", "soft"))
    if places.shape == "round":
        size = f"inside diameter {length_text(places.width_m)}"
        labels.append(Label(_text(middle_x), _text(bottom + 20.0), size))
    else:
        labels.append(
            Label(_text(middle_x), _text(bottom + 20.0), f"{length_text(places.width_m)} inside")
        )
        labels.append(
            Label(_text(right + 6.0), _text(middle_y), length_text(places.height_m), "at")
        )
    strokes_of_scale, label = _scale_bar(scale, height, length_text, scale_lengths_m)
    return SectionDrawing(
        width=_text(WIDTH),
        height=_text(height),
        walls=f"{_outline(places.shape, middle_x, middle_y, *outer)}"
        f"{_outline(places.shape, middle_x, middle_y, *inner)}"
        if places.wall_m
        else "",
        inside=_outline(places.shape, middle_x, middle_y, *inner),
        strokes=(*strokes, *strokes_of_scale),
        marks=tuple(marks),
        labels=(*labels, label),
        is_lined=places.wall_m > 0.0,
        has_moved=places.is_off_plan,
        has_missing=places.missing > 0,
        has_points=any(line.points for line in places.lines),
        has_sweeps=any(line.swept for line in places.lines),
    )


def _outline(shape: str, x: float, y: float, half_width: float, half_height: float) -> str:
    """Return the path of a rectangle, a circle, or a rectangle with round ends."""
    radius = 0.0 if shape == "rectangular" else min(half_width, half_height)
    straight_x, straight_y = half_width - radius, half_height - radius
    r = _text(radius)
    corner = (lambda dx, dy: f"a{r} {r} 0 0 1 {_text(dx)} {_text(dy)}") if radius else None
    steps = [f"M{_text(x - straight_x)} {_text(y - half_height)}h{_text(2 * straight_x)}"]
    steps += [corner(radius, radius)] if corner else []
    steps += [f"v{_text(2 * straight_y)}"]
    steps += [corner(-radius, radius)] if corner else []
    steps += [f"h{_text(-2 * straight_x)}"]
    steps += [corner(-radius, -radius)] if corner else []
    steps += [f"v{_text(-2 * straight_y)}"]
    steps += [corner(radius, -radius)] if corner else []
    return "".join([*steps, "z"])


def _number(line: LinePlace, x: Callable[[Place], float], y: Callable[[Place], float]) -> Label:
    """Return the line's number, outside the duct on the line's own axis."""
    across, down = x(line.hole) - x(line.far_end), y(line.hole) - y(line.far_end)
    length = math.hypot(across, down) or 1.0
    return Label(
        _text(x(line.outside) + LABEL_AWAY * across / length),
        _text(y(line.outside) + LABEL_AWAY * down / length),
        f"{line.number}",
        "number",
    )


def _scale_bar(
    scale: float,
    height: float,
    length_text: Callable[[float], str],
    lengths_m: tuple[float, ...],
) -> tuple[tuple[Stroke, ...], Label]:
    fitting = [length for length in lengths_m if length * scale <= SCALE_SHARE * WIDTH]
    length = fitting[-1] if fitting else lengths_m[0]
    start, end, at = (WIDTH - length * scale) / 2.0, (WIDTH + length * scale) / 2.0, height - 26.0
    strokes = (
        _straight(start, at, end, at, "scale"),
        _straight(start, at - 4.0, start, at + 4.0, "scale"),
        _straight(end, at - 4.0, end, at + 4.0, "scale"),
    )
    return strokes, Label(_text(WIDTH / 2.0), _text(at + 15.0), length_text(length), "soft")


def _straight(x1: float, y1: float, x2: float, y2: float, kind: str) -> Stroke:
    return Stroke(_text(x1), _text(y1), _text(x2), _text(y2), kind)


def _text(value: float) -> str:
    # Written here: a template would write the decimal sign of a locale.
    return f"{value:.2f}".rstrip("0").rstrip(".") or "0"
