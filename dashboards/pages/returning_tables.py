"""The tables of the systems found outside again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final
from uuid import UUID

from django.urls import reverse

from airflow_jobs import units as dimensions

from .. import returning_words, words
from ..display import Units, percent
from ..filters import Asked, day_text
from ..strips import share_strip
from ..tables import Cell, Column, Table
from ..values.returning import FoundOften, NeverRight, Return
from ..values.systems import SystemName
from .site_steps import SystemStep

# On the page; the files have all of them.
MOST_ROWS: Final = 12


def often_table(
    systems: Sequence[FoundOften], asked: Asked, *, limit: int | None = MOST_ROWS
) -> Table:
    """Return the systems by how surely they are found outside more often than others."""
    kept = [one for one in systems if limit is None or one.found.outside]
    shown = kept if limit is None else kept[:limit]
    return Table(
        slug="often",
        caption="Systems found out of range, the surest excess over others of their kind first",
        columns=(
            Column("System"),
            Column("Site", only_in_file=True),
            Column("Kind", only_in_file=True),
            Column("Found", only_on_page=True),
            Column("Jobs", is_number=True, only_in_file=True),
            Column("Found outside", is_number=True),
            Column("Share outside", is_number=True, only_in_file=True),
            Column("Interval, low end", is_number=True, only_in_file=True),
            Column("Interval, high end", is_number=True, only_in_file=True),
            Column("Low", is_number=True),
            Column("High", is_number=True),
            Column("Too close to call", is_number=True, only_in_file=True),
            Column("Others of its kind", is_number=True, only_in_file=True),
            Column("Chance of so many", is_number=True, only_in_file=True),
            Column("Moved back out", is_number=True),
            Column("Not right in between", is_number=True),
            Column("What it says"),
        ),
        rows=tuple(_often_row(one, asked) for one in shown),
        href=_file("often", asked),
        more=len(systems) - len(shown),
    )


def _often_row(one: FoundOften, asked: Asked) -> tuple[Cell, ...]:
    found = one.found
    share = found.outside / found.total
    return (
        system_cell(one.system, asked),
        Cell(one.system.site),
        Cell(words.KINDS.get(one.system.kind, one.system.kind)),
        Cell("", strip=share_strip(found)),
        Cell("", found.total),
        Cell(
            f"{found.outside:,} of {found.total:,}",
            found.outside,
            note=f"{percent(share)}, {returning_words.outside_ends(found)}",
        ),
        Cell("", share),
        Cell("", 1.0 - found.high_end),
        Cell("", 1.0 - found.low_end),
        Cell(f"{found.below:,}", found.below, mark="low" if found.below else ""),
        Cell(f"{found.above:,}", found.above, mark="high" if found.above else ""),
        Cell("", found.undecided),
        Cell("", one.expected_share),
        Cell("", "" if one.p_value is None else one.p_value),
        Cell(
            f"{one.returned:,} of {one.set_right:,}" if one.set_right else "–",
            one.returned,
            note="times set right" if one.set_right else "",
        ),
        Cell(f"{one.never_between:,}" if one.never_between else "–", one.never_between),
        Cell(returning_words.often_text(one)),
    )


def returns_table(
    returns: Sequence[Return], asked: Asked, units: Units, *, total: int, limit: int | None
) -> Table:
    """Return what was left in range and found outside the next time, the latest first."""
    shown = returns if limit is None else returns[:limit]
    return Table(
        slug="returns",
        caption="Left in range, found outside at the next visit, the latest first",
        columns=(
            Column("System"),
            Column("Site", only_in_file=True),
            Column("Call", only_in_file=True),
            Column("Left in range"),
            Column("Left value", is_number=True, only_in_file=True),
            Column("Found outside"),
            Column("Found value", is_number=True, only_in_file=True),
            Column("Unit", only_in_file=True),
            Column("Target low", is_number=True, only_in_file=True),
            Column("Target high", is_number=True, only_in_file=True),
            Column("Days between", is_number=True, only_in_file=True),
            Column("Within", is_short=True, only_on_page=True),
            Column("Left with", only_in_file=True),
            Column("Found with", only_in_file=True),
            Column("Beyond doubt", only_in_file=True),
            Column("What was done", only_in_file=True),
            Column("What may lie behind it"),
        ),
        rows=tuple(_return_row(one, asked, units) for one in shown),
        href=_file("returns", asked),
        more=total - len(shown),
    )


def _return_row(one: Return, asked: Asked, units: Units) -> tuple[Cell, ...]:
    dimension = dimensions.FLOW if one.by_design_flow else dimensions.FLOW_PER_CAPACITY
    call = words.CALLS.get(one.call, one.call)
    done = "; ".join(returning_words.change_text(change) for change in one.made)
    return (
        system_cell(one.system, asked, more=call.lower()),
        Cell(one.system.site),
        Cell(call),
        Cell(
            _unbroken(day_text(one.left.on)),
            one.left.on.isoformat(),
            note=returning_words.side_text(one, which="left", house_units=units),
        ),
        Cell("", units.number(one.left.value, dimension)),
        Cell(
            _unbroken(day_text(one.found.on)),
            one.found.on.isoformat(),
            mark="low" if one.is_below else "high",
            note=(
                f"{returning_words.side_text(one, which='found', house_units=units)} against "
                f"{returning_words.range_text(one, units)}"
            ),
        ),
        Cell("", units.number(one.found.value, dimension)),
        Cell(units.name(dimension)),
        Cell("", units.number(one.target_low, dimension)),
        Cell("", units.number(one.target_high, dimension)),
        Cell("", one.days),
        Cell(returning_words.span_text(one.days)),
        Cell(one.left.meter),
        Cell(one.found.meter),
        Cell("yes" if one.is_sure else "no"),
        Cell(done or "nothing on record"),
        Cell(
            returning_words.return_text(one),
            note=f"Changed when it was left in range: {done}" if done else "",
        ),
    )


def never_right_table(
    never: Sequence[NeverRight],
    asked: Asked,
    *,
    steps: Mapping[UUID, SystemStep],
    limit: int | None = MOST_ROWS,
) -> Table:
    """Return the systems that were never set right between the times they were found outside.

    The next step of each is the one that the list of what needs a look gives.
    """
    shown = never if limit is None else never[:limit]
    return Table(
        slug="never-right",
        caption="Found outside again without having been in range in between, the most often first",
        columns=(
            Column("System"),
            Column("Site", only_in_file=True),
            Column("Call", only_in_file=True),
            Column("Days found outside", is_number=True),
            Column("Since", is_short=True),
            Column("Last", is_short=True),
            Column("Left outside", is_number=True),
            Column("Not measured as left", is_number=True),
            Column("Adjustments since", is_number=True),
            Column("What was done"),
            Column("Next step"),
        ),
        rows=tuple(
            (
                system_cell(one.system, asked, more=words.CALLS.get(one.call, one.call).lower()),
                Cell(one.system.site),
                Cell(words.CALLS.get(one.call, one.call)),
                Cell(f"{one.times:,}", one.times, mark="low" if one.is_below else "high"),
                Cell(one.since_on.isoformat()),
                Cell(one.last_on.isoformat()),
                Cell(f"{one.left_outside:,}", one.left_outside),
                Cell(f"{one.not_measured_as_left:,}", one.not_measured_as_left),
                Cell(f"{one.changes:,}", one.changes),
                Cell(returning_words.never_right_text(one)),
                _step_cell(one, steps.get(one.system.id)),
            )
            for one in shown
        ),
        href=_file("never-right", asked),
        more=len(never) - len(shown),
    )


def _step_cell(one: NeverRight, step: SystemStep | None) -> Cell:
    if step is None:
        return Cell(returning_words.NO_STEP)
    # What comes first about a system may be of another call.
    of = f"{words.CALLS.get(step.call, step.call)}: " if step.call not in ("", one.call) else ""
    return Cell(f"{of}{step.step}", note=step.how, note_href=step.href)


def system_cell(system: SystemName, asked: Asked, *, more: str = "") -> Cell:
    """Return a system's name as a link, its site under it."""
    note = f"{system.site}, {more}" if more else system.site
    return Cell(system.tag, href=reverse("system", args=[system.id]), note=note)


def _unbroken(text: str) -> str:
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def _file(slug: str, asked: Asked) -> str:
    return f"{reverse('returning-file', args=[slug])}?{asked.lasting_query}"
