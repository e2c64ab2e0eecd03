"""The sentences about systems and sites over time: steps, drifts, what is due."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Final

from airflow_jobs.models import Stage

from . import words
from .display import percent, unbroken, write
from .due_days import months_after, next_by
from .filters import day_text
from .returning_words import outside_ends
from .values.meters import MeterInDoubt
from .values.shares import Share
from .values.sites import SitePicture
from .values.systems import CallHistory, LevelChange, Trend

# What a drift brings within so many days is listed as due.
SOON_DAYS: Final = 180
FEWEST_FOR_TREND: Final = 3
# A flow seldom changes by so much at once; a unit mistaken for another does.
SLIP_FROM: Final = 0.8


def site_sentence(site: str, share: Share, *, differs: bool, expected: float | None) -> str:
    """Say whether a site is harder than the others: how its systems are found."""
    if not share.total:
        return "Nothing was measured and judged as found here in this period."
    said = (
        f"{words.portion_text(share.outside, share.total)} here "
        f"{'was' if share.total == 1 else 'were'} found out of range "
        f"(95 % interval {outside_ends(share)})."
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
    step: str,
    *,
    every_months: int,
    today: datetime.date,
) -> tuple[datetime.date | None, str]:
    """Return by when something is due for a system and why; the reason is empty where not yet.

    No day means now. `step` is what to do where it does not stand in range, else empty.
    """
    if last_on is None:
        return None, "Never measured."
    if step:
        return None, step
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
    between = unbroken(write(ends[0] * 100, 0), "to", percent(ends[1]))
    much = f"by {percent(abs(change.size))} ({between})"
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


def rests_in_doubt(meters: Sequence[MeterInDoubt], rests_on: int, *, whose: str = "its") -> str:
    """Say how many of a trend's measurements rest on a meter that was found off later."""
    names = words.listed(list(dict.fromkeys(one.name for one in meters)))
    several = len({one.id for one in meters}) > 1
    what = f"meters found off later ({names})" if several else f"a meter found off later ({names})"
    one = len(meters) == 1
    return (
        f"In doubt: {len(meters):,} of {whose} {words.count_of(rests_on, 'measurement')} "
        f"{'rests' if one else 'rest'} on {what} and {'is' if one else 'are'} not corrected."
    )


def _last_verdict(history: CallHistory) -> str:
    """Return how a system was judged last, checks left out; empty where it never was."""
    judged = [
        one.judged.verdict
        for one in history.measurements
        if one.judged is not None and one.stage != Stage.CHECK
    ]
    return judged[-1] if judged else ""


def trend_text(history: CallHistory, today: datetime.date, every_months: int) -> str:
    """Say where a system goes under one call, and by when it is to be measured again."""
    count = len([one for one in history.measurements if one.stage != Stage.CHECK])
    if history.trend is None and count < FEWEST_FOR_TREND:
        few = {0: "No measurement", 1: "One measurement", 2: "Two measurements"}[count]
        return (
            f"{few} under this call: where it stands can be said, not where it goes. A trend takes "
            "three days over half a year without an adjustment in between."
        )
    verdict = _last_verdict(history)
    is_outside = verdict in ("low", "high")
    said = (
        words.outside_trend_sentence(history.trend)
        if is_outside
        else words.trend_sentence(history.trend, today)
    )
    if history.trend is not None and history.in_doubt:
        said += f" {rests_in_doubt(history.in_doubt, history.rests_on)}"
    if is_outside:
        return (
            f"{said} It stands {verdict} already: what is to be done about that comes before the "
            "usual interval."
        )
    by = next_by(history.trend, today)
    if by is not None:
        if by <= today:
            return f"{said} Measure now: it may be out of its range already."
        return f"{said} Measure by {day_text(by)}, before it may leave its range."
    if verdict == "undecided":
        return f"{said} Whether it stands in its range is open: that comes before any interval."
    last_on = max(one.taken_at.date() for one in history.measurements)
    usual = months_after(last_on, every_months)
    foreseeable = "" if "not yet foreseeable" in said else " When it leaves is not yet foreseeable."
    return f"{said}{foreseeable} The usual interval asks for a measurement by {day_text(usual)}."
