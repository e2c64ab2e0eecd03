"""The tables of the page over time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from django.urls import reverse

from .. import over_time_words as words
from ..display import month_or_quarter, percent, unbroken, write
from ..filters import Asked
from ..tables import Cell, Column, Table
from ..values.over_time import Campaign, Contrast, HeldSteps, OverTime, Part
from ..words import ends_text
from .fleet_tables import MOST_ROWS, SHARE_COLUMNS, share_cells

_DIFFERENCE: Final = (
    Column("Difference, points", is_number=True),
    Column("Difference, low end", is_number=True, only_in_file=True),
    Column("Difference, high end", is_number=True, only_in_file=True),
)


def held_table(held: HeldSteps, asked: Asked, *, limit: int | None = MOST_ROWS) -> Table:
    """Return the months of one stage, the latest first, each held against the others."""
    verb = words.VERBS[held.stage]
    steps = held.steps[::-1]
    shown = steps if limit is None else steps[:limit]
    return Table(
        slug=verb,
        caption=f"Share {verb} in range by {held.step}, the latest first",
        columns=(
            Column(held.step.capitalize(), is_short=True),
            *SHARE_COLUMNS,
            Column("If like the others", is_number=True, only_on_page=True),
            Column("Limit, low", is_number=True, only_in_file=True),
            Column("Limit, high", is_number=True, only_in_file=True),
            Column("What it says"),
        ),
        rows=tuple(
            (
                Cell(month_or_quarter(one.first, held.step), one.first.isoformat()),
                *share_cells(one.share),
                *(
                    (Cell("–"), Cell("", ""), Cell("", ""))
                    if one.low is None or one.high is None
                    else (
                        Cell(ends_text(one.low, one.high)),
                        Cell("", one.low),
                        Cell("", one.high),
                    )
                ),
                Cell(words.says_of_step(one, held)),
            )
            for one in shown
        ),
        href=_file(verb, asked),
        more=len(steps) - len(shown),
    )


def place_table(found: OverTime, asked: Asked, *, limit: int | None = MOST_ROWS) -> Table:
    """Return the mean places in the target range and the smoothed ones, the latest first."""
    steps = () if found.drift is None else found.drift.steps[::-1]
    shown = steps if limit is None else steps[:limit]
    step = found.left.step
    return Table(
        slug="place",
        caption="Mean place in the target range as left: 0 % the low limit, 100 % the high one",
        columns=(
            Column(step.capitalize(), is_short=True),
            Column("Jobs", is_number=True),
            Column("Mean", is_number=True),
            Column("Smoothed", is_number=True),
            Column("Limits of the smoothed", is_number=True, only_on_page=True),
            Column("Limit, low", is_number=True, only_in_file=True),
            Column("Limit, high", is_number=True, only_in_file=True),
            Column("What it says"),
        ),
        rows=tuple(
            (
                Cell(month_or_quarter(one.first, step), one.first.isoformat()),
                Cell(f"{one.jobs:,}", one.jobs),
                Cell(_place(one.mean), one.mean),
                Cell(_place(one.smoothed), one.smoothed),
                Cell(unbroken(write(one.low * 100, 0), "to", _place(one.high))),
                Cell("", one.low),
                Cell("", one.high),
                Cell("Beyond its limits" if one.is_beyond else "Within its limits"),
            )
            for one in shown
        ),
        href=_file("place", asked),
        more=len(steps) - len(shown),
    )


def _place(value: float) -> str:
    # A place may lie outside the range, so it is no share.
    return unbroken(write(value * 100, 0), "%")


_LIKE_WITH_LIKE: Final = (
    "the difference is at the same sites with the same kinds, of those jobs that have others to be "
    "compared with there (“Jobs compared”)"
)


def calendar_table(found: OverTime, asked: Asked) -> Table:
    """Return the months of the calendar, left and found as lines of their own."""
    return Table(
        slug="calendar",
        caption="Share in range by month of the calendar, all years together",
        columns=(Column("Month", is_short=True), Column("Stage"), *SHARE_COLUMNS),
        rows=tuple(
            (
                Cell(words.calendar_name(one.number), one.number),
                Cell(stage),
                *share_cells(share),
            )
            for one in found.calendar
            for stage, share in (("As left", one.left), ("As found", one.found))
            if share.total
        ),
        href=_file("calendar", asked),
    )


def contrasts_table(found: OverTime, asked: Asked) -> Table:
    """Return halves of the calendar year and calls with what lies between them."""
    rows: list[tuple[Cell, ...]] = []
    for contrast, first, second in (
        (found.halves, "April to September", "October to March"),
        (found.calls, "Cooling", "Heating"),
    ):
        if contrast is not None:
            rows += _contrast_rows(contrast, first, second)
    return Table(
        slug="seasons",
        caption=f"Left in range by half of the calendar year and by call; {_LIKE_WITH_LIKE}",
        columns=(
            Column("Jobs of"),
            *SHARE_COLUMNS,
            *_DIFFERENCE,
            Column("Jobs compared", is_number=True),
        ),
        rows=tuple(rows),
        href=_file("seasons", asked),
    )


def day_table(campaign: Campaign, asked: Asked) -> Table:
    """Return what was left in range before a day and since."""
    return Table(
        slug="day",
        caption=f"Left in range before the day and since; {_LIKE_WITH_LIKE}",
        columns=(
            Column("Time"),
            *SHARE_COLUMNS,
            *_DIFFERENCE,
            Column("Jobs compared", is_number=True),
        ),
        rows=tuple(_contrast_rows(campaign.contrast, "Before", "Since")),
        href=_file(
            "day", asked, campaign=campaign.on.isoformat(), campaign_name=campaign.name or None
        ),
    )


def _contrast_rows(contrast: Contrast, first: str, second: str) -> list[tuple[Cell, ...]]:
    nothing = (Cell("–", ""), Cell("", ""), Cell("", ""))
    difference = nothing
    if contrast.low is not None and contrast.high is not None and not contrast.can_tell:
        difference = (Cell("–", "", note="too few jobs"), Cell("", ""), Cell("", ""))
    elif contrast.difference is not None:
        ends = None if contrast.low is None or contrast.high is None else contrast
        difference = (
            Cell(
                words.signed(contrast.difference),
                100.0 * contrast.difference,
                note=words.ends(contrast.low or 0.0, contrast.high or 0.0) if ends else "",
            ),
            Cell("", 100.0 * (contrast.low or 0.0) if ends else ""),
            Cell("", 100.0 * (contrast.high or 0.0) if ends else ""),
        )
    return [
        (
            Cell(name),
            *share_cells(share),
            *cells,
            Cell(f"{compared:,}", compared),
        )
        for name, share, cells, compared in (
            (first, contrast.first, nothing, contrast.compared[0]),
            (second, contrast.second, difference, contrast.compared[1]),
        )
    ]


def parts_table(parts: tuple[Part, ...], asked: Asked, *, slug: str, noun: str) -> Table:
    """Return kinds of equipment, or calls, with their change a year."""
    return Table(
        slug=slug,
        caption=f"Share left in range by {noun}, those with most jobs first; the interval of the "
        "change allows for their number",
        columns=(
            Column(noun.capitalize()),
            *SHARE_COLUMNS,
            Column("Found in range", is_number=True),
            Column("Change a year, points", is_number=True),
            Column("Change, low end", is_number=True, only_in_file=True),
            Column("Change, high end", is_number=True, only_in_file=True),
            Column("What it says"),
        ),
        rows=tuple(
            (
                Cell(words.part_name(part.key)),
                *share_cells(part.left),
                Cell(
                    percent(part.found.share),
                    "" if part.found.share is None else part.found.share,
                    note=f"of {part.found.total:,}" if part.found.total else "",
                ),
                *_change_cells(part),
                Cell(words.says_of_part(part)),
            )
            for part in parts
        ),
        href=_file(slug, asked),
    )


def _change_cells(part: Part) -> tuple[Cell, ...]:
    if part.per_year is None or part.low is None or part.high is None:
        return Cell("–", ""), Cell("", ""), Cell("", "")
    if not part.can_tell:
        return Cell("–", "", note="too few jobs"), Cell("", ""), Cell("", "")
    return (
        Cell(
            words.signed(part.per_year), 100.0 * part.per_year, note=words.ends(part.low, part.high)
        ),
        Cell("", 100.0 * part.low),
        Cell("", 100.0 * part.high),
    )


def parts_steps_table(
    parts: tuple[Part, ...],
    asked: Asked,
    *,
    step: str,
    slug: str,
    noun: str,
    limit: int | None = MOST_ROWS,
) -> Table:
    """Return kinds or calls by quarter, the latest first."""
    rows = [(one, index, part) for index, part in enumerate(parts) for one in part.steps]
    rows.sort(key=lambda row: (-row[0].month.toordinal(), row[1]))
    shown = rows if limit is None else rows[:limit]
    return Table(
        slug=slug,
        caption=f"Share left in range by {noun} and {step}, the latest first",
        columns=(
            Column(step.capitalize(), is_short=True),
            Column(noun.capitalize()),
            *SHARE_COLUMNS,
        ),
        rows=tuple(
            (
                Cell(month_or_quarter(one.month, step), one.month.isoformat()),
                Cell(words.part_name(part.key)),
                *share_cells(one.share),
            )
            for one, _, part in shown
        ),
        href=_file(slug, asked),
        more=len(rows) - len(shown),
    )


def _file(slug: str, asked: Asked, **more: str | None) -> str:
    query = asked.query(**asked.lasting_period, **more)
    return f"{reverse('over-time-file', args=[slug])}?{query}"


FILES: Final[dict[str, Callable[[OverTime, Asked], Table | None]]] = {
    "left": lambda found, asked: held_table(found.left, asked, limit=None),
    "found": lambda found, asked: held_table(found.found, asked, limit=None),
    "place": lambda found, asked: place_table(found, asked, limit=None),
    "calendar": calendar_table,
    "seasons": contrasts_table,
    "kinds": lambda found, asked: parts_table(found.kinds, asked, slug="kinds", noun="kind"),
    "kinds-over-time": lambda found, asked: parts_steps_table(
        found.kinds,
        asked,
        step=found.part_step,
        slug="kinds-over-time",
        noun="kind",
        limit=None,
    ),
    "calls": lambda found, asked: parts_table(found.by_call, asked, slug="calls", noun="call"),
    "calls-over-time": lambda found, asked: parts_steps_table(
        found.by_call,
        asked,
        step=found.part_step,
        slug="calls-over-time",
        noun="call",
        limit=None,
    ),
    "day": lambda found, asked: day_table(found.campaign, asked) if found.campaign else None,
}
