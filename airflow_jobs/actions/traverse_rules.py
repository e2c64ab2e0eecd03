"""What a traverse must keep to: shapes that fit the section, readings that air can have.

Only what is impossible is refused here; what is merely unlikely is recorded and becomes a
finding beside its result.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any, Final

from airflow_jobs.calc.sections import InsideSection
from airflow_jobs.models import (
    DuctSection,
    Equipment,
    Instrument,
    Mode,
    Principle,
    ReadingKind,
    Shape,
    Visit,
)
from airflow_jobs.recompute.inputs import inside_of, plan_of

from .constraints import BrokenRule
from .positions import along_key, broken_positions
from .rules import broken_by_future
from .traverse_content import TraverseContent

FASTEST_M_S: Final = 100.0
STRONGEST_PA: Final = 0.5 * 1.2014 * FASTEST_M_S**2
"""The velocity pressure of the fastest air, in standard air."""


def broken_traverse_rules(
    content: TraverseContent,
    *,
    visit: Visit,
    section: DuctSection,
    instrument: Instrument,
    now: datetime.datetime,
) -> list[BrokenRule]:
    """Return every rule that a content breaks, given the rows it names.

    Parameters
    ----------
    content
        Parsed and in SI.
    visit, section, instrument
        The rows; the section with its equipment at hand.
    now
        The clock.
    """
    return [
        *broken_by_future("/taken_at", content.taken_at, now),
        *_round(content, section),
        *_site(visit, section.equipment),
        *_instrument(content, instrument),
        *_conditions(content),
        *_readings(content),
        *_shapes(content, section),
    ]


def _site(visit: Visit, equipment: Equipment) -> list[BrokenRule]:
    if equipment.site_id == visit.site_id:
        return []
    return [
        BrokenRule(
            "/duct_section",
            "other_site",
            f"This section belongs to system {equipment.tag}, which isn't at the site of this "
            "visit: choose a section of that site, or the right visit.",
        )
    ]


def _instrument(content: TraverseContent, instrument: Instrument) -> list[BrokenRule]:
    is_pressure = content.reading_kind == ReadingKind.VELOCITY_PRESSURE
    if not is_pressure or instrument.principle == Principle.PITOT:
        return []
    return [
        BrokenRule(
            "/readings/unit",
            "not_for_this_instrument",
            f"Only a pitot tube reads a velocity pressure; {instrument} is a "
            f"{instrument.principle} instrument: give a velocity, or the right instrument.",
        )
    ]


def _round(content: TraverseContent, section: DuctSection) -> list[BrokenRule]:
    """Refuse what is averaged along a diameter: the outer rings weigh too little in it."""
    if section.shape != Shape.ROUND or content.mode == Mode.POINTS:
        return []
    is_sweep = content.mode == Mode.SWEEPS
    if is_sweep and all(line.get("stamps") for line in content.readings["lines"]):
        return []
    what = "A sweep without depth stamps" if is_sweep else "An overall average"
    fix = "take points, or give each line its stamps" if is_sweep else "take points"
    return [
        BrokenRule(
            "/readings/lines" if is_sweep else "/mode",
            "not_in_a_round_duct",
            f"{what} can't be used in a round duct: a probe drawn along a diameter spends too "
            "little time in the outer rings and over-reads by 5 to 30 %, and no factor mends "
            f"that. Instead {fix}.",
        )
    ]


def _conditions(content: TraverseContent) -> list[BrokenRule]:
    broken = []
    moisture = [
        name
        for name, value in (
            ("relative_humidity", content.relative_humidity),
            ("wet_bulb", content.wet_bulb_c),
            ("dew_point", content.dew_point_c),
        )
        if value is not None
    ]
    if len(moisture) > 1:
        broken.append(
            BrokenRule(
                "/conditions",
                "one_of_several",
                f"Humidity came as {' and '.join(moisture)}: give the one that was measured.",
            )
        )
    for name, value in (("wet_bulb", content.wet_bulb_c), ("dew_point", content.dew_point_c)):
        if value is not None and content.dry_bulb_c is not None and value > content.dry_bulb_c:
            broken.append(
                BrokenRule(
                    f"/conditions/{name}",
                    "out_of_range",
                    f"A {name.replace('_', ' ')} of {value:.1f} degC is above the dry bulb of "
                    f"{content.dry_bulb_c:.1f} degC, which can't be: check both.",
                )
            )
    return broken


def _readings(content: TraverseContent) -> list[BrokenRule]:
    is_pressure = content.reading_kind == ReadingKind.VELOCITY_PRESSURE
    limit = STRONGEST_PA if is_pressure else FASTEST_M_S
    unit = "Pa" if is_pressure else "m/s"
    return [
        BrokenRule(
            pointer,
            "out_of_range",
            f"A reading of {value:g} {unit} is out of reach (at most {limit:.0f} {unit} "
            "either way): check the number and the unit.",
        )
        for pointer, value in _each_reading(content)
        if abs(value) > limit
    ]


def _each_reading(content: TraverseContent) -> Iterator[tuple[str, float]]:
    readings = content.readings
    if content.mode == Mode.POINTS:
        for number, line in enumerate(readings["values"]):
            for index, value in enumerate(line):
                if value is not None:
                    yield f"/readings/values/{number}/{index}", value
    elif content.mode == Mode.SWEEPS:
        for number, line in enumerate(readings["lines"]):
            yield f"/readings/lines/{number}/mean", line["mean"]
            for index, stamp in enumerate(line.get("stamps") or ()):
                yield f"/readings/lines/{number}/stamps/{index}/2", stamp[2]
    else:
        yield "/readings/mean", readings["mean"]


def _shapes(content: TraverseContent, section: DuctSection) -> list[BrokenRule]:
    """Hold the number of lines and points against what was drilled or planned."""
    try:
        inside = inside_of(section)
        planned = plan_of(section, inside, section.lines, section.points_per_line)
    except ValueError as error:
        return [
            BrokenRule(
                "/duct_section",
                "section_unusable",
                f"This section's sizes and layout don't go together ({error}): correct it first.",
            )
        ]
    sent = content.positions or {}
    broken = broken_positions(sent, section, inside, "/positions")
    if broken:
        return broken
    key = along_key(section)
    drilled = section.holes or {}
    depths = sent.get("depths") or drilled.get("depths")
    along = sent.get(key) or drilled.get(key)
    lines = len(along or depths or planned.lines)
    if depths and len(depths) != lines:
        return [
            BrokenRule(
                "/positions",
                "wrong_length",
                f"The positions have {lines} {key}, but depths are known for {len(depths)}: "
                f"send {key} and depths together.",
            )
        ]
    points = len(depths[0]) if depths else len(planned.depths[0])
    source = _where_expected(sent, drilled)
    if content.mode == Mode.POINTS:
        return _grid(content, section, inside, lines, points, source)
    if content.mode == Mode.SWEEPS:
        return _sweeps(content, section, inside, lines, source)
    given = content.readings.get("lines")
    if given is not None and given != lines:
        return [
            BrokenRule(
                "/readings/lines",
                "wrong_length",
                f"The average is over {given} lines; expected {lines}, {source}.",
            )
        ]
    return []


def _where_expected(sent: dict[str, Any], drilled: dict[str, Any]) -> str:
    if sent.get("lines") or sent.get("angles") or sent.get("depths"):
        return "as the positions say"
    if drilled:
        return "as this section was drilled (send positions where it was another way)"
    return "as this section is laid out (send positions where it was another way)"


def _grid(
    content: TraverseContent,
    section: DuctSection,
    inside: InsideSection,
    lines: int,
    points: int,
    source: str,
) -> list[BrokenRule]:
    values = content.readings["values"]
    came = [len(line) for line in values]
    if came != [points] * lines:
        shape = (
            f"{len(came)} lines of {came[0]}"
            if came and len(set(came)) == 1
            else f"lines of {', '.join(map(str, came)) or 'nothing'}"
        )
        return [
            BrokenRule(
                "/readings/values",
                "wrong_shape",
                f"Readings came as {shape}; expected {lines} lines of {points} points, {source}. "
                "Write null for a point that wasn't taken.",
            )
        ]
    if all(value is None for line in values for value in line):
        return [
            BrokenRule("/readings/values", "required", "No reading was taken: give at least one.")
        ]
    return _layout_exists(section, inside, lines, points) or _reasons(content, lines, points)


def _layout_exists(
    section: DuctSection, inside: InsideSection, lines: int, points: int
) -> list[BrokenRule]:
    try:
        plan_of(section, inside, lines, points)
    except ValueError as error:
        return [
            BrokenRule(
                "/readings/values",
                "no_such_layout",
                f"{section.layout_rule} has no layout of {lines} lines of {points} points "
                f"({error}): correct the section's layout rule, or the readings.",
            )
        ]
    return []


def _reasons(content: TraverseContent, lines: int, points: int) -> list[BrokenRule]:
    broken = []
    for number, (line, point, _) in enumerate(content.reasons):
        if not (1 <= line <= lines and 1 <= point <= points):
            broken.append(
                BrokenRule(
                    f"/reasons/{number}",
                    "out_of_range",
                    f"There is no point {point} on line {line}: lines go from 1 to {lines}, "
                    f"points from 1 to {points}.",
                )
            )
        elif content.readings["values"][line - 1][point - 1] is not None:
            broken.append(
                BrokenRule(
                    f"/reasons/{number}",
                    "not_missing",
                    f"Point {point} of line {line} was taken; a reason belongs to a null.",
                )
            )
    return broken


def _sweeps(
    content: TraverseContent,
    section: DuctSection,
    inside: InsideSection,
    lines: int,
    source: str,
) -> list[BrokenRule]:
    readings = content.readings
    if len(readings["lines"]) != lines:
        return [
            BrokenRule(
                "/readings/lines",
                "wrong_length",
                f"{len(readings['lines'])} sweeps came; expected {lines}, {source}.",
            )
        ]
    _, depth_m = inside.extents_m(section.drilled_side)  # type: ignore[arg-type]
    gaps_m = readings["near_gap_m"] + readings["far_gap_m"]
    if gaps_m >= depth_m:
        return [
            BrokenRule(
                "/readings/near_gap",
                "out_of_range",
                f"The two gaps together are {gaps_m * 1000:.0f} mm, the duct is "
                f"{depth_m * 1000:.0f} mm deep: nothing was swept. Check the unit.",
            )
        ]
    return [
        BrokenRule(
            f"/readings/lines/{number}/stamps/{index}/1",
            "outside_the_duct",
            f"A depth of {stamp[1] * 1000:.0f} mm is outside the duct, which is "
            f"{depth_m * 1000:.0f} mm deep.",
        )
        for number, line in enumerate(readings["lines"])
        for index, stamp in enumerate(line.get("stamps") or ())
        if not 0.0 <= stamp[1] <= depth_m + 0.001
    ]
