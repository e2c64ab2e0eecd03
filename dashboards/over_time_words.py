"""The sentences of the page over time."""

from __future__ import annotations

import calendar
from typing import Final

from .display import MINUS, month_or_quarter, percent, write
from .filters import day_text
from .statistics.drift import FEWEST_POINTS
from .statistics.month_limits import FEWEST_MONTHS
from .values.over_time import Campaign, Contrast, HeldStep, HeldSteps, OverTime, Part, SlowDrift
from .values.shares import Share
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
        return (
            f"No {held.step} differs from the others by more than chance explains: "
            f"{percent(whole.share)} were {verb} in range, {whole.inside:,} of "
            f"{count_of(whole.total, 'job')} in {len(held.steps)} {held.step}s.{_spread(held)}"
        )
    named = listed([step_text(one, held.step) for one in differing])
    verb_of = "differs" if len(differing) == 1 else "differ"
    return (
        f"{named} {verb_of} from the other {held.step}s by more than chance explains: in those, "
        f"{percent(held.centre)} were {verb} in range.{_spread(held)}"
    )


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
        "are 95 % intervals."
    )


def says_of_step(one: HeldStep, held: HeldSteps) -> str:
    """Say what one month's comparison with the others found."""
    if one.low is None:
        return f"Too few {held.step}s to compare"
    if not one.differs:
        return "Like the others, as far as can be told"
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
    side = "lower" if contrast.difference < 0 else "higher"
    apart = points(contrast.difference)
    lies = "is the same" if apart.startswith("0") else f"is {apart} {side}"
    held = (
        f"At the same sites with the same kinds the latter {lies} (interval of the difference "
        f"{ends(contrast.low, contrast.high)})"
    )
    if not claims:
        return f"{said} {held}."
    verdict = f"more than {EXPLAINED}" if contrast.is_sure else "no evidence that the two differ"
    return f"{said} {held}: {verdict}."


def day_title(campaign: Campaign) -> str:
    """Return the heading of the comparison before and after a day."""
    day = day_text(campaign.on)
    return (
        f"Before and after {day}: {campaign.name}" if campaign.name else f"Before and after {day}"
    )


def campaign_sentence(campaign: Campaign) -> str:
    """Say what the share left in range did after the day."""
    contrast = campaign.contrast
    before, after = contrast.first, contrast.second
    day = day_text(campaign.on)
    if not before.total or not after.total:
        side = "before" if not before.total else "since"
        return (
            f"Nothing was measured and judged as left {side} {day} in this period. Choose a period "
            "that holds months on both sides of the day."
        )
    said = (
        f"{percent(before.share)} of {count_of(before.total, 'job')} were left in range before, "
        f"{percent(after.share)} of {after.total:,} since."
    )
    if contrast.difference is None:
        return (
            f"{said} No site has jobs of one kind on both sides of the day, so like can't be "
            "compared with like, and nothing can be said."
        )
    if contrast.low is None or contrast.high is None:
        return (
            f"{said} There are jobs in only {count_of(contrast.months, 'month')}: how much months "
            "differ anyway can't be told, and nothing can be said."
        )
    where = "At the same sites with the same kinds of equipment"
    if contrast.is_sure:
        verb = "rose" if contrast.difference > 0 else "fell"
        small, large = sorted((abs(contrast.low), abs(contrast.high)))
        return (
            f"{said} {where} the share {verb} by {points(contrast.difference)}, between "
            f"{number(small)} and {number(large)}: more than {EXPLAINED}."
        )
    return (
        f"{said} No evidence that it changed: {where[0].lower()}{where[1:]} the difference is "
        f"{signed_points(contrast.difference)}, between {between(contrast.low, contrast.high)}."
    )


def campaign_notes(campaign: Campaign) -> tuple[str, ...]:
    """Say what was left out, what was allowed for, and what the comparison can't show."""
    contrast = campaign.contrast
    notes = []
    if not contrast.first.total or not contrast.second.total:
        return ()
    before, after = contrast.alone
    if before or after:
        notes.append(
            f"{count_of(before, 'job')} before and {after:,} since are at sites, or of kinds, that "
            "have none on the other side of the day. They have nothing to be compared with: they "
            "are in the two shares, not in the difference."
        )
    if campaign.plain_low is not None and campaign.plain_high is not None:
        plain = (contrast.second.share or 0.0) - (contrast.first.share or 0.0)
        notes.append(
            "The two shares as they are, whatever the mix and the months, differ by "
            f"{signed_points(plain)}, between {between(campaign.plain_low, campaign.plain_high)}."
        )
    if contrast.month_sd > 0.0:
        notes.append("Months differ by more than single jobs explain; the interval allows for it.")
    notes.append(_regression_note(campaign))
    notes.append(
        "Whatever else changed at about that time changed the share too: the day is compared, not "
        "its cause."
    )
    return tuple(notes)


def _regression_note(campaign: Campaign) -> str:
    lately, earlier, without = campaign.lately, campaign.earlier, campaign.without_lately
    general = (
        "If the day was chosen because the months before it were bad, part of a rise would have "
        "come by itself: after a bad month an ordinary one is likelier than another bad one."
    )
    if not lately.total or not earlier.total or without is None or without.difference is None:
        return general
    dipped = _dipped(lately, earlier)
    said = (
        f"In the three months before the day {percent(lately.share)} were left in range, "
        f"{percent(earlier.share)} in the time before those"
    )
    rest = f"without those three months the difference is {signed_points(without.difference)}"
    if without.low is not None and without.high is not None:
        rest += f", between {between(without.low, without.high)}"
    if dipped:
        return f"{said}. {general} {rest[0].upper()}{rest[1:]}."
    return f"{said}; {rest}. {general}"


def _dipped(lately: Share, earlier: Share) -> bool:
    return (lately.share or 0.0) < earlier.low_end


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
    if not moving:
        return (
            f"No evidence that the share left in range changes for any of the {nouns}, allowing "
            "for their number."
        )
    return " ".join(
        f"{part_name(part.key)}: the share left in range {part_verb(part)} by "
        f"{points(part.per_year or 0.0)} a year, more than chance explains."
        for part in moving
    )


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
        return "No evidence of a change"
    return f"{part_verb(part).capitalize()} by more than chance explains"


def few_jobs_note(parts: tuple[Part, ...], step: str) -> str:
    """Say that steps with few jobs move by chance."""
    if any(one.share.total < FEW for part in parts for one in part.steps):
        return f"{step.capitalize()}s with few jobs have long intervals."
    return ""


def points(share: float) -> str:
    """Return a difference of shares without its sign, in percentage points."""
    text = number(abs(share))
    return f"{text} {'point' if text == '1' else 'points'}"


def number(share: float) -> str:
    """Return a share times 100, without a unit."""
    return write(share * 100.0, 0)


def signed_points(share: float) -> str:
    """Return a difference of shares with its sign, in percentage points."""
    sign = signed(share)
    return f"{sign} {'point' if sign.lstrip('+' + MINUS) == '1' else 'points'}"


def signed(share: float) -> str:
    """Return a difference of shares with its sign, without a unit."""
    text = number(share)
    if text.lstrip(MINUS) == "0":
        return "0"
    return f"+{text}" if share > 0 else text


def ends(low: float, high: float) -> str:
    """Return the ends of an interval of a difference."""
    return f"{signed(low)} to {signed(high)}"


def between(low: float, high: float) -> str:
    """Return the ends of an interval of a difference, as they stand after `between`."""
    return f"{signed(low)} and {signed(high)}"


def calendar_name(month: int) -> str:
    """Return the name of a month of the calendar."""
    return calendar.month_name[month]
