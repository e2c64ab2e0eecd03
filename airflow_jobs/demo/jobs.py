"""Jobs: one system on one visit, what was wrong with it, what was done, and the true flow."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final

from airflow_jobs.models import AdjustmentKind, Call, Purpose
from airflow_jobs.recompute.targets import Aim

from .blowers import Standing
from .calendar import Outing
from .names import CREWS
from .remedies import Change, Trouble, remedied
from .seeded import Quota, Seeded
from .stories import (
    BELT,
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
    found: Standing
    left: Standing
    """Where the blower stood afterwards, measured or not."""
    nominal_m3_s: float
    """Ratio 1 as the blower moves it, m3/s of the air as it is."""
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
        # By system and call: cooling and heating have settings of their own.
        self._left: dict[tuple[System, str], float] = {}
        self._settings: dict[tuple[System, str], int] = {}
        self._leaves_outside = {
            name: Quota(seeded, LEFT_OUTSIDE.get(name, USUALLY_LEFT_OUTSIDE)) for name, _ in CREWS
        }

    def job(self, outing: Outing, system: System, density_kg_m3: float) -> Job:
        """Return what a crew finds and leaves; to be asked in order of time.

        Parameters
        ----------
        outing
            Who goes where.
        system
            The system.
        density_kg_m3
            Of the air that its blower moves.
        """
        course = self._courses.get(system)
        call = self._call(outing, system, course)
        nominal_m3_s = system.nominal_volume_m3_s(call, density_kg_m3)
        if course is not None:
            return self._on_course(outing, system, call, course, nominal_m3_s)
        seeded, blower = self._seeded, system.blower
        aim = system.aims[call]
        low, high = aim.low / aim.nominal, aim.high / aim.nominal
        is_outside = seeded.chance(_chance_outside(outing, system))
        if is_outside:
            most = blower.most_flow_m3_s / nominal_m3_s
            found_ratio = min(self._outside(low, high), most)
        else:
            before = self._left.get((system, call), 1.0)
            found_ratio = _within(before * seeded.normal(0.985, 0.02), low, high, 0.02)
        # Where nobody would find that flow at the setting left, somebody has changed it since.
        found = blower.at(
            blower.setting_near(self._setting(system, call), found_ratio * nominal_m3_s),
            found_ratio * nominal_m3_s,
        )
        remedy = None
        if is_outside or seeded.chance(ADJUSTED_ANYWAY):
            falls_short = is_outside and self._leaves_outside[outing.crew_name].is_due()
            remedy = remedied(
                seeded,
                system,
                Trouble(found, found_ratio, low, high, nominal_m3_s),
                falls_short=falls_short,
            )
        after = found if remedy is None else remedy.left
        left_ratio = found_ratio if remedy is None else after.flow_m3_s / nominal_m3_s
        self._left[system, call] = left_ratio
        self._settings[system, call] = after.setting
        is_measured = remedy is not None and not seeded.chance(NOT_MEASURED_AFTERWARDS)
        changes = [] if remedy is None else remedy.changes
        return Job(
            outing=outing,
            system=system,
            call=call,
            aim=aim,
            found_ratio=found_ratio,
            left_ratio=left_ratio if is_measured else None,
            changes=changes,
            found=found,
            left=after,
            nominal_m3_s=nominal_m3_s,
            filter_was_loaded=any(change.kind == AdjustmentKind.FILTER for change in changes),
        )

    def _setting(self, system: System, call: str) -> int:
        """Return the setting at which a system was left for a call."""
        blower = system.blower
        return self._settings.get((system, call), blower.first_setting)

    def _call(self, outing: Outing, system: System, course: Course | None) -> str:
        if course is None and Call.HEATING in system.aims and outing.day.month in HEATING_MONTHS:
            return Call.HEATING
        return system.main_call

    def _on_course(
        self, outing: Outing, system: System, call: str, course: Course, nominal_m3_s: float
    ) -> Job:
        seeded, blower = self._seeded, system.blower
        clean = course.ratio_on(outing.day, self._begins_on) * (1.0 + seeded.normal(0.0, 0.004))
        is_loaded = course.story == FILTER
        found_ratio = clean * (1.0 - course.filter_loss * seeded.uniform(0.8, 1.1))
        if not is_loaded:
            found_ratio = clean
        setting = self._setting(system, call)
        # What runs for years untouched has a setting at which it can.
        most = course.start_ratio * max(course.step_factor, 1.0)
        setting = blower.setting_near(setting, most * nominal_m3_s)
        self._settings[system, call] = setting
        found = blower.at(setting, found_ratio * nominal_m3_s)
        if course.story == BELT:
            # A belt that slips turns the wheel slower: the ducts stay as they are.
            start = blower.at(setting, course.start_ratio * nominal_m3_s)
            ratio = found_ratio / course.start_ratio
            found = Standing(
                setting, found.flow_m3_s, start.static_pa * blower.ducts.static_ratio(ratio)
            )
        return Job(
            outing=outing,
            system=system,
            call=call,
            aim=system.aims[call],
            found_ratio=found_ratio,
            left_ratio=clean if is_loaded else None,
            changes=[Change(AdjustmentKind.FILTER, "loaded", "new")] if is_loaded else [],
            found=found,
            left=blower.at(setting, clean * nominal_m3_s) if is_loaded else found,
            nominal_m3_s=nominal_m3_s,
            filter_was_loaded=is_loaded,
            course=course,
        )

    def _outside(self, low: float, high: float) -> float:
        seeded = self._seeded
        if seeded.chance(FOUND_LOW_SHARE):
            return max(low * (0.97 - seeded.gamma(0.13, 1.7)), LOWEST_RATIO)
        return min(high * (1.03 + seeded.gamma(0.09, 1.7)), HIGHEST_RATIO)


def _chance_outside(outing: Outing, system: System) -> float:
    if outing.purpose == Purpose.FAULT:
        return FOUND_OUTSIDE_ON_FAULT
    if outing.purpose == Purpose.VERIFICATION:
        return FOUND_OUTSIDE_ON_VERIFICATION
    return system.badness


def _within(ratio: float, low: float, high: float, margin: float) -> float:
    return min(max(ratio, low + margin), high - margin)
