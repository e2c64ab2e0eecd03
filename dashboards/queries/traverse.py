"""One traverse with its result, revisions and flow-sets."""

from __future__ import annotations

from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from airflow_jobs.models import (
    Computation,
    FlowSetMember,
    Mode,
    PressureReading,
    Result,
    State,
    TemperatureRise,
    Traverse,
    TraverseRevision,
)

from ..values.systems import SystemName
from ..values.traverses import (
    HeatRise,
    Readings,
    Section,
    SetMember,
    StaticPressures,
    TraverseRecord,
)
from .outcome import interval_of, outcome_of
from .places import places_of


def traverse_record(traverse_id: UUID) -> TraverseRecord | None:
    """Return a traverse's page, or nothing where there is no such traverse; five statements."""
    traverse = Traverse.objects.with_context().with_result().filter(pk=traverse_id).first()
    if traverse is None:
        return None
    section = traverse.duct_section
    equipment = section.equipment
    zone = ZoneInfo(equipment.site.time_zone)
    computation: Computation | None = getattr(traverse, "computation", None)
    result = computation.result if computation else None
    state = computation.state if computation else State.PENDING
    return TraverseRecord(
        id=traverse.pk,
        system=SystemName(
            equipment.pk, equipment.tag, equipment.kind, equipment.site_id, equipment.site.name
        ),
        capacity_w=equipment.cooling_capacity_w,
        taken_at=traverse.taken_at.astimezone(zone),
        stage=traverse.stage,
        call=traverse.call,
        visit_id=traverse.visit_id,
        purpose=traverse.visit.get_purpose_display(),
        crew_id=traverse.visit.crew_id,
        crew=traverse.visit.crew.name,
        instrument_id=traverse.instrument_id,
        instrument=str(traverse.instrument),
        instrument_serial=traverse.instrument.serial,
        principle=traverse.instrument.get_principle_display(),
        operating_state=traverse.operating_state or {},
        dry_bulb_c=traverse.dry_bulb_c,
        relative_humidity=traverse.relative_humidity,
        wet_bulb_c=traverse.wet_bulb_c,
        dew_point_c=traverse.dew_point_c,
        barometric_pressure_pa=traverse.barometric_pressure_pa,
        elevation_m=traverse.elevation_m,
        duct_static_pa=traverse.duct_static_pa,
        notes=traverse.notes,
        revision=traverse.revision,
        section=Section(
            name=section.name,
            air_path=section.get_air_path_display(),
            shape=section.shape,
            material=section.get_material_display(),
            width_m=section.width_m,
            height_m=section.height_m,
            diameter_m=section.diameter_m,
            lining_m=section.lining_thickness_m,
            drilled_side=section.drilled_side,
            layout_rule=section.get_layout_rule_display(),
        ),
        readings=_readings(traverse),
        places=places_of(traverse),
        state=state,
        failure=computation.failure if computation and state == State.FAILED else "",
        outcome=outcome_of(result) if result is not None else None,
        revisions=TraverseRevision.objects.filter(traverse_id=traverse_id).count(),
        sets=_sets(traverse_id),
        pressures=_pressures(traverse, zone),
        rises=_rises(traverse, zone),
        max_external_static_pa=equipment.max_external_static_pa,
    )


def _readings(traverse: Traverse) -> Readings:
    kept = traverse.readings or {}
    values: tuple[tuple[float | None, ...], ...]
    seconds: tuple[float | None, ...] = ()
    if traverse.mode == Mode.POINTS:
        values = tuple(tuple(line) for line in kept.get("values", ()))
    elif traverse.mode == Mode.SWEEPS:
        lines = kept.get("lines", ())
        values = tuple((line.get("mean"),) for line in lines)
        seconds = tuple(line.get("seconds") for line in lines)
    else:
        values = ((kept.get("mean"),),)
        seconds = (kept.get("seconds"),)
    positions = traverse.positions or traverse.duct_section.holes or {}
    return Readings(
        mode=traverse.mode,
        kind=traverse.reading_kind,
        values=values,
        lines_m=tuple(positions.get("lines") or ()),
        angles_deg=tuple(positions.get("angles") or ()),
        depths_m=tuple(tuple(line) for line in positions.get("depths") or ()),
        reasons=tuple(_reason(one) for one in traverse.reasons or ()),
        seconds=seconds,
        taken_in=traverse.taken_in if traverse.mode == Mode.POINTS else "",
    )


def _reason(kept: Any) -> tuple[int, int, str]:
    line, point, text = kept
    return int(line), int(point), str(text)


def _sets(traverse_id: UUID) -> tuple[SetMember, ...]:
    members = (
        FlowSetMember.objects.filter(traverse_id=traverse_id)
        .select_related("flow_set__computation__result")
        .order_by("flow_set__created_at", "flow_set_id")
    )
    found = []
    for member in members:
        computation: Computation | None = getattr(member.flow_set, "computation", None)
        result: Result | None = computation.result if computation else None
        if result is None:
            continue
        outcome = outcome_of(result)
        found.append(
            SetMember(
                flow_set_id=member.flow_set_id,
                sign=member.sign,
                verdict=result.verdict,
                judged=interval_of(result.judged_value, result.judged_low, result.judged_high),
                flow_standard=outcome.flow_standard,
            )
        )
    return tuple(found)


def _pressures(traverse: Traverse, zone: ZoneInfo) -> tuple[StaticPressures, ...]:
    """Return what was read of the same system on the same visit."""
    found = PressureReading.objects.filter(
        visit_id=traverse.visit_id, equipment_id=traverse.duct_section.equipment_id
    ).order_by("taken_at", "pk")
    return tuple(
        StaticPressures(
            taken_at=one.taken_at.astimezone(zone),
            stage=one.stage,
            return_pa=one.return_static_pa,
            supply_pa=one.supply_static_pa,
            external_pa=one.external_static_pa,
            filter_drop_pa=one.filter_drop_pa,
            coil_drop_pa=one.coil_drop_pa,
        )
        for one in found
    )


def _rises(traverse: Traverse, zone: ZoneInfo) -> tuple[HeatRise, ...]:
    found = TemperatureRise.objects.filter(
        visit_id=traverse.visit_id, equipment_id=traverse.duct_section.equipment_id
    ).order_by("taken_at", "pk")
    return tuple(
        HeatRise(
            taken_at=one.taken_at.astimezone(zone),
            stage=one.stage,
            entering_c=one.entering_c,
            leaving_c=one.leaving_c,
            electric_w=one.electric_power_w,
            heat_input_w=one.heat_input_w,
            efficiency=one.efficiency,
        )
        for one in found
    )
