"""The words of what is due: why something stands in a list, and what to do about it."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Final

from airflow_jobs.models import Purpose

from .filters import day_text
from .queries.due import COMING_DAYS, EXPIRING_DAYS
from .values.due import CrewName, Due, DueMeter, DueSystem, MeasureBy, PlannedVisit
from .words import count_of, listed

# A visit as near as that is soon enough, even where the day has passed.
SOON: Final = datetime.timedelta(days=14)
PURPOSES: Final = {str(purpose): label for purpose, label in Purpose.choices}

Named = Callable[[CrewName], str]
"""A crew's name, as far as whoever looks may know it."""


def due_sentence(due: Due, *, months: int) -> str:
    """Say in one sentence what is due."""
    parts = [
        text
        for number, text in (
            (due.found_off.total, _found_off(due)),
            (
                len(due.astray),
                f"{count_of(len(due.astray), 'meter')} "
                f"{'reads' if len(due.astray) == 1 else 'read'} high or low against the others",
            ),
            (due.overdue.total, _is(due.overdue.total, "meter", "overdue for calibration")),
            (due.missed.total, _was(due.missed.total, "planned visit", "not made or not measured")),
            (
                due.late.total,
                f"{count_of(due.late.total, 'system')} "
                f"{_has(due.late.total)} not been measured for {interval_text(months)}",
            ),
            (due.never.total, f"{count_of(due.never.total, 'system')} never"),
            (
                due.foreseen.total,
                f"{count_of(due.foreseen.total, 'system')} may leave "
                f"{'its' if due.foreseen.total == 1 else 'their'} range before the next "
                "measurement is due",
            ),
        )
        if number
    ]
    if not parts:
        return "Nothing is overdue: no missed visit, no system that waits, no meter out of date."
    return f"{listed(parts)}."


def missed_sentence(due: Due) -> str:
    """Say how many planned visits brought no measurement."""
    if not due.missed.total:
        return "Every planned visit whose day has passed brought a measurement."
    whose = "whose day has passed brought no measurement"
    return f"{count_of(due.missed.total, 'planned visit')} {whose}; the oldest first."


def coming_sentence(due: Due) -> str:
    """Say how many visits are planned."""
    if not due.coming.total:
        return f"No visit is planned for the next {COMING_DAYS} days."
    verb = "is" if due.coming.total == 1 else "are"
    return f"{count_of(due.coming.total, 'visit')} {verb} planned for the next {COMING_DAYS} days."


def late_sentence(due: Due, *, months: int) -> str:
    """Say how many systems wait for longer than the company's interval."""
    if not due.late.total:
        within = "12 months" if months == 12 else count_of(months, "month")
        return f"Every system that was ever measured was measured in the last {within}."
    verb = "was" if due.late.total == 1 else "were"
    said = f"{count_of(due.late.total, 'system')} {verb} not measured for {interval_text(months)}"
    if not due.late_unplanned:
        return f"{said}; a visit is planned at each of their sites."
    if due.late_unplanned == due.late.total:
        return f"{said}, and no visit is planned there."
    return f"{said}; for {due.late_unplanned:,} of them no visit is planned."


def never_sentence(due: Due) -> str:
    """Say how many systems were never measured."""
    if not due.never.total:
        return "Every system on record has been measured."
    verb = "was" if due.never.total == 1 else "were"
    return (
        f"{count_of(due.never.total, 'system')} {verb} never measured, so nobody knows what air "
        f"{'it moves' if due.never.total == 1 else 'they move'}."
    )


def foreseen_sentence(due: Due) -> str:
    """Say how many systems their trend calls for."""
    if not due.foreseen.total:
        return "No trend asks for a measurement sooner than the company's interval does."
    verb = "moves" if due.foreseen.total == 1 else "move"
    return (
        f"{count_of(due.foreseen.total, 'system')} {verb} towards a limit and may leave the range "
        "before the next measurement is due; the day is the one before the earliest it may."
    )


def found_off_sentence(due: Due) -> str:
    """Say how many results rest on meters that were found off, and are not corrected."""
    if not due.found_off.total:
        return (
            "No result that is not corrected rests on a meter that a calibration found off later."
        )
    first = "; the meters with the most results first" if due.found_off.total > 1 else ""
    return f"{_first_capital(_found_off(due))}. Until somebody decides, they are in doubt{first}."


def astray_sentence(due: Due) -> str:
    """Say how many meters read high or low against the others."""
    number = len(due.astray)
    if not number:
        return "No meter is shown to read high or low by more than its accuracy allows."
    return (
        f"{count_of(number, 'meter')} {'reads' if number == 1 else 'read'} high or low against "
        "the others by more than the accuracy allows, over the last 12 months, whatever the "
        "filters. Nothing is corrected on this evidence alone."
    )


ASTRAY_STEP: Final = "Have it calibrated, or check it against a calibrated meter in the same holes."


def found_off_step(*, is_manager: bool) -> str:
    """Say what to do about results that rest on a meter found off."""
    if is_manager:
        return "Decide what becomes of them: correct them, or measure again where it matters."
    return "A manager decides whether they are corrected."


def _found_off(due: Due) -> str:
    # A meter may have been found off more than once.
    results = due.found_off_results
    times = due.found_off.total
    return (
        f"{count_of(results, 'result')} {'rests' if results == 1 else 'rest'} on "
        f"{'a meter' if times == 1 else 'meters'} found off later and "
        f"{'is' if results == 1 else 'are'} not corrected"
    )


def _first_capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def overdue_sentence(due: Due) -> str:
    """Say how many meters are out of calibration."""
    if not due.overdue.total:
        return "Every meter in use is in calibration."
    them = "it" if due.overdue.total == 1 else "them"
    return (
        f"{count_of(due.overdue.total, 'meter')} {'is' if due.overdue.total == 1 else 'are'} out "
        f"of calibration: every measurement taken with {them} carries a warning."
    )


def expiring_sentence(due: Due) -> str:
    """Say how many meters soon will be out of calibration."""
    if not due.expiring.total:
        return f"No calibration runs out in the next {EXPIRING_DAYS} days."
    verb = "runs" if due.expiring.total == 1 else "run"
    return (
        f"The calibration of {count_of(due.expiring.total, 'meter')} {verb} out in the next "
        f"{EXPIRING_DAYS} days."
    )


def interval_text(months: int) -> str:
    """Return the company's interval in words, `over a year` or `over 9 months`."""
    if months == 12:
        return "over a year"
    return f"over {count_of(months, 'month')}"


def visit_state(one: PlannedVisit) -> str:
    """Say what became of a planned visit."""
    if one.is_finished:
        return "Finished, nothing measured"
    return "Begun, nothing measured" if one.is_begun else "Not begun"


def missed_step(one: PlannedVisit, crew: str) -> str:
    """Say what to do about a planned visit that brought no measurement."""
    if one.measured_since_on is not None and not one.is_begun:
        return (
            f"Cancel this visit: the site was measured on "
            f"{day_text(one.measured_since_on)} on another visit."
        )
    if one.is_begun:
        return f"Ask {crew} for the readings, or plan another visit."
    return f"Agree a new day with the customer and {crew}, and move the plan to it."


def coming_step(crew: str) -> str:
    """Say what to do about a visit that is planned."""
    who = f"{crew[:1].upper()}{crew[1:]}"
    return f"{who} goes: see that holes, sizes and meter are at hand."


def system_step(one: DueSystem) -> str:
    """Say what to do about a system that waits to be measured."""
    if one.planned_for is not None:
        return f"Have it measured on the visit planned for {day_text(one.planned_for)}."
    if one.last_measured_on is None:
        return "Plan a visit: enter its section, drill, measure as found."
    return "Plan a visit and measure as found, in the same holes."


def foreseen_step(one: MeasureBy, *, today: datetime.date) -> str:
    """Say what to do about a system that its trend may carry out of its range."""
    what = "filter, coil and belt" if one.trend.per_year < 0 else "what was changed there"
    if one.planned_for is not None and one.planned_for <= max(one.by, today + SOON):
        who = f"On the visit planned for {day_text(one.planned_for)}"
    else:
        who = "Plan a visit now" if one.by <= today else f"Plan a visit by {day_text(one.by)}"
    return f"{who}: measure as found, in the same holes; look at {what}."


def meter_step(one: DueMeter, crews: list[str], *, today: datetime.date) -> str:
    """Say what to do about a calibration."""
    who = f"Get it from {crews[0]} and send" if crews else "Send"
    when = "before the next visit"
    if one.due_on is not None and one.due_on >= today:
        when = f"before {day_text(one.due_on)}"
    return f"{who} it in {when}; enter the new calibration when it is back."


def _is(number: int, noun: str, rest: str) -> str:
    return f"{count_of(number, noun)} {'is' if number == 1 else 'are'} {rest}"


def _was(number: int, noun: str, rest: str) -> str:
    return f"{count_of(number, noun)} {'was' if number == 1 else 'were'} {rest}"


def _has(number: int) -> str:
    return "has" if number == 1 else "have"
