"""Which calibration counts on a day, and what is taken of one that found the meter off later."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass

from airflow_jobs.calc.meter_changes import MeterBetween, meter_between
from airflow_jobs.findings import Found, found
from airflow_jobs.models import Calibration, Instrument
from airflow_jobs.wording import in_metres_per_second


@dataclass(frozen=True, slots=True)
class LaterCorrection:
    """What a later calibration says of a reading."""

    found_on: datetime.date
    since: datetime.date
    share: float
    """How much of what was found is taken: all of it where the day is known."""


@dataclass(frozen=True, slots=True)
class MeterOnDay:
    """A meter's calibration as it counts for one reading."""

    meter: MeterBetween
    accuracy_relative: float | None
    accuracy_absolute_m_s: float | None
    later: LaterCorrection | None


def meter_on_day(
    instrument: Instrument,
    calibrations: Iterable[Calibration],
    day: datetime.date,
    said: list[Found],
) -> MeterOnDay:
    """Return what counts for a reading of that day.

    Parameters
    ----------
    instrument
        The meter.
    calibrations
        All of its calibrations.
    day
        The day of the reading where the system stands.
    said
        What is worth saying is added to it.
    """
    rows = list(calibrations)
    now = _in_force(rows, day, said, instrument)
    gain, offset = (now.gain, now.offset_m_s) if now else (1.0, 0.0)
    after = next_calibration(rows, day)
    if after is None or after.corrects_from is None or after.corrects_from > day:
        relative, absolute = _accuracy(instrument, now)
        return MeterOnDay(MeterBetween(gain, offset, 0.0, 0.0), relative, absolute, None)
    share = share_of_time(after, day)
    relative, absolute = _accuracy(instrument, after)
    later = LaterCorrection(after.performed_on, after.corrects_from, share)
    said.append(_found_off_later(instrument, after, gain, offset, share))
    return MeterOnDay(
        meter_between(
            gain_before=gain,
            offset_before_m_s=offset,
            gain_found=after.gain_as_found,
            offset_found_m_s=after.offset_as_found_m_s,
            share=share,
        ),
        relative,
        absolute,
        later,
    )


def next_calibration(calibrations: Iterable[Calibration], day: datetime.date) -> Calibration | None:
    """Return the first calibration after a day; one that was retired says nothing of earlier days.

    Only the first counts: a later one can't know what lay before another calibration.
    """
    after = [row for row in calibrations if row.performed_on > day and row.retired_on is None]
    if not after:
        return None
    first = min(row.performed_on for row in after)
    return max(
        (row for row in after if row.performed_on == first),
        key=lambda row: (row.created_at, row.pk),
    )


def share_of_time(calibration: Calibration, day: datetime.date) -> float:
    """Return how much of the time in doubt had passed at noon of a day; 1 where none is."""
    assert calibration.corrects_from is not None
    if calibration.corrects_wholly:
        return 1.0
    days = (calibration.performed_on - calibration.corrects_from).days
    return ((day - calibration.corrects_from).days + 0.5) / days


def _in_force(
    calibrations: Iterable[Calibration],
    day: datetime.date,
    said: list[Found],
    instrument: Instrument,
) -> Calibration | None:
    """Return the calibration as of that day; say where there is none or it had run out."""
    before = [
        row
        for row in calibrations
        if row.performed_on <= day and (row.retired_on is None or row.retired_on > day)
    ]
    if not before:
        said.append(found("calibration_missing", pointer="/instrument"))
        return None
    latest = max(before, key=lambda row: (row.performed_on, row.created_at, row.pk))
    if latest.due_on < day:
        said.append(
            found(
                "calibration_overdue",
                f"{instrument} was due for calibration on {latest.due_on.isoformat()}, before "
                f"this traverse of {day.isoformat()}.",
                "/instrument",
            )
        )
    return latest


def _accuracy(
    instrument: Instrument, calibration: Calibration | None
) -> tuple[float | None, float | None]:
    """Return the calibration's accuracy where it has one, else the instrument's."""
    for row in (calibration, instrument):
        if row is not None and (
            row.accuracy_relative is not None or row.accuracy_absolute_m_s is not None
        ):
            return row.accuracy_relative or 0.0, row.accuracy_absolute_m_s or 0.0
    return None, None


def _found_off_later(
    instrument: Instrument, later: Calibration, gain: float, offset: float, share: float
) -> Found:
    how = (
        f"It is known to have gone off on {later.corrects_from}, so all of the difference is taken."
        if later.corrects_wholly
        else f"When it went off since {later.corrects_from} is not known: {share:.0%} of the "
        "difference is taken, by the time that had passed, and the interval is widened to hold "
        "all of it and none of it."
    )
    return found(
        "calibration_corrected_later",
        f"The calibration of {later.performed_on} found {instrument} to need a gain of "
        f"{later.gain_as_found:.3f} and an offset of "
        f"{in_metres_per_second(later.offset_as_found_m_s)}, where {gain:.3f} and "
        f"{in_metres_per_second(offset)} had been taken. {how}",
        "/instrument",
    )
