"""Next steps: what to do about a system that needs a look, when, and on which page it says how."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from airflow_jobs import units as dimensions
from airflow_jobs.advice_words import change_words

from .change_words import setting_text
from .display import Units, percent
from .due_days import next_by
from .filters import day_text
from .meter_words import astray_text, otherwise_text
from .system_words import rests_in_doubt
from .values.next_steps import BesideStanding
from .values.systems import Judged, NeedsALook, OtherwiseJudged, Reason

# No blower is so far from its target: a unit or a capacity was entered wrongly.
UNLIKELY_RISE, UNLIKELY_FALL = 1.5, -0.6
# Below that, "about so many percent" would be no more than the measurement's own blur.
LEAST_CHANGE: Final = 0.03
STATIC_FIRST: Final = (
    "look at filter, coil and ducts first: the external static is over what the unit may have. "
    "Then measure again."
)
# What could hurt stands in the list too; the page has the rest.
WHAT_HURTS: Final = {
    "minimum_airflow": "Never below the maker's minimum airflow.",
    "temperature_rise": "Keep the temperature rise within the nameplate.",
}
LEAVE_ALONE: Final = "leave the blower alone"
ASK_FOR_BASIS: Final = (
    "Ask the maker whether the target is of standard or of actual flow, and enter that: the two "
    "are judged differently here."
)


@dataclass(frozen=True, slots=True)
class Page:
    """Where it says how: one of the service's pages and what to look at there."""

    name: str
    id: UUID
    text: str
    section: str = ""
    """Where on that page; empty for all of it."""

    @property
    def anchor(self) -> str:
        """What stands at the end of an address that leads there."""
        return f"#{self.section}" if self.section else ""


def next_step(
    needs: NeedsALook,
    *,
    today: datetime.date,
    units: Units,
    planned: str = "",
    beside: BesideStanding | None = None,
) -> str:
    """Say what to do about the worst reason.

    Parameters
    ----------
    needs
        The system with its reasons.
    today
        The day from which it is said.
    units
        In which flows are written.
    planned
        The visit that comes anyway, such as `On 3 Dec 2026, North:`; empty where none is planned.
    beside
        What the measurement's own page advises, so that the two say the same.
    """
    reason = needs.reasons[0]
    visit = planned or "Plan a visit:"
    if is_meter_first(reason, beside) and beside and beside.meter_in_doubt:
        return (
            f"Decide first what becomes of the readings of {beside.meter_in_doubt.name}. {visit} "
            "measure with another meter where it can't wait."
        )
    if (otherwise := otherwise_of(reason, beside)) is not None:
        return f"{visit} {_other_meter_first(otherwise)}"
    match reason.code:
        case "low" | "high":
            return _towards_nominal(reason, visit, beside, units)
        case "changed":
            return f"{visit} measure as left{_changed(beside)}."
        case "doubtful":
            doubt = beside.doubt if beside and beside.doubt else "What its page says."
            return f"Clear this up first: {doubt} Then measure again."
        case "undecided" if _hangs_on_basis(reason):
            return ASK_FOR_BASIS
        case "undecided":
            return (
                _advised(visit, beside, units)
                or f"{visit} set it nearer to nominal, or measure again with a narrower interval."
            )
        case "drifting":
            return _before_it_leaves(reason, visit if planned else "", today)
        case "failed":
            return "Correct what was entered, or measure again; its page says what is wrong."
        case "pending":
            return (
                "Wait some minutes; if it stays so, ask an administrator whether the worker runs."
            )
        case "not_judged":
            return "Enter the system's capacity, or a target for that call."
        case "calibration":
            return f"Have the meter calibrated and enter that. {visit} measure with another."
        case _:
            return f"{visit} measure as found."


def is_meter_first(reason: Reason, beside: BesideStanding | None) -> bool:
    """Whether the number hangs on a meter that a later calibration found off."""
    return (
        reason.code in ("low", "high", "undecided")
        and beside is not None
        and beside.meter_in_doubt is not None
    )


def otherwise_of(reason: Reason, beside: BesideStanding | None) -> OtherwiseJudged | None:
    """Return what the number would be without its meter's offset, where that decides.

    A meter that a calibration found off is decided on before.
    """
    if reason.code not in ("low", "high", "undecided") or beside is None:
        return None
    return None if is_meter_first(reason, beside) else beside.otherwise


def doubts(needs: NeedsALook, beside: BesideStanding | None, units: Units) -> list[str]:
    """Say why what a system needs is in doubt for its meters' sake; nothing where it isn't."""
    reason, found = needs.reasons[0], []
    if is_meter_first(reason, beside) and beside and beside.meter_in_doubt:
        meter = beside.meter_in_doubt
        found.append(
            f"In doubt: {meter.name} was found off on {day_text(meter.found_on)}, and what it had "
            "measured is not corrected"
        )
    if (otherwise := otherwise_of(reason, beside)) is not None:
        found.append(f"In doubt: {astray_text(otherwise, units)}")
    if beside is not None and beside.trend_in_doubt:
        said = rests_in_doubt(beside.trend_in_doubt, beside.trend_rests_on, whose="the trend's")
        found.append(said.rstrip("."))
    return found


def _other_meter_first(one: OtherwiseJudged) -> str:
    return (
        f"measure with another meter before the blower is turned, or have {one.meter.name} "
        f"calibrated first: without the {percent(abs(one.meter.held.offset), 1)} that it reads "
        f"{one.meter.reads} by, this is {otherwise_text(one)}."
    )


def page_of(needs: NeedsALook, beside: BesideStanding | None = None) -> Page:
    """Return the page that says how."""
    reason = needs.reasons[0]
    if is_meter_first(reason, beside) and beside and beside.meter_in_doubt:
        return Page("instrument", beside.meter_in_doubt.id, "The meter")
    if (otherwise := otherwise_of(reason, beside)) is not None:
        return Page("instrument", otherwise.meter.id, "The meter")
    one = reason.measurement
    if reason.code == "calibration" and one is not None and one.instrument_id is not None:
        return Page("instrument", one.instrument_id, "The meter")
    if reason.code == "drifting":
        return Page("system", needs.system.id, "Its history and trend", "history-title")
    if reason.code == "not_judged":
        return Page("system", needs.system.id, "The system", "facts-title")
    if one is None or one.traverse_id is None:
        return Page("system", needs.system.id, "Its measurements", "timeline-title")
    text = {
        "low": "How: measurement and advice",
        "high": "How: measurement and advice",
        "doubtful": "The measurement",
        "changed": "The measurement",
        "undecided": "The measurement" if _hangs_on_basis(reason) else "What would narrow it",
    }.get(reason.code, "The measurement")
    return Page("traverse", one.traverse_id, text)


def _hangs_on_basis(reason: Reason) -> bool:
    judged = reason.measurement.judged if reason.measurement else None
    return judged is not None and judged.hangs_on_basis


def _changed(beside: BesideStanding | None) -> str:
    """Say what was changed since, to follow `measure as left`."""
    if beside is None or beside.changed is None:
        return ""
    one = beside.changed
    what = f"{one.kind.lower()} {setting_text(one.from_value, one.to_value)}".strip()
    return f"; on {day_text(one.on)} it was changed: {what}"


def _advised(visit: str, beside: BesideStanding | None, units: Units) -> str:
    """Say what the measurement's own page advises; empty where it says nothing."""
    if beside is None:
        return ""
    advice = beside.advice
    if advice:
        codes = {one["code"] for one in advice.get("cautions") or ()}
        if "external_static" in codes:
            return f"{visit} {STATIC_FIRST}"
        said = [_first_low(_advice(advice, units))]
        said += [text for code, text in WHAT_HURTS.items() if code in codes]
        return f"{visit} {' '.join(said)}"
    if LEAVE_ALONE in beside.why_no_advice:
        return f"{beside.why_no_advice} Only a closer measurement would tell more."
    if beside.why_no_advice:
        return f"{beside.why_no_advice} {visit} measure again after that."
    return ""


def _advice(advice: Mapping[str, Any], units: Units) -> str:
    if advice["kind"] == "set_programmed_flow":
        target = units.show(advice["target_flow"], dimensions.FLOW)
        flow = f"{target.number} {target.unit} of {advice['basis']} air" if target else "the target"
        return f"Set the programmed flow to {flow}, then measure as left."
    said = f"{change_words(advice)}, then measure as left."
    if advice.get("is_one_step_of_more"):
        return f"{said} It takes more than this one step."
    if advice.get("to_setting") and not advice["expected_in_range"]:
        return f"{said} It comes nearer, but stays outside of the range."
    return said


def _first_low(text: str) -> str:
    return text[:1].lower() + text[1:]


def _towards_nominal(
    reason: Reason, visit: str, beside: BesideStanding | None, units: Units
) -> str:
    judged = reason.measurement.judged if reason.measurement else None
    change = _change(judged)
    if change is not None and not UNLIKELY_FALL < change < UNLIKELY_RISE:
        return (
            "Check what was entered, units and capacity first: no blower is so far from its "
            "target. If it is true, plan a visit."
        )
    if advised := _advised(visit, beside, units):
        return advised
    verb = "raise" if reason.code == "low" else "lower"
    if change is None or abs(change) < LEAST_CHANGE:
        return f"{visit} {verb} the airflow towards nominal, then measure as left."
    by = f"some {percent(abs(change))}"
    return f"{visit} {verb} the airflow by {by}, to nominal, then measure as left."


def _change(judged: Judged | None) -> float | None:
    if judged is None or judged.value <= 0.0:
        return None
    return judged.target_nominal / judged.value - 1.0


def _before_it_leaves(reason: Reason, planned: str, today: datetime.date) -> str:
    by = next_by(reason.trend, today)
    what = "look at filter, coil and belt, and measure as found."
    if planned:
        return f"{planned} {what}"
    if by is None or by <= today:
        return f"Plan a visit now: {what}"
    return f"Plan a visit by {day_text(by)}: {what}"
