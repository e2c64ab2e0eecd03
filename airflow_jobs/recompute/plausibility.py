"""What is worth saying about a traverse: rules that turn numbers into findings.

Limits are common practice of the trade unless a source stands beside them. Nothing here refuses
or changes a number.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from airflow_jobs.calc.slips import POSITION_TOLERANCE_M, LayoutCheck, check_positions
from airflow_jobs.findings import Found, found
from airflow_jobs.models import AirPath, Call, EquipmentKind, Principle, ReadingKind
from airflow_jobs.models.company import PER_TON_M3_S_PER_W
from airflow_jobs.wording import (
    in_celsius,
    in_millimetres,
    in_square_metres,
    per_kilowatt,
    percent,
)

from .inputs import TraverseInputs, flat_readings

FOOT_MINUTE_M_S: Final = 0.00508
SLOW_M_S: Final = 200 * FOOT_MINUTE_M_S
FAST_M_S: Final = 2500 * FOOT_MINUTE_M_S
FAST_IN_A_HOME_M_S: Final = 1200 * FOOT_MINUTE_M_S
PITOT_LEAST_M_S: Final = 600 * FOOT_MINUTE_M_S
HOME_KINDS: Final = (
    EquipmentKind.SPLIT_SYSTEM,
    EquipmentKind.HEAT_PUMP,
    EquipmentKind.FURNACE_WITH_COIL,
)
DRY_BULB_C: Final[dict[str, tuple[float, float]]] = {
    AirPath.RETURN: (5.0, 35.0),
    AirPath.EXHAUST: (5.0, 35.0),
    AirPath.SUPPLY: (4.0, 80.0),
    AirPath.OUTDOOR: (-40.0, 55.0),
}
PER_CAPACITY: Final = (150 * PER_TON_M3_S_PER_W, 900 * PER_TON_M3_S_PER_W)
UNEVEN_SHARE: Final = 0.25
AREA_JUMP: Final = 0.02
VELOCITY_SLIPS: Final = {
    196.85: "m/s for ft/min",
    88.0: "mi/h for ft/min",
    54.68: "km/h for ft/min",
}
SLIP_WITHIN: Final = 0.20
"""A system's own changes from visit to visit stay mostly within this of its usual flow."""
FIRST_SLIP_WITHIN: Final = 0.40
ANGLE_TOLERANCE_DEG: Final = 5.0
SQUARE_FOOT_M2: Final = 0.3048**2
COMPARED: Final = (
    ("call", "call"),
    ("capacity_step", "capacity step"),
    ("coil", "coil"),
    ("outdoor_damper", "outdoor damper"),
    ("zones_open", "zones"),
)


@dataclass(frozen=True, slots=True)
class Facts:
    """The numbers of one traverse that rules look at; None where there is none."""

    velocity_mean_m_s: float | None
    velocity_max_m_s: float | None
    indicated_mean_m_s: float | None
    flow_per_capacity: float | None
    share_under_tenth: float | None
    area_m2: float
    hydraulic_diameter_m: float
    flags: dict[str, float]
    """What the evaluation itself noticed: name -> value (0 for no)."""


def findings_of(inputs: TraverseInputs, facts: Facts) -> list[Found]:
    """Return everything worth saying about one traverse, its assumptions first."""
    return [
        *inputs.assumptions,
        *_about_state(inputs),
        *_about_instrument(inputs, facts),
        *_about_readings(inputs, facts),
        *_about_section(inputs, facts),
        *_about_velocity(inputs, facts),
        *_about_judgement(inputs, facts),
        *_about_before(inputs),
    ]


def _about_state(inputs: TraverseInputs) -> list[Found]:
    said = []
    if inputs.call == Call.UNKNOWN:
        said.append(found("call_unknown", pointer="/operating_state/call"))
    if inputs.effective_call == Call.FAN_ONLY and inputs.aim is None:
        said.append(found("fan_only_not_judged", pointer="/operating_state/call"))
    low, high = DRY_BULB_C[inputs.air_path]
    if not low <= inputs.air.dry_bulb_c <= high:
        said.append(
            found(
                "dry_bulb_unlikely",
                f"The dry bulb is {in_celsius(inputs.air.dry_bulb_c, 1)}; {inputs.air_path} air "
                f"is usually between {in_celsius(low)} and {in_celsius(high)}.",
                "/conditions/dry_bulb",
            )
        )
    return said


def _about_instrument(inputs: TraverseInputs, facts: Facts) -> list[Found]:
    said = []
    if inputs.accuracy_relative is None and inputs.accuracy_absolute_m_s is None:
        said.append(found("accuracy_unknown", pointer="/instrument"))
    if facts.flags.get("compensation_matters"):
        said.append(found("compensation_unknown", pointer="/instrument"))
    if facts.flags.get("is_a_bound"):
        said.append(found("dead_band", pointer="/readings"))
    if facts.flags.get("below_range"):
        said.append(found("below_instrument_range", pointer="/readings"))
    if facts.flags.get("above_range"):
        said.append(found("above_instrument_range", pointer="/readings"))
    if facts.flags.get("vane_is_slow"):
        said.append(found("vane_too_slow", pointer="/readings"))
    mean = facts.velocity_mean_m_s
    if inputs.principle == Principle.PITOT and mean is not None and abs(mean) < PITOT_LEAST_M_S:
        said.append(found("pitot_too_slow", pointer="/readings"))
    if inputs.swirl == "likely" and inputs.direction_response == "omnidirectional":
        said.append(found("swirl_not_correctable", pointer="/instrument"))
    return said


def _about_readings(inputs: TraverseInputs, facts: Facts) -> list[Found]:
    said = []
    readings = flat_readings(inputs)
    taken = [value for value in readings if value is not None]
    if inputs.mode == "points":
        said += _about_missing(inputs, taken, len(readings))
    if facts.flags.get("backflow"):
        said.append(found("backflow", pointer="/readings/values"))
    if facts.flags.get("all_equal"):
        said.append(found("readings_all_equal", pointer="/readings/values"))
    if facts.flags.get("over_twice_mean"):
        said.append(found("reading_over_twice_mean", pointer="/readings/values"))
    if inputs.mode != "points" and inputs.reading_kind == ReadingKind.VELOCITY_PRESSURE:
        said.append(found("pressures_averaged", pointer="/readings/unit"))
    if inputs.mode == "average":
        said.append(found("overall_average_only", pointer="/readings"))
    share = facts.share_under_tenth
    if inputs.mode == "points" and share is not None and share > UNEVEN_SHARE:
        said.append(
            found(
                "profile_uneven",
                f"{percent(share)} of the points lie under a tenth of the largest velocity "
                "pressure; a quarter at most is usual.",
                "/readings/values",
            )
        )
    return said


def _about_missing(inputs: TraverseInputs, taken: list[float], count: int) -> list[Found]:
    said = []
    lines = inputs.readings["values"]
    empty = [n for n, line in enumerate(lines, 1) if all(value is None for value in line)]
    if len(taken) < 4:
        said.append(found("too_few_readings", pointer="/readings/values"))
    if empty:
        which = ", ".join(str(number) for number in empty)
        said.append(
            found(
                "line_missing",
                f"Line {which} is missing as a whole: the result is indicative only.",
                "/readings/values",
            )
        )
    elif len(taken) < count:
        said.append(
            found(
                "readings_missing",
                f"{count - len(taken)} of {count} readings are missing; the others stand for "
                "them, and the interval is wider.",
                "/readings/values",
            )
        )
    return said


def _about_section(inputs: TraverseInputs, facts: Facts) -> list[Found]:
    said = []
    if inputs.flexible:
        said.append(found("flexible_duct", pointer="/duct_section"))
    diameter = facts.hydraulic_diameter_m
    upstream, downstream = inputs.straight_upstream_m, inputs.straight_downstream_m
    if facts.flags.get("blades_near"):
        said.append(found("blades_near", pointer="/duct_section"))
    if upstream is not None and upstream < 2 * diameter:
        said.append(
            found(
                "disturbance_near",
                f"There are {upstream / diameter:.1f} hydraulic diameters of straight duct "
                "upstream; two at least are asked for. The interval is widened.",
                "/duct_section",
            )
        )
    elif downstream is not None and downstream < 0.5 * diameter:
        said.append(found("siting_poor", pointer="/duct_section"))
    if inputs.section.shape == "round" and len(inputs.plan.lines) < 3:
        said.append(found("two_diameters", pointer="/duct_section"))
    if inputs.actual is not inputs.plan:
        said += _about_holes(inputs)
    if inputs.holes_disagree_m > POSITION_TOLERANCE_M:
        said.append(
            found(
                "holes_disagree",
                "The holes of this traverse lie up to "
                f"{in_millimetres(inputs.holes_disagree_m)} from those on record for the section.",
                "/positions",
            )
        )
    return said


def _about_holes(inputs: TraverseInputs) -> list[Found]:
    """Say which position is off, and whether it looks like a slip in copying the rule."""
    along, across = inputs.section.extents_m(inputs.drilled_side)  # type: ignore[arg-type]
    plan, actual, wall = inputs.plan, inputs.actual, inputs.section.wall_m
    checks = []
    if plan.shape == "round":
        turned = max(abs(a - b) for a, b in zip(actual.lines, plan.lines, strict=True))
        if turned > ANGLE_TOLERANCE_DEG:
            return [
                found(
                    "holes_off_plan",
                    f"A diameter lies {turned:.0f}° off its plan; each reading counts for what "
                    "its place stands for.",
                    "/positions/angles",
                )
            ]
    else:
        lines = [along * fraction for fraction in actual.lines]
        checks.append(("hole", check_positions(lines, plan.lines, along, wall_m=wall)))
    for depths, planned in dict(zip(actual.depths, plan.depths, strict=True)).items():
        # In an oval the chord of each line scales both alike.
        metres = [across * fraction for fraction in depths]
        checks.append(("depth", check_positions(metres, planned, across, wall_m=wall)))
    return [item for noun, check in checks for item in _about_check(noun, check)][:1]


def _about_check(noun: str, check: LayoutCheck) -> list[Found]:
    pointer = "/positions/lines" if noun == "hole" else "/positions/depths"
    if check.pattern in ("laid_out_on_outside_size", "measured_from_outside"):
        how = (
            "laid out on the outside size"
            if check.pattern == "laid_out_on_outside_size"
            else "measured from the outside"
        )
        return [found("lining_forgotten", f"The {noun}s look {how}: the lining counts.", pointer)]
    slip = next((item for item in check.misplaced if item.written), None)
    if check.pattern == "one_off" and slip is not None and not check.is_symmetric:
        return [
            found(
                "copying_slip",
                f"{noun.capitalize()} {slip.number} is at {in_millimetres(slip.found_m)}; the rule "
                f"has it at {in_millimetres(slip.expected_m)}: {slip.meant} of the side, where "
                f"{slip.written} seems to have been copied.",
                pointer,
            )
        ]
    if check.misplaced:
        worst = max(check.misplaced, key=lambda item: abs(item.found_m - item.expected_m))
        return [
            found(
                "holes_off_plan",
                f"{noun.capitalize()} {worst.number} is at {in_millimetres(worst.found_m)}; the "
                f"plan has it at {in_millimetres(worst.expected_m)}. Each reading counts for what "
                "its place stands for.",
                pointer,
            )
        ]
    return []


def _about_velocity(inputs: TraverseInputs, facts: Facts) -> list[Found]:
    mean = facts.velocity_mean_m_s
    if mean is None:
        return []
    said = []
    if abs(mean) < SLOW_M_S:
        said.append(found("velocity_low", pointer="/readings"))
    if mean > FAST_M_S:
        said.append(found("velocity_high", pointer="/readings"))
    elif mean > FAST_IN_A_HOME_M_S and inputs.equipment_kind in HOME_KINDS:
        said.append(found("velocity_high_for_residence", pointer="/readings"))
    return said


def _about_judgement(inputs: TraverseInputs, facts: Facts) -> list[Found]:
    said = []
    if not inputs.carries_all:
        said.append(found("part_of_system", pointer="/duct_section"))
    cools = inputs.effective_call in (Call.COOLING, Call.DEHUMIDIFY)
    if inputs.capacity_w is None and cools and (inputs.aim is None or not inputs.aim.is_flow):
        said.append(found("no_capacity", pointer="/duct_section"))
    if inputs.aim is None and inputs.effective_call not in (Call.UNKNOWN, Call.FAN_ONLY):
        said.append(found("no_target", pointer="/operating_state/call"))
    if facts.flags.get("bases_disagree"):
        said.append(found("target_basis_needed"))
    if facts.flags.get("can_hardly_pass"):
        said.append(found("range_narrower_than_uncertainty"))
    per_capacity = facts.flow_per_capacity
    unlikely = (
        per_capacity is not None
        and inputs.carries_all
        and not PER_CAPACITY[0] <= per_capacity <= PER_CAPACITY[1]
    )
    if unlikely and per_capacity is not None:
        said.append(
            found(
                "flow_per_capacity_unlikely",
                f"The flow is {per_capacity / PER_TON_M3_S_PER_W:,.0f} (ft3/min)/ton "
                f"({per_kilowatt(per_capacity)}); between 150 and 900 is usual "
                f"({per_kilowatt(PER_CAPACITY[0])} and {per_kilowatt(PER_CAPACITY[1])}).",
            )
        )
    slip = _slip(inputs, facts, unlikely)
    if slip:
        said.append(found("unit_suspect", slip, "/readings/unit"))
    return said


def _slip(inputs: TraverseInputs, facts: Facts, unlikely: bool) -> str | None:
    """Return what a wrong unit would explain: by earlier readings, else by flow per ton."""
    usual, now = inputs.neighbours.usual_reading_m_s, facts.indicated_mean_m_s
    if usual and now and usual > 0 and now > 0:
        ratio, within = now / usual, SLIP_WITHIN
        against = "earlier readings of this section"
    elif unlikely and facts.flow_per_capacity and facts.flow_per_capacity > 0:
        nominal = (
            inputs.aim.nominal
            if inputs.aim is not None and not inputs.aim.is_flow
            else 400 * PER_TON_M3_S_PER_W
        )
        ratio, within = facts.flow_per_capacity / nominal, FIRST_SLIP_WITHIN
        against = "what is usual for its capacity"
    else:
        return None
    for factor, which in VELOCITY_SLIPS.items():
        for candidate in (factor, 1.0 / factor):
            if abs(ratio / candidate - 1.0) < within:
                return (
                    f"The readings are {ratio:.3g} times {against}; {candidate:.3g} would be "
                    f"{which}, or the reverse."
                )
    square_feet = facts.area_m2 / SQUARE_FOOT_M2
    if (ratio > 2 or ratio < 0.5) and abs(ratio / square_feet - 1.0) < within / 2:
        return (
            f"The readings are {ratio:.3g} times {against}; that is the area in square feet, as "
            "when a flow is typed in for a velocity."
        )
    for factor, which in ((25.4, "inches for millimetres"), (2.54, "inches for centimetres")):
        for candidate in (factor, 1.0 / factor, factor**2, 1.0 / factor**2):
            if unlikely and abs(ratio / candidate - 1.0) < 0.1:
                return (
                    f"The flow is {ratio:.3g} times {against}; {candidate:.3g} would be {which} "
                    "in the section's sizes, or the reverse."
                )
    return None


def _about_before(inputs: TraverseInputs) -> list[Found]:
    said = []
    around = inputs.neighbours
    area = inputs.section.area_m2
    if around.earlier_area_m2 and abs(area / around.earlier_area_m2 - 1.0) > AREA_JUMP:
        said.append(
            found(
                "area_jumped",
                f"The section's inside area is {in_square_metres(area)}; at the last traverse "
                f"{in_square_metres(around.earlier_area_m2)} were on record.",
                "/duct_section",
            )
        )
    if around.found_later:
        said.append(found("as_left_before_as_found", pointer="/taken_at"))
    if around.found_state is not None:
        differing = _differing(around.found_state, inputs)
        if differing:
            said.append(
                found(
                    "states_not_comparable",
                    f"As found and as left differ in: {', '.join(differing)}.",
                    "/operating_state",
                )
            )
    return said


def _differing(found_state: dict[str, Any], inputs: TraverseInputs) -> list[str]:
    """Return in what the two operating states differ, where both are on record."""
    now = inputs.state
    return [
        words
        for key, words in COMPARED
        if found_state.get(key) and now.get(key) and found_state[key] != now[key]
    ]
