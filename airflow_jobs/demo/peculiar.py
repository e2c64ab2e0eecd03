"""Peculiar things: linings, a hole moved, two returns, fan-only readings, a wrong barometer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from airflow_jobs.calc.rules import log_tchebycheff_fractions
from airflow_jobs.calc.slips import LayoutCheck, check_positions
from airflow_jobs.models import EquipmentKind, Material, Shape, Stage
from airflow_jobs.units import LENGTH

from .ducts import Duct, line_duct, run_ducts
from .places import Place
from .record import Correction, Invented
from .seeded import Seeded
from .stories import Course
from .systems import System
from .traverses import Taken, slipped
from .typed import Typed

TWO_RETURNS: Final = 9
LINED, BOARD, MOVED_HOLES, FAN_ONLY = 8, 6, 3, 2
MISCOPIED: Final = 0.238
"""Written where 0.288 belongs in the rule of five lines."""
CLOSEST_MOVE_M, FURTHEST_MOVE_M = 0.018, 0.034
REDUCED_BAROMETER_M: Final = (1000.0, 1500.0)
# Metres a second and miles an hour, typed as feet a minute.
SLIPS: Final = (196.85, 196.85, 88.0, 196.85, 88.0)
CORRECTED: Final = 2


@dataclass(frozen=True)
class Peculiarities:
    """Where things are not as usual."""

    fan_only: frozenset[System]
    """Found running fan only, with another blower setting than in cooling."""
    reduced_barometer: Place
    """Where the barometer comes from the weather report."""


def build_ducts(
    seeded: Seeded, systems: list[System], courses: dict[System, Course]
) -> dict[System, list[Duct]]:
    """Return the sections of all systems, some lined, of board, or with a hole moved."""
    candidates = [
        system
        for system in seeded.shuffled(systems)
        if system not in courses and system.kind != EquipmentKind.VENTILATION
    ]
    paired = set(candidates[:TWO_RETURNS])
    ducts = {system: run_ducts(seeded, system, two_returns=system in paired) for system in systems}
    rectangular = [
        duct
        for system in seeded.shuffled(systems)
        for duct in ducts[system][:1]
        if duct.row.shape == Shape.RECTANGULAR
    ]
    for duct in rectangular[:LINED]:
        line_duct(duct, Material.LINED_SHEET)
    for duct in rectangular[LINED : LINED + BOARD]:
        line_duct(duct, Material.FIBROUS_BOARD)
    for duct in rectangular[LINED + BOARD : LINED + BOARD + MOVED_HOLES]:
        _move_hole(seeded, duct)
    five_lines = [
        duct
        for duct in rectangular[LINED + BOARD + MOVED_HOLES :]
        if duct.plan.lines == log_tchebycheff_fractions(5)
    ]
    _slip_hole(five_lines[0])
    return ducts


def choose(
    seeded: Seeded,
    systems: list[System],
    ducts: dict[System, list[Duct]],
    places: list[Place],
    courses: dict[System, Course],
) -> Peculiarities:
    """Return where things are not as usual."""
    tapped = [
        system
        for system in seeded.shuffled(systems)
        if system.blower.is_tapped
        # From fan only to cooling more than the setting changes, so no table foretells it.
        and system.table is None
        and system not in courses
        and len(ducts[system]) == 1
        and system.place.elevation_m < REDUCED_BAROMETER_M[0]
    ]
    low, high = REDUCED_BAROMETER_M
    return Peculiarities(
        fan_only=frozenset(tapped[:FAN_ONLY]),
        reduced_barometer=min(
            (place for place in places if low < place.elevation_m < high),
            key=lambda place: sum(system.place is place for system in systems),
        ),
    )


def slip_units(seeded: Seeded, record: Invented) -> None:
    """Let a few traverses be typed in another unit; two of them are corrected later."""
    candidates = [
        index
        for index, taken in enumerate(record.taken)
        if taken.content.mode == "points"
        and taken.meter.make.unit == "ft/min"
        and taken.content.stage in (Stage.AS_FOUND, Stage.AS_LEFT)
        and taken.duct.share == 1.0
        and taken.job.course is None
    ]
    for number, factor in enumerate(SLIPS):
        index = candidates[int((number + seeded.uniform(0.2, 0.8)) * len(candidates) / len(SLIPS))]
        right = record.taken[index]
        record.taken[index] = slipped(right, factor)
        if number < CORRECTED:
            record.corrections.append(Correction(right, "meter was set to m/s, typed as ft/min"))


def is_slipped(record: Invented, taken: Taken) -> bool:
    """Whether a traverse still stands in the record with readings in the wrong unit."""
    corrected = {correction.taken.identifier for correction in record.corrections}
    wrong: dict[str, Any] = taken.content.sent["readings"]
    values = [value for line in wrong.get("values", []) for value in line if value is not None]
    is_small = bool(values) and wrong["unit"] == "ft/min" and max(values) < 30.0
    return is_small and taken.identifier not in corrected


def _move_hole(seeded: Seeded, duct: Duct) -> None:
    """Let a hole be drilled beside its place, where nobody would take it for a copying slip."""
    along, _ = duct.inside.extents_m(duct.side)
    distance_m = round(seeded.uniform(CLOSEST_MOVE_M, FURTHEST_MOVE_M), 3)
    _drill(duct, 2, distance_m, "hole moved off a gas pipe, true position entered")
    while any(item.written for item in _checked(duct, along).misplaced):
        distance_m += 0.002
        _drill(duct, 2, distance_m, duct.hole_note)


def _slip_hole(duct: Duct) -> None:
    """Let the second hole be laid out by a miscopied fraction."""
    along, _ = duct.inside.extents_m(duct.side)
    distance_m = round(MISCOPIED * along, 3) - round(duct.plan.lines[1] * along, 3)
    _drill(duct, 1, distance_m, "second hole sits closer than the card says, entered as drilled")


def _drill(duct: Duct, line: int, distance_m: float, note: str) -> None:
    duct.moved_hole = (line, distance_m)
    duct.hole_note = note
    lines = duct.lines_mm()
    duct.row.holes = {"lines": [Typed(mm, "mm", LENGTH).si for mm in lines]}
    duct.row.as_sent["holes"] = {"unit": "mm", "lines": lines}


def _checked(duct: Duct, along_m: float) -> LayoutCheck:
    positions_m = [mm / 1000.0 for mm in duct.lines_mm()]
    return check_positions(positions_m, duct.plan.lines, along_m)
