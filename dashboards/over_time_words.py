"""The sentences of the page over time."""

from __future__ import annotations

import calendar
from typing import Final

from .display import MINUS, month_or_quarter, percent, unbroken, write
from .statistics.drift import FEWEST_POINTS
from .statistics.month_limits import FEWEST_MONTHS
from .values.over_time import (
    WHOLE_SCALE,
    Contrast,
    HeldStep,
    HeldSteps,
    OverTime,
    Part,
    SlowDrift,
)
from .words import CALLS, KINDS, STAGES, count_of, listed

VERBS: Final = {"as_left": "left", "as_found": "found"}
SEASONS_FROM_MONTHS: Final = 24
FEW: Final = 10
EXPLAINED: Final = "chance, months that differ anyway, and the mix of sites and kinds explain"


def held_sentence(held: HeldSteps) -> str:
    """Say which months differ from the others by more than chance explains."""
    verb, whole = VERBS[held.stage], held.whole
    if not whole.total:
        return f"Nothing was measured and judged {STAGES[held.stage].lower()} in this view."
    if not held.is_comparable:
        return (
            f"{percent(whole.share)} were {verb} in range, {whole.inside:,} of "
            f"{count_of(whole.total, 'job')}. It takes {FEWEST_MONTHS} {held.step}s with jobs to "
            "compare any."
        )
    differing = held.differing
    if not differing:
        said = (
            f"{percent(whole.share)} were {verb} in range, {whole.inside:,} of "
            f"{count_of(whole.total, 'job')} in {len(held.steps)} {held.step}s."
        )
        return f"{_none_differs(held)}: {said}{_untold(held)}{_spread(held)}"
    named = listed([step_text(one, held.step) for one in differing])
    verb_of = "differs" if len(differing) == 1 else "differ"
    return (
        f"{named} {verb_of} from the other {held.step}s by more than chance explains: in those, "
        f"{percent(held.centre)} were {verb} in range.{_untold(held)}{_spread(held)}"
    )


def _none_differs(held: HeldSteps) -> str:
    """Say that no month differs, as far as their jobs can tell."""
    told = len(held.steps) - len(held.untold)
    if not told:
        if all((one.high or 0.0) - (one.low or 0.0) >= WHOLE_SCALE for one in held.steps):
            return f"There are too few jobs a {held.step} to tell whether any differs"
        return (
            f"With so few jobs a {held.step} only a very different one would stand out, and none "
            "does"
        )
    which = f"No {held.step} differs"
    if held.untold:
        which = f"No {held.step} of the {told} with jobs enough to tell differs"
    if held.untold and told == 1:
        which = f"The only {held.step} with jobs enough to tell does not differ"
    return f"{which} from the others by more than chance explains"


def _untold(held: HeldSteps) -> str:
    """Say of how many months jobs are too few, beside others that have enough."""
    if not held.untold or len(held.untold) == len(held.steps):
        return ""
    return f" {count_of(len(held.untold), held.step)} with too few jobs can't be told from chance."


def _spread(held: HeldSteps) -> str:
    if not held.has_spread:
        return ""
    return (
        f" {held.step.capitalize()}s scatter by some {points(held.spread_sd)} more than single "
        "jobs explain; the limits allow for it."
    )


def step_text(one: HeldStep, step: str) -> str:
    """Name a month with its share."""
    return (
        f"{month_or_quarter(one.first, step)} ({percent(one.share.share)} of "
        f"{count_of(one.share.total, 'job')})"
    )


def held_note(held: HeldSteps) -> str:
    """Say how to read the charts of months, under the first of them."""
    if not held.is_comparable or held.stage != "as_left":
        return ""
    return (
        f"The band is where a {held.step} would lie if it were like the others: wider for fewer "
        "jobs, and so wide that by chance none lies beyond it in 19 of 20 such periods. Whiskers "
        f"are 95 % intervals. Where the band covers half of the scale or more, there are too few "
        "jobs to tell."
    )


def says_of_step(one: HeldStep, held: HeldSteps) -> str:
    """Say what one month's comparison with the others found."""
    if one.low is None:
        return f"Too few {held.step}s to compare"
    if not one.differs:
        return "Like the others, as far as can be told" if one.can_tell else "Too few jobs to tell"
    side = "Lower" if one.is_lower else "Higher"
    return f"{side} than the others by more than chance explains"


def drift_sentence(drift: SlowDrift | None, step: str) -> str:
    """Say whether the mean place in the target range moves."""
    if drift is None:
        return (
            f"It takes {FEWEST_POINTS} {step}s with jobs measured as left to tell a slow change "
            "from chance."
        )
    centre = percent(drift.centre)
    beyond = [one for one in drift.steps if one.is_beyond]
    if not beyond:
        return (
            f"No sign of a slow change: the smoothed mean stays within its limits around {centre} "
            "of the range."
        )
    first = beyond[0]
    side = "below" if first.smoothed < first.low else "above"
    when = month_or_quarter(first.first, drift.step)
    last = drift.steps[-1]
    now = (
        f"and stands at {percent(last.smoothed)} now"
        if last.is_beyond
        else f"but is back within them now, at {percent(last.smoothed)}"
    )
    return (
        f"The flow that is left moves slowly, by more than chance explains: in {when} the smoothed "
        f"mean went {side} its limits around {centre} of the range, {now}."
    )


DRIFT_NOTE: Final = (
    "0 % is the low limit of the target range, 100 % the high one. Why this chart: a share in "
    "range changes only when systems cross a limit; the place in the range moves before. Each "
    "point of the line is three tenths the newest mean and seven tenths the line before, so that "
    "a small lasting change adds up while chance evens out. It is slow to show a sudden one: the "
    "chart of shares above is for that."
)


def season_sentence(found: OverTime) -> str:
    """Say whether the halves of the calendar year differ, as far as the record allows."""
    if not found.left.whole.total:
        return "Nothing was measured and judged as left in this view."
    if found.halves is None:
        return (
            "Jobs were measured as left in only one half of the calendar year, April to September "
            "or October to March: there is nothing to compare."
        )
    return contrast_sentence(
        found.halves,
        first="April to September",
        second="October to March",
        claims=found.months_spanned >= SEASONS_FROM_MONTHS,
    )


def short_season_note(found: OverTime) -> str:
    """Say that the period is too short to speak of seasons, where it is."""
    if found.halves is None or found.months_spanned >= SEASONS_FROM_MONTHS:
        return ""
    return (
        f"These {count_of(found.months_spanned, 'month')} are less than two years: what comes back "
        "every year can't be told from what happened once."
    )


def call_sentence(found: OverTime) -> str:
    """Say whether jobs in heating and in cooling differ, where both were measured."""
    if found.calls is None:
        return ""
    return contrast_sentence(
        found.calls, first="Measured in cooling", second="in heating", claims=True
    )


def contrast_sentence(contrast: Contrast, *, first: str, second: str, claims: bool) -> str:
    """Say how two groups of jobs differ, and whether it is more than chance."""
    said = (
        f"{first}: {percent(contrast.first.share)} of {count_of(contrast.first.total, 'job')} left "
        f"in range; {second}: {percent(contrast.second.share)} of {contrast.second.total:,}."
    )
    if contrast.difference is None:
        return f"{said} No site has jobs of one kind in both, so like can't be compared with like."
    if contrast.low is None or contrast.high is None:
        return f"{said} There are jobs in too few months to say more."
    if not contrast.can_tell:
        return f"{said} So few jobs can't tell whether the two differ: {why_untold(contrast)}."
    side = "lower" if contrast.difference < 0 else "higher"
    lies = f"is {points(contrast.difference)} {side}" if contrast.difference else "is the same"
    held = (
        f"At the same sites with the same kinds the latter {lies} (interval of the difference "
        f"{ends(contrast.low, contrast.high)})"
    )
    if not contrast.is_sure:
        return f"{said} {held}: no evidence that the two differ."
    return f"{said} {held}: more than {EXPLAINED}." if claims else f"{said} {held}."


def why_untold(contrast: Contrast) -> str:
    """Say why a contrast says nothing."""
    if contrast.are_few or contrast.low is None or contrast.high is None:
        first, second = contrast.compared
        return f"{first:,} and {second:,} of them are at the same sites with the same kinds"
    return (
        "at the same sites with the same kinds the difference may lie anywhere between "
        f"{between(contrast.low, contrast.high)} points"
    )


def kinds_sentence(parts: tuple[Part, ...], *, nouns: str) -> str:
    """Say which kinds or calls change over the period."""
    if not parts:
        return "Nothing was measured and judged as left in this view."
    moving = [part for part in parts if part.is_sure]
    if not any(part.per_year is not None for part in parts):
        return (
            "It takes jobs over half a year to speak of a change a year. With few jobs intervals "
            "are long and shares move by chance."
        )
    untold = [part for part in parts if not part.can_tell]
    few = ""
    if untold:
        few = (
            f" There are too few jobs to tell of {listed([part_name(one.key) for one in untold])}."
        )
    if not moving:
        if len(untold) == len(parts):
            return (
                "There are too few jobs to tell whether the share left in range changes for any of "
                f"the {nouns}."
            )
        told = [part_name(part.key) for part in parts if part.can_tell]
        which = f"any of the {f'other {nouns}' if untold else nouns}, allowing for their number"
        return (
            f"{few[1:]}{' ' if few else ''}No evidence that the share left in range changes for "
            f"{told[0] if len(told) == 1 else which}."
        )
    said = [
        f"{part_name(part.key)}: the share left in range {part_verb(part)} by "
        f"{points(part.per_year or 0.0)} a year, more than chance explains."
        for part in moving
    ]
    return " ".join(said) + few


def part_name(key: str) -> str:
    """Return a kind of equipment or a call as people write it."""
    return KINDS.get(key) or CALLS.get(key, key)


def part_verb(part: Part) -> str:
    """Say which way a part moves."""
    return "rises" if (part.per_year or 0.0) > 0 else "falls"


def says_of_part(part: Part) -> str:
    """Say what the change of one kind or call is."""
    if part.per_year is None:
        return "Too short to speak of a change a year"
    if not part.is_sure:
        return "No evidence of a change" if part.can_tell else "Too few jobs to tell"
    return f"{part_verb(part).capitalize()} by more than chance explains"


def few_jobs_note(parts: tuple[Part, ...], step: str) -> str:
    """Say that steps with few jobs move by chance."""
    if any(one.share.total < FEW for part in parts for one in part.steps):
        return f"{step.capitalize()}s with few jobs have long intervals."
    return ""


def points(share: float) -> str:
    """Return a difference of shares without its sign, in percentage points."""
    text = number(abs(share))
    if text == "0" and share:
        return "less than one point"
    return f"{text} {'point' if text == '1' else 'points'}"


def number(share: float) -> str:
    """Return a share times 100, without a unit."""
    return write(share * 100.0, 0)


def signed_points(share: float) -> str:
    """Return a difference of shares with its sign, in percentage points."""
    sign = signed(share)
    if sign == "0" and share:
        return "less than one point"
    return f"{sign} {'point' if sign.lstrip('+' + MINUS) == '1' else 'points'}"


def signed(share: float) -> str:
    """Return a difference of shares with its sign, without a unit."""
    text = number(share)
    if text.lstrip(MINUS) == "0":
        return "0"
    return f"+{text}" if share > 0 else text


def ends(low: float, high: float) -> str:
    """Return the ends of an interval of a difference."""
    return unbroken(signed(low), "to", signed(high))


def between(low: float, high: float) -> str:
    """Return the ends of an interval of a difference, as they stand after `between`."""
    return f"{signed(low)} and {signed(high)}"


def calendar_name(month: int) -> str:
    """Return the name of a month of the calendar."""
    return calendar.month_name[month]
