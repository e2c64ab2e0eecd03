"""The sentences about a day: what the share left in range did before and after it."""

from __future__ import annotations

from .display import percent
from .filters import day_text
from .over_time_words import EXPLAINED, between, number, points, signed_points, why_untold
from .values.over_time import NOTHING_TOLD, Campaign
from .values.shares import Share
from .words import count_of


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
    if not contrast.can_tell:
        return f"{said} So few jobs can't tell whether it changed: {why_untold(contrast)}."
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
    if (
        campaign.plain_low is not None
        and campaign.plain_high is not None
        and campaign.plain_high - campaign.plain_low < NOTHING_TOLD
    ):
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
    rest = "without those three months there is too little left to tell of a difference"
    if without.can_tell and without.low is not None and without.high is not None:
        rest = (
            f"without those three months the difference is {signed_points(without.difference)}, "
            f"between {between(without.low, without.high)}"
        )
    if dipped:
        return f"{said}. {general} {rest[0].upper()}{rest[1:]}."
    return f"{said}; {rest}. {general}"


def _dipped(lately: Share, earlier: Share) -> bool:
    return (lately.share or 0.0) < earlier.low_end
