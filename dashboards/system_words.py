"""The sentences about systems over time: found outside again, steps, drifts, comparisons."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Final

from airflow_jobs import units
from airflow_jobs.models import Stage

from . import words
from .display import Units, percent, write
from .due_days import months_after, next_by
from .filters import day_text
from .statistics.repeats import FEWEST_VISITS
from .values.returning import ChangeMade, FoundOften, NeverRight, Return, Returning
from .values.shares import Share
from .values.sites import SitePicture
from .values.systems import CallHistory, LevelChange, Trend

# From so many days on, months are easier to read.
DAYS_UP_TO: Final = 90
# What a drift brings within so many days is listed as due.
SOON_DAYS: Final = 180
FEWEST_FOR_TREND: Final = 3
# A flow seldom changes by so much at once; a unit mistaken for another does.
SLIP_FROM: Final = 0.8


def often_sentence(found: Returning) -> str:
    """Say how often systems were found outside, and which stand out."""
    if not found.found.total:
        return "Nothing was measured and judged as found in this view."
    share = found.found
    said = (
        f"On {share.outside:,} of {words.count_of(share.total, 'visit')} a system was found out of "
        f"range, {percent(share.outside / share.total)} (95 % interval {outside_ends(share)})."
    )
    if not found.compared:
        return f"{said} It takes {FEWEST_VISITS} visits to a system to compare it."
    marked = [f"{one.system.tag} at {one.system.site}" for one in found.marked[:5]]
    more = len(found.marked) - len(marked)
    if more:
        marked.append(f"{more} more")
    if marked:
        verb = "is" if len(found.marked) == 1 else "are"
        return (
            f"{said} {words.listed(marked)} {verb} found outside oftener than chance and the kind "
            f"of system explain, {words.count_of(found.compared, 'system')} compared."
        )
    common = " Where so many are found outside, hardly any can stand out." * (
        share.outside > 0.5 * share.total
    )
    return (
        f"{said} No system here is found outside oftener than chance and its kind explain, "
        f"{words.count_of(found.compared, 'system')} compared.{common}"
    )


def outside_ends(share: Share) -> str:
    """Return the 95 % interval of the share outside."""
    return words.ends_text(1.0 - share.high_end, 1.0 - share.low_end)


def often_text(one: FoundOften) -> str:
    """Say of one system how often it was found outside, and whether that is special."""
    said = (
        f"Found outside on {one.found.outside:,} of {words.count_of(one.found.total, 'visit')}; "
        f"others of its kind on {percent(one.expected_share)}."
    )
    if one.is_marked:
        return f"{said} More than chance and its kind explain."
    if one.p_value is None:
        return f"{said} Too few visits to compare."
    if one.found.outside > one.expected_share * one.found.total:
        return f"{said} Chance alone may explain it."
    return f"{said} Not oftener than the others."


def returned_sentence(found: Returning) -> str:
    """Say how many systems that were left in range were found outside the next time."""
    after = found.set_right
    if not after.total:
        return (
            "No system here that was left in range has been found again since, in the same call "
            "and against the same target."
        )
    said = (
        f"Of {words.count_of(after.total, 'job')} left in range, {after.outside:,} were found out "
        f"of range at the next visit: {percent(after.outside / after.total)} "
        f"(95 % interval {outside_ends(after)})."
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
            f"Measured with the same meter it was {percent(same.outside / same.total)} of "
            f"{same.total:,}, with another {percent(other.outside / other.total)} of "
            f"{other.total:,}."
        )
    return " ".join(parts)


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
    if one.has_another_meter:
        parts.append(
            f"Measured with another meter, {one.found.meter or 'not named'} after "
            f"{one.left.meter or 'one not named'}: two meters may differ by some percent"
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
    if one.from_value or one.to_value:
        return f"{one.kind_text.lower()} {one.from_value or '?'} to {one.to_value or '?'}"
    return one.kind_text.lower()


def _undone(later: ChangeMade, made: Sequence[ChangeMade]) -> str:
    before = [one for one in made if one.kind == later.kind]
    was_put_back = bool(before) and before[-1].from_value.casefold() == later.from_value.casefold()
    how = "put back to" if was_put_back else "found at"
    left_at = before[-1].to_value if before else "?"
    return f"{later.kind_text.lower()} {how} {later.from_value}, was left at {left_at}"


def never_right_sentence(never: Sequence[NeverRight]) -> str:
    """Say how many systems were found outside again and never known to be right in between."""
    if not never:
        return (
            "No system in use was found outside twice or more without having been in range in "
            "between."
        )
    if len(never) == 1:
        return (
            "One system was found outside twice or more and is not known to have been in range "
            "in between: nobody set it right, or nobody measured afterwards."
        )
    return (
        f"{len(never):,} systems were found outside twice or more and are not known to have been "
        "in range in between: nobody set them right, or nobody measured afterwards."
    )


def never_right_text(one: NeverRight) -> str:
    """Say what was tried, and what is missing."""
    if not one.changes:
        return "Nothing was changed: adjust it, then measure as left."
    if one.left_outside and not one.not_measured_after:
        return "Changed, but left outside each time: look for what holds it back."
    if one.not_measured_after and not one.left_outside:
        return "Changed, but not measured afterwards: measure as left."
    return "Changed, and left outside or not measured afterwards: finish it."


def site_sentence(site: str, share: Share, *, differs: bool, expected: float | None) -> str:
    """Say whether a site is harder than the others: how its systems are found."""
    if not share.total:
        return "Nothing was measured and judged as found here in this period."
    said = (
        f"{percent(share.outside / share.total)} of {words.count_of(share.total, 'job')} here "
        f"were found out of range (95 % interval {outside_ends(share)})."
    )
    if expected is None:
        return f"{said} Too few jobs to compare with other sites."
    if differs:
        side = "harder" if share.outside > expected else "easier"
        return (
            f"{said} {site} is {side} than other sites by more than chance explains: as many jobs "
            f"elsewhere would have found {write(expected, 0)} outside, here it was "
            f"{share.outside:,}."
        )
    return f"{said} No evidence that it is harder or easier than other sites."


def next_text(
    trend: Trend | None,
    last_on: datetime.date | None,
    *,
    every_months: int,
    today: datetime.date,
) -> str:
    """Say by when a system is to be measured next, and why."""
    if last_on is None:
        return "Now: it was never measured."
    usual = months_after(last_on, every_months)
    by = next_by(trend, today)
    if by is not None and by <= usual:
        if by <= today:
            return "Now: it may have drifted out of its range."
        return f"By {day_text(by)}, before it may leave its range."
    if usual < today:
        return f"Overdue since {day_text(usual)}: every {words.count_of(every_months, 'month')}."
    return f"By {day_text(usual)}: every {words.count_of(every_months, 'month')}."


def due_of(
    trend: Trend | None,
    last_on: datetime.date | None,
    verdict: str,
    *,
    every_months: int,
    today: datetime.date,
) -> tuple[datetime.date | None, str]:
    """Return by when something is due for a system and why; the reason is empty where not yet.

    No day means now.
    """
    if last_on is None:
        return None, "Never measured."
    if verdict in ("low", "high"):
        side = "Raise" if verdict == "low" else "Lower"
        return None, f"It stands {verdict}. {side} the airflow, then measure as left."
    if verdict == "undecided":
        return None, "Too close to call: set it nearer to nominal, or measure again more closely."
    usual, by = months_after(last_on, every_months), next_by(trend, today)
    if by is not None and (by - today).days <= SOON_DAYS:
        return by, next_text(trend, last_on, every_months=every_months, today=today)
    if usual <= today + datetime.timedelta(days=30):
        return usual, f"Last measured on {day_text(last_on)}."
    return None, ""


def due_sentence(number: int) -> str:
    """Say how much is due at a site."""
    if not number:
        return "Nothing is due here within the next weeks."
    return f"{words.count_of(number, 'thing')} {'is' if number == 1 else 'are'} due here."


def site_standing_sentence(picture: SitePicture) -> str:
    """Say how the systems of a site stand."""
    in_use = [one for one in picture.systems if one.retired_on is None]
    if not in_use:
        return "No system in use stands here."
    counts = {
        name: sum(one.verdict == name for one in in_use)
        for name in ("in_range", "low", "high", "undecided", "")
    }
    parts = [
        f"{counts[name]:,} {text}"
        for name, text in (
            ("in_range", "in range"),
            ("low", "low"),
            ("high", "high"),
            ("undecided", "too close to call"),
            ("", "not judged or never measured"),
        )
        if counts[name]
    ]
    noun = "stands" if len(in_use) == 1 else "stand"
    return f"{words.count_of(len(in_use), 'system')} {noun} here: {words.listed(parts)}."


def change_sentence(change: LevelChange) -> str:
    """Say when a system's flow changed, by how much, and what may lie behind it."""
    before, after = change.before, change.after
    verb = "fell" if change.size < 0 else "rose"
    ends = sorted((abs(change.low), abs(change.high)))
    much = f"by {percent(abs(change.size))} ({write(ends[0] * 100, 0)} to {percent(ends[1])})"
    if change.size > 1.0:
        much = f"to {write(1.0 + change.size, 1)} times as much"
    said = (
        f"Between {day_text(before.taken_at.date())} and {day_text(after.taken_at.date())} the "
        f"flow {verb} {much}"
    )
    if not change.is_step:
        return (
            f"{said}; whether at once or slowly can't be told yet. If it came at once, no trend "
            "follows from it; the next measurements will say."
        )
    return f"{said}: a step, not a drift. {step_cause(change)}"


def step_cause(change: LevelChange) -> str:
    """Say what explains a step, or that nothing on record does and what it may be."""
    if change.has_another_section:
        return "It was measured in another duct section from then on: the two may not carry alike."
    meter = ""
    if change.has_another_meter:
        swap = f"{change.after.instrument} after {change.before.instrument}"
        if change.is_explained:
            return (
                f"It came with another meter, {swap}: the meter may be all of it. A paired check "
                "in the same holes would tell."
            )
        meter = f" It came with another meter, {swap}, but meters seldom differ so much."
    if change.calibrated_on is not None:
        meter = (
            f" The meter was calibrated on {day_text(change.calibrated_on)}, in between: compare "
            "what it read before."
        )
    if change.corrected:
        meter += " One of the two traverses was corrected: see its revisions."
    if max(change.size, 1.0 / (1.0 + change.size) - 1.0) > SLIP_FROM:
        may = "So large a step is likelier a slip in a unit or a size: look at what was sent"
    elif change.size < 0:
        may = (
            "It may be a setting or speed changed and not entered, a damper closed, a duct "
            "crushed or come apart, another filter"
        )
    else:
        may = (
            "It may be a setting or speed changed and not entered, a damper opened, a duct "
            "repaired, a panel or filter left out"
        )
    return f"No adjustment on record explains it.{meter} {may}."


def trend_text(history: CallHistory, today: datetime.date, every_months: int) -> str:
    """Say where a system goes under one call, and by when it is to be measured again."""
    count = len([one for one in history.measurements if one.stage != Stage.CHECK])
    if history.trend is None and count < FEWEST_FOR_TREND:
        few = {0: "No measurement", 1: "One measurement", 2: "Two measurements"}[count]
        return (
            f"{few} under this call: where it stands can be said, not where it goes. A trend takes "
            "three days over half a year without an adjustment in between."
        )
    said = words.trend_sentence(history.trend, today)
    by = next_by(history.trend, today)
    if by is not None:
        if by <= today:
            return f"{said} Next measurement now: the earliest end of that is past."
        return f"{said} Next measurement by {day_text(by)}, before the earliest end of that."
    last_on = max(one.taken_at.date() for one in history.measurements)
    usual = months_after(last_on, every_months)
    foreseeable = "" if "not yet foreseeable" in said else " When it leaves is not yet foreseeable."
    return f"{said}{foreseeable} The usual interval asks for a measurement by {day_text(usual)}."
