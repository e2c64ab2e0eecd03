"""The sentence that says how the fleet stands, and what stands beside it."""

from __future__ import annotations

from dataclasses import dataclass

from .display import percent, write
from .filters import DEFAULT_PERIOD, PERIODS, Asked, day_text
from .values.shares import Change, CorrectedShare, Share
from .words import FEWEST_FOR_PERCENT, count_of, ends_text, interval_text, share_text


@dataclass(frozen=True, slots=True)
class Standing:
    """One sentence in three pieces: the figure, what it may be, and what it is of."""

    figure: str
    behind: str
    rest: str

    @property
    def sentence(self) -> str:
        """The whole sentence."""
        return " ".join(part for part in (self.figure, self.behind, self.rest) if part)


def standing(share: Share, change: Change | None, asked: Asked) -> Standing | None:
    """Return the sentence that says how things stand; none where there is no job."""
    if not share.total:
        return None
    verb = "left" if asked.filters.stage == "as_left" else "found"
    when = period_in_sentence(asked)
    if share.total < FEWEST_FOR_PERCENT:
        return _of_few(share, f"{when} ", verb)
    return Standing(
        figure=percent(share.share),
        behind=f"({interval_text(share)})",
        rest=f"of {share.total:,} jobs {when} were {verb} in range{change_clause(change)}.",
    )


def standing_of_crews(share: Share, who: str) -> Standing | None:
    """Return the sentence that says what one crew left, or all of them; none without a job."""
    if not share.total:
        return None
    if share.total < FEWEST_FOR_PERCENT:
        return _of_few(share, f"of {who} ", "left")
    return Standing(
        figure=percent(share.share),
        behind=f"({interval_text(share)})",
        rest=f"of the jobs of {who} were left in range, {share.inside:,} of {share.total:,}.",
    )


def _of_few(share: Share, which: str, verb: str) -> Standing:
    job, were = ("job", "was") if share.total == 1 else ("jobs", "were")
    return Standing(
        figure=share_text(share),
        behind="",
        rest=f"{job} {which}{were} {verb} in range; so few say little: the true share may lie "
        f"anywhere from {interval_text(share)}.",
    )


def change_clause(change: Change | None) -> str:
    """Return the change against the period before as the end of a sentence."""
    if change is None or change.before.total < FEWEST_FOR_PERCENT:
        return ""
    points = write(abs(change.change) * 100.0, 0)
    if points == "0":
        return (
            ", within one point of the share in as many days before"
            if change.change
            else ", the same share as in as many days before"
        )
    noun = "point" if points == "1" else "points"
    side = "more" if change.change > 0 else "less"
    sure = (
        "which is more than chance explains" if change.is_sure else "which chance alone may explain"
    )
    return f", {points} {noun} {side} than in as many days before, {sure}"


def before_sentence(change: Change | None) -> str:
    """Say what the share was in the period before, with the interval of the change."""
    if change is None:
        return ""
    days = f"From {day_text(change.from_on)} to {day_text(change.to_on)}"
    if change.from_on == change.to_on:
        days = f"On {day_text(change.from_on)}"
    before = change.before
    if before.total < FEWEST_FOR_PERCENT:
        return (
            f"{days} there {'was' if before.total == 1 else 'were'} only "
            f"{count_of(before.total, 'job')}, too few to compare with."
        )
    low, high = (_signed(end * 100.0) for end in (change.low_end, change.high_end))
    return (
        f"{days} it was {percent(before.share)} of {count_of(before.total, 'job')}; the change "
        f"lies between {low} and {high} points."
    )


def composition_sentence(share: Share) -> str:
    """Say what the interval is and how jobs too close to call count."""
    said = "The figures in brackets are the 95 % interval."
    if not share.undecided:
        return f"{said} No job is too close to call."
    verb, counts = ("is", "counts") if share.undecided == 1 else ("are", "count")
    where = "its estimate lies" if share.undecided == 1 else "their estimates lie"
    return (
        f"{said} {count_of(share.undecided, 'job')} {verb} too close to call, or the target's "
        f"basis decides, and {counts} where {where}."
    )


def period_in_sentence(asked: Asked) -> str:
    """Return the period as a part of a sentence."""
    if asked.period in PERIODS and asked.period not in ("all", "dates"):
        return f"in the {PERIODS[asked.period or DEFAULT_PERIOD].lower()}"
    start, end = asked.filters.from_on, asked.filters.to_on
    if start and end:
        if start == end:
            return f"on {day_text(start)}"
        return f"from {day_text(start)} to {day_text(end)}"
    if start:
        return f"since {day_text(start)}"
    if end:
        return f"until {day_text(end)}"
    return "on record"


def corrected_sentence(corrected: CorrectedShare | None, *, stage: str) -> str:
    """Say how many were in range allowing for measurement uncertainty, where that can be told."""
    if corrected is None:
        return ""
    return (
        f"Allowing for measurement uncertainty, some {percent(corrected.share)} "
        f"({ends_text(corrected.low, corrected.high)}) were "
        f"{'left' if stage == 'as_left' else 'found'} in range."
    )


def shown_note(shown: int, total: int, *, nouns: str, stage: str) -> str:
    """Say which of many a chart shows; nothing where it shows all."""
    if total <= shown:
        return ""
    verb = "left" if stage == "as_left" else "found"
    return (
        f"Of {total:,} {nouns} the {shown:,} with the most surely {verb} outside are drawn; the "
        "file has all."
    )


def _signed(value: float) -> str:
    number = write(value, 0)
    return f"+{number}" if value > 0 and number != "0" else number
