"""Where names stand beside points so that none covers another or a point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

# Reckoned for a chart as paper has it; with more room between its points nothing comes closer.
WIDTH: Final = 600.0
HEIGHT: Final = 190.0
LETTER: Final = 7.0
LINE: Final = 15.0
MARK: Final = 8.0

POSITIONS: Final = (
    "bottom center",
    "top center",
    "middle right",
    "middle left",
    "bottom right",
    "top right",
    "bottom left",
    "top left",
)

Line = Sequence[tuple[float, float]]
"""Places that a line leads through, from left to right; both go from 0 to 1, as with points."""


@dataclass(frozen=True, slots=True)
class Point:
    """A point with its name; places go from 0 to 1 along both axes, the second one upwards."""

    x: float
    y: float
    name: str
    is_always_named: bool = False


@dataclass(frozen=True, slots=True)
class _Box:
    left: float
    right: float
    bottom: float
    top: float

    def meets(self, other: _Box) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.bottom < other.top
            and other.bottom < self.top
        )

    @property
    def is_inside(self) -> bool:
        return self.left >= 0.0 and self.right <= WIDTH and self.bottom >= 0.0


def positions(points: Sequence[Point], lines: Sequence[Line] = ()) -> list[str | None]:
    """Return where each point's name stands, or nothing where there is no room for it.

    Those that are always named choose first, and stand below their point where all is taken; of the
    others those come first that come first in the sequence. A name stands on a line only where
    there is no place beside it.
    """
    marks = [_mark(one) for one in points]
    taken: list[_Box] = []
    found: list[str | None] = [None] * len(points)
    for index in sorted(range(len(points)), key=lambda at: (not points[at].is_always_named, at)):
        one = points[index]
        others = [mark for at, mark in enumerate(marks) if at != index]
        free = [
            position
            for position in POSITIONS
            if (box := _label(one, position)).is_inside
            and not any(box.meets(other) for other in (*others, *taken))
        ]
        clear = (
            position
            for position in free
            if not any(_leads_through(line, _label(one, position)) for line in lines)
        )
        if free:
            found[index] = next(clear, free[0])
        elif one.is_always_named:
            found[index] = POSITIONS[0]
        position_found = found[index]
        if position_found is not None:
            taken.append(_label(one, position_found))
    return found


def _mark(one: Point) -> _Box:
    x, y = one.x * WIDTH, one.y * HEIGHT
    return _Box(x - MARK, x + MARK, y - MARK, y + MARK)


def _label(one: Point, position: str) -> _Box:
    x, y, wide = one.x * WIDTH, one.y * HEIGHT, LETTER * len(one.name)
    up, across = position.split()
    left = {"center": x - wide / 2, "right": x + MARK, "left": x - MARK - wide}[across]
    bottom = {"bottom": y - MARK - LINE, "top": y + MARK, "middle": y - LINE / 2}[up]
    return _Box(left, left + wide, bottom, bottom + LINE)


def _leads_through(line: Line, box: _Box) -> bool:
    places = [(x * WIDTH, y * HEIGHT) for x, y in line]
    for (x, y), (next_x, next_y) in pairwise(places):
        left, right = max(x, box.left), min(next_x, box.right)
        if left > right or x == next_x:
            continue
        slope = (next_y - y) / (next_x - x)
        heights = [y + slope * (at - x) for at in (left, right)]
        if min(heights) < box.top and max(heights) > box.bottom:
            return True
    return False
