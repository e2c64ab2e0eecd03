"""A traverse's page: the number, how it came about, what was read, what to mind."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final
from uuid import UUID

from django.http import Http404, HttpResponse
from django.urls import reverse

from airflow_jobs import units as dimensions
from airflow_jobs.found_off import calibrations
from airflow_jobs.models import Verdict

from .. import calibration_words, meter_words, words
from ..display import Shown, Units, percent, unbroken
from ..filters import day_text
from ..queries.meters_astray import Use, otherwise
from ..queries.traverse import traverse_record
from ..strips import JudgedStrip
from ..tables import Table
from ..values.systems import Judged
from ..values.traverses import Interval, Outcome, TargetRange, TraverseRecord
from . import traverse_tables as tables
from .frame import Frame, file_of, page
from .traverse_advice import blower_advice, comparisons, why_no_advice
from .traverse_beside import pressures_sentence, pressures_table, rises_table
from .traverse_profile import profile_chart
from .traverse_section import positions_table, section_of

FIRST_FINDINGS = 3
TABLES: Final[dict[str, Callable[[TraverseRecord, Units], Table | None]]] = {
    "flows": tables.flows_table,
    "corrections": tables.corrections_table,
    "budget": tables.budget_table,
    "readings": tables.readings_table,
    "positions": positions_table,
    "pressures": pressures_table,
    "rises": rises_table,
}
"""Address of the file -> what makes the table."""
OF_RESULT: Final = ("flows", "corrections", "budget")


@page
def traverse(frame: Frame, *, traverse_id: UUID) -> HttpResponse:
    """Show a traverse with its result and everything behind it."""
    record = _record(traverse_id)
    outcome = record.outcome
    units = frame.house.units
    findings = outcome.findings if outcome else ()
    return frame.page(
        "traverse.html",
        section="systems",
        record=record,
        outcome=outcome,
        title_day=day_text(record.taken_at.date()),
        title_time=f"{record.taken_at:%H:%M}",
        computed_at=f"{outcome.computed_at:%Y-%m-%d %H:%M}" if outcome else "",
        stage=words.STAGES[record.stage],
        call=words.CALLS.get(record.call, record.call),
        crew=record.crew if frame.viewer.sees_crew(record.crew_id) else "another crew",
        verdict=_verdict(outcome),
        best=_best(outcome, units) if outcome else None,
        strip=_strip(outcome, units) if outcome else None,
        by_rule=_by_rule(outcome, units) if outcome else "",
        target=_target(outcome.target, outcome, units) if outcome and outcome.target else "",
        tables={
            slug: make(record, units)
            for slug, make in TABLES.items()
            if outcome is not None or slug not in OF_RESULT
        },
        chart=profile_chart(record, units),
        section_drawn=section_of(record, units),
        in_doubt=_in_doubt(record, frame),
        pressures_sentence=pressures_sentence(record, units),
        findings_first=findings[:FIRST_FINDINGS],
        findings_more=findings[FIRST_FINDINGS:],
        blower_advice=blower_advice(outcome, units),
        why_no_blower_advice=why_no_advice(outcome),
        comparisons=comparisons(outcome, units),
        facts=_facts(record, units),
        air=_air(record, units),
        state_facts=[
            (name.replace("_", " ").capitalize(), str(value))
            for name, value in record.operating_state.items()
            if value not in (None, "")
        ],
        sets=_sets(record, units),
        advice_line=words.ADVICE_LINE,
    )


@page
def traverse_file(frame: Frame, *, traverse_id: UUID, slug: str) -> HttpResponse:
    """Send one of the page's tables as CSV."""
    record = _record(traverse_id)
    if slug not in TABLES or (record.outcome is None and slug in OF_RESULT):
        raise Http404
    table = TABLES[slug](record, frame.house.units)
    if table is None:
        raise Http404
    return file_of(table, "traverse")


def _record(traverse_id: UUID) -> TraverseRecord:
    record = traverse_record(traverse_id)
    if record is None:
        raise Http404("There is no such traverse.")
    return record


def _verdict(outcome: Outcome | None) -> str:
    if outcome is None:
        return ""
    chances = [
        chance
        for chance in (
            outcome.probability_low,
            outcome.probability_in_range,
            outcome.probability_high,
        )
        if chance is not None
    ]
    return words.verdict_text(outcome.verdict, outcome.leaning, max(chances, default=None))


def judged_dimension(outcome: Outcome) -> dimensions.Dimension:
    """Return what the headline is: flow by design flow, or flow per capacity."""
    return dimensions.FLOW if outcome.by_design_flow else dimensions.FLOW_PER_CAPACITY


def _best(outcome: Outcome, units: Units) -> Shown | None:
    """Return the number that people are shown: what was judged, else the standard flow."""
    if outcome.judged.value is not None:
        return _shown(outcome.judged, judged_dimension(outcome), units)
    if outcome.flow_per_capacity.value is not None:
        return _shown(outcome.flow_per_capacity, dimensions.FLOW_PER_CAPACITY, units)
    return _shown(outcome.flow_standard, dimensions.FLOW, units)


def _shown(interval: Interval, dimension: dimensions.Dimension, units: Units) -> Shown | None:
    return units.show(interval.value, dimension, low_si=interval.low, high_si=interval.high)


def _strip(outcome: Outcome, units: Units) -> JudgedStrip | None:
    judged = _judged(outcome)
    return None if judged is None else words.labelled_strip(judged, units)


def _judged(outcome: Outcome) -> Judged | None:
    target, judged = outcome.target, outcome.judged
    if (
        outcome.verdict in ("", Verdict.NOT_JUDGED)
        or target is None
        or target.low is None
        or target.high is None
        or judged.value is None
        or judged.low is None
        or judged.high is None
    ):
        return None
    in_range = outcome.probability_in_range or 0.0
    return Judged(
        value=judged.value,
        low=judged.low,
        high=judged.high,
        target_low=target.low,
        target_nominal=target.nominal or 0.5 * (target.low + target.high),
        target_high=target.high,
        verdict=outcome.verdict,
        leaning=outcome.leaning,
        probability_in_range=in_range,
        probability_most=max(
            in_range, outcome.probability_low or 0.0, outcome.probability_high or 0.0
        ),
        by_design_flow=outcome.by_design_flow,
    )


def _in_doubt(record: TraverseRecord, frame: Frame) -> list[dict[str, str]]:
    """Return what makes the result doubtful for its meter's sake, and what to do about it."""
    units = frame.house.units
    found_off = [
        {"text": calibration_words.in_doubt_text(one, units), "what": "What can be done"}
        for one in calibrations(record.instrument_id)
        if one.leaves_in_doubt(record.taken_at.date())
    ]
    judged = _judged(record.outcome) if record.outcome else None
    if found_off or judged is None:
        return found_off
    use = Use(record.instrument_id, record.taken_at.date(), judged)
    return [
        {
            "text": f"{meter_words.astray_text(one, units)}. Measure with another meter before "
            "the blower is turned, or have this one calibrated first.",
            "what": "The meter against the others",
        }
        for one in otherwise([use], today=frame.today)
        if one is not None
    ]


def _half(interval: Interval) -> float | None:
    if interval.low is None or interval.high is None:
        return None
    return 0.5 * (interval.high - interval.low)


def _by_rule(outcome: Outcome, units: Units) -> str:
    """Return the rule's average of the headline's quantity, rounded like it."""
    if outcome.judged.value is not None and outcome.by_design_flow:
        basis = outcome.target.basis if outcome.target else ""
        value = outcome.rule_flow_actual if basis == "actual" else outcome.rule_flow_standard
        dimension, interval = dimensions.FLOW, outcome.judged
    elif outcome.flow_per_capacity.value is not None:
        value, dimension = outcome.rule_flow_per_capacity, dimensions.FLOW_PER_CAPACITY
        interval = outcome.flow_per_capacity
    else:
        value, dimension = outcome.rule_flow_standard, dimensions.FLOW
        interval = outcome.flow_standard
    if value is None:
        return ""
    written = units.write_alike(value, dimension, half_width_si=_half(interval))
    return f"{written} {units.name(dimension)}"


def _target(target: TargetRange, outcome: Outcome, units: Units) -> str:
    dimension = judged_dimension(outcome)
    if target.low is None or target.high is None:
        return ""
    said = f"{words.range_of(target.low, target.high, dimension, units)} {units.name(dimension)}"
    if target.nominal is not None:
        nominal = units.show(target.nominal, dimension)
        said += f", nominal {nominal.number}" if nominal else ""
    if target.tolerance is not None:
        said += f" ({unbroken('±', percent(target.tolerance))})"
    source = words.SOURCES.get(target.source, target.source)
    basis = words.BASES.get(target.basis, target.basis).lower()
    call = words.CALLS.get(target.call, target.call).lower()
    return f"{said}; {source} word, {basis}, for {call}"


def _facts(record: TraverseRecord, units: Units) -> list[tuple[str, str]]:
    section = record.section
    size = ""
    if section.diameter_m is not None:
        shown = units.show(section.diameter_m, dimensions.LENGTH)
        size = f"{shown.plain} round" if shown else ""
    elif section.width_m is not None and section.height_m is not None:
        width = units.show(section.width_m, dimensions.LENGTH)
        height = units.show(section.height_m, dimensions.LENGTH)
        if width and height:
            shape = section.shape.replace("_", " ")
            size = f"{width.number} × {height.plain} {shape}"
    lining = units.show(section.lining_m or None, dimensions.LENGTH)
    area = units.show(
        record.outcome.inside_area if record.outcome else None, dimensions.AREA, digits=4
    )
    meter = record.instrument
    if record.instrument_serial != record.instrument:
        meter = f"{record.instrument}, {record.instrument_serial}"
    found = [
        ("Section", f"{section.name}, {section.air_path.lower()}"),
        ("Outside size", size),
        ("Lining", lining.plain if lining else ""),
        ("Inside area", area.plain if area else ""),
        ("Layout rule", section.layout_rule),
        ("Meter", f"{meter} ({record.principle.lower()})"),
        ("Purpose of the visit", record.purpose),
        ("Revision", str(record.revision) if record.revision > 1 else ""),
    ]
    return [(name, text) for name, text in found if text]


def _air(record: TraverseRecord, units: Units) -> list[tuple[str, str]]:
    outcome = record.outcome
    shown = [
        ("Dry bulb", units.show(record.dry_bulb_c, dimensions.TEMPERATURE)),
        ("Wet bulb", units.show(record.wet_bulb_c, dimensions.TEMPERATURE)),
        ("Dew point", units.show(record.dew_point_c, dimensions.TEMPERATURE)),
        (
            "Barometric pressure",
            units.show(record.barometric_pressure_pa, dimensions.BAROMETRIC_PRESSURE, digits=4),
        ),
        ("Elevation", units.show(record.elevation_m, dimensions.ELEVATION)),
        ("Duct static", units.show(record.duct_static_pa, dimensions.PRESSURE)),
        (
            "Density of the air",
            units.show(outcome.air_density if outcome else None, dimensions.DENSITY, digits=4),
        ),
        (
            "Density of standard air",
            units.show(outcome.standard_density if outcome else None, dimensions.DENSITY, digits=4),
        ),
    ]
    found = [(name, one.plain) for name, one in shown if one]
    if record.relative_humidity is not None:
        found.insert(1, ("Relative humidity", percent(record.relative_humidity)))
    return found


def _sets(record: TraverseRecord, units: Units) -> list[dict[str, Any]]:
    found = []
    for member in record.sets:
        flow = _shown(member.flow_standard, dimensions.FLOW, units)
        found.append(
            {
                "flow": flow.plain if flow else "not computed yet",
                "verdict": words.verdict_text(member.verdict, "", None),
                "sign": "taken away from" if member.sign < 0 else "part of",
                "system": reverse("system", args=[record.system.id]),
            }
        )
    return found
