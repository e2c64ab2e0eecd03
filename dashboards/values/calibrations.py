"""Calibrations, what each found against what had been taken before, and what rests on that."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from uuid import UUID


@dataclass(frozen=True, slots=True)
class CalibrationFound:
    """One calibration against the one before."""

    id: UUID
    revision: int
    instrument_id: UUID
    meter: str
    serial: str
    performed_on: datetime.date
    due_on: datetime.date
    retired_on: datetime.date | None
    gain: float
    offset_m_s: float
    is_adjusted: bool
    """Whether the laboratory adjusted the meter, so that it left otherwise than it came."""
    found_gain: float
    found_offset_m_s: float
    accuracy_relative: float | None
    accuracy_absolute_m_s: float | None
    """Of the calibration, else of the instrument."""
    certificate: str
    before_on: datetime.date | None
    """The day of the calibration before."""
    before_gain: float
    before_offset_m_s: float
    change: float | None
    """By how much a usual reading changes with what was found, relative."""
    allowed: float
    """What the instrument's stated accuracy allows, relative."""
    at_m_s: float
    """The velocity that the two are for: a usual reading in between."""
    between: int
    """Results in between, where it was found off or corrects them."""
    first_used_on: datetime.date | None
    """The first day in between on which it was used."""
    corrects_from: datetime.date | None
    corrects_wholly: bool
    corrects_because: str
    corrected: int
    """Readings that the correction is about."""
    corrected_pending: int
    """Of these, those still to be computed."""

    @property
    def counts(self) -> bool:
        """Whether it is not retired: a retired one says nothing of earlier days."""
        return self.retired_on is None

    @property
    def is_off(self) -> bool:
        """Whether it found the meter off by more than its accuracy allows."""
        return self.counts and self.change is not None and abs(self.change) > self.allowed

    @property
    def corrects(self) -> bool:
        """Whether it corrects earlier readings."""
        return self.counts and self.corrects_from is not None

    def leaves_in_doubt(self, day: datetime.date) -> bool:
        """Whether it found the meter off after a reading of that day, which is not corrected."""
        is_between = self.before_on is None or self.before_on <= day
        corrects = self.corrects_from is not None and self.corrects_from <= day
        return self.is_off and is_between and day < self.performed_on and not corrects

    @property
    def since(self) -> datetime.date | None:
        """The earliest day since which the meter may have been off."""
        return self.before_on or self.first_used_on
