"""Meters: their calibrations, how they read against each other, and what rests on them."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final
from uuid import UUID

DUE_SOON_DAYS: Final = 30
"""So long before it is due, a meter is to be sent in."""


@dataclass(frozen=True, slots=True)
class Reads:
    """How much a meter reads above the others on the same flows; relative, 0.06 is 6 % high."""

    offset: float
    low: float
    high: float
    """95 % interval."""
    comparisons: int
    is_sure: bool
    """Whether the interval that allows for comparing all meters leaves 0 out."""


def allowed_of(accuracy_relative: float | None) -> float:
    """Return the error that an accuracy allows; 5 % where none is on record."""
    return 0.05 if accuracy_relative is None else accuracy_relative


def reads_of(held: Reads, allowed: float) -> str:
    """Return `high`, `low`, `alike` or `untold`.

    High or low where even the near end of the interval is beyond what the accuracy allows, alike
    where all of it is within.
    """
    if held.is_sure and held.low > allowed:
        return "high"
    if held.is_sure and held.high < -allowed:
        return "low"
    is_within = -allowed <= held.low and held.high <= allowed
    return "alike" if is_within else "untold"


@dataclass(frozen=True, slots=True)
class MeterStanding:
    """One meter of the register."""

    id: UUID
    name: str
    serial: str
    retired_on: datetime.date | None
    calibrated_on: datetime.date | None
    due_on: datetime.date | None
    last_used_on: datetime.date | None
    is_in_calibration: bool
    accuracy_relative: float | None
    results: int
    """Results in the period that rest on it."""
    results_out: int
    """Of these, taken on a day outside every calibration."""
    crews: int
    only_crew_id: UUID | None
    only_crew: str
    """The crew it always travels with; empty where it goes with several."""
    paired: Reads | None
    """From paired checks: two meters in the same holes in the same visit."""
    same_system: Reads | None
    """From all measurements of a section between two adjustments."""

    def due_in_days(self, today: datetime.date) -> int | None:
        """Return in how many days its calibration is due."""
        return None if self.due_on is None else (self.due_on - today).days

    @property
    def held(self) -> Reads | None:
        """The comparison to go by: paired checks where there are enough of them."""
        return self.paired or self.same_system

    @property
    def is_bound_to_crew(self) -> bool:
        """Whether its offset can't be told from how its only crew measures."""
        return self.crews == 1 and self.held is not None and self.paired is None

    @property
    def allowed(self) -> float:
        """The error that its accuracy allows; 5 % where none is on record."""
        return allowed_of(self.accuracy_relative)

    @property
    def reads(self) -> str:
        """Which way it reads by `reads_of`; nothing where it can't be compared."""
        return "" if self.held is None else reads_of(self.held, self.allowed)


@dataclass(frozen=True, slots=True)
class Register:
    """All meters, those to act on first."""

    meters: tuple[MeterStanding, ...]

    @property
    def overdue(self) -> tuple[MeterStanding, ...]:
        """Meters in use that are out of calibration."""
        return tuple(one for one in self.meters if not one.retired_on and not one.is_in_calibration)

    def due_soon(self, today: datetime.date) -> tuple[MeterStanding, ...]:
        """Meters in use that are in calibration, but not for long."""
        return tuple(
            one
            for one in self.meters
            if not one.retired_on
            and one.is_in_calibration
            and (days := one.due_in_days(today)) is not None
            and days <= DUE_SOON_DAYS
        )

    @property
    def astray(self) -> tuple[MeterStanding, ...]:
        """Meters that read high or low by more than their accuracy allows."""
        return tuple(one for one in self.meters if one.reads in ("high", "low"))

    @property
    def untold(self) -> tuple[MeterStanding, ...]:
        """Meters of which the comparison is too coarse to say so either way."""
        return tuple(one for one in self.meters if one.reads == "untold")


@dataclass(frozen=True, slots=True)
class MeterAstray:
    """A meter that reads high or low against the others by more than its accuracy allows."""

    id: UUID
    name: str
    reads: str
    held: Reads
    results: int = 0
    """Results in the period that rest on it; counted only where they are listed."""


@dataclass(frozen=True, slots=True)
class MeterInDoubt:
    """A meter that a later calibration found off; what it measured is not corrected."""

    id: UUID
    name: str
    found_on: datetime.date
    change: float
    """What must be added to what it read, relative."""


@dataclass(frozen=True, slots=True)
class RestsOn:
    """One result that rests on a meter."""

    traverse_id: UUID
    taken_at: datetime.datetime
    equipment_id: UUID
    tag: str
    site: str
    stage: str
    verdict: str
    flow_standard_m3_s: float | None
    flow_standard_low_m3_s: float | None
    flow_standard_high_m3_s: float | None
    """95 % interval."""
    is_in_calibration: bool
    is_corrected_later: bool
    """Whether the next calibration corrects it."""


@dataclass(frozen=True, slots=True)
class ResultNamed:
    """What people call one result: when, where, of what."""

    taken_at: datetime.datetime
    equipment_id: UUID
    tag: str
    site: str
    stage: str
