"""Counts of jobs and the share of them in range."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from uuid import UUID


@dataclass(frozen=True, slots=True)
class Share:
    """Jobs of one stage, sorted by where the best estimate lies; at a limit counts as inside."""

    total: int
    below: int
    above: int
    below_undecided: int
    above_undecided: int
    inside_undecided: int
    low_end: float
    high_end: float
    """95 % interval of the share in range (Wilson)."""

    @classmethod
    def of_none(cls) -> Share:
        """Return the share of no jobs, of which nothing is known."""
        return cls(0, 0, 0, 0, 0, 0, 0.0, 1.0)

    @property
    def inside(self) -> int:
        """Jobs whose best estimate lies in the target range."""
        return self.total - self.below - self.above

    @property
    def outside(self) -> int:
        """Jobs whose best estimate lies beyond a limit."""
        return self.below + self.above

    @property
    def undecided(self) -> int:
        """Jobs whose interval straddles a limit, on whichever side their estimate lies."""
        return self.below_undecided + self.above_undecided + self.inside_undecided

    @property
    def share(self) -> float | None:
        """The share in range; none where there are no jobs."""
        return self.inside / self.total if self.total else None


@dataclass(frozen=True, slots=True)
class CorrectedShare:
    """A share in range that allows for measurement uncertainty."""

    share: float
    low: float
    high: float
    """95 % interval."""


@dataclass(frozen=True, slots=True)
class MonthShare:
    """One month, or one quarter, of one stage."""

    month: datetime.date
    """Its first day."""
    share: Share


@dataclass(frozen=True, slots=True)
class Compared:
    """A group held against the others, at one stage."""

    planning_share: float
    """Share in range to plan with: shrunk towards the whole by as much as few jobs can't tell."""
    expected_outside: float
    """How many jobs the others would have had outside at the same sites."""
    is_comparable: bool
    """Whether there are jobs enough, of it and of the others."""
    differs: bool
    """Whether it differs more than chance and the mix of sites explain."""
    planning_low: float = 0.0
    planning_high: float = 1.0
    """95 % interval of the share to plan with."""
    spread: float = 0.0
    """How much the others differ among themselves (intra-class correlation)."""


@dataclass(frozen=True, slots=True)
class NamedShare:
    """A crew or a site."""

    id: UUID
    name: str
    found: Share
    left: Share
    found_compared: Compared | None = None
    left_compared: Compared | None = None
    found_outside_without_as_left: int = 0
    """Jobs found out of range that have no as-left measurement."""

    def at(self, stage: str) -> Share:
        """Return the share at one stage."""
        return self.left if stage == "as_left" else self.found

    def compared_at(self, stage: str) -> Compared | None:
        """Return the comparison at one stage."""
        return self.left_compared if stage == "as_left" else self.found_compared


@dataclass(frozen=True, slots=True)
class FleetShares:
    """How jobs were found and left in a period: two series that are never added up."""

    step: str
    """`month` or `quarter`: what the two series over time go by."""
    found: Share
    left: Share
    found_by_month: tuple[MonthShare, ...]
    left_by_month: tuple[MonthShare, ...]
    by_crew: tuple[NamedShare, ...]
    by_site: tuple[NamedShare, ...]
    left_corrected: CorrectedShare | None
    """Share left in range allowing for measurement uncertainty; none of few jobs."""
    found_corrected: CorrectedShare | None
    found_outside_without_as_left: int
    """Visits that found a system out of range and have no as-left measurement."""
    pending: int
    """Results in this view that are being computed again; their last values are used."""


@dataclass(frozen=True, slots=True)
class Change:
    """How a share in range changed against the period before."""

    before: Share
    from_on: datetime.date
    to_on: datetime.date
    """The days of the period before, both included."""
    change: float
    low_end: float
    high_end: float
    """95 % interval of the change."""

    @property
    def is_sure(self) -> bool:
        """Whether it is more than chance explains."""
        return self.low_end > 0.0 or self.high_end < 0.0
