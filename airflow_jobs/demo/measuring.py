"""Measuring: what a crew does on an outing, hour by hour, and what it writes down."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from airflow_jobs.models import (
    Adjustment,
    Call,
    Climate,
    EquipmentKind,
    FlowMethod,
    FlowSet,
    FlowSetMember,
    Stage,
    Visit,
)

from . import measurements
from .blowers import FAN_ONLY_SETTING
from .calendar import Kit, Outing
from .conditions import Weather
from .ducts import Duct
from .jobs import Job, Life
from .meters import HIGH_READING, Meter
from .peculiar import Peculiarities
from .record import Invented
from .seeded import Seeded
from .traverses import Taken, choose_mode, take, truth_of

PAIRED, PAIRED_WITH_HIGH = 0.09, 0.26
"""How often a second meter is held beside the first."""
SUPPLY_CHECKED: Final = 0.5
PRESSURES, RISES, LONE_FLOWS = 0.45, 0.6, 0.012
HOOD_FOR_ONE_RETURN: Final = 0.12
STATE_FORGOTTEN: Final = 0.012
FILTER_ADVICE: Final = "look at it every three months and change it when it is grey."
HOLE_OPEN: Final = "One hole is taped over; its plug comes with the next visit."


@dataclass
class Crewwork:
    """What crews do on their outings, written into the record."""

    seeded: Seeded
    record: Invented
    kit: Kit
    life: Life
    peculiarities: Peculiarities

    def go_out(self, outing: Outing) -> None:
        """Do all the work of one outing; to be called in order of time."""
        seeded = self.seeded
        clock = datetime.datetime.combine(
            outing.day, datetime.time(8), outing.place.zone
        ) + datetime.timedelta(minutes=seeded.whole(0, 50))
        started = clock
        crew = next(crew for crew in self.record.crews if crew.name == outing.crew_name)
        visit = Visit(
            id=seeded.new_id(started),
            site=outing.place.row,
            crew=crew,
            purpose=outing.purpose,
            planned_for=outing.day,
            started_at=started.astimezone(datetime.UTC),
            created_at=started,
            updated_at=started,
        )
        self.record.visits.append(visit)
        weather = Weather.of(seeded, outing.place, outing.day)
        notes = []
        for system in outing.systems:
            job = self.life.job(outing, system, weather.indoor_density_kg_m3)
            self.record.jobs.append(job)
            if job.filter_was_loaded:
                notes.append(f"The filter of {system.row.tag} was loaded: {FILTER_ADVICE}")
            clock = JobAtWork(self, job, visit, weather, clock).done_at()
        finished = clock + datetime.timedelta(minutes=seeded.whole(10, 30))
        visit.finished_at = finished.astimezone(datetime.UTC)
        is_plugged = not seeded.chance(0.03)
        if not is_plugged:
            notes.append(HOLE_OPEN)
        visit.closing = {
            "holes_plugged": is_plugged,
            "panels_closed": True,
            "guards_on": True,
            "notes": " ".join(notes),
        }


class JobAtWork:
    """One job as it is done."""

    def __init__(
        self,
        work: Crewwork,
        job: Job,
        visit: Visit,
        weather: Weather,
        begins_at: datetime.datetime,
    ) -> None:
        self._work = work
        self._seeded = work.seeded
        self._record = work.record
        self._job = job
        self._visit = visit
        self._weather = weather
        self._clock = begins_at
        self._ducts = work.record.ducts[job.system]
        self._meter = self._take_meter()
        self._mode = choose_mode(self._seeded, self._ducts[0], self._meter)
        self._forgets_state = self._seeded.chance(STATE_FORGOTTEN)
        self._has_pressures = self._seeded.chance(PRESSURES)

    def done_at(self) -> datetime.datetime:
        """Do it, and return the local time when it was done."""
        seeded, job = self._seeded, self._job
        self._wait(18, 35)
        found_fan_only = job.system in self._work.peculiarities.fan_only
        taken = self._measure(Stage.AS_FOUND, job.found_ratio, fan_only=found_fan_only)
        last, ratio = taken, job.found_ratio
        for change in job.changes:
            self._wait(20, 45)
            at = self._clock.astimezone(datetime.UTC)
            self._record.adjustments.append(
                Adjustment(
                    id=seeded.new_id(at),
                    visit=self._visit,
                    equipment=job.system.row,
                    kind=change.kind,
                    from_value=change.from_value,
                    to_value=change.to_value,
                    made_at=at,
                    notes=change.notes,
                    created_at=at,
                    updated_at=at,
                )
            )
        if job.left_ratio is not None:
            self._wait(15, 30)
            last, ratio = self._measure(Stage.AS_LEFT, job.left_ratio), job.left_ratio
        if last and not (found_fan_only and last is taken):
            self._check(last[0], ratio)
        self._wait(8, 20)
        return self._clock

    def _take_meter(self) -> Meter:
        job = self._job
        wanted = None if job.course is None else job.course.meter_on(job.outing.day)
        if wanted is not None:
            return next(meter for meter in self._record.meters if meter.make.label == wanted)
        ducts = self._ducts if self._is_split else self._ducts[:1]
        area_m2 = sum(duct.inside.area_m2 for duct in ducts)
        return self._work.kit.meter_for(
            job.outing.crew_name,
            job.outing.day,
            job.system.nominal_flow_m3_s(job.call) / area_m2,
            job.system.place.elevation_m,
        )

    @property
    def _is_split(self) -> bool:
        """Whether several sections add up to the system's flow."""
        return self._ducts[0].share < 1.0

    def _measure(self, stage: str, ratio: float, *, fan_only: bool = False) -> list[Taken]:
        """Take a traverse in each section that the system's flow is made of."""
        seeded, job = self._seeded, self._job
        call = Call.FAN_ONLY if fan_only else job.call
        standing = job.found if stage == Stage.AS_FOUND else job.left
        if fan_only:
            standing = job.system.blower.changed(standing, FAN_ONLY_SETTING)
            ratio = standing.flow_m3_s / job.nominal_m3_s
        state = None if self._forgets_state else self._state(stage, call, standing.setting)
        measured = self._ducts if self._is_split else self._ducts[:1]
        taken = []
        flow_actual_m3_s = 0.0
        hood = self._is_split and seeded.chance(HOOD_FOR_ONE_RETURN)
        members: list[FlowSetMember] = []
        for number, duct in enumerate(measured):
            if hood and number == 1:
                member, part_m3_s = self._hood(stage, ratio, duct)
                members.append(member)
                flow_actual_m3_s += part_m3_s
                continue
            one = self._traverse(stage, ratio, duct, self._meter, call, state)
            taken.append(one)
            flow_actual_m3_s += one.truth.flow_actual_m3_s
            members.append(FlowSetMember(traverse_id=one.identifier, sign=1))
            self._wait(9, 16)
        if self._is_split:
            self._add_up(stage, members)
        if not fan_only:
            self._beside(stage, ratio, flow_actual_m3_s, call, state)
        return taken

    def _traverse(
        self,
        stage: str,
        ratio: float,
        duct: Duct,
        meter: Meter,
        call: str,
        state: dict[str, Any] | None,
        repeats: UUID | None = None,
    ) -> Taken:
        rise = self._rise_k(ratio) if call == Call.HEATING else None
        air = self._weather.air_in(self._seeded, duct.row.air_path, call, rise)
        one = take(
            self._seeded,
            job=self._job,
            visit_id=self._visit.pk,
            duct=duct,
            meter=meter,
            stage=stage,
            at=self._clock,
            truth=truth_of(self._job, ratio, duct, air),
            air=air,
            mode=choose_mode(self._seeded, duct, meter) if repeats else self._mode_in(duct),
            state=state,
            reduces_barometer=self._job.system.place is self._work.peculiarities.reduced_barometer,
            repeats=repeats,
        )
        self._record.taken.append(one)
        return one

    def _mode_in(self, duct: Duct) -> str:
        return "points" if duct.row.shape == "round" else self._mode

    def _check(self, taken: Taken, ratio: float) -> None:
        """Now and then hold a second meter beside the first, or measure the supply as well."""
        seeded = self._seeded
        chance = PAIRED_WITH_HIGH if taken.meter.make.label == HIGH_READING else PAIRED
        state = taken.content.sent.get("operating_state")
        if seeded.chance(chance):
            self._wait(4, 9)
            other = self._work.kit.another(taken.meter, taken.truth.velocity_m_s)
            self._traverse(
                Stage.CHECK, ratio, taken.duct, other, self._job.call, state, taken.identifier
            )
        if not self._is_split and len(self._ducts) > 1 and seeded.chance(SUPPLY_CHECKED):
            self._wait(12, 25)
            lost = seeded.uniform(0.02, 0.09)
            self._traverse(
                Stage.CHECK,
                ratio * (1.0 - lost),
                self._ducts[1],
                self._meter,
                self._job.call,
                state,
            )

    def _add_up(self, stage: str, members: list[FlowSetMember]) -> None:
        at = self._clock.astimezone(datetime.UTC)
        flow_set = FlowSet(
            id=self._seeded.new_id(at),
            visit=self._visit,
            equipment=self._job.system.row,
            stage=stage,
            created_at=at,
            updated_at=at,
        )
        self._record.flow_sets.append(flow_set)
        for member in members:
            member.flow_set = flow_set
            self._record.flow_set_members.append(member)

    def _hood(self, stage: str, ratio: float, duct: Duct) -> tuple[FlowSetMember, float]:
        """Return one return by hood, and the true flow through it, m3/s of the air as it is."""
        air = self._weather.air_in(self._seeded, duct.row.air_path, self._job.call, None)
        flow_actual_m3_s = truth_of(self._job, ratio, duct, air).flow_actual_m3_s
        reading = measurements.flow_reading(
            self._seeded,
            self._job,
            self._visit.pk,
            stage,
            self._clock.astimezone(datetime.UTC),
            flow_actual_m3_s,
            method=FlowMethod.CAPTURE_HOOD,
            relative_uncertainty=0.06,
        )
        self._record.flow_readings.append(reading)
        return FlowSetMember(flow_reading=reading, sign=1), flow_actual_m3_s

    def _beside(
        self,
        stage: str,
        ratio: float,
        flow_actual_m3_s: float,
        call: str,
        state: dict[str, Any] | None,
    ) -> None:
        """Read what is read beside a traverse; flows without one are of the air as it is."""
        seeded, job = self._seeded, self._job
        at = (self._clock + datetime.timedelta(minutes=4)).astimezone(datetime.UTC)
        density = self._weather.indoor_density_kg_m3
        if self._has_pressures and job.system.blower.drive != "unknown":
            self._record.pressures.append(
                measurements.pressures(seeded, job, self._visit.pk, stage, at, density, state)
            )
        rise = self._rise_k(ratio)
        if call == Call.HEATING and rise is not None and seeded.chance(RISES):
            row = measurements.temperature_rise(
                seeded, job, self._visit.pk, stage, at, self._weather.indoor_c, rise
            )
            if row is not None:
                self._record.temperature_rises.append(row)
        if seeded.chance(LONE_FLOWS):
            self._record.flow_readings.append(
                measurements.flow_reading(
                    seeded,
                    job,
                    self._visit.pk,
                    stage,
                    at,
                    flow_actual_m3_s,
                    method=seeded.pick(measurements.LONE_METHODS),
                    relative_uncertainty=seeded.pick((None, 0.07)),
                )
            )

    def _rise_k(self, ratio: float) -> float | None:
        return measurements.heating_rise_k(
            self._job, ratio * self._job.system.nominal_flow_m3_s(self._job.call)
        )

    def _state(self, stage: str, call: str, setting: int) -> dict[str, Any]:
        job = self._job
        cools = call == Call.COOLING
        state: dict[str, Any] = {"call": str(call)}
        if call != Call.FAN_ONLY:
            state["capacity_step"] = "full"
        state["blower_setting"] = job.system.blower.name(setting)
        if job.system.kind != EquipmentKind.VENTILATION:
            is_wet = cools and job.system.place.climate != Climate.DRY
            state["coil"] = "wet" if is_wet else "dry"
        is_loaded = job.filter_was_loaded and stage == Stage.AS_FOUND
        state["filter"] = "loaded" if is_loaded else "clean"
        if job.system.kind in (EquipmentKind.PACKAGED_UNIT, EquipmentKind.AIR_HANDLER):
            state["outdoor_damper"] = "minimum"
        state["zones_open"] = "all"
        state["steady_minutes"] = self._seeded.pick((10, 12, 15, 15, 20))
        return state

    def _wait(self, least: int, most: int) -> None:
        self._clock += datetime.timedelta(minutes=self._seeded.whole(least, most))
