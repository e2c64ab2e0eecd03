"""Systems: kinds, sizes, blowers and targets of the equipment on each site."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from typing import Final

from airflow_jobs.calc.air import STANDARD_AIR_DENSITY_KG_M3
from airflow_jobs.models import (
    Basis,
    BlowerTable,
    Call,
    Company,
    Equipment,
    EquipmentKind,
    FanDrive,
    Target,
)
from airflow_jobs.recompute.targets import Aim, aim_for
from airflow_jobs.units import CAPACITY, PRESSURE

from .blowers import Blower, blower_table
from .places import Place
from .seeded import Seeded
from .targets import targets_of
from .typed import Typed, columns, on_scale

SYSTEMS: Final = 150
RATED_OVER_NOMINAL: Final = (0.93, 1.02)
KINDS: Final = (
    EquipmentKind.SPLIT_SYSTEM,
    EquipmentKind.HEAT_PUMP,
    EquipmentKind.PACKAGED_UNIT,
    EquipmentKind.FURNACE_WITH_COIL,
    EquipmentKind.AIR_HANDLER,
    EquipmentKind.VENTILATION,
    EquipmentKind.OTHER,
)
# How often each kind stands in a house and elsewhere.
IN_HOUSES: Final = (0.34, 0.34, 0.0, 0.3, 0.0, 0.02, 0.0)
ELSEWHERE: Final = (0.2, 0.14, 0.26, 0.12, 0.16, 0.1, 0.02)
TONS: Final[dict[str, tuple[float, ...]]] = {
    EquipmentKind.SPLIT_SYSTEM: (1.5, 2.0, 2.5, 3.0, 3.0, 3.5, 4.0, 5.0),
    EquipmentKind.HEAT_PUMP: (1.5, 2.0, 2.5, 3.0, 3.0, 3.5, 4.0, 5.0),
    EquipmentKind.FURNACE_WITH_COIL: (2.0, 2.5, 3.0, 3.5, 4.0, 5.0),
    EquipmentKind.PACKAGED_UNIT: (5.0, 6.0, 7.5, 8.5, 10.0, 12.5, 15.0, 20.0),
    EquipmentKind.AIR_HANDLER: (7.5, 10.0, 12.5, 15.0, 20.0, 25.0, 30.0),
    EquipmentKind.OTHER: (4.0, 6.0),
}
DRIVES: Final[dict[str, tuple[str, ...]]] = {
    EquipmentKind.SPLIT_SYSTEM: (
        FanDrive.PERMANENT_SPLIT_CAPACITOR,
        FanDrive.CONSTANT_TORQUE,
        FanDrive.CONSTANT_AIRFLOW,
    ),
    EquipmentKind.HEAT_PUMP: (FanDrive.CONSTANT_TORQUE, FanDrive.CONSTANT_AIRFLOW),
    EquipmentKind.FURNACE_WITH_COIL: (
        FanDrive.PERMANENT_SPLIT_CAPACITOR,
        FanDrive.CONSTANT_TORQUE,
    ),
    EquipmentKind.PACKAGED_UNIT: (FanDrive.BELT, FanDrive.BELT, FanDrive.CONSTANT_TORQUE),
    EquipmentKind.AIR_HANDLER: (FanDrive.BELT, FanDrive.VARIABLE_FREQUENCY),
    EquipmentKind.VENTILATION: (FanDrive.BELT, FanDrive.VARIABLE_FREQUENCY),
    EquipmentKind.OTHER: (FanDrive.UNKNOWN,),
}
TAGS: Final[dict[str, str]] = {
    EquipmentKind.SPLIT_SYSTEM: "AC",
    EquipmentKind.HEAT_PUMP: "HP",
    EquipmentKind.FURNACE_WITH_COIL: "F",
    EquipmentKind.PACKAGED_UNIT: "RTU",
    EquipmentKind.AIR_HANDLER: "AHU",
    EquipmentKind.VENTILATION: "V",
    EquipmentKind.OTHER: "X",
}
VENTILATION_FT3_MIN: Final = (600, 900, 1200, 1800, 2400, 3200, 4500)


@dataclass(eq=False)
class System:
    """One piece of equipment with what it is held to and how its blower behaves."""

    row: Equipment
    place: Place
    blower: Blower
    targets: list[Target]
    table: BlowerTable | None
    aims: dict[str, Aim] = field(default_factory=dict)
    badness: float = 0.7
    """How often it is found outside on a plain maintenance visit."""

    @property
    def kind(self) -> str:
        """Kind of equipment."""
        return self.row.kind

    @property
    def main_call(self) -> str:
        """What it is measured in but for the heating season."""
        return Call.FAN_ONLY if self.kind == EquipmentKind.VENTILATION else Call.COOLING

    def nominal_flow_m3_s(self, call: str) -> float:
        """Flow that the target asks for, m3/s on the target's basis."""
        return nominal_flow_m3_s(self.row, self.aims[call])

    def nominal_volume_m3_s(self, call: str, density_kg_m3: float) -> float:
        """Return the same as a blower moves it, m3/s of air of a density."""
        return _volume_m3_s(self.nominal_flow_m3_s(call), self.aims[call], density_kg_m3)


def equip(
    seeded: Seeded, places: list[Place], company: Company, today: datetime.date
) -> list[System]:
    """Return the systems of all sites, 150 in all.

    Parameters
    ----------
    seeded
        Where chance comes from.
    places
        The sites.
    company
        Its settings hold where no target is entered.
    today
        Last day of the record; targets are resolved for it.
    """
    systems: list[System] = []
    for place, count in zip(places, _counts(seeded, places), strict=True):
        weights = IN_HOUSES if place.is_residence else ELSEWHERE
        for number in range(1, count + 1):
            kind = seeded.pick(KINDS, weights)
            row = _equipment(seeded, place, kind, f"{TAGS[kind]}-{number}")
            systems.append(_system(seeded, place, row, company, today))
    return systems


def _counts(seeded: Seeded, places: list[Place]) -> list[int]:
    """Spread 150 systems over the sites, between the least and the most of each."""
    counts = [place.least_systems for place in places]
    while sum(counts) < SYSTEMS:
        index = seeded.whole(0, len(places) - 1)
        if counts[index] < places[index].most_systems:
            counts[index] += 1
    return counts


def _system(
    seeded: Seeded, place: Place, row: Equipment, company: Company, today: datetime.date
) -> System:
    is_ventilation = row.kind == EquipmentKind.VENTILATION
    targets = targets_of(
        seeded, place, row, seeded.pick(VENTILATION_FT3_MIN) if is_ventilation else None
    )
    main_call = Call.FAN_ONLY if is_ventilation else Call.COOLING
    aims = {}
    for call in (main_call, Call.HEATING):
        aim = aim_for(equipment=row, call=call, day=today, targets=targets, company=company)
        if aim is not None:
            aims[str(call)] = aim
    main_aim = aims[main_call]
    blower = Blower.of_drive(
        seeded,
        row.fan_drive,
        _volume_m3_s(nominal_flow_m3_s(row, main_aim), main_aim, place.usual_density_kg_m3),
    )
    return System(
        row=row,
        place=place,
        blower=blower,
        targets=targets,
        table=blower_table(seeded, row, blower) if seeded.chance(0.7) else None,
        aims=aims,
        badness=seeded.beta(6.8, 2.2),
    )


def nominal_flow_m3_s(row: Equipment, aim: Aim) -> float:
    """Return the flow that a target asks of a system, m3/s on the target's basis."""
    if aim.is_flow:
        return aim.nominal
    capacity_w = row.cooling_capacity_w
    assert capacity_w is not None
    return aim.nominal * capacity_w


def _volume_m3_s(flow_m3_s: float, aim: Aim, density_kg_m3: float) -> float:
    """Return a flow on a target's basis as what a blower moves: a volume, whatever it weighs."""
    if aim.basis == Basis.ACTUAL:
        return flow_m3_s
    return flow_m3_s * STANDARD_AIR_DENSITY_KG_M3 / density_kg_m3


def _equipment(seeded: Seeded, place: Place, kind: str, tag: str) -> Equipment:
    joined_at = place.row.created_at
    drive = seeded.pick(DRIVES[kind])
    is_ventilation = kind == EquipmentKind.VENTILATION
    nominal = None if is_ventilation else Typed(seeded.pick(TONS[kind]), "ton", CAPACITY)
    rated = None
    if nominal is not None and seeded.chance(0.55):
        btu_h = nominal.value * 12000.0 * seeded.uniform(*RATED_OVER_NOMINAL)
        rated = Typed(on_scale(btu_h, 200.0), "Btu/h", CAPACITY)
    has_electric_heat = kind == EquipmentKind.SPLIT_SYSTEM and seeded.chance(0.3)
    heating = None
    if nominal is not None:
        per_ton_btu_h = {
            EquipmentKind.FURNACE_WITH_COIL: 20500.0,
            EquipmentKind.HEAT_PUMP: 11200.0,
        }.get(EquipmentKind(kind))
        if per_ton_btu_h is not None:
            heating = Typed(on_scale(nominal.value * per_ton_btu_h, 500.0), "Btu/h", CAPACITY)
        elif has_electric_heat:
            heating = Typed(on_scale(1.6 * nominal.value, 0.5), "kW", CAPACITY)
    return Equipment(
        id=seeded.new_id(joined_at),
        site=place.row,
        tag=tag,
        kind=kind,
        model_number=f"{tag.split('-')[0]}{seeded.whole(20, 99)}-{seeded.whole(100, 999)}",
        serial_number=f"{seeded.whole(10**7, 10**8 - 1)}",
        fan_drive=drive,
        flammable_refrigerant=None if is_ventilation else seeded.chance(0.12),
        electric_heat=has_electric_heat,
        commissioned_on=joined_at.date() - datetime.timedelta(days=seeded.whole(30, 4000)),
        created_at=joined_at,
        updated_at=joined_at,
        **columns(
            nominal_capacity_w=nominal,
            rated_capacity_w=rated,
            heating_capacity_w=heating,
            max_external_static_pa=Typed(
                seeded.pick((0.5, 0.8, 1.0) if drive != FanDrive.BELT else (1.0, 1.5, 2.0)),
                "inH2O",
                PRESSURE,
            ),
        ),
    )
