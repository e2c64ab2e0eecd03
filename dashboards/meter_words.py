"""The sentences about meters: who reads high or low, what can't be told, what is overdue."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence

from airflow_jobs import units as dimensions
from airflow_jobs.found_off import CalibrationFound

from . import calibration_words
from .display import Units, percent, unbroken, write
from .values.meters import DUE_SOON_DAYS, MeterStanding, Reads, Register
from .values.systems import OtherwiseJudged
from .words import count_of, listed, verdict_text


def reads_text(reads: Reads) -> str:
    """Return by how much a meter reads above the others, in percent."""
    return _signed_percent(reads.offset)


def reads_ends(reads: Reads) -> str:
    """Return the interval of what a meter reads above the others."""
    return unbroken(_signed_percent(reads.low), "to", _signed_percent(reads.high))


def allowed_text(allowed: float) -> str:
    """Return the error that an accuracy allows, with a second decimal only where it has one."""
    in_percent = round(allowed * 100.0, 2)
    return percent(allowed, 1 if in_percent == round(in_percent, 1) else 2)


def _signed_percent(share: float, decimals: int = 1) -> str:
    number = write(share * 100.0, decimals)
    return unbroken(f"{'+' if share > 0 else ''}{number}", "%")


def meter_sentence(one: MeterStanding, *, names_crew: bool) -> str:
    """Say in plain words whether a meter reads high or low, and what can't be told."""
    held = one.held
    if held is None:
        return "Too few comparisons with other meters; paired checks are the cheap proof."
    than_allowed = f"by more than its accuracy of {allowed_text(one.allowed)} allows"
    said = {
        "high": f"Reads high, {than_allowed}.",
        "low": f"Reads low, {than_allowed}.",
        "alike": f"No evidence that it is off {than_allowed}: the whole interval lies within that.",
    }.get(one.reads) or _untold(one, held, than_allowed)
    if one.accuracy_relative is None:
        said += " (No accuracy is on record; 5 % is taken.)"
    if one.reads in ("high", "low"):
        said += (
            " Have it calibrated, or check it against a calibrated meter in the same holes: "
            "nothing is corrected on this evidence alone."
        )
    if one.is_bound_to_crew:
        crew = one.only_crew if names_crew else "one crew"
        said += (
            f" It always travels with {crew}, so that the meter can't be told from the crew; "
            "paired checks with another meter would tell."
        )
    return said


def _untold(one: MeterStanding, held: Reads, than_allowed: str) -> str:
    """Say that it can't be told, and what would tell."""
    if held.low > one.allowed or held.high < -one.allowed:
        side = "high" if held.offset > 0 else "low"
        return (
            f"It may read {side} {than_allowed}, but with so many meters compared chance alone may "
            "explain it; more paired checks would tell."
        )
    low, high = _ends_beyond(held, one.allowed)
    said = (
        f"It can't be told whether it is off {than_allowed}: the interval reaches from {low} to "
        f"{high}."
    )
    if one.is_bound_to_crew:
        return said
    more = "More paired checks" if one.paired is not None else "Paired checks"
    return f"{said} {more} with another meter in the same holes would tell."


def _ends_beyond(held: Reads, allowed: float) -> tuple[str, str]:
    """Return the ends of an interval that reaches beyond what is allowed, so written that it shows.

    An end that would be rounded to the limit or within gets another digit, and away from zero.
    """
    texts = []
    for end in (held.low, held.high):
        is_hidden = abs(end) > allowed and round(abs(end) * 100.0, 1) <= round(allowed * 100.0, 2)
        if is_hidden:
            end = math.copysign(math.ceil(abs(end) * 1e4) / 1e4, end)
        texts.append(_signed_percent(end, 2 if is_hidden else 1))
    return texts[0], texts[1]


def astray_text(one: OtherwiseJudged, units: Units) -> str:
    """Say how a measurement's meter reads against the others, and what decides without it."""
    meter = one.meter
    dimension = dimensions.FLOW if one.by_design_flow else dimensions.FLOW_PER_CAPACITY
    shown = units.show(one.value, dimension, low_si=one.low, high_si=one.high)
    assert shown is not None
    return (
        f"{meter.name} reads {meter.reads} against the other meters by "
        f"{percent(abs(meter.held.offset), 1)} ({reads_ends(meter.held)}). Without that it would "
        f"be {shown.plain}: {otherwise_text(one)}"
    )


def otherwise_text(one: OtherwiseJudged) -> str:
    """Say how a measurement would be judged without what its meter reads high or low by."""
    verdict = verdict_text(one.verdict, one.leaning, one.probability_most)
    return f"{verdict[0].lower()}{verdict[1:]}"


def meter_and_calibration_sentence(
    one: MeterStanding, found_off: CalibrationFound | None, *, names_crew: bool
) -> str:
    """Say what a calibration found first, then what the comparison shows beside it."""
    said = meter_sentence(one, names_crew=names_crew)
    if found_off is None:
        return said
    found = calibration_words.found_first_text(found_off)
    if one.held is None:
        return f"{found} {said}"
    return (
        f"{found} The comparison with other meters is over the whole period, before and after that "
        f"day, and need not show it. In it: {said[0].lower()}{said[1:]}"
    )


def rests_sentence(one: MeterStanding, total: int, *, are_in_doubt: bool) -> str:
    """Say how many results rest on a meter, and which of them a calibration would change."""
    results = count_of(total, "result")
    if one.results_out:
        said = (
            f"{results}, {one.results_out:,} of them taken out of calibration. When a calibration "
            f"is entered that covers {'it' if one.results_out == 1 else 'them'}, "
            f"{'it is' if one.results_out == 1 else 'they are'} computed again with it."
        )
    elif total == 1:
        said = f"{results}, taken in calibration."
    else:
        said = f"{results}, all of them taken in calibration."
    if are_in_doubt:
        said += (
            " Those in doubt because a calibration found the meter off later are not corrected by "
            "themselves; what can be done stands above."
        )
    return said


def meters_sentence(register: Register, found_off: Sequence[CalibrationFound] = ()) -> str:
    """Say what the comparison of the meters shows, and that it need not show what a calibration
    found in the same time."""
    compared = sum(one.held is not None for one in register.meters)
    if not compared:
        return (
            "No meter can be compared yet: it takes ten flows that two meters measured. Measure "
            "the same holes with two meters in the same hour now and then."
        )
    said = [
        f"{one.name} reads {one.reads} by {percent(abs(one.held.offset), 1)} "
        f"({reads_ends(one.held)})."
        for one in register.astray
        if one.held is not None
    ] or ["No meter is shown to read high or low by more than its accuracy allows."]
    untold = len(register.untold)
    if untold:
        said.append(
            f"Of {untold:,} it can't be told: the interval reaches beyond the accuracy, but not "
            "all of it, or not surely. Paired checks in the same holes would tell."
        )
    said.append(
        f"{count_of(compared, 'meter')} of {len(register.meters):,} can be compared, against each "
        "other and not against the truth, which only a calibration tells."
    )
    names = listed(list(dict.fromkeys(one.meter for one in found_off)))
    if names:
        said.append(
            f"A calibration found {names} off: that goes first. A comparison over the whole "
            "period, before and after it, need not show it."
        )
    return " ".join(said)


def register_sentence(register: Register, *, today: datetime.date) -> str:
    """Say how the calibrations stand, and what is due next."""
    overdue, soon = register.overdue, register.due_soon(today)
    said = []
    if overdue:
        verb = "is" if len(overdue) == 1 else "are"
        said.append(
            f"{listed([one.name for one in overdue])} {verb} out of calibration: send "
            f"{'it' if len(overdue) == 1 else 'them'} in before the next visit. Results taken out "
            "of calibration are computed again when a calibration is entered that covers them."
        )
    else:
        said.append("Every meter in use is in calibration.")
    if soon:
        names = listed([f"{one.name} ({one.due_on})" for one in soon])
        said.append(f"Due within {DUE_SOON_DAYS} days: {names}.")
    return " ".join(said)
