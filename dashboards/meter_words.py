"""The sentences about meters: who reads high or low, what can't be told, what is overdue."""

from __future__ import annotations

import datetime

from .display import percent, write
from .values.meters import DUE_SOON_DAYS, MeterStanding, Reads, Register
from .words import count_of, listed


def reads_text(reads: Reads) -> str:
    """Return by how much a meter reads above the others, in percent."""
    return _signed_percent(reads.offset)


def reads_ends(reads: Reads) -> str:
    """Return the interval of what a meter reads above the others."""
    return f"{_signed_percent(reads.low)} to {_signed_percent(reads.high)}"


def _signed_percent(share: float) -> str:
    number = write(share * 100.0, 1)
    return f"{'+' if share > 0 else ''}{number} %"


def meter_sentence(one: MeterStanding, *, names_crew: bool) -> str:
    """Say in plain words whether a meter reads high or low, and what can't be told."""
    held = one.held
    if held is None:
        return "Too few comparisons with other meters; paired checks are the cheap proof."
    said = {
        "high": f"Reads high, by more than its accuracy of {percent(one.allowed, 1)} allows.",
        "low": f"Reads low, by more than its accuracy of {percent(one.allowed, 1)} allows.",
    }.get(
        one.reads,
        "No evidence that it is off by more than its accuracy of "
        f"{percent(one.allowed, 1)} allows.",
    )
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


def meters_sentence(register: Register) -> str:
    """Say what the comparison of the meters shows."""
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
    ] or ["No meter reads high or low by more than its accuracy allows."]
    return (
        f"{' '.join(said)} {count_of(compared, 'meter')} of {len(register.meters):,} can be "
        "compared, against each other and not against the truth, which only a calibration tells."
    )


def register_sentence(register: Register, *, today: datetime.date) -> str:
    """Say how the calibrations stand, and what is due next."""
    overdue, soon = register.overdue, register.due_soon(today)
    said = []
    if overdue:
        verb = "is" if len(overdue) == 1 else "are"
        said.append(
            f"{listed([one.name for one in overdue])} {verb} out of calibration: send "
            f"{'it' if len(overdue) == 1 else 'them'} in before the next visit. Results are "
            "computed again when a calibration is entered."
        )
    else:
        said.append("Every meter in use is in calibration.")
    if soon:
        names = listed([f"{one.name} ({one.due_on})" for one in soon])
        said.append(f"Due within {DUE_SOON_DAYS} days: {names}.")
    return " ".join(said)
