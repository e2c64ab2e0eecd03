"""What is due: visits, measurements and calibrations, as things stand today."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Generic, TypeVar
from uuid import UUID

from airflow_jobs.found_off import CalibrationFound

from .meters import MeterAstray
from .systems import SystemName, Trend

Item = TypeVar("Item")


@dataclass(frozen=True, slots=True)
class CrewName:
    """A crew as lists name it."""

    id: UUID
    name: str


@dataclass(frozen=True, slots=True)
class NextVisit:
    """The next visit that is planned at a site."""

    on: datetime.date
    crew: CrewName


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """A visit that was planned and has no measurement."""

    id: UUID
    site_id: UUID
    site: str
    systems: int
    """In use at the site."""
    crew: CrewName
    purpose: str
    planned_for: datetime.date
    is_begun: bool
    is_finished: bool
    measured_since_on: datetime.date | None
    """The last day on which another visit measured at the site, from the planned day on."""


@dataclass(frozen=True, slots=True)
class DueSystem:
    """A system that was not measured for too long, or never."""

    system: SystemName
    last_measured_on: datetime.date | None
    due_on: datetime.date | None
    on_record_since: datetime.date
    planned_for: datetime.date | None
    """The next visit that is planned at its site."""


@dataclass(frozen=True, slots=True)
class MeasureBy:
    """A system that its trend may carry out of its range before it is due anyway."""

    system: SystemName
    trend: Trend
    last_measured_on: datetime.date
    by: datetime.date
    """The day before the earliest on which it may leave its range; today where that has passed."""
    planned_for: datetime.date | None = None
    """The next visit that is planned at its site."""


@dataclass(frozen=True, slots=True)
class DueMeter:
    """A meter whose calibration has run out or soon will."""

    id: UUID
    name: str
    serial: str
    due_on: datetime.date | None
    """None where no calibration is on record."""
    last_used_on: datetime.date | None
    crews: tuple[CrewName, ...]
    """Who used it last, the latest first."""


@dataclass(frozen=True, slots=True)
class Listed(Generic[Item]):
    """The first of a list, and how many there are altogether."""

    rows: tuple[Item, ...]
    total: int


@dataclass(frozen=True, slots=True)
class Due:
    """Everything that is due."""

    missed: Listed[PlannedVisit]
    coming: Listed[PlannedVisit]
    late: Listed[DueSystem]
    never: Listed[DueSystem]
    foreseen: Listed[MeasureBy]
    overdue: Listed[DueMeter]
    expiring: Listed[DueMeter]
    found_off: Listed[CalibrationFound]
    """The calibrations that found a meter off with results that nobody has corrected."""
    astray: tuple[MeterAstray, ...]
    """All meters that read high or low against the others, those with the most results first."""
    found_off_results: int
    """How many results rest on these."""
    late_unplanned: int
    """How many of the late systems have no visit planned at their site."""
