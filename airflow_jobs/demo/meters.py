"""Meters: twelve instruments of all three principles, their calibrations and their true faults."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from typing import Any, Final

from airflow_jobs.calc.instruments import Instruments, instruments
from airflow_jobs.models import Calibration, DirectionResponse, Instrument, Principle, Shows
from airflow_jobs.units import LENGTH, RATIO, TIME, VELOCITY

from .seeded import Seeded
from .typed import Typed, columns

HIGH_READING: Final = "Thermal 3"
READS_HIGH_BY: Final = 0.065
READS_HIGH_SD: Final = 0.002
OVERDUE: Final = "Vane 3"
OVERDUE_DAYS: Final = 130
"""How long ago the calibration of that meter ran out."""
WENT_OFF: Final = "Vane 2"
WENT_OFF_BY: Final = 0.045
"""By how much that meter has read low since its bearing got dirty, relative; its last calibration
found it. Whether its earlier results are corrected is left to whoever looks."""
WENT_OFF_AFTER: Final = 0.55
"""At which share of the time between the two calibrations it happened."""
YEAR_DAYS: Final = 365
RESIDUAL_SD: Final = 0.010
"""What a calibration leaves of a meter's error."""


@dataclass(frozen=True)
class Make:
    """What a meter is by its data sheet."""

    label: str
    principle: str
    shows: str
    compensates: tuple[bool | None, bool | None, bool | None]
    unit: str
    step: float
    accuracy: float | None
    behaves_as: tuple[str, tuple[bool, bool, bool]] | None = None
    """What it really shows and compensates, where the record doesn't know."""


NOTHING: Final = (False, False, False)
TEMPERATURE: Final = (True, False, False)
TEMPERATURE_AND_PRESSURE: Final = (True, True, False)
UNKNOWN: Final = (None, None, None)
THERMAL, VANE, PITOT = Principle.THERMAL, Principle.VANE, Principle.PITOT
STANDARD, ACTUAL = Shows.STANDARD_VELOCITY, Shows.ACTUAL_VELOCITY

MAKES: Final = (
    Make("Thermal 1", THERMAL, STANDARD, TEMPERATURE, "ft/min", 1.0, 0.03),
    Make("Thermal 2", THERMAL, ACTUAL, TEMPERATURE, "ft/min", 1.0, 0.03),
    Make(HIGH_READING, THERMAL, ACTUAL, TEMPERATURE_AND_PRESSURE, "ft/min", 1.0, 0.03),
    Make("Thermal 4", THERMAL, STANDARD, TEMPERATURE, "m/s", 0.01, 0.03),
    Make("Thermal 5", THERMAL, Shows.UNKNOWN, UNKNOWN, "ft/min", 1.0, None, (ACTUAL, TEMPERATURE)),
    Make("Vane 1", VANE, ACTUAL, NOTHING, "ft/min", 1.0, 0.02),
    Make("Vane 2", VANE, ACTUAL, NOTHING, "m/s", 0.01, 0.02),
    Make(OVERDUE, VANE, ACTUAL, NOTHING, "ft/min", 1.0, 0.02),
    Make("Pitot 1", PITOT, ACTUAL, NOTHING, "ft/min", 1.0, 0.02),
    Make("Pitot 2", PITOT, ACTUAL, TEMPERATURE_AND_PRESSURE, "ft/min", 1.0, 0.02),
    Make("Pitot 3", PITOT, ACTUAL, NOTHING, "inH2O", 0.001, 0.015),
    Make("Pitot 4", PITOT, ACTUAL, NOTHING, "Pa", 0.1, 0.015),
)
ABSOLUTE_M_S: Final = {THERMAL: 0.02, VANE: 0.02, PITOT: 0.05}
RANGE_FT_MIN: Final = {THERMAL: (40, 6000), VANE: (80, 5000), PITOT: (400, 10000)}
RANGE_M_S: Final = {THERMAL: (0.2, 30), VANE: (0.4, 25), PITOT: (2, 50)}
WARM_UP_S: Final = {THERMAL: 60, VANE: 0, PITOT: 0}


@dataclass
class Meter:
    """An instrument with what is true of it and stands in no record."""

    make: Make
    row: Instrument
    calibrations: list[Calibration]
    remaining_error: dict[datetime.date, float] = field(default_factory=dict)
    """By day of calibration: how much too high the calibrated velocity is, relative."""

    @property
    def is_pressure(self) -> bool:
        """Whether it shows velocity pressure."""
        return self.make.unit in ("inH2O", "Pa")

    @property
    def speaks_si(self) -> bool:
        """Whether whoever uses it writes SI units."""
        return self.make.unit in ("m/s", "Pa")

    def calibration_on(self, day: datetime.date) -> Calibration:
        """Return the latest calibration up to a day."""
        return max(
            (one for one in self.calibrations if one.performed_on <= day),
            key=lambda one: one.performed_on,
        )

    def law_on(self, day: datetime.date) -> Calibration:
        """Return the calibration that says what the meter really does on a day."""
        now = self.calibration_on(day)
        after = min(
            (one for one in self.calibrations if one.performed_on > day),
            key=lambda one: one.performed_on,
            default=None,
        )
        if self.make.label != WENT_OFF or after is not self.calibrations[-1] or after is None:
            return now
        length = (after.performed_on - now.performed_on).days
        has_gone_off = (day - now.performed_on).days >= WENT_OFF_AFTER * length
        return after if has_gone_off else now

    def error_on(self, day: datetime.date) -> float:
        """Return how much too high the calibrated velocity is, relative."""
        return self.remaining_error[self.calibration_on(day).performed_on]

    def as_it_is(self, day: datetime.date) -> Instruments:
        """Return the law that its display really follows."""
        calibration = self.law_on(day)
        shows, compensates = self.make.behaves_as or (self.make.shows, self.make.compensates)
        temperature, pressure, humidity = compensates
        return instruments(
            principle=str(self.make.principle),
            shows=str(shows),
            compensates_temperature=temperature,
            compensates_pressure=pressure,
            compensates_humidity=humidity,
            gain=calibration.gain,
            offset_m_s=calibration.offset_m_s,
        )


def collect(seeded: Seeded, start: datetime.datetime, today: datetime.date) -> list[Meter]:
    """Return the twelve meters, calibrated every year but for one.

    Parameters
    ----------
    seeded
        Where chance comes from.
    start
        When the record begins.
    today
        Its last day.
    """
    return [_meter(seeded, make, index, start, today) for index, make in enumerate(MAKES, start=1)]


def _meter(
    seeded: Seeded, make: Make, index: int, start: datetime.datetime, today: datetime.date
) -> Meter:
    principle = Principle(make.principle)
    si = make.unit in ("m/s", "Pa")
    unit = "m/s" if si else "ft/min"
    low, high = (RANGE_M_S if si else RANGE_FT_MIN)[principle]
    row = Instrument(
        id=seeded.new_id(start),
        serial=f"{principle[:1].upper()}{index:02d}-{seeded.whole(1000, 9999)}",
        label=make.label,
        principle=principle,
        shows=make.shows,
        compensates_temperature=make.compensates[0],
        compensates_pressure=make.compensates[1],
        compensates_humidity=make.compensates[2],
        direction_response=DirectionResponse.COSINE
        if principle != THERMAL
        else seeded.pick((DirectionResponse.COSINE, DirectionResponse.UNKNOWN)),
        created_at=start,
        updated_at=start,
        **columns(
            accuracy_relative=None
            if make.accuracy is None
            else Typed(round(100.0 * make.accuracy, 1), "%", RATIO),
            accuracy_absolute_m_s=None
            if make.accuracy is None
            else Typed(ABSOLUTE_M_S[principle], "m/s", VELOCITY),
            range_low_m_s=Typed(low, unit, VELOCITY),
            range_high_m_s=Typed(high, unit, VELOCITY),
            resolution_m_s=Typed(make.step, unit, VELOCITY) if make.unit == unit else None,
            probe_reach_m=Typed(seeded.pick((36, 40, 48)), "in", LENGTH),
            probe_diameter_m=Typed(0.3 if principle != VANE else 0.7, "in", LENGTH),
            tip_to_sensor_m=Typed(0.25 if principle == THERMAL else 0.5, "in", LENGTH),
            warm_up_s=Typed(WARM_UP_S[principle], "s", TIME),
        ),
    )
    meter = Meter(make, row, [])
    last = (
        today - datetime.timedelta(days=YEAR_DAYS + OVERDUE_DAYS)
        if make.label == OVERDUE
        else today - datetime.timedelta(days=seeded.whole(20, YEAR_DAYS - 20))
    )
    day = last
    days = [last]
    while day > start.date():
        day -= datetime.timedelta(days=YEAR_DAYS - seeded.whole(-3, 12))
        days.append(day)
    gain = 1.0 if make.label == HIGH_READING else 1.0 + seeded.normal(0.0, 0.008)
    for performed_on in reversed(days):
        if make.label == WENT_OFF and performed_on == last:
            gain += WENT_OFF_BY
        meter.calibrations.append(_calibration(seeded, meter, performed_on, gain))
        meter.remaining_error[performed_on] = (
            seeded.normal(READS_HIGH_BY, READS_HIGH_SD)
            if make.label == HIGH_READING
            else seeded.normal(0.0, RESIDUAL_SD)
        )
        if make.label != HIGH_READING:
            gain += seeded.normal(0.0, 0.005)
    return meter


def _calibration(
    seeded: Seeded, meter: Meter, performed_on: datetime.date, gain: float
) -> Calibration:
    at = datetime.datetime.combine(performed_on, datetime.time(16), datetime.UTC)
    is_high = meter.make.label == HIGH_READING
    has_offset = not is_high and not meter.is_pressure and seeded.chance(0.5)
    offset_unit = "m/s" if meter.speaks_si else "ft/min"
    offset = {"m/s": seeded.pick((-0.02, -0.01, 0.01, 0.02)), "ft/min": seeded.pick((-3, -2, 2, 3))}
    fields: dict[str, Any] = columns(
        offset_m_s=Typed(offset[offset_unit] if has_offset else 0, offset_unit, VELOCITY),
        accuracy_relative=None if seeded.chance(0.6) else Typed(1.5, "%", RATIO),
    )
    return Calibration(
        id=seeded.new_id(at),
        instrument=meter.row,
        performed_on=performed_on,
        due_on=performed_on + datetime.timedelta(days=YEAR_DAYS),
        gain=round(gain, 3),
        # The one that reads high was only ever looked at in the workshop, against itself.
        certificate="workshop check at rest, no reference"
        if is_high
        else f"C-{performed_on.year}-{seeded.whole(100, 999)}",
        created_at=at,
        updated_at=at,
        **fields,
    )
