"""Jobs: one system on one visit, what was wrong with it, what was done, and the true flow."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final

from airflow_jobs.models import AdjustmentKind, Call, EquipmentKind, FanDrive, Purpose
from airflow_jobs.recompute.targets import Aim

from .blowers import HIGHEST_SETTING, LOWEST_SETTING
from .calendar import Outing
from .names import CREWS
from .seeded import Quota, Seeded
from .stories import (
    FILTER,
    FOUND_OUTSIDE_ON_FAULT,
    LEFT_OUTSIDE,
    USUALLY_LEFT_OUTSIDE,
    Course,
)
from .systems import System

FOUND_LOW_SHARE: Final = 0.78
ADJUSTED_ANYWAY: Final = 0.06
NOT_MEASURED_AFTERWARDS: Final = 0.04
FOUND_OUTSIDE_ON_VERIFICATION: Final = 0.3
HEATING_MONTHS: Final = (11, 12, 1, 2, 3)
LOWEST_RATIO: Final = 0.45
HIGHEST_RATIO: Final = 1.6
SPREAD_LEFT: Final = 0.035


@dataclass(frozen=True)
class Change:
    """What was done to a system."""

    kind: str
    from_value: str
    to_value: str
    notes: str = ""


@dataclass
class Job:
    """One system on one visit, with the truth about it.

    Ratios are flow over the flow that the target asks for, on the target's basis.
    """

    outing: Outing
    system: System
    call: str
    aim: Aim
    found_ratio: float
    left_ratio: float | None
    """None where nothing was measured afterwards."""
    changes: list[Change]
    found_setting: int
    left_setting: int
    filter_was_loaded: bool
    course: Course | None = None

    @property
    def low_ratio(self) -> float:
        """Lower limit of the target over its nominal."""
        return self.aim.low / self.aim.nominal

    @property
    def high_ratio(self) -> float:
        """Upper limit of the target over its nominal."""
        return self.aim.high / self.aim.nominal

    def is_outside(self, ratio: float) -> bool:
        """Whether a ratio lies beyond a limit."""
        return not self.low_ratio <= ratio <= self.high_ratio


class Life:
    """What becomes of the systems from visit to visit."""

    def __init__(
        self, seeded: Seeded, courses: dict[System, Course], begins_on: datetime.date
    ) -> None:
        self._seeded = seeded
        self._courses = courses
        self._begins_on = begins_on
        self._left: dict[System, float] = {}
        self._leaves_outside = {
            name: Quota(seeded, LEFT_OUTSIDE.get(name, USUALLY_LEFT_OUTSIDE)) for name, _ in CREWS
        }

    def job(self, outing: Outing, system: System) -> Job:
        """Return what a crew finds and leaves; to be asked in order of time."""
        course = self._courses.get(system)
        call = self._call(outing, system, course)
        if course is not None:
            return self._on_course(outing, system, call, course)
        seeded = self._seeded
        aim = system.aims[call]
        low, high = aim.low / aim.nominal, aim.high / aim.nominal
        is_outside = seeded.chance(_chance_outside(outing, system))
        if is_outside:
            found = self._outside(low, high)
        else:
            before = self._left.get(system, 1.0)
            found = _within(before * seeded.normal(0.985, 0.02), low, high, 0.02)
        is_low = found < 1.0
        setting = system.blower.setting
        changes: list[Change] = []
        left: float | None = None
        if is_outside or seeded.chance(ADJUSTED_ANYWAY):
            changes = [self._change(system, is_low)]
            if is_outside and self._leaves_outside[outing.crew_name].is_due():
                left = (
                    min(max(low * (0.98 - seeded.gamma(0.05, 2.0)), found * 1.02), low * 0.985)
                    if is_low
                    else max(min(high * (1.02 + seeded.gamma(0.04, 2.0)), found), high * 1.015)
                )
            else:
                left = _within(seeded.normal(1.0, SPREAD_LEFT), low, high, 0.03)
        self._left[system] = left if left is not None else found
        if seeded.chance(NOT_MEASURED_AFTERWARDS):
            left = None
        return Job(
            outing=outing,
            system=system,
            call=call,
            aim=aim,
            found_ratio=found,
            left_ratio=left,
            changes=changes,
            found_setting=setting,
            left_setting=system.blower.setting,
            filter_was_loaded=any(change.kind == AdjustmentKind.FILTER for change in changes),
        )

    def _call(self, outing: Outing, system: System, course: Course | None) -> str:
        if course is None and Call.HEATING in system.aims and outing.day.month in HEATING_MONTHS:
            return Call.HEATING
        return system.main_call

    def _on_course(self, outing: Outing, system: System, call: str, course: Course) -> Job:
        seeded = self._seeded
        clean = course.ratio_on(outing.day, self._begins_on) * (1.0 + seeded.normal(0.0, 0.004))
        is_loaded = course.story == FILTER
        found = clean * (1.0 - course.filter_loss * seeded.uniform(0.8, 1.1))
        return Job(
            outing=outing,
            system=system,
            call=call,
            aim=system.aims[call],
            found_ratio=found if is_loaded else clean,
            left_ratio=clean if is_loaded else None,
            changes=[Change(AdjustmentKind.FILTER, "loaded", "new")] if is_loaded else [],
            found_setting=system.blower.setting,
            left_setting=system.blower.setting,
            filter_was_loaded=is_loaded,
            course=course,
        )

    def _outside(self, low: float, high: float) -> float:
        seeded = self._seeded
        if seeded.chance(FOUND_LOW_SHARE):
            return max(low * (0.97 - seeded.gamma(0.13, 1.7)), LOWEST_RATIO)
        return min(high * (1.03 + seeded.gamma(0.09, 1.7)), HIGHEST_RATIO)

    def _change(self, system: System, is_low: bool) -> Change:
        """Return something that explains what was found, and that somebody then changed."""
        seeded = self._seeded
        blower = system.blower
        step = 1 if is_low else -1
        has_room = (
            LOWEST_SETTING <= blower.setting + step <= HIGHEST_SETTING
            and blower.drive != FanDrive.UNKNOWN
        )
        if has_room and seeded.chance(0.3 if is_low else 0.7):
            before = blower.setting
            blower.setting += step
            is_speed = blower.drive in (FanDrive.BELT, FanDrive.VARIABLE_FREQUENCY)
            return Change(
                AdjustmentKind.SPEED if is_speed else AdjustmentKind.BLOWER_SETTING,
                blower.name(before),
                blower.name(blower.setting),
            )
        if not is_low:
            return Change(AdjustmentKind.DAMPER, "fully open", "set to its mark")
        if system.kind == EquipmentKind.VENTILATION:
            return seeded.pick(LOW_VENTILATION_CHANGES)
        return seeded.pick(LOW_CHANGES)


LOW_CHANGES: Final = (
    Change(AdjustmentKind.FILTER, "loaded", "new"),
    Change(AdjustmentKind.FILTER, "loaded", "new"),
    Change(AdjustmentKind.FILTER, "wrong size, bypassing", "new, right size"),
    Change(AdjustmentKind.DAMPER, "half closed", "open"),
    Change(AdjustmentKind.DAMPER, "zone dampers shut", "two zones open"),
    Change(AdjustmentKind.DUCT_REPAIR, "return boot open", "sealed"),
    Change(AdjustmentKind.DUCT_REPAIR, "crushed branch", "straightened and hung"),
    Change(AdjustmentKind.CLEANING, "coil matted", "coil washed"),
    Change(AdjustmentKind.OTHER, "return grille behind a cabinet", "cabinet moved"),
)
LOW_VENTILATION_CHANGES: Final = (
    Change(AdjustmentKind.FILTER, "loaded", "new"),
    Change(AdjustmentKind.DAMPER, "half closed", "open"),
    Change(AdjustmentKind.CLEANING, "intake screen matted", "cleaned"),
    Change(AdjustmentKind.DUCT_REPAIR, "open joint", "sealed"),
)


def _chance_outside(outing: Outing, system: System) -> float:
    if outing.purpose == Purpose.FAULT:
        return FOUND_OUTSIDE_ON_FAULT
    if outing.purpose == Purpose.VERIFICATION:
        return FOUND_OUTSIDE_ON_VERIFICATION
    return system.badness


def _within(ratio: float, low: float, high: float, margin: float) -> float:
    return min(max(ratio, low + margin), high - margin)
