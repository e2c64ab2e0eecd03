"""One site: its systems and how they stand, its visits, what is due."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from uuid import UUID

from .systems import Measurement, SystemName, Trend


@dataclass(frozen=True, slots=True)
class SiteFacts:
    """What is known of a site itself."""

    id: UUID
    name: str
    customer_id: UUID | None
    customer: str
    address: str
    elevation_m: float | None
    time_zone: str
    climate: str
    notes: str
    retired_on: datetime.date | None


@dataclass(frozen=True, slots=True)
class SystemAtSite:
    """A system with where it stands and where it goes."""

    system: SystemName
    retired_on: datetime.date | None
    standing: tuple[Measurement, ...]
    """One measurement a call, of the last visit."""
    trend: Trend | None
    last_measured_on: datetime.date | None

    @property
    def verdict(self) -> str:
        """The worst verdict of where it stands; empty where nothing was judged."""
        order = ("low", "high", "undecided", "in_range")
        found = [one.verdict for one in self.standing if one.judged is not None]
        return min(found, key=lambda one: order.index(one), default="")


@dataclass(frozen=True, slots=True)
class SiteVisit:
    """A visit, begun or planned."""

    id: UUID
    purpose: str
    planned_for: datetime.date | None
    began_on: datetime.date | None
    """None for what is only planned."""
    crew_id: UUID
    crew: str
    systems: int
    """How many systems were measured."""
    found: int
    found_outside: int
    left: int
    left_outside: int


@dataclass(frozen=True, slots=True)
class SitePicture:
    """Everything on a site's page but its shares."""

    facts: SiteFacts
    systems: tuple[SystemAtSite, ...]
    visits: tuple[SiteVisit, ...]
    """The latest first; planned ones that were not begun before them."""
    visits_left_out: int
