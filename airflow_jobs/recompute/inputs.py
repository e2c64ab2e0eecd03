"""From rows to numbers: what went in, what had to be assumed, and the digest of all of it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from airflow_jobs.calc.layouts import Plan, plan_for
from airflow_jobs.calc.recorded_places import counts_read, plan_as_recorded
from airflow_jobs.calc.sections import InsideSection, inside_section
from airflow_jobs.findings import Found
from airflow_jobs.models import (
    Calibration,
    Call,
    Company,
    DuctSection,
    Target,
    Traverse,
)

from .air_states import AirState, air_of
from .beside import NOTHING_BESIDE, Beside, plain_setting
from .calibrations import LaterCorrection, meter_on_day
from .companions import Companion
from .targets import Aim, aim_for

DEFAULT_TOLERANCE_M: Final = 0.003


@dataclass(frozen=True, slots=True)
class Neighbours:
    """What other records say that a finding may rest on."""

    earlier_area_m2: float | None = None
    usual_reading_m_s: float | None = None
    found_state: dict[str, Any] | None = None
    found_later: bool = False


@dataclass(frozen=True, slots=True)
class TraverseInputs:
    """Everything one result depends on, resolved to numbers."""

    content_revision: int
    mode: str
    reading_kind: str
    readings: dict[str, Any]
    taken_in: str
    section: InsideSection
    air_path: str
    carries_all: bool
    flexible: bool
    area_override_m2: float | None
    tolerance_m: float
    swirl: str
    straight_upstream_m: float | None
    straight_downstream_m: float | None
    nearest_blades_m: float | None
    drilled_side: str
    plan: Plan
    actual: Plan
    holes_disagree_m: float
    air: AirState
    principle: str
    shows: str
    compensates: tuple[bool | None, bool | None, bool | None]
    reference_dry_bulb_c: float | None
    reference_pressure_pa: float | None
    direction_response: str
    gain: float
    offset_m_s: float
    gain_u: float
    offset_u_m_s: float
    corrected_later: LaterCorrection | None
    accuracy_relative: float | None
    accuracy_absolute_m_s: float | None
    range_low_m_s: float | None
    range_high_m_s: float | None
    resolution_m_s: float | None
    standard_density_kg_m3: float
    capacity_w: float | None
    aim: Aim | None
    call: str
    effective_call: str
    state: dict[str, Any]
    equipment_kind: str
    neighbours: Neighbours
    beside: Beside
    assumptions: tuple[Found, ...] = field(repr=False)
    """What had to be assumed, in words: it follows from the rest, so the digest leaves it out."""
    companions: tuple[Companion, ...] = ()

    def digest(self) -> str:
        """Return the digest of all inputs: equal inputs, equal digest."""
        # The text of a frozen dataclass names every field and every digit of its floats.
        return f"sha256:{hashlib.sha256(repr(self).encode()).hexdigest()}"

    def flow_digest(self) -> str:
        """Return the digest of what the flow alone depends on, for those it is a companion of."""
        alone = replace(self, neighbours=Neighbours(), beside=NOTHING_BESIDE, companions=())
        return alone.digest()


@dataclass(frozen=True, slots=True)
class Surroundings:
    """The rows beside a traverse, fetched for many traverses at once."""

    company: Company
    calibrations: dict[object, list[Calibration]]
    targets: list[Target]
    cooling_settings: dict[UUID, frozenset[str]]
    """Equipment -> blower settings seen in cooling."""
    shared_sections: frozenset[UUID]
    """Sections that add up with others in a flow-set."""
    neighbours: dict[object, Neighbours]
    beside: dict[object, Beside]


def resolve(traverse: Traverse, around: Surroundings) -> TraverseInputs:
    """Turn one traverse and its surroundings into numbers.

    Parameters
    ----------
    traverse
        With visit, section, equipment, site and instrument at hand.
    around
        The rows beside it.

    Raises
    ------
    ValueError
        Something recorded is impossible for the section; the message names it.
    """
    section, equipment = traverse.duct_section, traverse.duct_section.equipment
    site, instrument = equipment.site, traverse.instrument
    day = traverse.taken_at.astimezone(ZoneInfo(site.time_zone)).date()
    assumptions: list[Found] = []
    air_state = air_of(traverse, site.elevation_m, section.air_path, assumptions)
    calibrated = meter_on_day(
        instrument, around.calibrations.get(instrument.pk, []), day, assumptions
    )
    applies = effective_call(
        traverse.call,
        str(traverse.operating_state.get("blower_setting") or ""),
        around.cooling_settings.get(equipment.pk),
    )
    inside = inside_of(section)
    lines, points = counts_read(
        traverse.mode, traverse.readings, lines=section.lines, points=section.points_per_line
    )
    plan = plan_of(section, inside, lines, points)
    carries_all = (
        section.pk not in around.shared_sections
        if section.carries_all is None
        else section.carries_all
    )
    return TraverseInputs(
        content_revision=traverse.revision,
        mode=traverse.mode,
        reading_kind=traverse.reading_kind,
        readings=traverse.readings,
        taken_in=traverse.taken_in,
        section=inside,
        air_path=section.air_path,
        carries_all=carries_all,
        flexible=section.material == "flexible",
        area_override_m2=section.area_override_m2,
        tolerance_m=section.dimension_tolerance_m or DEFAULT_TOLERANCE_M,
        swirl=section.swirl,
        straight_upstream_m=section.straight_upstream_m,
        straight_downstream_m=section.straight_downstream_m,
        nearest_blades_m=section.nearest_blades_m,
        drilled_side=section.drilled_side,
        plan=plan,
        actual=actual_plan(plan, inside, section, traverse.positions),
        holes_disagree_m=holes_disagree_m(section, traverse.positions),
        air=air_state,
        principle=instrument.principle,
        shows=instrument.shows,
        compensates=(
            instrument.compensates_temperature,
            instrument.compensates_pressure,
            instrument.compensates_humidity,
        ),
        reference_dry_bulb_c=instrument.reference_dry_bulb_c,
        reference_pressure_pa=instrument.reference_pressure_pa,
        direction_response=instrument.direction_response,
        gain=calibrated.meter.gain,
        offset_m_s=calibrated.meter.offset_m_s,
        gain_u=calibrated.meter.gain_u,
        offset_u_m_s=calibrated.meter.offset_u_m_s,
        corrected_later=calibrated.later,
        accuracy_relative=calibrated.accuracy_relative,
        accuracy_absolute_m_s=calibrated.accuracy_absolute_m_s,
        range_low_m_s=instrument.range_low_m_s,
        range_high_m_s=instrument.range_high_m_s,
        resolution_m_s=instrument.resolution_m_s,
        standard_density_kg_m3=around.company.standard_density_kg_m3,
        capacity_w=None if applies == Call.HEATING else equipment.cooling_capacity_w,
        aim=aim_for(
            equipment=equipment,
            call=applies,
            day=day,
            targets=around.targets,
            company=around.company,
        ),
        call=traverse.call,
        effective_call=applies,
        state={"call": traverse.call, **traverse.operating_state},
        equipment_kind=equipment.kind,
        assumptions=tuple(assumptions),
        neighbours=around.neighbours.get(traverse.pk, Neighbours()),
        beside=around.beside.get(traverse.pk, NOTHING_BESIDE),
    )


def inside_of(section: DuctSection) -> InsideSection:
    """Return the inside of a section: outside sizes less twice the lining."""
    return inside_section(
        section.shape,  # type: ignore[arg-type]  # a named constraint holds it to the shapes
        outside_width_m=section.width_m,
        outside_height_m=section.height_m,
        outside_diameter_m=section.diameter_m,
        lining_thickness_m=section.lining_thickness_m,
    )


def plan_of(
    section: DuctSection, inside: InsideSection, lines: int | None, points: int | None
) -> Plan:
    """Return the plan of a section by its rule; counts that are not given follow from sizes."""
    return _plan(inside, section.layout_rule, lines, points, section.drilled_side)


@lru_cache(maxsize=4096)
def _plan(
    inside: InsideSection, rule: Any, lines: int | None, points: int | None, drilled_side: Any
) -> Plan:
    return plan_for(inside, rule=rule, lines=lines, points=points, drilled_side=drilled_side)


def actual_plan(
    plan: Plan,
    inside: InsideSection,
    section: DuctSection,
    positions: dict[str, Any] | None,
) -> Plan:
    """Return where the points really were: as sent, else as drilled, else as planned."""
    return plan_as_recorded(
        plan,
        inside,
        section.drilled_side,  # type: ignore[arg-type]  # a named constraint holds it
        drilled=section.holes,
        sent=positions,
    )


def holes_disagree_m(section: DuctSection, positions: dict[str, Any] | None) -> float:
    """Return how far the traverse's holes lie from those on record for the section, m."""
    drilled, sent = (section.holes or {}).get("lines"), (positions or {}).get("lines")
    if not drilled or not sent or len(drilled) != len(sent):
        return 0.0
    return max(abs(float(a) - float(b)) for a, b in zip(drilled, sent, strict=True))


def effective_call(call: str, setting: str, cooling_settings: frozenset[str] | None) -> str:
    """Return the call whose target applies: fan-only counts as cooling at the same setting."""
    plain = plain_setting(setting)
    if call == Call.FAN_ONLY and plain and plain in (cooling_settings or ()):
        return Call.COOLING
    return call


def flat_readings(inputs: TraverseInputs) -> list[float | None]:
    """Return the readings of a traverse as indicated, in one list; None where not taken."""
    if inputs.mode == "points":
        return [value for line in inputs.readings["values"] for value in line]
    if inputs.mode == "sweeps":
        return [line["mean"] for line in inputs.readings["lines"]]
    return [inputs.readings["mean"]]
