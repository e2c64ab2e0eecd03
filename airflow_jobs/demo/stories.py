"""Stories: what the record is meant to show, and which systems and crews it happens to."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final

from airflow_jobs.models import Call, EquipmentKind, FanDrive

from .meters import HIGH_READING
from .seeded import Seeded
from .systems import System

CARELESS_CREW: Final = "Otter"
"""Finds what the others find, and leaves too much of it outside."""
TROUBLE_CREW: Final = "Marten"
"""Is only sent where something is wrong, and puts it right."""
SMALL_CREW: Final = "Wren"
"""Two people: a crew that is nearly a person."""

USUALLY_LEFT_OUTSIDE: Final = 0.095
LEFT_OUTSIDE: Final[dict[str, float]] = {CARELESS_CREW: 0.41}
FOUND_OUTSIDE_ON_FAULT: Final = 0.95

COIL, BELT, FILTER = "coil", "belt", "filter"
STEP_DOWN, STEP_UP, OTHER_METER, QUIET = "step_down", "step_up", "other_meter", "quiet"


@dataclass(frozen=True)
class Course:
    """The flow of a system that nobody adjusts, as it goes over the years.

    Attributes
    ----------
    story
        Which story it tells.
    start_ratio
        Flow over nominal flow when the record begins.
    fall_a_year
        Relative loss a year.
    step_on, step_factor
        Day of a sudden change and its factor; None where there is none.
    filter_loss
        What a filter takes by the time it is changed, at each visit; 0 where none.
    meter, meter_after_step
        Labels of the meters it is always measured with, before and after that day.
    """

    story: str
    start_ratio: float
    fall_a_year: float = 0.0
    step_on: datetime.date | None = None
    step_factor: float = 1.0
    filter_loss: float = 0.0
    meter: str | None = None
    meter_after_step: str | None = None

    def ratio_on(self, day: datetime.date, begins_on: datetime.date) -> float:
        """Return flow over nominal flow on a day, filter clean."""
        years = (day - begins_on).days / 365.25
        stepped = self.step_on is not None and day >= self.step_on
        remaining = float((1.0 - self.fall_a_year) ** years)
        return self.start_ratio * remaining * (self.step_factor if stepped else 1.0)

    def meter_on(self, day: datetime.date) -> str | None:
        """Return the label of the meter that is taken on a day, None for any."""
        if self.step_on is not None and self.meter_after_step and day >= self.step_on:
            return self.meter_after_step
        return self.meter


# (first ratio, loss a year): some are outside by now, some about to be, some in a year or two.
COIL_FALLS: Final = ((1.09, 0.075), (1.10, 0.068), (1.09, 0.055), (1.07, 0.045), (1.10, 0.085))
BELT_FALLS: Final = ((1.10, 0.062), (1.08, 0.050), (1.09, 0.080))
FILTER_LOSSES: Final = (0.10, 0.12, 0.14)
STEPS: Final = ((STEP_DOWN, 1.05, 0.86), (STEP_DOWN, 1.07, 0.88), (STEP_UP, 0.93, 1.15))
QUIET_SYSTEMS: Final = 5
STEADY_METERS: Final = ("Vane 1", "Thermal 1", "Vane 2", "Thermal 4")


def tell(
    seeded: Seeded, systems: list[System], begins_on: datetime.date, today: datetime.date
) -> dict[System, Course]:
    """Return which systems follow a course of their own, and which.

    Parameters
    ----------
    seeded
        Where chance comes from.
    systems
        All systems.
    begins_on, today
        First and last day of the record.
    """
    days = (today - begins_on).days
    free = [
        system
        for system in seeded.shuffled(systems)
        if system.kind != EquipmentKind.VENTILATION
        and system.place.joined_on == begins_on
        and system.place.elevation_m < 1000.0
        and system.row.electric_heat is False
    ]
    # The last are taken first: what has no heating season is measured in cooling all year anyway.
    free.sort(key=lambda system: Call.HEATING not in system.aims)
    belts = [system for system in free if system.row.fan_drive == FanDrive.BELT]
    others = [system for system in free if system.row.fan_drive != FanDrive.BELT]
    courses: dict[System, Course] = {}
    for (start_ratio, fall), meter in zip(BELT_FALLS, STEADY_METERS, strict=False):
        courses[belts.pop()] = Course(BELT, start_ratio, fall, meter=meter)
    for index, (start_ratio, fall) in enumerate(COIL_FALLS):
        meter = STEADY_METERS[index % len(STEADY_METERS)]
        courses[others.pop()] = Course(COIL, start_ratio, fall, meter=meter)
    for loss in FILTER_LOSSES:
        courses[others.pop()] = Course(FILTER, seeded.uniform(0.97, 1.02), filter_loss=loss)
    for (story, start_ratio, factor), meter in zip(STEPS, STEADY_METERS, strict=False):
        step_on = begins_on + datetime.timedelta(days=round(days * seeded.uniform(0.4, 0.65)))
        courses[others.pop()] = Course(
            story, start_ratio, step_on=step_on, step_factor=factor, meter=meter
        )
    courses[others.pop()] = Course(
        OTHER_METER,
        1.0,
        step_on=begins_on + datetime.timedelta(days=round(days * 0.55)),
        meter="Vane 1",
        meter_after_step=HIGH_READING,
    )
    for _ in range(QUIET_SYSTEMS):
        courses[others.pop()] = Course(QUIET, seeded.uniform(0.96, 1.04))
    return courses
