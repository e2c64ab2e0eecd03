"""Where to drill and how deep to go: a section's layout, or one of sizes alone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from airflow_jobs.actions.access import Actor
from airflow_jobs.calc.layouts import Plan
from airflow_jobs.calc.positions import layout_distances, plan_as_drilled, tape_position
from airflow_jobs.calc.reach import reach
from airflow_jobs.calc.sections import InsideSection, inside_section
from airflow_jobs.calc.siting import siting
from airflow_jobs.calc.slips import check_positions
from airflow_jobs.cautions import BEFORE_DRILLING, LOCAL_RULES_FIRST
from airflow_jobs.findings import Found, found, in_order
from airflow_jobs.models import (
    DrilledSide,
    DuctSection,
    Instrument,
    LayoutRule,
    Material,
    Shape,
)
from airflow_jobs.recompute.inputs import inside_of, plan_of
from airflow_jobs.units import ANGLE, AREA, LENGTH, UnitError, quantity, to_si

from .fields import CountField, IdField, shown
from .filters import UNITS, refuse_unknown
from .layout_schema import FREE_QUERY, LayoutSerializer
from .problems import BadQuery
from .records import METHODS, units_asked

SECTION_PARAMETERS: Final = ("rule", "lines", "points", "instrument")
FREE_PARAMETERS: Final = (
    "shape",
    "width",
    "height",
    "diameter",
    "lining_thickness",
    "drilled_side",
    "unit",
    "rule",
    "lines",
    "points",
)
LARGEST_SIDE_M: Final = 20.0
NEAR_DIAMETERS: Final = 2.0
BLADES_DIAMETERS: Final = 5.0


@dataclass(frozen=True)
class Asked:
    """What the layout is to be of."""

    section: DuctSection
    """Stored, or made of the sizes alone."""
    rule: str | None
    lines: int | None
    points: int | None
    instrument: Instrument | None


def asked_of(request: Request, section: DuctSection) -> Asked:
    """Read the query of a stored section's layout."""
    reasons: dict[str, str] = {}
    rule = _word(request, "rule", [str(item) for item in LayoutRule.values], reasons)
    lines = _count(request, "lines", reasons)
    points = _count(request, "points", reasons)
    instrument = _instrument(request, reasons)
    if reasons:
        raise BadQuery(reasons)
    return Asked(section, rule, lines, points, instrument)


def layout(asked: Asked, units: str) -> dict[str, Any]:
    """Return a layout as the API answers it.

    Raises
    ------
    BadQuery
        The rule has no such layout for this section.
    """
    section = asked.section
    inside = inside_of(section)
    plan, is_drilled = _plan(asked, inside)
    side: Any = section.drilled_side
    tip = (asked.instrument.tip_to_sensor_m if asked.instrument else None) or 0.0
    distances = layout_distances(plan, inside, side, tip_to_sensor_m=tip)
    is_round = section.shape == Shape.ROUND
    holes = (
        [
            {
                "number": number,
                "angle": quantity(angle, ANGLE, units),
                "around_outside": _position(around, units),
                "on_outside_tape": _position(around, units),
            }
            for number, (angle, around) in enumerate(
                zip(distances.angles_deg, distances.around_outside_m, strict=True), start=1
            )
        ]
        if is_round
        else [
            {
                "number": number,
                "from_inside_face": _position(inner, units),
                "on_outside_tape": _position(outer, units),
            }
            for number, (inner, outer) in enumerate(
                zip(distances.lines_m, distances.lines_on_outside_tape_m, strict=True), start=1
            )
        ]
    )
    lines = list(
        zip(
            distances.depths_m,
            distances.depths_from_outside_m,
            distances.shaft_marks_m,
            strict=True,
        )
    )
    are_shared = all(line == lines[0] for line in lines)
    depths = [
        {
            "line": None if are_shared else line,
            "number": number,
            "from_inside_face": _position(inner, units),
            "from_outside": _position(outer, units),
            "shaft_mark": _position(mark, units),
        }
        for line, columns in enumerate(lines[:1] if are_shared else lines, start=1)
        for number, (inner, outer, mark) in enumerate(zip(*columns, strict=True), start=1)
    ]
    sited = siting(
        hydraulic_diameter_m=inside.hydraulic_diameter_m,
        straight_upstream_m=section.straight_upstream_m,
        straight_downstream_m=section.straight_downstream_m,
    )
    reached = reach(
        plan,
        inside,
        side,
        probe_reach_m=asked.instrument.probe_reach_m if asked.instrument else None,
        tip_to_sensor_m=tip,
    )
    return {
        "inside": (
            {"diameter": quantity(inside.diameter_m, LENGTH, units)}
            if is_round
            else {
                "width": quantity(inside.width_m, LENGTH, units),
                "height": quantity(inside.height_m, LENGTH, units),
            }
        ),
        "area": quantity(inside.area_m2, AREA, units),
        "hydraulic_diameter": quantity(inside.hydraulic_diameter_m, LENGTH, units),
        "rule": plan.rule,
        "drilled_side": None if is_round else section.drilled_side,
        "as_drilled": is_drilled,
        "holes": holes,
        "depths": depths,
        "siting": {
            "upstream_diameters": _known(sited.upstream_diameters),
            "downstream_diameters": _known(sited.downstream_diameters),
            "judgement": sited.judgement,
        },
        "reach": reached.judgement,
        "cautions": [*BEFORE_DRILLING, LOCAL_RULES_FIRST],
        "findings": in_order(_findings(section, inside, plan, sited.judgement)),
    }


def _plan(asked: Asked, inside: InsideSection) -> tuple[Plan, bool]:
    """Return the plan, and whether it is of the holes as drilled: those serve again."""
    section = asked.section
    is_asked = asked.rule is not None or asked.lines is not None or asked.points is not None
    if asked.rule is not None:
        section.layout_rule = asked.rule
    drilled = section.holes if section.holes and not is_asked else None
    key = "angles" if section.shape == Shape.ROUND else "lines"
    lines = len(drilled[key]) if drilled and drilled.get(key) else None
    try:
        plan = plan_of(
            section,
            inside,
            asked.lines or (lines if lines is not None else section.lines),
            asked.points or section.points_per_line,
        )
        if drilled is None:
            return plan, False
        return (
            plan_as_drilled(
                plan,
                inside,
                section.drilled_side,  # type: ignore[arg-type]
                lines_m=_tuple(drilled.get("lines")),
                angles_deg=_tuple(drilled.get("angles")),
                depths_m=_tuples(drilled.get("depths")),
            ),
            True,
        )
    except ValueError as error:
        raise BadQuery({"rule": f"has no such layout here: {error}"}) from error


def _tuple(values: list[float] | None) -> tuple[float, ...] | None:
    return None if values is None else tuple(values)


def _tuples(values: list[list[float]] | None) -> tuple[tuple[float, ...], ...] | None:
    return None if values is None else tuple(tuple(line) for line in values)


def _findings(
    section: DuctSection, inside: InsideSection, plan: Plan, judgement: str
) -> list[Found]:
    findings = []
    diameter = inside.hydraulic_diameter_m
    if judgement == "poor":
        findings.append(found("siting_poor", pointer="/straight_upstream"))
    if section.straight_upstream_m is not None and (
        section.straight_upstream_m < NEAR_DIAMETERS * diameter
    ):
        findings.append(found("disturbance_near", pointer="/straight_upstream"))
    if section.nearest_blades_m is not None and (
        section.nearest_blades_m < BLADES_DIAMETERS * diameter and len(plan.lines) < 7
    ):
        findings.append(found("blades_near", pointer="/nearest_blades"))
    if section.material == Material.FLEXIBLE:
        findings.append(found("flexible_duct", pointer="/material"))
    if section.shape == Shape.ROUND and len(plan.lines) == 2:
        findings.append(found("two_diameters", pointer="/lines"))
    drilled = (section.holes or {}).get("lines")
    if drilled and section.shape != Shape.ROUND:
        findings += _slips(section, inside, drilled)
    return findings


def _slips(section: DuctSection, inside: InsideSection, drilled: list[float]) -> list[Found]:
    """Say where holes as written down look like a slip of the pen."""
    along, _ = inside.extents_m(section.drilled_side)  # type: ignore[arg-type]
    try:
        planned = plan_of(section, inside, len(drilled), section.points_per_line)
    except ValueError:
        return []
    check = check_positions(drilled, planned.lines, along, wall_m=inside.wall_m)
    if check.pattern in {"as_planned", "other_count"}:
        return []
    if check.is_symmetric or not check.misplaced:
        return [found("holes_off_plan", pointer="/holes/lines")]
    first = check.misplaced[0]
    message = (
        f"Hole {first.number} is written at {first.found_m * 1000:.0f} mm; the rule has it at "
        f"{first.expected_m * 1000:.0f} mm"
        + (f" ({first.written} for {first.meant})." if first.written else ".")
    )
    return [found("copying_slip", message, f"/holes/lines/{first.number - 1}")]


def _position(exact_m: float, units: str) -> dict[str, Any]:
    tape = tape_position(exact_m)
    return {
        "exact": quantity(tape.exact_m, LENGTH, units),
        "millimetres": tape.millimetres,
        "sixteenths": tape.sixteenths,
        "rounding": quantity(tape.sixteenth_rounding_m, LENGTH, units),
    }


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value


class LayoutView(APIView):
    """The layout of a section that isn't stored, from its outside sizes."""

    http_method_names = METHODS
    answers_in_units = True

    @extend_schema(parameters=FREE_QUERY, responses={200: LayoutSerializer})
    def get(self, request: Request) -> Response:
        """Answer where to drill and how deep to go."""
        assert isinstance(request.user, Actor)
        refuse_unknown(request, {*FREE_PARAMETERS, UNITS})
        return Response(layout(_asked_of_sizes(request), units_asked(request)))


def _asked_of_sizes(request: Request) -> Asked:
    reasons: dict[str, str] = {}
    shape = _word(request, "shape", [str(item) for item in Shape.values], reasons)
    if shape is None and "shape" not in reasons:
        reasons["shape"] = "is required: rectangular, round or flat_oval"
    side = _word(request, "drilled_side", [str(item) for item in DrilledSide.values], reasons)
    rule = _word(request, "rule", [str(item) for item in LayoutRule.values], reasons)
    lines, points = _count(request, "lines", reasons), _count(request, "points", reasons)
    needed = ("diameter",) if shape == Shape.ROUND else ("width", "height")
    sizes = {
        name: _length(request, name, reasons)
        for name in ("width", "height", "diameter", "lining_thickness")
    }
    for name in ("width", "height", "diameter"):
        if name in needed and sizes[name] is None and name not in reasons:
            reasons[name] = f"is required for a {shape} section"
        if name not in needed and sizes[name] is not None:
            reasons[name] = f"is not for a {shape} section"
    if not reasons:
        try:
            inside_section(
                shape,  # type: ignore[arg-type]
                outside_width_m=sizes["width"],
                outside_height_m=sizes["height"],
                outside_diameter_m=sizes["diameter"],
                lining_thickness_m=sizes["lining_thickness"] or 0.0,
            )
        except ValueError as error:
            reasons["shape"] = f"and sizes don't go together: {error}"
    if reasons:
        raise BadQuery(reasons)
    default = LayoutRule.LOG_LINEAR if shape == Shape.ROUND else LayoutRule.LOG_TCHEBYCHEFF
    section = DuctSection(
        shape=str(shape),
        width_m=sizes["width"],
        height_m=sizes["height"],
        diameter_m=sizes["diameter"],
        lining_thickness_m=sizes["lining_thickness"] or 0.0,
        drilled_side=side or DrilledSide.WIDTH,
        layout_rule=default,
    )
    return Asked(section, rule, lines, points, None)


def _word(request: Request, name: str, words: list[str], reasons: dict[str, str]) -> str | None:
    raw = request.query_params.get(name)
    if raw is None or raw in words:
        return raw
    reasons[name] = f"must be one of {', '.join(words)}; {shown(raw)} came"
    return None


def _count(request: Request, name: str, reasons: dict[str, str]) -> int | None:
    raw = request.query_params.get(name)
    if raw is None:
        return None
    try:
        number = int(raw) if raw.isascii() and raw.isdigit() and len(raw) < 9 else raw
        count: int = CountField(minimum=1, maximum=64).run_validation(number)
        return count
    except serializers.ValidationError as error:
        detail: Any = error.detail
        reasons[name] = str(detail[0])
        return None


def _length(request: Request, name: str, reasons: dict[str, str]) -> float | None:
    raw = request.query_params.get(name)
    if raw is None:
        return None
    unit = request.query_params.get("unit")
    if unit is None:
        reasons["unit"] = "is required with sizes: one of mm, cm, m, in, ft"
        return None
    try:
        number = float(raw)
        length = to_si(number, unit, LENGTH)
    except UnitError as error:
        reasons["unit"] = str(error)
        return None
    except ValueError:
        reasons[name] = f"must be a number; {shown(raw)} came"
        return None
    least = 0.0 if name == "lining_thickness" else 1e-6
    if not math.isfinite(length) or not least <= length <= LARGEST_SIDE_M:
        reasons[name] = f"is out of reach: above 0 and at most {LARGEST_SIDE_M:g} m"
        return None
    return length


def _instrument(request: Request, reasons: dict[str, str]) -> Instrument | None:
    raw = request.query_params.get("instrument")
    if raw is None:
        return None
    try:
        identifier: UUID = IdField().run_validation(raw)
    except serializers.ValidationError:
        reasons["instrument"] = f"must be a UUID; {shown(raw)} came"
        return None
    instrument = Instrument.objects.filter(pk=identifier).first()
    if instrument is None:
        reasons["instrument"] = "is not known"
    return instrument
