"""What else was recorded of a system on a visit: pressures, heat, other flows, changes, its table.

Only what was recorded counts, never what was computed from it. All of it is part of the digest.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from django.db import models

from airflow_jobs.models import (
    Adjustment,
    BlowerTable,
    Call,
    Equipment,
    EquipmentKind,
    FanDrive,
    FlowReading,
    PressureReading,
    Stage,
    TemperatureRise,
)


@dataclass(frozen=True, slots=True)
class Static:
    """A total external static against the room, Pa."""

    stage: str
    taken_at: datetime.datetime
    external_static_pa: float


@dataclass(frozen=True, slots=True)
class Heat:
    """Heat put into the air between two temperatures."""

    taken_at: datetime.datetime
    heat_w: float
    """Electric power, or the burner's input times its efficiency."""
    is_fuel: bool
    entering_c: float
    leaving_c: float


@dataclass(frozen=True, slots=True)
class OtherFlow:
    """A flow of actual air known without a traverse."""

    taken_at: datetime.datetime
    method: str
    flow_m3_s: float
    relative_half_width: float | None
    same_meter: bool
    """Read with the instrument of the flow it stands beside."""


@dataclass(frozen=True, slots=True)
class Change:
    """An adjustment: what was changed, from what to what."""

    made_at: datetime.datetime
    kind: str
    from_value: str
    to_value: str


@dataclass(frozen=True, slots=True)
class MakersTable:
    """The maker's blower table as typed in: rows of setting, external static, flow."""

    source: str
    rows: tuple[tuple[str, float, float], ...]


@dataclass(frozen=True, slots=True)
class Beside:
    """Everything recorded beside one flow that advice and cross-checks rest on."""

    taken_at: datetime.datetime | None = None
    stage: str = ""
    fan_drive: str = FanDrive.UNKNOWN
    burns_fuel: bool = False
    needs_minimum_airflow: bool = False
    max_external_static_pa: float | None = None
    table: MakersTable | None = None
    statics: tuple[Static, ...] = ()
    """Of the flow's own stage; for one as left also those as found. Oldest first."""
    heats: tuple[Heat, ...] = ()
    flows: tuple[OtherFlow, ...] = ()
    changes: tuple[Change, ...] = ()
    """What had been changed by then. Oldest first."""

    def static(self, stage: str) -> Static | None:
        """Return the latest external static of a stage."""
        return next((item for item in reversed(self.statics) if item.stage == stage), None)


NOTHING_BESIDE: Final = Beside()


@dataclass(frozen=True, slots=True)
class Subject:
    """A flow of a system, as far as it says what stands beside it."""

    key: object
    visit_id: object
    equipment: Equipment
    stage: str
    call: str
    setting: str
    taken_at: datetime.datetime
    day: datetime.date
    instrument_ids: frozenset[object]


def plain_setting(name: object) -> str:
    """Return a setting's name by which two spellings of it are the same."""
    return " ".join(str(name or "").split()).casefold()


def beside_of(subjects: Sequence[Subject]) -> dict[object, Beside]:
    """Return subject's key -> what was recorded beside it; five statements in all."""
    visits = {subject.visit_id for subject in subjects}
    equipment = {subject.equipment.pk for subject in subjects}
    tables = _tables(equipment)
    pressures = _by_system(PressureReading, visits, equipment, "taken_at")
    rises = _by_system(TemperatureRise, visits, equipment, "taken_at")
    # What adds up with other flows in a set is a part of the system.
    readings = _by_system(FlowReading, visits, equipment, "taken_at", memberships__isnull=True)
    changes = _by_system(Adjustment, visits, equipment, "made_at")
    found: dict[object, Beside] = {}
    for subject in subjects:
        system = (subject.visit_id, subject.equipment.pk)
        heats = tuple(_heat(row) for row in rises[system] if row.stage == subject.stage)
        found[subject.key] = Beside(
            taken_at=_utc(subject.taken_at),
            stage=subject.stage,
            fan_drive=subject.equipment.fan_drive,
            burns_fuel=subject.equipment.kind == EquipmentKind.FURNACE_WITH_COIL
            or any(heat.is_fuel for heat in heats),
            needs_minimum_airflow=bool(
                subject.equipment.electric_heat or subject.equipment.flammable_refrigerant
            ),
            max_external_static_pa=subject.equipment.max_external_static_pa,
            table=_table(tables[subject.equipment.pk], subject.day),
            statics=_statics(pressures[system], subject),
            heats=heats,
            flows=tuple(
                OtherFlow(
                    taken_at=_utc(row.taken_at),
                    method=row.method,
                    flow_m3_s=row.flow_m3_s,
                    relative_half_width=row.relative_uncertainty,
                    same_meter=row.instrument_id in subject.instrument_ids,
                )
                for row in readings[system]
                if row.stage == subject.stage
            ),
            changes=tuple(
                Change(_utc(row.made_at), row.kind, row.from_value, row.to_value)
                for row in changes[system]
                if row.made_at <= subject.taken_at
            ),
        )
    return found


def _utc(moment: datetime.datetime) -> datetime.datetime:
    """Return the same moment written in one way, so that the digest is one too."""
    return moment.astimezone(datetime.UTC)


def _tables(equipment: Iterable[UUID]) -> dict[object, list[BlowerTable]]:
    found: dict[object, list[BlowerTable]] = defaultdict(list)
    rows = BlowerTable.objects.filter(equipment__in=equipment)
    for row in rows.order_by("created_at", "pk"):
        found[row.equipment_id].append(row)
    return found


def _by_system(
    model: type[models.Model],
    visits: Iterable[object],
    equipment: Iterable[object],
    moment: str,
    **more: object,
) -> dict[tuple[object, object], list[Any]]:
    """Return (visit, equipment) -> rows, oldest first."""
    rows: models.QuerySet[Any] = model._default_manager.filter(
        visit__in=visits, equipment__in=equipment, **more
    )
    found: dict[tuple[object, object], list[Any]] = defaultdict(list)
    for row in rows.order_by(moment, "pk"):
        found[row.visit_id, row.equipment_id].append(row)
    return found


def _table(tables: Sequence[BlowerTable], day: datetime.date) -> MakersTable | None:
    """Return the latest table that isn't retired by that day, if it has rows."""
    valid = [row for row in tables if row.retired_on is None or row.retired_on > day]
    if not valid or not valid[-1].rows:
        return None
    names: dict[str, str] = {}
    rows = tuple(
        (
            # Two spellings of one setting are one.
            names.setdefault(plain_setting(row["setting"]), str(row["setting"])),
            float(row["external_static_pa"]),
            float(row["flow_m3_s"]),
        )
        for row in valid[-1].rows
    )
    return MakersTable(source=valid[-1].source, rows=rows)


def _statics(readings: Sequence[PressureReading], subject: Subject) -> tuple[Static, ...]:
    stages = {subject.stage}
    if subject.stage == Stage.AS_LEFT:
        stages.add(Stage.AS_FOUND)
    return tuple(
        Static(reading.stage, _utc(reading.taken_at), external)
        for reading in readings
        if reading.stage in stages
        and (external := reading.external_static_pa) is not None
        and _is_in_state(reading, subject)
    )


def _is_in_state(reading: PressureReading, subject: Subject) -> bool:
    """Whether a pressure was read in the state of the flow, as far as both are on record."""
    call = reading.operating_state.get("call") or Call.UNKNOWN
    if Call.UNKNOWN not in (call, subject.call) and call != subject.call:
        return False
    setting = plain_setting(reading.operating_state.get("blower_setting"))
    own = plain_setting(subject.setting)
    # As found and as left differ in their setting: that is what the change was.
    return reading.stage != subject.stage or not setting or not own or setting == own


def _heat(row: TemperatureRise) -> Heat:
    is_fuel = row.electric_power_w is None
    heat = (row.heat_input_w or 0.0) * (row.efficiency or 0.0) if is_fuel else row.electric_power_w
    return Heat(
        taken_at=_utc(row.taken_at),
        heat_w=float(heat or 0.0),
        is_fuel=is_fuel,
        entering_c=row.entering_c,
        leaving_c=row.leaving_c,
    )
