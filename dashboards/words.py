"""The words and sentences of the pages: what a verdict, a reason, a chart says."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Final

from airflow_jobs import units
from airflow_jobs.models import Stage
from airflow_jobs.words import ADVICE_LINE as ADVICE_LINE
from airflow_jobs.words import BASES as BASES
from airflow_jobs.words import CALLS as CALLS
from airflow_jobs.words import FAN_DRIVES as FAN_DRIVES
from airflow_jobs.words import KINDS as KINDS
from airflow_jobs.words import SOURCES as SOURCES
from airflow_jobs.words import STAGES as STAGES
from airflow_jobs.words import verdict_text as verdict_text

from .display import Shown, Units, percent, unbroken, write
from .filters import day_text
from .strips import JudgedStrip, judged_strip
from .values.shares import FleetShares, Share
from .values.systems import Judged, Measurement, Reason, Trend

# A percentage of fewer jobs than this pretends to know more than anybody can.
FEWEST_FOR_PERCENT: Final = 10
# No trend tells when it leaves a range by the week.
ABOUT_NOW: Final = datetime.timedelta(days=45)
# Over so long a time the earliest day is all that helps: it is the one that decides.
TOO_WIDE: Final = datetime.timedelta(days=730)
# A sentence with more names than that is read by nobody.
MOST_NAMES: Final = 6
_JUDGED_REASONS: Final = ("low", "high", "undecided", "changed", "doubtful")


def judged_verdict_text(one: Measurement) -> str:
    """Return a measurement's verdict; of an undecided one the likelier side is named."""
    judged = one.judged
    if judged is None:
        return verdict_text(one.verdict, "", None)
    return verdict_text(one.verdict, judged.leaning, judged.probability_most)


def judged_shown(judged: Judged, house_units: Units) -> Shown:
    """Return a judged value with its interval: flow per capacity, or flow by design flow."""
    dimension = units.FLOW if judged.by_design_flow else units.FLOW_PER_CAPACITY
    shown = house_units.show(judged.value, dimension, low_si=judged.low, high_si=judged.high)
    assert shown is not None
    return shown


def judged_number(judged: Judged, value: float, house_units: Units) -> float:
    """Return one of a judged value's numbers in the company's unit, unrounded."""
    dimension = units.FLOW if judged.by_design_flow else units.FLOW_PER_CAPACITY
    return house_units.number(value, dimension)


def labelled_strip(judged: Judged, house_units: Units) -> JudgedStrip:
    """Return the large drawing of a judged value, its limits written under it."""
    low, high = limits_text(judged, house_units)
    return judged_strip(judged, low_label=low, high_label=high)


def range_text(judged: Judged, house_units: Units) -> str:
    """Return the target range in words, such as `350 to 450`."""
    dimension = units.FLOW if judged.by_design_flow else units.FLOW_PER_CAPACITY
    return range_of(judged.target_low, judged.target_high, dimension, house_units)


def limits_text(judged: Judged, house_units: Units) -> tuple[str, str]:
    """Return both limits of the target range."""
    dimension = units.FLOW if judged.by_design_flow else units.FLOW_PER_CAPACITY
    low = house_units.show(judged.target_low, dimension)
    high = house_units.show(judged.target_high, dimension)
    return (low.number if low else "", high.number if high else "")


def range_of(low: float, high: float, dimension: units.Dimension, house_units: Units) -> str:
    """Return a range in the company's units."""
    ends = [house_units.show(end, dimension) for end in (low, high)]
    return " to ".join(end.number for end in ends if end)


def interval_text(share: Share) -> str:
    """Return the 95 % interval of a share."""
    return ends_text(share.low_end, share.high_end)


def ends_text(low: float, high: float) -> str:
    """Return the ends of an interval of a share."""
    return unbroken(write(low * 100, 0), "to", write(high * 100, 0), "%")


_STEPS: Final = {
    "indicated": "Mean of the readings",
    "positions": "True places of the points",
    "calibration": "Calibration",
    "density": "Density of the air",
    "sweep_gap": "Strips not swept",
    "wall": "Slow layer at the walls",
    "alignment": "Tilt of the probe",
}
_COMPONENTS: Final = {
    "spatial": "Where and how densely it was measured",
    "calibration": "Accuracy of the meter",
    "meter_change": "When the meter went off",
    "resolution": "Last digit of the display",
    "alignment": "Tilt of the probe",
    "position": "Places of holes and depths",
    "area": "Inside size of the duct",
    "density": "Density of the air",
    "compensation": "What the meter corrects by itself",
    "drift": "The plant wandering meanwhile",
    "sweep_pace": "Pace of the sweep",
    "sweep_gap": "Strips not swept",
}


def step_text(step: str) -> str:
    """Return the name of a correction step."""
    return _STEPS.get(step, step.replace("_", " ").capitalize())


def component_text(component: str) -> str:
    """Return the name of a component of the uncertainty."""
    return _COMPONENTS.get(component, component.replace("_", " ").capitalize())


def share_text(share: Share) -> str:
    """Return a share in percent; of few jobs the counts, which pretend nothing."""
    if share.total < FEWEST_FOR_PERCENT:
        return f"{share.inside:,} of {share.total:,}"
    return percent(share.share)


def portion_text(number: int, total: int, *, noun: str = "job") -> str:
    """Return `36 % of 150 jobs`; of few the counts, which pretend nothing: `2 of 3 jobs`."""
    of = count_of(total, noun)
    if total < FEWEST_FOR_PERCENT:
        return f"{number:,} of {of}"
    return f"{percent(number / total)} of {of}"


def count_of(number: int, one: str, many: str = "") -> str:
    """Return `1 system`, `2 systems`."""
    return f"{number:,} {one if number == 1 else many or f'{one}s'}"


def months_sentence(shares: FleetShares) -> str:
    """Say what the chart over the months shows."""
    left, found = shares.left, shares.found
    parts = []
    if found.total and left.total:
        parts.append(
            f"{_held_text(found, 'found')} and {_held_text(left, 'left')}; the two are different "
            "facts and never added up."
        )
    elif left.total:
        parts.append(f"{_held_text(left, 'left')}; nothing was measured as found.")
    elif found.total:
        parts.append(f"{_held_text(found, 'found')}; nothing was measured as left.")
    counts = [month.share.total for month in (*shares.left_by_month, *shares.found_by_month)]
    if counts and min(counts) < 10:
        parts.append(
            f"{shares.step.capitalize()}s with few jobs have long intervals and move by chance."
        )
    return " ".join(parts)


def _held_text(share: Share, verb: str) -> str:
    """Say how many jobs were found or left in range; of few the counts."""
    if share.total >= FEWEST_FOR_PERCENT:
        return f"{percent(share.share)} of the jobs were {verb} in range"
    jobs = count_of(share.total, "job")
    return f"{share.inside:,} of {jobs} {'was' if share.inside == 1 else 'were'} {verb} in range"


def listed(names: Sequence[str]) -> str:
    """Return names as a list in a sentence."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def listed_first(names: Sequence[str]) -> str:
    """Return names as a list in a sentence, of many the first and how many more there are."""
    if len(names) <= MOST_NAMES + 1:
        return listed(names)
    return listed([*names[:MOST_NAMES], f"{len(names) - MOST_NAMES:,} more"])


def reason_text(reason: Reason, house_units: Units, today: datetime.date) -> str:
    """Say why a system needs a look."""
    one = reason.measurement
    if one is not None and one.judged is not None and reason.code in _JUDGED_REASONS:
        as_left = one.stage == Stage.AS_LEFT
        standing = _standing_text(one, one.judged, house_units)
        if reason.code == "changed":
            return f"{standing}; changed since, and not measured as left"
        if reason.code == "doubtful":
            return f"{standing}; in doubt until a serious finding is cleared up"
        return standing if as_left else f"{standing}, and not measured as left"
    if reason.code == "drifting" and reason.trend is not None:
        return drift_text(reason.trend, today)
    if one is not None and reason.code == "failed":
        return f"Its result could not be computed: {one.failure}"
    return {
        "pending": "Its result is being computed again; the values are the previous ones",
        "not_judged": "Measured, but not judged: it has no target or capacity for that call",
        "calibration": "Measured with a meter that was out of calibration on that day",
    }.get(reason.code, reason.code)


def _standing_text(one: Measurement, judged: Judged, house_units: Units) -> str:
    """Say how a system was last measured, with its number and its range."""
    shown = judged_shown(judged, house_units)
    number = f"{shown.plain} against {range_text(judged, house_units)}"
    verb = "left" if one.stage == Stage.AS_LEFT else "found"
    on = day_text(one.taken_at.date())
    if one.verdict in ("low", "high"):
        return f"{verb.capitalize()} {one.verdict} on {on}: {number}"
    return f"{judged_verdict_text(one)}, {verb} so on {on}: {number}"


def rate_text(trend: Trend) -> str:
    """Say how fast a trend goes."""
    ends = sorted(abs(end) for end in (trend.per_year_low, trend.per_year_high))
    direction = "Falls" if trend.per_year < 0 else "Rises"
    return (
        f"{direction} by {percent(abs(trend.per_year))} a year "
        f"({unbroken(write(ends[0] * 100, 0), 'to', percent(ends[1]))})"
    )


def drift_text(trend: Trend, today: datetime.date) -> str:
    """Say where a trend leads and when."""
    said = rate_text(trend)
    if trend.leaves_on is None:
        return said
    return f"{said}; {_leaving_text(trend, trend.leaves_on, today)}"


def _leaving_text(trend: Trend, on: datetime.date, today: datetime.date) -> str:
    """Say when a trend leaves the range: ahead, about now, or surely in the past."""
    first, last = trend.leaves_earliest_on or today, trend.leaves_latest_on
    if last is None or last - first > TOO_WIDE:
        if on < today:
            return "may have left the range already; since when is open"
        if first <= today:
            return "may leave the range any day now; by when is open"
        return f"may leave the range from {day_text(first)} on; by when is open"
    earliest, latest = _month(first), _month(last)
    if on >= today:
        return f"leaves the range about {_month(on)}, between {earliest} and {latest}"
    if last < today:
        return f"left the range, it seems, about {_month(on)}, between {earliest} and {latest}"
    if today - on <= ABOUT_NOW:
        return f"may be leaving the range about now ({earliest} to {latest})"
    return f"may have left the range about {_month(on)} ({earliest} to {latest})"


def trend_sentence(trend: Trend | None, today: datetime.date) -> str:
    """Say what a system's trend is, or why nothing can be said."""
    if trend is None or not trend.is_certain:
        said = outside_trend_sentence(trend)
        return said if trend is None else f"{said} When it leaves the range is not yet foreseeable."
    return f"{drift_text(trend, today)}."


def outside_trend_sentence(trend: Trend | None) -> str:
    """Say what the trend of a system is that has nothing to leave: it is outside already."""
    if trend is None:
        return "Too few measurements between adjustments to speak of a trend."
    if not trend.is_certain:
        return (
            "No trend that chance would not explain: between "
            f"{_signed(trend.per_year_low)} and {_signed(trend.per_year_high)} a year."
        )
    return f"{rate_text(trend)}."


def _signed(share: float) -> str:
    sign = "+" if share > 0 else ""
    return unbroken(f"{sign}{write(share * 100, 0)}", "%")


def _month(day: datetime.date) -> str:
    return f"{day:%b %Y}"
