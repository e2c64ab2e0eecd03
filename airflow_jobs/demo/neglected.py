"""Systems that nobody got to: some not for over a year, some never."""

from __future__ import annotations

import datetime
from collections import Counter
from typing import Any, Final

from airflow_jobs.models import Material

from .jobs import Job
from .peculiar import Peculiarities, is_slipped
from .record import Invented
from .stories import CARELESS_CREW
from .systems import System

NEVER: Final = 2
NOT_FOR_LONG: Final = 3
LEFT_ALONE_DAYS: Final = 410
"""A little over the year that a company lets pass."""
FEWEST_BESIDE: Final = 2
"""Somebody came to the site all the same, and measured the others."""


def neglect(record: Invented, peculiarities: Peculiarities, today: datetime.date) -> None:
    """Take out of the record what was measured of a few ordinary systems, lately or ever.

    It is taken out after all was invented, so that no chance falls otherwise for it.

    Parameters
    ----------
    record
        With all its jobs.
    peculiarities
        Systems with a story of their own are left as they are.
    today
        Its last day.
    """
    since = today - datetime.timedelta(days=LEFT_ALONE_DAYS)
    chosen = _ordinary(record, peculiarities, since)[: NEVER + NOT_FOR_LONG]
    for number, system in enumerate(chosen):
        _forget(record, system, datetime.date.min if number < NEVER else since)


def _ordinary(record: Invented, peculiarities: Peculiarities, since: datetime.date) -> list[System]:
    """Return systems without a story, one a site, those measured least often first."""
    measured = Counter(job.system for job in record.jobs)
    beside = Counter(system.place.row.pk for system in record.systems)
    corrected = {one.taken.job.system for one in record.corrections}
    slipped = {taken.job.system for taken in record.taken if is_slipped(record, taken)}
    # What the careless crew left lately is a story of its own.
    careless = {
        job.system
        for job in record.jobs
        if job.outing.crew_name == CARELESS_CREW and job.outing.day >= since
    }
    storied = {*record.courses, *peculiarities.fan_only, *corrected, *slipped, *careless}
    found = sorted(
        (
            system
            for system in record.systems
            if system not in storied
            and system.place is not peculiarities.reduced_barometer
            and system.place.elevation_m < 1500.0
            and beside[system.place.row.pk] > FEWEST_BESIDE
            and all(
                duct.share == 1.0
                and duct.moved_hole is None
                and duct.row.material == Material.SHEET
                for duct in record.ducts[system]
            )
        ),
        key=lambda system: (measured[system], str(system.row.pk)),
    )
    places = {system.place.row.pk: system for system in reversed(found)}
    return [system for system in found if places[system.place.row.pk] is system]


def _forget(record: Invented, system: System, since: datetime.date) -> None:
    def was_done(job: Job) -> bool:
        return job.system is not system or job.outing.day < since

    record.jobs[:] = filter(was_done, record.jobs)
    record.taken[:] = [taken for taken in record.taken if was_done(taken.job)]
    days = {visit.pk: visit.planned_for or since for visit in record.visits}

    def stays(row: Any) -> bool:
        return row.equipment_id != system.row.pk or days[row.visit_id] < since

    hanging: tuple[list[Any], ...] = (
        record.adjustments,
        record.pressures,
        record.temperature_rises,
        record.flow_readings,
    )
    for rows in hanging:
        rows[:] = filter(stays, rows)
    used = {taken.content.visit_id for taken in record.taken}
    record.visits[:] = [visit for visit in record.visits if visit.pk in used]
