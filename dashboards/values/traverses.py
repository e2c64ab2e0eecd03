"""One traverse: what was read, what came of it, and how."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from .places import SectionPlaces
from .systems import SystemName


@dataclass(frozen=True, slots=True)
class Interval:
    """A number with the ends of its 95 % interval, in SI; ends are None where unknown."""

    value: float | None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Correction:
    """One step from the reading to the result."""

    step: str
    factor: float | None
    velocity_after_m_s: float | None
    note: str


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One component of the uncertainty."""

    component: str
    relative_standard_uncertainty: float
    share: float


@dataclass(frozen=True, slots=True)
class TraverseFinding:
    """Something about the traverse worth saying."""

    code: str
    severity: str
    message: str
    advice: str


@dataclass(frozen=True, slots=True)
class TargetRange:
    """What the flow was held against: flow per capacity, or a design flow with its tolerance."""

    low: float | None
    nominal: float | None
    high: float | None
    basis: str
    source: str
    call: str
    tolerance: float | None


@dataclass(frozen=True, slots=True)
class Outcome:
    """The result of a traverse, from its values; SI, temperatures in degC."""

    engine: str
    computed_at: datetime.datetime
    verdict: str
    leaning: str
    probability_low: float | None
    probability_in_range: float | None
    probability_high: float | None
    indicative: bool
    indicative_because: tuple[str, ...]
    flow_actual: Interval
    flow_standard: Interval
    flow_per_capacity: Interval
    judged: Interval
    """What was held against the target: flow per capacity, or flow by design flow."""
    by_design_flow: bool
    rule_flow_actual: float | None
    rule_flow_standard: float | None
    rule_flow_per_capacity: float | None
    why: str
    velocity_indicated: float | None
    velocity_mean: float | None
    rule_velocity_mean: float | None
    velocity_max: float | None
    mass_flow: float | None
    air_density: float | None
    standard_density: float | None
    inside_area: float | None
    hydraulic_diameter: float | None
    corrections: tuple[Correction, ...]
    budget: tuple[BudgetLine, ...]
    narrow_it: str
    target: TargetRange | None
    findings: tuple[TraverseFinding, ...]
    beside: dict[str, Any]
    """Advice on the blower, checks by other ways, leakage, before and after; as results keep it."""
    profile: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Readings:
    """What was read, line by line, as shown by the instrument, in SI."""

    mode: str
    kind: str
    """`velocity` in m/s or `velocity_pressure` in Pa."""
    values: tuple[tuple[float | None, ...], ...]
    """One list a line; a sweep or an average has one value a line."""
    lines_m: tuple[float, ...]
    """Distances of the lines along the drilled side, where they are known."""
    angles_deg: tuple[float, ...]
    depths_m: tuple[tuple[float, ...], ...]
    reasons: tuple[tuple[int, int, str], ...]
    seconds: tuple[float | None, ...]
    taken_in: str
    """Points: `line_by_line` or `back_and_forth`."""


@dataclass(frozen=True, slots=True)
class Section:
    """The duct section as far as drawings and pages need it."""

    name: str
    air_path: str
    shape: str
    material: str
    width_m: float | None
    height_m: float | None
    diameter_m: float | None
    lining_m: float
    drilled_side: str
    layout_rule: str


@dataclass(frozen=True, slots=True)
class SetMember:
    """A flow-set that the traverse is part of."""

    flow_set_id: UUID
    sign: int
    verdict: str
    judged: Interval
    flow_standard: Interval


@dataclass(frozen=True, slots=True)
class StaticPressures:
    """One set of static pressures against the room, beside the traverse; Pa, returns negative."""

    taken_at: datetime.datetime
    stage: str
    return_pa: float | None
    supply_pa: float | None
    external_pa: float | None
    filter_drop_pa: float | None
    coil_drop_pa: float | None


@dataclass(frozen=True, slots=True)
class HeatRise:
    """One temperature rise beside the traverse."""

    taken_at: datetime.datetime
    stage: str
    entering_c: float
    leaving_c: float
    electric_w: float | None
    heat_input_w: float | None
    efficiency: float | None


@dataclass(frozen=True, slots=True)
class TraverseRecord:
    """A traverse with everything its page shows."""

    id: UUID
    system: SystemName
    capacity_w: float | None
    taken_at: datetime.datetime
    """In the site's time zone."""
    stage: str
    call: str
    visit_id: UUID
    purpose: str
    crew_id: UUID
    crew: str
    instrument_id: UUID
    instrument: str
    instrument_serial: str
    principle: str
    operating_state: dict[str, Any]
    dry_bulb_c: float | None
    relative_humidity: float | None
    wet_bulb_c: float | None
    dew_point_c: float | None
    barometric_pressure_pa: float | None
    elevation_m: float | None
    duct_static_pa: float | None
    notes: str
    revision: int
    section: Section
    readings: Readings
    places: SectionPlaces | None
    """Where the points were; None where what is recorded doesn't go together."""
    state: str
    failure: str
    outcome: Outcome | None
    revisions: int
    """How many contents were sent: 1 where nothing was corrected."""
    sets: tuple[SetMember, ...]
    pressures: tuple[StaticPressures, ...]
    """Of the system on the same visit, the earliest first."""
    rises: tuple[HeatRise, ...]
    max_external_static_pa: float | None
    """What the maker allows."""
