"""Crews beside each other: what they left, what they found, what they did not measure."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from .shares import NamedShare, Share


@dataclass(frozen=True, slots=True)
class Visits:
    """Visits that were begun in the period."""

    total: int = 0
    unmeasured: int = 0
    """Nothing was measured."""
    unjudged: int = 0
    """Something was measured, but nothing of it judged."""


@dataclass(frozen=True, slots=True)
class CrewShare:
    """One crew with its shares at both stages and its visits."""

    named: NamedShare
    visits: Visits

    @property
    def id(self) -> UUID:
        """The crew's identifier."""
        return self.named.id

    @property
    def name(self) -> str:
        """The crew's name."""
        return self.named.name


@dataclass(frozen=True, slots=True)
class Funnel:
    """How far a crew's share left in range may lie from the whole's, by number of jobs."""

    jobs: tuple[int, ...]
    centre: float
    low_one: tuple[float, ...]
    high_one: tuple[float, ...]
    """Where one crew alone lies in 95 % of periods."""
    low_all: tuple[float, ...]
    high_all: tuple[float, ...]
    """Where all of the crews compared lie in 95 % of periods."""
    compared: int
    """How many crews are held against each other."""


@dataclass(frozen=True, slots=True)
class CrewComparison:
    """All crews of a period, the worst left first."""

    crews: tuple[CrewShare, ...]
    found: Share
    left: Share
    funnel: Funnel | None
    """None where fewer than two crews have jobs enough."""
    pending: int
