"""Ducts: the sections that are measured, their holes and how the air runs in them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from airflow_jobs.calc.layouts import Plan, default_counts, plan_for
from airflow_jobs.calc.ovals import oval_chord
from airflow_jobs.calc.rules import Rule
from airflow_jobs.calc.sections import SHAPES, DrilledSide, InsideSection, inside_section
from airflow_jobs.models import AirPath, DuctSection, EquipmentKind, Material, Shape
from airflow_jobs.units import LENGTH

from .fields import Field, field_for
from .seeded import Seeded
from .systems import System
from .typed import Typed, columns, on_scale

INCH_M: Final = 0.0254
FT_MIN_M_S: Final = 0.00508
SMALL_W: Final = 18000.0
"""Some five tons: what stands in houses."""
LINING_IN: Final = 1.0
BOARD_IN: Final = 1.0
OVAL_HEIGHTS_IN: Final = (10, 12, 14, 16, 18)
# Straight duct before the section in hydraulic diameters: poor, acceptable, good.
STRAIGHT_DIAMETERS: Final = ((0.8, 2.2), (2.2, 8.0), (8.0, 12.0))
HOW_OFTEN: Final = (0.22, 0.5, 0.28)
FITTINGS: Final = ("elbow", "transition", "tee", "filter rack", "branch take-off", "offset")


@dataclass(eq=False)
class Duct:
    """A section with its plan and its velocity field."""

    row: DuctSection
    system: System
    inside: InsideSection
    plan: Plan
    field: Field
    share: float = 1.0
    """Share of the system's standard flow that passes here."""
    moved_hole: tuple[int, float] | None = None
    """Line that was drilled elsewhere, and by how far, m."""
    hole_note: str = ""
    """What the crew notes about it."""

    @property
    def side(self) -> DrilledSide:
        """The side along which the holes are spaced."""
        return "height" if self.row.drilled_side == "height" else "width"

    def depth_extents_m(self) -> list[float]:
        """Return how far it is across the duct at each line, m."""
        _, across = self.inside.extents_m(self.side)
        if self.inside.shape != "flat_oval":
            return [across] * len(self.plan.lines)
        aspect = self.plan.oval_aspect
        assert aspect is not None
        return [
            float(oval_chord(np.asarray(2.0 * line - 1.0), aspect)) * across
            for line in self.plan.lines
        ]

    def lines_mm(self) -> list[float]:
        """Return where the holes are: millimetres from the inside face, or degrees."""
        if self.inside.shape == "round":
            return list(self.plan.lines)
        along, _ = self.inside.extents_m(self.side)
        lines: list[float] = [round(1000.0 * line * along) for line in self.plan.lines]
        if self.moved_hole is not None:
            lines[self.moved_hole[0]] += round(1000.0 * self.moved_hole[1])
        return lines

    def depths_mm(self) -> list[list[float]]:
        """Return the insertion depths of each line, millimetres from the inside face."""
        return [
            [round(1000.0 * depth * extent) for depth in depths]
            for depths, extent in zip(self.plan.depths, self.depth_extents_m(), strict=True)
        ]


def run_ducts(seeded: Seeded, system: System, *, two_returns: bool) -> list[Duct]:
    """Return the sections in which a system is measured.

    Parameters
    ----------
    seeded
        Where chance comes from.
    system
        The system.
    two_returns
        Whether its flow is the sum of two returns, of which neither carries all.
    """
    flow_m3_s = system.nominal_flow_m3_s(system.main_call)
    if two_returns:
        share = seeded.uniform(0.42, 0.58)
        return [
            _duct(seeded, system, name, AirPath.RETURN, part * flow_m3_s, part)
            for name, part in (("North return", share), ("South return", 1.0 - share))
        ]
    if system.kind == EquipmentKind.VENTILATION:
        path = seeded.pick((AirPath.OUTDOOR, AirPath.EXHAUST, AirPath.SUPPLY))
    else:
        path = seeded.pick((AirPath.RETURN, AirPath.SUPPLY), (0.68, 0.32))
    name = {
        AirPath.RETURN: "Main return",
        AirPath.SUPPLY: "Main supply",
        AirPath.OUTDOOR: "Outdoor air intake",
        AirPath.EXHAUST: "Exhaust main",
    }[path]
    ducts = [_duct(seeded, system, name, path, flow_m3_s, 1.0)]
    if path == AirPath.RETURN and seeded.chance(0.12):
        ducts.append(_duct(seeded, system, "Main supply", AirPath.SUPPLY, flow_m3_s, 1.0))
    return ducts


def line_duct(duct: Duct, material: str) -> None:
    """Line a duct (or make it of board): the same inside, a larger outside."""
    thickness = Typed(LINING_IN, "in", LENGTH)
    row = duct.row
    row.material = material
    row.lining_thickness_m = thickness.si
    row.as_sent["lining_thickness"] = thickness.as_json()
    for column, field_name in (
        ("width_m", "width"),
        ("height_m", "height"),
        ("diameter_m", "diameter"),
    ):
        if getattr(row, column) is not None:
            sent = row.as_sent[field_name]
            outside = Typed(sent["value"] + 2.0 * thickness.value, sent["unit"], LENGTH)
            setattr(row, column, outside.si)
            row.as_sent[field_name] = outside.as_json()


def _duct(
    seeded: Seeded, system: System, name: str, path: str, flow_m3_s: float, share: float
) -> Duct:
    is_small = flow_m3_s < 1.1
    shape = seeded.pick(SHAPES, (0.72, 0.19, 0.09))
    velocity_ft_min = seeded.uniform(520, 830) if is_small else seeded.uniform(850, 1400)
    area_in2 = flow_m3_s / (velocity_ft_min * FT_MIN_M_S) / INCH_M**2
    sizes = _sizes(seeded, shape, area_in2)
    inside = inside_section(
        shape,
        outside_width_m=_metres(sizes.get("width_m")),
        outside_height_m=_metres(sizes.get("height_m")),
        outside_diameter_m=_metres(sizes.get("diameter_m")),
    )
    side: DrilledSide = "height" if shape == "rectangular" and seeded.chance(0.2) else "width"
    rule = _rule(seeded, shape)
    lines, points = default_counts(inside, rule, side)
    if shape == Shape.ROUND and seeded.chance(0.25):
        lines = 2
    plan = plan_for(inside, rule=rule, lines=lines, points=points, drilled_side=side)
    nearest, furthest = seeded.pick(STRAIGHT_DIAMETERS, HOW_OFTEN)
    upstream = seeded.uniform(nearest, furthest)
    diameter_in = inside.hydraulic_diameter_m / INCH_M
    downstream = seeded.uniform(0.6, 4.0)
    at = system.row.created_at
    known = seeded.chance(0.85)
    row = DuctSection(
        id=seeded.new_id(at),
        equipment=system.row,
        name=name,
        air_path=path,
        carries_all=share == 1.0,
        material=Material.SHEET,
        shape=shape,
        upstream_fitting=seeded.pick(FITTINGS),
        swirl="likely" if seeded.chance(0.03) else seeded.pick(("none", "unknown"), (0.8, 0.2)),
        layout_rule=rule,
        lines=lines,
        points_per_line=points,
        drilled_side=side,
        holes_plugged=True,
        created_at=at,
        updated_at=at,
        **columns(
            **sizes,
            lining_thickness_m=Typed(0.0, "in", LENGTH),
            straight_upstream_m=_length(upstream * diameter_in) if known else None,
            straight_downstream_m=_length(downstream * diameter_in) if known else None,
            nearest_blades_m=_length(diameter_in * seeded.uniform(2.0, 9.0))
            if seeded.chance(0.15)
            else None,
            hole_diameter_m=Typed(0.375, "in", LENGTH),
        ),
    )
    oval_aspect = plan.oval_aspect if plan.oval_aspect is not None else 1.0
    return Duct(
        row=row,
        system=system,
        inside=inside,
        plan=plan,
        field=field_for(seeded, shape, oval_aspect, upstream),
        share=share,
    )


def _sizes(seeded: Seeded, shape: str, area_in2: float) -> dict[str, Typed]:
    """Return sizes in whole inches of about an area, as sheet metal is made."""
    if shape == Shape.ROUND:
        return {"diameter_m": _length(max(round(np.sqrt(4.0 * area_in2 / np.pi)), 8))}
    if shape == Shape.FLAT_OVAL:
        fitting = [h for h in OVAL_HEIGHTS_IN if h * h * 1.15 < area_in2]
        height = seeded.pick(fitting[-3:]) if fitting else 8
        width = max((area_in2 - np.pi * height**2 / 4.0) / height + height, height + 2)
        return {"width_m": _length(round(width)), "height_m": _length(height)}
    aspect = seeded.uniform(1.0, 2.0)
    height = max(2 * round(np.sqrt(area_in2 / aspect) / 2.0), 8)
    width = max(2 * round(area_in2 / height / 2.0), 8)
    return {"width_m": _length(width), "height_m": _length(height)}


def _rule(seeded: Seeded, shape: str) -> Rule:
    if shape == Shape.ROUND:
        return "equal_annuli" if seeded.chance(0.15) else "log_linear"
    return "equal_area" if seeded.chance(0.15) else "log_tchebycheff"


def _length(inches: float) -> Typed:
    return Typed(on_scale(float(inches), 1.0), "in", LENGTH)


def _metres(length: Any) -> float | None:
    return None if length is None else length.si
