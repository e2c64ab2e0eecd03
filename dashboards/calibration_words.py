"""The sentences about calibrations that found a meter off, and about what they correct."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from airflow_jobs import units as dimensions
from airflow_jobs.found_off import CalibrationFound
from airflow_jobs.words import misread_text

from .display import MINUS, Units, percent, write
from .filters import day_text
from .values.filters import Filters
from .words import count_of, listed


def signed_percent(share: float, decimals: int = 1) -> str:
    """Return a relative difference with its sign."""
    return f"{'+' if share > 0 else ''}{write(100.0 * share, decimals)}\N{NO-BREAK SPACE}%"


def found_text(one: CalibrationFound, units: Units) -> str:
    """Say what a calibration found against what had been taken before."""
    at = units.show(one.at_m_s, dimensions.VELOCITY)
    assert at is not None
    if one.change is None:
        return ""
    return (
        f"The calibration of {day_text(one.performed_on)} found that {one.meter} read "
        f"{misread_text(one.change)} at {at.plain}, against what had been taken before; "
        f"its accuracy allows {percent(one.allowed, 1)}."
    )


def found_first_text(one: CalibrationFound) -> str:
    """Say in short what a calibration found, before anything else is said of the meter."""
    then = (
        "its earlier readings are corrected"
        if one.corrects
        else "its earlier results are not corrected"
    )
    return (
        f"The calibration of {day_text(one.performed_on)} found that it read "
        f"{misread_text(one.change or 0.0)}; {then}."
    )


def found_off_in(
    found: Iterable[CalibrationFound], filters: Filters
) -> dict[UUID, CalibrationFound]:
    """Return by meter the latest calibration within a period that found it off after it was used.

    One before the period leaves nothing to reconcile: all that is compared was measured after it.
    """
    kept: dict[UUID, CalibrationFound] = {}
    for one in found:
        is_within = filters.from_on is None or one.performed_on > filters.from_on
        is_begun = filters.to_on is None or one.since is None or one.since <= filters.to_on
        if one.is_off and one.between and is_within and is_begun:
            kept.setdefault(one.instrument_id, one)
    return kept


def since_text(one: CalibrationFound) -> str:
    """Say since when a meter may have been off, and how much rests on that."""
    rests = count_of(one.between, "result")
    if one.before_on is not None:
        since = (
            f"It may have been off at any time since {day_text(one.before_on)}, when it was "
            "calibrated before."
        )
    elif one.first_used_on is not None:
        since = (
            "No calibration lies before that one, so it may have been off since it was first "
            f"used, on {day_text(one.first_used_on)}."
        )
    else:
        since = "It was not used before that day."
    verb = "rests" if one.between == 1 else "rest"
    return (
        f"{since} {rests} in between {verb} on it."
        if one.between
        else (f"{since} No result rests on it in between.")
    )


def in_doubt_text(one: CalibrationFound, units: Units) -> str:
    """Say of one result that its meter was found off after it."""
    return (
        f"{found_text(one, units)} This result may rest on a meter that was off already; it is "
        "not corrected."
    )


def corrected_text(one: CalibrationFound) -> str:
    """Say what is corrected, how, and how far it has come."""
    assert one.corrects_from is not None
    how = (
        "wholly, as it is known to have gone off on that day"
        if one.corrects_wholly
        else "by as much as time had passed, as nobody knows when it went off; their intervals "
        "hold what it would be if all of the error had been there, and if none had"
    )
    said = (
        f"Readings from {day_text(one.corrects_from)} up to that calibration are corrected {how}. "
        f"Why: {one.corrects_because.rstrip('.')}."
    )
    if one.corrected_pending:
        return (
            f"{said} {one.corrected - one.corrected_pending:,} of "
            f"{count_of(one.corrected, 'result')} are computed, "
            f"{one.corrected_pending:,} still wait; load this page again in a few seconds."
        )
    return f"{said} {count_of(one.corrected, 'result')} computed with it."


def found_off_sentence(found: tuple[CalibrationFound, ...]) -> str:
    """Say which meters a calibration found off, and whether earlier results know of it."""
    off = [one for one in found if one.is_off and one.between]
    open_ones = [one for one in off if one.is_open]
    if not off:
        return (
            "No calibration found a meter off by more than its accuracy allows after it was used."
        )
    if not open_ones:
        return (
            f"{count_of(len(off), 'calibration')} found a meter off by more than its accuracy "
            "allows; the results that rested on it are corrected."
        )
    names = listed([f"{one.meter} read {misread_text(one.change or 0.0)}" for one in open_ones])
    results = sum(one.between for one in open_ones)
    verb = "rests" if results == 1 else "rest"
    return (
        f"Found off by more than its accuracy allows: {names}. "
        f"{count_of(results, 'result')} {verb} on what had been taken before and "
        f"{'is' if results == 1 else 'are'} not corrected yet; the meter's page says what to do."
    )


def offset_text(offset_m_s: float, units: Units) -> str:
    """Return an offset in the page's unit, with its sign."""
    number = units.number(offset_m_s, dimensions.VELOCITY)
    text = write(abs(number), 2 if units.system == "si" else 0)
    if float(text.replace(",", "")) == 0.0:
        return "0"
    return f"{MINUS if number < 0 else '+'}{text}"
