"""Targets: whose word the airflow of each system is held to."""

from __future__ import annotations

from typing import Any, Final

from airflow_jobs.models import (
    Basis,
    Call,
    Equipment,
    EquipmentKind,
    Target,
    TargetSource,
)
from airflow_jobs.units import FLOW, FLOW_PER_CAPACITY, RATIO

from .places import Place
from .seeded import Seeded
from .typed import Typed, columns, on_scale

FT3_MIN_M3_S: Final = 0.3048**3 / 60.0
AIR_HEAT_J_M3_K: Final = 1.2014 * 1006.0
"""Standard density times specific heat of dry air."""
HEATING_TOLERANCE: Final = 15.0
VENTILATION_TOLERANCE: Final = 10.0
"""Percent, as the other."""

# Low, nominal, high in (ft3/min)/ton that makers print, by climate.
MAKERS_RANGES: Final[dict[str, tuple[float, float, float]]] = {
    "humid": (325.0, 360.0, 410.0),
    "mixed": (350.0, 400.0, 450.0),
    "dry": (390.0, 440.0, 490.0),
}
# Design temperature rise, K: from the nameplate of a furnace, usual for a heat pump.
RISE_K: Final[dict[str, float]] = {
    EquipmentKind.FURNACE_WITH_COIL: 30.0,
    EquipmentKind.HEAT_PUMP: 15.5,
    EquipmentKind.SPLIT_SYSTEM: 8.5,
}


def targets_of(
    seeded: Seeded, place: Place, equipment: Equipment, design_ft3_min: float | None
) -> list[Target]:
    """Return the targets entered for one system; none where the usual range holds.

    Parameters
    ----------
    seeded
        Where chance comes from.
    place
        Its site.
    equipment
        The system.
    design_ft3_min
        Design flow of a ventilation system; None for the others.
    """
    if design_ft3_min is not None:
        return [_design(seeded, equipment, Call.FAN_ONLY, design_ft3_min, VENTILATION_TOLERANCE)]
    targets = []
    # High up the two bases differ by a fifth, so the maker was asked there.
    if seeded.chance(0.4) or place.elevation_m > 1500.0:
        low, nominal, high = MAKERS_RANGES[place.climate]
        if equipment.kind == EquipmentKind.HEAT_PUMP:
            low, nominal, high = 375.0, 410.0, 450.0
        is_actual = place.elevation_m > 1500.0 and seeded.chance(0.35)
        targets.append(
            _target(
                seeded,
                equipment,
                call=Call.COOLING,
                basis=Basis.ACTUAL if is_actual else Basis.STANDARD,
                source=TargetSource.MAKER,
                **columns(
                    low_m3_s_per_w=Typed(low, "(ft3/min)/ton", FLOW_PER_CAPACITY),
                    nominal_m3_s_per_w=Typed(nominal, "(ft3/min)/ton", FLOW_PER_CAPACITY),
                    high_m3_s_per_w=Typed(high, "(ft3/min)/ton", FLOW_PER_CAPACITY),
                ),
            )
        )
    if equipment.heating_capacity_w is not None:
        flow_m3_s = equipment.heating_capacity_w / (AIR_HEAT_J_M3_K * RISE_K[equipment.kind])
        ft3_min = on_scale(flow_m3_s / FT3_MIN_M3_S, 25.0)
        targets.append(_design(seeded, equipment, Call.HEATING, ft3_min, HEATING_TOLERANCE))
    return targets


def _design(
    seeded: Seeded, equipment: Equipment, call: str, ft3_min: float, tolerance: float
) -> Target:
    return _target(
        seeded,
        equipment,
        call=call,
        basis=Basis.STANDARD,
        source=TargetSource.DESIGN,
        **columns(
            design_flow_m3_s=Typed(ft3_min, "ft3/min", FLOW),
            design_tolerance=Typed(tolerance, "%", RATIO),
        ),
    )


def _target(seeded: Seeded, equipment: Equipment, **fields: Any) -> Target:
    at = equipment.created_at
    return Target(id=seeded.new_id(at), equipment=equipment, created_at=at, updated_at=at, **fields)
