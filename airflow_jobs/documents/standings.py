"""One measured flow as a report shows it: the number, its interval, what it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from airflow_jobs import units as dimensions
from airflow_jobs import words
from airflow_jobs.display import Shown, Units, day_text, percent
from airflow_jobs.judged_strip import JudgedStrip, strip_of
from airflow_jobs.models import (
    Call,
    Computation,
    FlowReading,
    Result,
    State,
    Traverse,
    Verdict,
)

from . import report_words as said
from .measured import Measured
from .values import Fact, Standing

Ends = tuple[float, float] | None


def standing_of(measured: Measured, units: Units, zone: ZoneInfo) -> Standing:
    """Return what was measured in words."""
    result = measured.result
    values: dict[str, Any] = (result.values or {}) if result else {}
    findings = values.get("findings") or ()
    shown = headline(result, units) if result else None
    in_doubt = measured.in_doubt(zone) if result else ()
    return Standing(
        stage=measured.stage,
        taken_at=f"{measured.taken_at.astimezone(zone):%H:%M}",
        traverse_id=measured.row.pk if isinstance(measured.row, Traverse) else None,
        notice=_notice(measured, shown),
        shown=shown,
        strip=_strip(result, units) if result else None,
        verdict=result.verdict if result else "",
        verdict_text=verdict_of(result) if result else "",
        how=_how(result) if result else "",
        between=_between(shown),
        remarks=(
            *(meter.text for meter in in_doubt),
            *_remarks(measured, result, findings, zone),
        ),
        facts=_facts(measured, result, values, units, zone),
        findings=said.for_customers(findings),
        result=result.inputs_digest.rpartition(":")[2][:8] if result else "",
        engine=result.engine if result else "",
        in_doubt=in_doubt,
    )


def headline(result: Result, units: Units) -> Shown | None:
    """Return the number that people are shown: what was judged, else flow per capacity or flow."""
    values = result.values or {}
    is_part = _is_part(values)
    if result.judged_value is not None and not is_part:
        return units.show(
            result.judged_value,
            _judged_dimension(values),
            low_si=result.judged_low,
            high_si=result.judged_high,
        )
    kinds = [("flow_standard", dimensions.FLOW)]
    if not is_part:
        kinds.insert(0, ("flow_per_capacity", dimensions.FLOW_PER_CAPACITY))
    for name, dimension in kinds:
        value = (values.get("best_estimate") or {}).get(name)
        if value is not None:
            return _with_ends(value, values, name, dimension, units)
    return None


def verdict_of(result: Result) -> str:
    """Return a result's verdict in words."""
    return words.verdict_text(result.verdict, result.leaning, _likeliest(result))


def _how(result: Result) -> str:
    return words.verdict_in_sentence(result.verdict, result.leaning, _likeliest(result))


def _likeliest(result: Result) -> float | None:
    """Return how likely the likeliest of low, in range and high is."""
    chances = (result.probability_low, result.probability_in_range, result.probability_high)
    return max((chance for chance in chances if chance is not None), default=None)


def in_one_line(measured: Measured, units: Units, zone: ZoneInfo) -> str:
    """Return a further measurement in one line."""
    at = f"{measured.taken_at.astimezone(zone):%H:%M}"
    about = f"{words.STAGES[measured.stage]} at {at}"
    if isinstance(measured.row, Traverse):
        about += f", {measured.row.duct_section.name} with {measured.row.instrument}"
    result = measured.result
    if result is None:
        what = "being computed" if measured.state == State.PENDING else "could not be computed"
        return f"{about}: {what}"
    shown = headline(result, units)
    verdict = verdict_of(result).lower() if result.verdict != Verdict.NOT_JUDGED else "not judged"
    weak = ", indicative only" if result.indicative else ""
    again = ", being computed again" if measured.state == State.PENDING else ""
    off = ", in doubt: the meter was found off later" if measured.in_doubt(zone) else ""
    return f"{about}: {shown.plain if shown else 'no flow'}, {verdict}{weak}{again}{off}"


def _judged_dimension(values: dict[str, Any]) -> dimensions.Dimension:
    target = values.get("target") or {}
    by_flow = target.get("quantity") == "flow"
    return dimensions.FLOW if by_flow else dimensions.FLOW_PER_CAPACITY


def _is_part(values: dict[str, Any]) -> bool:
    """Return whether it is the flow in one of several ducts, which says nothing of capacity."""
    findings = values.get("findings") or ()
    return any(one.get("code") == "part_of_system" for one in findings)


def _ends(values: dict[str, Any], name: str) -> Ends:
    ends = (values.get("interval95") or {}).get(name) or {}
    low, high = ends.get("low"), ends.get("high")
    return None if low is None or high is None else (low, high)


def _with_ends(
    value: float | None,
    values: dict[str, Any],
    name: str,
    dimension: dimensions.Dimension,
    units: Units,
) -> Shown | None:
    low, high = _ends(values, name) or (None, None)
    return units.show(value, dimension, low_si=low, high_si=high)


def _notice(measured: Measured, shown: Shown | None) -> str:
    if measured.state == State.FAILED:
        return said.NOT_COMPUTED
    if measured.state == State.PENDING:
        return said.COMPUTED_AGAIN if measured.result else said.BEING_COMPUTED
    return "" if shown else said.NOTHING_READ


def _between(shown: Shown | None) -> str:
    if shown is None or not shown.half_width:
        return ""
    return f"The true value lies between {shown.low} and {shown.high} with 95 % confidence."


def _strip(result: Result, units: Units) -> JudgedStrip | None:
    value, low, high = result.judged_value, result.judged_low, result.judged_high
    target_low, target_high = result.target_low, result.target_high
    if (
        result.verdict == Verdict.NOT_JUDGED
        or value is None
        or low is None
        or high is None
        or target_low is None
        or target_high is None
        or not target_high > target_low
    ):
        return None
    dimension = _judged_dimension(result.values or {})
    ends = [units.show(end, dimension) for end in (target_low, target_high)]
    return strip_of(
        value=value,
        low=low,
        high=high,
        target_low=target_low,
        target_high=target_high,
        verdict=result.verdict,
        low_label=ends[0].number if ends[0] else "",
        high_label=ends[1].number if ends[1] else "",
    )


def _remarks(
    measured: Measured, result: Result | None, findings: Any, zone: ZoneInfo
) -> tuple[str, ...]:
    found = []
    if result is not None and result.verdict == Verdict.NOT_JUDGED:
        found.append(said.not_judged_because(findings))
    if result is not None and result.indicative:
        because = (result.values or {}).get("indicative_because") or ()
        reasons = f": {'; '.join(because)}" if because else ""
        found.append(f"Indicative only{reasons}.")
    if measured.corrected_at is not None:
        day = day_text(measured.corrected_at.astimezone(zone).date())
        found.append(
            f"Corrected on {day}; this is revision {measured.row.revision}."
            if isinstance(measured.row, Traverse)
            else f"A part of it was corrected on {day}."
        )
    return tuple(found)


def _facts(
    measured: Measured,
    result: Result | None,
    values: dict[str, Any],
    units: Units,
    zone: ZoneInfo,
) -> tuple[Fact, ...]:
    row = measured.row
    found = [("Target", _target(result, values, units) if result else "")]
    if result is not None:
        found += _flows(result, values, units)
        found.append(("By the rule's average", _by_rule(result, values, units)))
    if isinstance(row, Traverse):
        found += [
            ("Running", _running(row)),
            ("Duct", _duct(row, values, units)),
            ("Meter", _meter(row, measured, zone)),
            ("Air", _air(row, units)),
        ]
    else:
        traverses = [part for part in measured.parts if isinstance(part, Traverse)]
        meters = dict.fromkeys(_meter(part, measured, zone) for part in traverses)
        found += [
            ("Running", next((text for part in traverses if (text := _running(part))), "")),
            ("Ducts added up", _parts(measured.parts, units)),
            ("Meter", "; ".join(meters)),
            ("Air", next((text for part in traverses if (text := _air(part, units))), "")),
        ]
    return tuple(Fact(name, text) for name, text in found if text)


def _target(result: Result, values: dict[str, Any], units: Units) -> str:
    target = values.get("target")
    if not target or target.get("low") is None or target.get("high") is None:
        return ""
    dimension = _judged_dimension(values)
    low, high = (units.show(target[end], dimension) for end in ("low", "high"))
    assert low is not None
    assert high is not None
    text = f"{low.number} to {high.plain}"
    nominal = units.show(target.get("nominal"), dimension)
    if nominal is not None:
        text += f", nominal {nominal.number}"
    if target.get("tolerance") is not None:
        text += f" (± {percent(target['tolerance'])})"
    source = words.SOURCES.get(target.get("source"), "")
    basis = words.BASES.get(target.get("basis"), "").lower()
    return f"{text}; {source} word, {basis}" if source else f"{text}; {basis}"


def _flows(result: Result, values: dict[str, Any], units: Units) -> list[tuple[str, str]]:
    """Return the flows that the headline isn't."""
    best = values.get("best_estimate") or {}
    standard = _with_ends(
        best.get("flow_standard"), values, "flow_standard", dimensions.FLOW, units
    )
    actual = _with_ends(best.get("flow_actual"), values, "flow_actual", dimensions.FLOW, units)
    texts = [
        f"{shown.plain} {what}"
        for shown, what in ((standard, "of standard air"), (actual, "of the air as it was"))
        if shown is not None
    ]
    return [("Flow", "; ".join(texts))]


def _by_rule(result: Result, values: dict[str, Any], units: Units) -> str:
    target = values.get("target") or {}
    dimension: dimensions.Dimension = dimensions.FLOW_PER_CAPACITY
    half = None
    is_part = _is_part(values)
    if result.judged_value is not None and target.get("quantity") == "flow" and not is_part:
        on_actual = target.get("basis") == "actual"
        value = values.get("flow_actual" if on_actual else "flow_standard")
        dimension = dimensions.FLOW
    elif values.get("flow_per_capacity") is not None and not is_part:
        value = values["flow_per_capacity"]
    else:
        value, dimension = values.get("flow_standard"), dimensions.FLOW
    if value is None:
        return ""
    if result.judged_low is not None and result.judged_high is not None and not is_part:
        half = 0.5 * (result.judged_high - result.judged_low)
    elif ends := _ends(
        values, "flow_standard" if dimension is dimensions.FLOW else "flow_per_capacity"
    ):
        half = 0.5 * (ends[1] - ends[0])
    return f"{units.write_alike(value, dimension, half_width_si=half)} {units.name(dimension)}"


def _running(row: Traverse) -> str:
    state = row.operating_state or {}
    parts = []
    if row.call == Call.UNKNOWN:
        parts.append("call not on record")
    if state.get("blower_setting"):
        parts.append(f"blower at {state['blower_setting']}")
    for key, name in (("coil", "coil"), ("filter", "filter")):
        if state.get(key):
            parts.append(f"{name} {state[key]}")
    return ", ".join(parts)


def _duct(row: Traverse, values: dict[str, Any], units: Units) -> str:
    section = row.duct_section
    size = ""
    if section.diameter_m is not None:
        shown = units.show(section.diameter_m, dimensions.LENGTH)
        size = f", {shown.plain} round" if shown else ""
    else:
        width = units.show(section.width_m, dimensions.LENGTH)
        height = units.show(section.height_m, dimensions.LENGTH)
        size = f", {width.number} × {height.plain}" if width and height else ""
    area = units.show(values.get("inside_area"), dimensions.AREA)
    inside = f", {area.plain} inside" if area else ""
    return f"{section.name}, {section.get_air_path_display().lower()}{size}{inside}"


def _meter(row: Traverse, measured: Measured, zone: ZoneInfo) -> str:
    meter = row.instrument
    calibrations = measured.calibrations.get(row.instrument_id, ())
    name = str(meter) if str(meter) == meter.serial else f"{meter}, {meter.serial}"
    name = f"{name} ({meter.get_principle_display().lower()})"
    day = row.taken_at.astimezone(zone).date()
    before = [
        one
        for one in calibrations
        if one.performed_on <= day and (one.retired_on is None or one.retired_on > day)
    ]
    if not before:
        return f"{name}, no calibration on record by that day"
    latest = before[-1]
    done, due = day_text(latest.performed_on), day_text(latest.due_on)
    if latest.due_on < day:
        return f"{name}, out of calibration that day: calibrated {done}, was due {due}"
    certificate = f", certificate {latest.certificate}" if latest.certificate else ""
    return f"{name}, in calibration that day: calibrated {done}, due {due}{certificate}"


def _air(row: Traverse, units: Units) -> str:
    shown = [
        units.show(row.dry_bulb_c, dimensions.TEMPERATURE),
        units.show(row.barometric_pressure_pa, dimensions.BAROMETRIC_PRESSURE, digits=4),
    ]
    parts = [one.plain for one in shown if one]
    if row.relative_humidity is not None:
        parts.insert(min(1, len(parts)), f"{percent(row.relative_humidity)} humidity")
    result = _result_of(row)
    values = (result.values or {}) if result else {}
    density = units.show(values.get("air_density"), dimensions.DENSITY)
    if density is not None:
        parts.append(f"density {density.plain}")
    return ", ".join(parts)


def _result_of(row: Traverse) -> Result | None:
    computation: Computation | None = getattr(row, "computation", None)
    return computation.result if computation else None


def _parts(parts: Sequence[Traverse | FlowReading], units: Units) -> str:
    texts = []
    for part in parts:
        if isinstance(part, FlowReading):
            shown = units.show(part.flow_m3_s, dimensions.FLOW)
            name = words.METHODS.get(part.method, part.method)
            texts.append(f"{name} {shown.plain if shown else ''}")
            continue
        result = _result_of(part)
        flow = None
        if result is not None:
            values = result.values or {}
            best = (values.get("best_estimate") or {}).get("flow_standard")
            flow = _with_ends(best, values, "flow_standard", dimensions.FLOW, units)
        number = flow.plain if flow else "not computed yet"
        texts.append(f"{part.duct_section.name} {number}")
    return "; ".join(texts)
