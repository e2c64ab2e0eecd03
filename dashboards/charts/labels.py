"""Where names stand beside points so that none covers another or a point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

# Reckoned for a chart as paper has it; with more room between its points nothing comes closer.
WIDTH: Final = 600.0
HEIGHT: Final = 190.0
LETTER: Final = 7.0
LINE: Final = 15.0
MARK: Final = 8.0

POSITIONS: Final = ("bottom center", "top center", "middle right", "middle left")


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


def positions(points: Sequence[Point]) -> list[str | None]:
    """Return where each point's name stands, or nothing where there is no room for it.

    Those that are always named choose first, and stand below their point where all is taken; of the
    others those come first that come first in the sequence.
    """
    marks = [_mark(one) for one in points]
    taken: list[_Box] = []
    found: list[str | None] = [None] * len(points)
    for index in sorted(range(len(points)), key=lambda at: (not points[at].is_always_named, at)):
        one = points[index]
        others = [mark for at, mark in enumerate(marks) if at != index]
        for position in POSITIONS:
            box = _label(one, position)
            if box.is_inside and not any(box.meets(other) for other in (*others, *taken)):
                found[index] = position
                break
        else:
            if one.is_always_named:
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
    if position == "bottom center":
        return _Box(x - wide / 2, x + wide / 2, y - MARK - LINE, y - MARK)
    if position == "top center":
        return _Box(x - wide / 2, x + wide / 2, y + MARK, y + MARK + LINE)
    if position == "middle right":
        return _Box(x + MARK, x + MARK + wide, y - LINE / 2, y + LINE / 2)
    return _Box(x - MARK - wide, x - MARK, y - LINE / 2, y + LINE / 2)
