"""The tables of the crews page: what was left, what was found, what was not measured."""

from __future__ import annotations

from collections.abc import Sequence

from django.urls import reverse

from .. import group_words, words
from ..filters import Asked
from ..tables import Cell, Column, Table
from ..values.crews import CrewShare
from ..values.shares import Share
from .fleet_tables import MOST_ROWS, PLANNING_COLUMNS, SHARE_COLUMNS, planning_cells, share_cells


def left_table(
    crews: Sequence[CrewShare],
    asked: Asked,
    *,
    whole: CrewShare | None = None,
    limit: int | None = MOST_ROWS,
) -> Table:
    """Return what each crew left, beside it how hard its work was, and what that says."""
    kept = [one for one in crews if one.named.left.total]
    shown = kept if limit is None else kept[:limit]
    return Table(
        slug="left",
        caption="Share left in range, by crew, who surely leaves most outside first",
        columns=(
            Column("Crew"),
            *SHARE_COLUMNS,
            *PLANNING_COLUMNS,
            Column("Outside, others at these sites", is_number=True),
            Column("Found outside", is_number=True),
            Column("What it says"),
        ),
        rows=tuple(
            _left_row(one, asked, is_whole=one is whole)
            for one in (*shown, *((whole,) if whole else ()))
        ),
        href=_file("left", asked),
        more=len(kept) - len(shown),
    )


def _left_row(one: CrewShare, asked: Asked, *, is_whole: bool) -> tuple[Cell, ...]:
    named, compared = one.named, one.named.left_compared
    found = named.found
    expected = Cell("–", "")
    if compared is not None:
        expected = Cell(
            words.write(compared.expected_outside, 1),
            compared.expected_outside,
            note=f"here {named.left.outside:,}",
        )
    return (
        _name(one, asked, is_whole=is_whole),
        *share_cells(named.left),
        *planning_cells(compared),
        expected,
        _found_cell(found),
        Cell("The whole" if is_whole else group_words.crew_sentence(named)),
    )


def _found_cell(found: Share) -> Cell:
    if not found.total:
        return Cell("–", "")
    share = found.outside / found.total
    if found.total < words.FEWEST_FOR_PERCENT:
        return Cell(f"{found.outside:,} of {found.total:,}", share)
    return Cell(words.percent(share), share, note=f"of {found.total:,}")


def found_table(
    crews: Sequence[CrewShare],
    asked: Asked,
    *,
    whole: CrewShare | None = None,
    limit: int | None = MOST_ROWS,
) -> Table:
    """Return what each crew found: how hard its work is, not how well it is done."""
    kept = sorted(
        (one for one in crews if one.named.found.total),
        key=lambda one: (one.named.found.high_end, one.name.lower(), one.id),
    )
    shown = kept if limit is None else kept[:limit]
    return Table(
        slug="found",
        caption="Share found in range, by crew, the hardest work first",
        columns=(Column("Crew"), *SHARE_COLUMNS),
        rows=tuple(
            (_name(one, asked, is_whole=one is whole), *share_cells(one.named.found))
            for one in (*shown, *((whole,) if whole else ()))
        ),
        href=_file("found", asked),
        more=len(kept) - len(shown),
    )


def visits_table(
    crews: Sequence[CrewShare],
    asked: Asked,
    *,
    whole: CrewShare | None = None,
    limit: int | None = MOST_ROWS,
) -> Table:
    """Return what is in no share: visits without a measurement, jobs without an as-left one."""
    shown = crews if limit is None else crews[:limit]
    return Table(
        slug="visits",
        caption="What no share can show, by crew",
        columns=(
            Column("Crew"),
            Column("Visits", is_number=True),
            Column("Nothing measured", is_number=True),
            Column("Measured, nothing judged", is_number=True),
            Column("Jobs found outside, not measured as left", is_number=True),
        ),
        rows=tuple(
            (
                _name(one, asked, is_whole=one is whole),
                *(
                    Cell(f"{number:,}", number)
                    for number in (
                        one.visits.total,
                        one.visits.unmeasured,
                        one.visits.unjudged,
                        one.named.found_outside_without_as_left,
                    )
                ),
            )
            for one in (*shown, *((whole,) if whole else ()))
        ),
        href=_file("visits", asked),
        more=len(crews) - len(shown),
    )


def _name(one: CrewShare, asked: Asked, *, is_whole: bool) -> Cell:
    if is_whole:
        return Cell(one.name)
    return Cell(one.name, href=f"{reverse('fleet')}?{asked.query(crew=str(one.id))}")


def _file(slug: str, asked: Asked) -> str:
    return f"{reverse('crews-file', args=[slug])}?{asked.lasting_query}"
