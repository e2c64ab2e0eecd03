"""The sentences about systems found outside again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from airflow_jobs import units

from . import words
from .change_words import setting_text
from .display import Units, percent
from .filters import day_text
from .statistics.repeats import FEWEST_VISITS
from .values.returning import ChangeMade, FoundOften, NeverRight, Return, Returning
from .values.shares import Share
from .values.systems import METERS_DIFFER_BY

# From so many days on, months are easier to read.
DAYS_UP_TO: Final = 90
# Where the list of what needs a look has nothing about a system.
NO_STEP: Final = "Nothing is asked of it as it stands today."


def often_sentence(found: Returning) -> str:
    """Say how often systems were found outside, and which stand out."""
    if not found.found.total:
        return "Nothing was measured and judged as found in this view."
    share = found.found
    said = (
        f"In {share.outside:,} of {words.count_of(share.total, 'job')} a system was found out of "
        f"range, {percent(share.outside / share.total)} (95 % interval {outside_ends(share)})."
    )
    if not found.compared:
        return f"{said} It takes {FEWEST_VISITS} jobs at a system to compare it."
    marked = [f"{one.system.tag} at {one.system.site}" for one in found.marked[:5]]
    more = len(found.marked) - len(marked)
    if more:
        marked.append(f"{more} more")
    if marked:
        verb = "is" if len(found.marked) == 1 else "are"
        return (
            f"{said} {words.listed(marked)} {verb} found outside more often than chance and the "
            f"kind of system explain, {words.count_of(found.compared, 'system')} compared."
        )
    common = " Where so many are found outside, hardly any can stand out." * (
        share.outside > 0.5 * share.total
    )
    return (
        f"{said} No system here is found outside more often than chance and its kind explain, "
        f"{words.count_of(found.compared, 'system')} compared.{common}"
    )


def outside_ends(share: Share) -> str:
    """Return the 95 % interval of the share outside."""
    return words.ends_text(1.0 - share.high_end, 1.0 - share.low_end)


def often_text(one: FoundOften) -> str:
    """Say of one system how often it was found outside, and whether that is special."""
    said = (
        f"Found outside in {one.found.outside:,} of {words.count_of(one.found.total, 'job')}; "
        f"others of its kind in {percent(one.expected_share)}."
    )
    if one.is_marked:
        return f"{said} More than chance and its kind explain."
    if one.p_value is None:
        return f"{said} Too few jobs to compare."
    if one.found.outside > one.expected_share * one.found.total:
        return f"{said} Chance alone may explain it."
    return f"{said} No more often than the others."


def returned_sentence(found: Returning) -> str:
    """Say how many systems that were left in range were found outside the next time."""
    after = found.set_right
    if not after.total:
        return (
            "No system here that was left in range has been found again since, in the same call "
            "and against the same target."
        )
    said = (
        f"{words.count_of(after.total, 'job')} found a system again that the job before, in this "
        f"period or earlier, had left in range: {after.outside:,} found it out of range, "
        f"{percent(after.outside / after.total)} (95 % interval {outside_ends(after)})."
    )
    if not after.outside:
        return said
    days = found.days
    middle = days[len(days) // 2] if days else 0
    parts = [
        said,
        f"Of these, {found.returned_surely:,} are beyond doubt at both ends; the others lay near "
        "a limit once.",
        f"Half of them were found so within {span_text(middle)}.",
    ]
    same, other = found.set_right_same_meter, found.set_right_other_meter
    if same.total and other.total:
        parts.append(
            f"Measured with the same meter it was {_outside_text(same)}, with another "
            f"{_outside_text(other)}."
        )
    return " ".join(parts)


def _outside_text(share: Share) -> str:
    """Return how many of some jobs were found outside; of many in percent, with the interval."""
    if share.total < words.FEWEST_FOR_PERCENT:
        return f"{share.outside:,} of {share.total:,}"
    return f"{percent(share.outside / share.total)} of {share.total:,} ({outside_ends(share)})"


def target_note(found: Returning) -> str:
    """Say what is not counted because the target changed."""
    if not found.target_changed:
        return ""
    verb = "has" if found.target_changed == 1 else "have"
    return (
        f"{words.count_of(found.target_changed, 'job')} left in range {verb} another target since "
        "and can't be held against it."
    )


def span_text(days: int) -> str:
    """Return a length of time as people say it."""
    if days < DAYS_UP_TO:
        return words.count_of(days, "day")
    return words.count_of(round(days / 30.44), "month")


def side_text(one: Return, *, which: str, house_units: Units) -> str:
    """Return what was measured at one end of a return."""
    side = one.left if which == "left" else one.found
    dimension = units.FLOW if one.by_design_flow else units.FLOW_PER_CAPACITY
    shown = house_units.show(side.value, dimension, low_si=side.low, high_si=side.high)
    return shown.plain if shown else ""


def range_text(one: Return, house_units: Units) -> str:
    """Return the target range of a return."""
    dimension = units.FLOW if one.by_design_flow else units.FLOW_PER_CAPACITY
    return words.range_of(one.target_low, one.target_high, dimension, house_units)


def return_text(one: Return) -> str:
    """Say what may lie behind a return: something undone, another meter, or nothing on record."""
    parts = []
    if one.undone:
        parts.append(
            "Not found as it was left: " + words.listed([_undone(c, one.made) for c in one.undone])
        )
    if one.between:
        parts.append(
            "Changed in between: "
            + words.listed([f"{change_text(c)} on {day_text(c.at.date())}" for c in one.between])
        )
    moved = one.found.value / one.left.value - 1.0 if one.left.value else 0.0
    if one.has_another_meter:
        parts.append(
            f"Measured with another meter, {one.found.meter or 'not named'} after "
            f"{one.left.meter or 'one not named'}: "
            + (
                "two meters may differ by as much"
                if abs(moved) <= METERS_DIFFER_BY
                else f"meters seldom differ by as much as {percent(abs(moved))}"
            )
        )
    if not one.is_sure:
        parts.append("One of the two lay too near to the limit to be sure")
    if not parts:
        return (
            "Same meter, nothing on record in between: look for what moved it, filter, coil, belt "
            "or dampers."
        )
    return ". ".join(parts) + "."


def change_text(one: ChangeMade) -> str:
    """Return a change in a few words."""
    return f"{one.kind_text.lower()} {setting_text(one.from_value, one.to_value)}".strip()


def _undone(later: ChangeMade, made: Sequence[ChangeMade]) -> str:
    before = [one for one in made if one.kind == later.kind]
    was_put_back = bool(before) and before[-1].from_value.casefold() == later.from_value.casefold()
    how = "put back to" if was_put_back else "found at"
    left_at = f", was left at “{before[-1].to_value}”" if before and before[-1].to_value else ""
    return f"{later.kind_text.lower()} {how} “{later.from_value}”{left_at}"


def never_right_sentence(never: Sequence[NeverRight]) -> str:
    """Say how many systems were found outside again and never known to be right in between."""
    if not never:
        return (
            "No system in use was found outside on two days or more without having been in range "
            "in between."
        )
    if len(never) == 1:
        return (
            "One system was found outside on two days or more and is not known to have been in "
            "range in between: nobody set it right, or nobody measured as left."
        )
    return (
        f"{len(never):,} systems were found outside on two days or more and are not known to have "
        "been in range in between: nobody set them right, or nobody measured as left."
    )


def never_right_text(one: NeverRight) -> str:
    """Say what was tried, and what is missing; what to do next is said beside it."""
    if not one.changes:
        return "Nothing on record was changed."
    if one.is_changed_since:
        return "Changed after the last measurement, and not measured since."
    if not one.left_outside:
        return "Changed, but never measured as left; found outside again after the change."
    if not one.not_measured_as_left:
        return "Changed, but left outside each time."
    return "Changed, but left outside or not measured as left."
