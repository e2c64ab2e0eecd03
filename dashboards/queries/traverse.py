"""One traverse with its result, revisions and flow-sets."""

from __future__ import annotations

from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from airflow_jobs.models import (
    Computation,
    FlowSetMember,
    Mode,
    Result,
    State,
    Traverse,
    TraverseRevision,
)

from ..values.systems import SystemName
from ..values.traverses import Readings, Revision, Section, SetMember, TraverseRecord
from .outcome import interval_of, outcome_of


def traverse_record(traverse_id: UUID) -> TraverseRecord | None:
    """Return a traverse's page, or nothing where there is no such traverse; three statements."""
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
        purpose=traverse.visit.get_purpose_display(),
        crew_id=traverse.visit.crew_id,
        crew=traverse.visit.crew.name,
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
        state=state,
        failure=computation.failure if computation and state == State.FAILED else "",
        outcome=outcome_of(result) if result is not None else None,
        revisions=_revisions(traverse_id, zone),
        sets=_sets(traverse_id),
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
    )


def _reason(kept: Any) -> tuple[int, int, str]:
    line, point, text = kept
    return int(line), int(point), str(text)


def _revisions(traverse_id: UUID, zone: ZoneInfo) -> tuple[Revision, ...]:
    found = TraverseRevision.objects.filter(traverse_id=traverse_id).order_by("-number")
    return tuple(
        Revision(
            number=one.number,
            content=one.content,
            reason=one.reason,
            actor=one.actor,
            recorded_at=one.recorded_at.astimezone(zone),
        )
        for one in found
    )


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
