"""Where the points of a traverse were planned and where they were: for the drawing of a section.

Places are metres from the section's centre, x to the right and y down, with the drilled side on
top (holes along the width, or a round duct's first hole) or at the left (holes along the height).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

MOVED_M: Final = 0.0005
"""Places that differ by less are one place: a tape has no finer marks."""


@dataclass(frozen=True, slots=True)
class Place:
    """A point of the section, m."""

    x_m: float
    y_m: float

    def is_at(self, other: Place) -> bool:
        """Whether both are one place on a tape."""
        return self.away_m(other) < MOVED_M

    def away_m(self, other: Place) -> float:
        """Return the distance between the two, m."""
        return float(((self.x_m - other.x_m) ** 2 + (self.y_m - other.y_m) ** 2) ** 0.5)


@dataclass(frozen=True, slots=True)
class PointPlace:
    """One point of a line, or the middle of a swept line."""

    number: int
    planned: Place
    actual: Place
    planned_depth_m: float
    actual_depth_m: float
    value: float | None
    """What was read, as the meter showed it; None where nothing was."""
    reason: str
    """Why nothing was read there."""

    @property
    def moved_m(self) -> float:
        """How far from its plan it was read; 0 where a tape shows no difference."""
        return 0.0 if self.planned.is_at(self.actual) else self.planned.away_m(self.actual)


@dataclass(frozen=True, slots=True)
class LinePlace:
    """One line: its hole, its two ends, its points."""

    number: int
    planned_hole: Place
    """At the inside face."""
    hole: Place
    far_end: Place
    outside: Place
    """Where the hole is on the outside."""
    planned_along: float
    """Along the drilled side from the inside face, m; round: degrees from the first hole."""
    along: float
    swept: tuple[Place, Place] | None
    """Between which places the probe was drawn, where it was."""
    points: tuple[PointPlace, ...]

    @property
    def moved_m(self) -> float:
        """How far the hole is from its plan; 0 where a tape shows no difference."""
        return 0.0 if self.planned_hole.is_at(self.hole) else self.planned_hole.away_m(self.hole)


@dataclass(frozen=True, slots=True)
class SectionPlaces:
    """A section with the lines and points of one traverse."""

    shape: str
    width_m: float
    height_m: float
    """Inside."""
    wall_m: float
    """Lining or board at each wall."""
    is_board: bool
    drilled_side: str
    """`width` or `height`; nothing in a round section."""
    mode: str
    lines: tuple[LinePlace, ...]
    near_gap_m: float
    far_gap_m: float
    """Strips at the walls that a sweep left out."""

    @property
    def is_off_plan(self) -> bool:
        """Whether anything was read elsewhere than planned."""
        return any(
            line.moved_m or any(point.moved_m for point in line.points) for line in self.lines
        )

    @property
    def missing(self) -> int:
        """How many points were not taken."""
        if self.mode != "points":
            return 0
        return sum(point.value is None for line in self.lines for point in line.points)
