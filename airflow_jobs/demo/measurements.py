"""What else is measured on a visit: pressures, temperature rises, flows without a traverse."""

from __future__ import annotations

import datetime
from typing import Any, Final
from uuid import UUID

from airflow_jobs.calc.air import STANDARD_AIR_DENSITY_KG_M3, specific_heat_j_kg_k
from airflow_jobs.models import (
    EquipmentKind,
    FlowMethod,
    FlowReading,
    PressureReading,
    TemperatureRise,
)
from airflow_jobs.units import ELECTRIC_POWER, FLOW, HEAT, PRESSURE, RATIO, TEMPERATURE

from .conditions import HIGHEST_RISE_K
from .jobs import Job
from .seeded import Seeded
from .typed import Typed, columns, on_scale, read_off

INCH_OF_WATER_PA: Final = 249.08891
RETURN_SHARE: Final = 0.42
LOADED_FILTER_IN, CLEAN_FILTER_IN = 0.32, 0.14
COIL_IN: Final = 0.24
PRESSURE_SD_PA: Final = 2.5
EFFICIENCIES: Final = (80.0, 92.0, 95.0)
"""Percent."""


def pressures(
    seeded: Seeded,
    job: Job,
    visit_id: UUID,
    stage: str,
    at: datetime.datetime,
    density_kg_m3: float,
    state: dict[str, Any] | None,
) -> PressureReading:
    """Return static pressures where the blower stands, in air of a density."""
    is_found = stage == "as_found"
    standing = job.found if is_found else job.left
    over_standard = density_kg_m3 / STANDARD_AIR_DENSITY_KG_M3
    external = standing.static_pa * over_standard
    loaded = job.filter_was_loaded and is_found
    share = over_standard * (standing.flow_m3_s / job.system.blower.rating_flow_m3_s) ** 2
    filter_drop = share * INCH_OF_WATER_PA * (LOADED_FILTER_IN if loaded else CLEAN_FILTER_IN)
    coil_drop = share * INCH_OF_WATER_PA * COIL_IN
    return_static = -RETURN_SHARE * external
    supply_static = (1.0 - RETURN_SHARE) * external
    return PressureReading(
        id=seeded.new_id(at),
        visit_id=visit_id,
        equipment=job.system.row,
        stage=stage,
        operating_state=state or {},
        taken_at=at,
        created_at=at,
        updated_at=at,
        **columns(
            return_static_pa=_static(seeded, return_static),
            supply_static_pa=_static(seeded, supply_static),
            before_filter_pa=_static(seeded, return_static + filter_drop),
            after_filter_pa=_static(seeded, return_static),
            before_coil_pa=_static(seeded, supply_static),
            after_coil_pa=_static(seeded, supply_static - coil_drop),
        ),
    )


def heating_rise_k(job: Job, flow_standard_m3_s: float) -> float | None:
    """Return by how much the heat warms the air, K; None where the system has no heat."""
    output_w = job.system.row.heating_capacity_w
    if output_w is None:
        return None
    heat_flow = STANDARD_AIR_DENSITY_KG_M3 * float(specific_heat_j_kg_k(0.006)) * flow_standard_m3_s
    return output_w / heat_flow


def temperature_rise(
    seeded: Seeded,
    job: Job,
    visit_id: UUID,
    stage: str,
    at: datetime.datetime,
    entering_c: float,
    rise_k: float,
) -> TemperatureRise | None:
    """Return the temperatures about a heater of known power; None for a heat pump.

    None as well where the limit switch cuts in: a burner that comes and goes has no steady rise.
    """
    kind = job.system.kind
    output_w = job.system.row.heating_capacity_w
    if output_w is None or kind == EquipmentKind.HEAT_PUMP or rise_k > HIGHEST_RISE_K:
        return None
    entering = read_off(entering_c + seeded.normal(0.0, 0.2), "degF", TEMPERATURE, 0.5)
    leaving = read_off(entering_c + rise_k + seeded.normal(0.0, 0.4), "degF", TEMPERATURE, 0.5)
    heat: dict[str, Typed | None] = {"electric_power_w": None, "heat_input_w": None}
    efficiency = None
    if kind == EquipmentKind.FURNACE_WITH_COIL:
        efficiency = Typed(seeded.pick(EFFICIENCIES), "%", RATIO)
        heat["heat_input_w"] = read_off(output_w / efficiency.si, "Btu/h", HEAT, 500.0)
    else:
        heat["electric_power_w"] = read_off(output_w, "W", ELECTRIC_POWER, 50.0)
    return TemperatureRise(
        id=seeded.new_id(at),
        visit_id=visit_id,
        equipment=job.system.row,
        stage=stage,
        taken_at=at,
        created_at=at,
        updated_at=at,
        **columns(entering_c=entering, leaving_c=leaving, efficiency=efficiency, **heat),
    )


def flow_reading(
    seeded: Seeded,
    job: Job,
    visit_id: UUID,
    stage: str,
    at: datetime.datetime,
    flow_actual_m3_s: float,
    *,
    method: str,
    relative_uncertainty: float | None,
) -> FlowReading:
    """Return a flow that somebody knew without a traverse."""
    spread = 0.5 * relative_uncertainty if relative_uncertainty else 0.06
    flow = read_off(flow_actual_m3_s * (1.0 + seeded.normal(0.0, spread)), "ft3/min", FLOW, 5.0)
    return FlowReading(
        id=seeded.new_id(at),
        visit_id=visit_id,
        equipment=job.system.row,
        stage=stage,
        taken_at=at,
        method=method,
        created_at=at,
        updated_at=at,
        **columns(
            flow_m3_s=flow,
            relative_uncertainty=None
            if relative_uncertainty is None
            else Typed(on_scale(100.0 * relative_uncertainty, 0.5), "%", RATIO),
        ),
    )


LONE_METHODS: Final = (FlowMethod.FLOW_GRID, FlowMethod.CAPTURE_HOOD, FlowMethod.MAKER_TABLE)


def _static(seeded: Seeded, pressure_pa: float) -> Typed:
    return read_off(pressure_pa + seeded.normal(0.0, PRESSURE_SD_PA), "inH2O", PRESSURE, 0.01)
