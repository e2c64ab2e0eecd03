"""What must hold before a row is stored, where the database alone can't say it well."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Any, Final
from zoneinfo import available_timezones

from airflow_jobs.models import (
    Adjustment,
    BlowerTable,
    Calibration,
    Company,
    DuctSection,
    Equipment,
    FlowReading,
    FlowSet,
    PressureReading,
    Record,
    Shape,
    Site,
    Target,
    TemperatureRise,
    Visit,
)
from airflow_jobs.recompute.inputs import inside_of, plan_of

from .constraints import BrokenRule, in_words
from .positions import along_key, broken_positions

AHEAD: Final = datetime.timedelta(days=1)
"""How far ahead of our clock a phone's may be."""

_ZONES: Final = frozenset(available_timezones())


def broken_rules(
    row: Record, *, now: datetime.datetime, changed: frozenset[str]
) -> list[BrokenRule]:
    """Return every rule that a row (with its related rows at hand) would break.

    Parameters
    ----------
    row
        The row as it would be stored.
    now
        The clock.
    changed
        Column names that are new or changed; rules about the moment of writing look there only.
    """
    broken: list[BrokenRule] = []
    for name in ("taken_at", "made_at", "started_at", "finished_at"):
        if name in changed:
            broken += broken_by_future(f"/{name}", getattr(row, name, None), now)
    rule = _RULES.get(type(row))
    return broken + (rule(row) if rule is not None else [])


def broken_by_future(
    pointer: str, moment: datetime.datetime | None, now: datetime.datetime
) -> list[BrokenRule]:
    """Refuse a time more than a day ahead: a clock or a date is wrong."""
    if moment is None or moment <= now + AHEAD:
        return []
    return [
        BrokenRule(
            pointer,
            "in_the_future",
            f"{moment.isoformat()} is in the future (it is {now.isoformat(timespec='seconds')} "
            "now): check the date and the clock of the device.",
        )
    ]


def _time_zone(row: Any) -> list[BrokenRule]:
    if row.time_zone in _ZONES:
        return []
    return [
        BrokenRule(
            "/time_zone",
            "unknown_time_zone",
            f"'{row.time_zone}' is no time zone of the tz database: "
            "write it as Area/Place, such as America/Chicago.",
        )
    ]


def _company(row: Any) -> list[BrokenRule]:
    low, high = row.default_low_m3_s_per_w, row.default_high_m3_s_per_w
    ordered = 0.0 < low < row.default_nominal_m3_s_per_w < high
    return _time_zone(row) + ([] if ordered else [in_words("company_default_target_ordered")])


def _equipment(row: Any) -> list[BrokenRule]:
    return _retired_after(row, "commissioned_on")


def _retired_after(row: Any, since: str) -> list[BrokenRule]:
    start = getattr(row, since)
    if start is None or row.retired_on is None or row.retired_on >= start:
        return []
    return [
        BrokenRule(
            "/retired_on",
            "not_ordered",
            f"Retired on {row.retired_on} is before {since} {start}.",
        )
    ]


def _target(row: Any) -> list[BrokenRule]:
    rates = [row.low_m3_s_per_w, row.nominal_m3_s_per_w, row.high_m3_s_per_w]
    design = [row.design_flow_m3_s, row.design_tolerance]
    is_range = all(value is not None for value in rates) and not any(
        value is not None for value in design
    )
    is_design = all(value is not None for value in design) and not any(
        value is not None for value in rates
    )
    if not (is_range or is_design):
        return [in_words("target_range_or_design_flow")]
    return []


def _duct_section(row: Any) -> list[BrokenRule]:
    wanted = ("diameter",) if row.shape == Shape.ROUND else ("width", "height")
    broken = []
    for size in ("width", "height", "diameter"):
        value = getattr(row, f"{size}_m")
        if size in wanted and value is None:
            broken.append(
                BrokenRule(f"/{size}", "required", f"A {row.shape} section needs its {size}.")
            )
        elif size not in wanted and value is not None:
            needs = " and ".join(wanted)
            broken.append(
                BrokenRule(
                    f"/{size}",
                    "not_for_this_shape",
                    f"A {row.shape} section has {needs}, no {size}: leave it out.",
                )
            )
    if broken:
        return broken
    try:
        inside = inside_of(row)
    except ValueError:
        oval_stands = row.shape == Shape.FLAT_OVAL and row.width_m < row.height_m
        return [
            in_words(
                "duct_section_oval_lies_flat"
                if oval_stands
                else "duct_section_lining_leaves_an_inside"
            )
        ]
    try:
        plan_of(row, inside, row.lines, row.points_per_line)
    except ValueError as error:
        return [
            BrokenRule(
                "/layout_rule",
                "no_such_layout",
                f"{row.layout_rule} has no layout for these lines and points: {error}.",
            )
        ]
    return _holes(row, inside) if row.holes else []


def _holes(row: Any, inside: Any) -> list[BrokenRule]:
    broken = broken_positions(row.holes, row, inside, "/holes")
    count = len(row.holes.get(along_key(row)) or row.holes.get("depths") or ())
    if not broken and row.lines is not None and count and count != row.lines:
        broken.append(
            BrokenRule(
                "/holes",
                "wrong_length",
                f"There are {count} holes, but the section has lines = {row.lines}: "
                "correct one of them.",
            )
        )
    return broken


def _blower_table(row: Any) -> list[BrokenRule]:
    seen = set()
    broken = []
    for number, line in enumerate(row.rows):
        key = (line["setting"].casefold(), line["external_static_pa"])
        if key in seen:
            broken.append(
                BrokenRule(
                    f"/rows/{number}",
                    "duplicate",
                    f"Setting '{line['setting']}' at this external static stands there twice.",
                )
            )
        seen.add(key)
    return broken


def _calibration(row: Any) -> list[BrokenRule]:
    broken = [in_words("calibration_dates_ordered")] if row.due_on < row.performed_on else []
    if (row.found_gain is None) != (row.found_offset_m_s is None):
        broken.append(in_words("calibration_found_possible"))
    return broken + _correction(row)


def _correction(row: Any) -> list[BrokenRule]:
    """Refuse to correct what the calibration can't know of, or without a reason."""
    if row.corrects_from is None:
        if row.corrects_wholly or row.corrects_because:
            return [in_words("calibration_corrects_for_a_reason")]
        return []
    broken = []
    if not row.corrects_because.strip():
        broken.append(in_words("calibration_corrects_for_a_reason"))
    if row.corrects_from >= row.performed_on:
        broken.append(in_words("calibration_corrects_before_it_was_performed"))
    if row.retired_on is not None:
        broken.append(
            BrokenRule(
                "/corrects_from",
                "retired",
                "A calibration that was retired corrects nothing: leave corrects_from out.",
            )
        )
    before = Calibration.objects.before(row).first()
    if before is not None and row.corrects_from < before.performed_on:
        broken.append(
            BrokenRule(
                "/corrects_from",
                "out_of_range",
                f"The calibration before was on {before.performed_on}; what the meter did "
                f"earlier this one can't know. Take {before.performed_on} or a later day.",
            )
        )
    return broken


def _visit(row: Any) -> list[BrokenRule]:
    if row.started_at and row.finished_at and row.finished_at < row.started_at:
        return [in_words("visit_ends_after_it_starts")]
    return []


def _at_the_site(row: Any) -> list[BrokenRule]:
    """Refuse a system that isn't at the visit's site."""
    if row.equipment.site_id == row.visit.site_id:
        return []
    return [
        BrokenRule(
            "/equipment",
            "other_site",
            f"System {row.equipment.tag} isn't at the site of this visit: "
            "choose a system of that site, or the right visit.",
        )
    ]


def _temperature_rise(row: Any) -> list[BrokenRule]:
    broken = _at_the_site(row)
    by_heat = row.heat_input_w is not None and row.efficiency is not None
    if (row.electric_power_w is not None) == (row.heat_input_w is not None) or (
        row.heat_input_w is not None and not by_heat
    ):
        broken.append(in_words("temperature_rise_one_heat"))
    return broken


_RULES: Final[dict[type[Record], Callable[[Any], list[BrokenRule]]]] = {
    Company: _company,
    Site: _time_zone,
    Equipment: _equipment,
    Target: _target,
    DuctSection: _duct_section,
    BlowerTable: _blower_table,
    Calibration: _calibration,
    Visit: _visit,
    Adjustment: _at_the_site,
    PressureReading: _at_the_site,
    TemperatureRise: _temperature_rise,
    FlowReading: _at_the_site,
    FlowSet: _at_the_site,
}
