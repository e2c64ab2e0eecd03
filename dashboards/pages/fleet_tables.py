"""The tables of the fleet page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from django.urls import reverse

from .. import group_words, words
from ..display import month_or_quarter, percent
from ..filters import Asked
from ..strips import share_strip
from ..tables import Cell, Column, Table
from ..values.shares import Compared, FleetShares, NamedShare, Share

# On the page; the file has all of them.
MOST_ROWS: Final = 25


SHARE_COLUMNS: Final = (
    Column("In range"),
    Column("Share", is_number=True),
    Column("Interval, low end", is_number=True, only_in_file=True),
    Column("Interval, high end", is_number=True, only_in_file=True),
    Column("Jobs", is_number=True),
    Column("Low", is_number=True),
    Column("High", is_number=True),
    Column("Too close to call", is_number=True),
)


PLANNING_COLUMNS: Final = (
    Column("Share to plan with", is_number=True),
    Column("Share to plan with, low end", is_number=True, only_in_file=True),
    Column("Share to plan with, high end", is_number=True, only_in_file=True),
)


def planning_cells(compared: Compared | None) -> tuple[Cell, ...]:
    """Return the share to plan with and its interval."""
    if compared is None:
        return Cell("–", ""), Cell("", ""), Cell("", "")
    return (
        Cell(
            percent(compared.planning_share),
            compared.planning_share,
            note=words.ends_text(compared.planning_low, compared.planning_high),
        ),
        Cell("", compared.planning_low),
        Cell("", compared.planning_high),
    )


def share_cells(share: Share) -> tuple[Cell, ...]:
    has_any = share.total > 0
    return (
        Cell(
            f"{share.inside:,}",
            share.inside,
            strip=share_strip(share),
        ),
        Cell(
            words.share_text(share) if has_any else "–",
            share.share if has_any else "",
            note=words.interval_text(share) if has_any else "",
        ),
        Cell("", share.low_end if has_any else ""),
        Cell("", share.high_end if has_any else ""),
        Cell(f"{share.total:,}", share.total),
        Cell(f"{share.below:,}", share.below, mark="low" if share.below else ""),
        Cell(f"{share.above:,}", share.above, mark="high" if share.above else ""),
        Cell(f"{share.undecided:,}", share.undecided, mark="undecided" if share.undecided else ""),
    )


def months_table(shares: FleetShares, asked: Asked) -> Table:
    """Return the months, found and left as lines of their own, the latest first."""
    rows = [
        (month.month, order, stage, month.share)
        for order, stage, series in (
            (0, "As left", shares.left_by_month),
            (1, "As found", shares.found_by_month),
        )
        for month in series
    ]
    rows.sort(key=lambda row: (-row[0].toordinal(), row[1]))
    return Table(
        slug="months",
        caption=f"Share in range by {shares.step}",
        columns=(Column(shares.step.capitalize(), is_short=True), Column("Stage"), *SHARE_COLUMNS),
        rows=tuple(
            (
                Cell(month_or_quarter(month, shares.step), month.isoformat()),
                Cell(stage),
                *share_cells(share),
            )
            for month, _, stage, share in rows
        ),
        href=file_address("months", asked),
    )


def named_table(
    named: Sequence[NamedShare],
    asked: Asked,
    *,
    slug: str,
    noun: str,
    href: Callable[[NamedShare], str],
    whole: NamedShare | None = None,
    limit: int | None = MOST_ROWS,
) -> Table:
    """Return crews or sites with their shares at the stage that is asked for."""
    stage = asked.filters.stage
    shown = list(named if limit is None else named[:limit])
    rows = [_named_row(one, stage, slug, href=href(one)) for one in shown]
    if whole is not None:
        rows.append(_named_row(whole, stage, slug, href=""))
    return Table(
        slug=slug,
        caption=f"Share in range {words.STAGES[stage].lower()}, by {noun}. “Share to plan with” is "
        "drawn towards the whole by as much as few jobs can't tell",
        columns=(
            Column(noun.capitalize()),
            *SHARE_COLUMNS,
            *PLANNING_COLUMNS,
            Column("Held against the others"),
        ),
        rows=tuple(rows),
        href=file_address(slug, asked),
        more=len(named) - len(shown),
    )


def _named_row(one: NamedShare, stage: str, nouns: str, *, href: str) -> tuple[Cell, ...]:
    compared = one.compared_at(stage)
    return (
        Cell(one.name, href=href),
        *share_cells(one.at(stage)),
        *planning_cells(compared),
        Cell(group_words.compared_text(one, stage=stage, nouns=nouns))
        if compared
        else Cell("–", ""),
    )


def file_address(slug: str, asked: Asked) -> str:
    """Return where one of the page's tables lies as CSV."""
    return f"{reverse('fleet-file', args=[slug])}?{asked.lasting_query}"
