"""What is due, in short: how long each list is, what comes first in it, and what to do."""

from __future__ import annotations

import datetime
from typing import Any

from django.urls import reverse

from .. import due_words, meter_words
from ..display import percent
from ..due_words import Named
from ..filters import Asked, day_text
from ..queries.due import MOST_FOUND_OFF
from ..tables import Cell, Column, Table
from ..values.due import Due, DueMeter, Listed
from .due_tables import astray_step, found_off_step
from .filtering import link_to


def summary_table(
    due: Due, asked: Asked, named: Named, *, today: datetime.date, is_manager: bool
) -> Table:
    """Return one line for each list that is not empty, what is late before what is coming."""
    rows = [
        *(
            (
                Cell(
                    "Results of a meter found off, not corrected",
                    href=f"{link_to(asked, 'due')}#found-off",
                ),
                Cell(f"{one.between:,}", one.between),
                Cell(f"{one.meter}, found off on {day_text(one.performed_on)}"),
                found_off_step(one, is_manager=is_manager),
            )
            for one in due.found_off.rows[:MOST_FOUND_OFF]
        ),
        *(
            (
                Cell(
                    f"Results of a meter that reads {one.reads}",
                    href=f"{link_to(asked, 'due')}#astray",
                ),
                Cell(f"{one.results:,}", one.results),
                Cell(
                    f"{one.name}, by {percent(abs(one.held.offset), 1)} against the others "
                    f"({meter_words.reads_ends(one.held)})"
                ),
                astray_step(one, asked),
            )
            for one in due.astray[:MOST_FOUND_OFF]
        ),
        *_meters("overdue", "Meters out of calibration", due.overdue, asked, named, today),
        *(
            _row(
                "missed",
                "Planned visits without a measurement",
                due.missed,
                asked,
                first=f"{one.site}, {day_text(one.planned_for)}",
                step=due_words.missed_step(one, named(one.crew)),
            )
            for one in due.missed.rows[:1]
        ),
        *(
            _row(
                "late",
                "Systems not measured for too long",
                due.late,
                asked,
                first=f"{one.system.tag}, {one.system.site}",
                step=due_words.system_step(one),
            )
            for one in due.late.rows[:1]
        ),
        *(
            _row(
                "never",
                "Systems never measured",
                due.never,
                asked,
                first=f"{one.system.tag}, {one.system.site}",
                step=due_words.system_step(one),
            )
            for one in due.never.rows[:1]
        ),
        *(
            _row(
                "foreseen",
                "Systems that may leave their range",
                due.foreseen,
                asked,
                first=f"{one.system.tag}, {one.system.site}",
                step=due_words.foreseen_step(one, today=today),
            )
            for one in due.foreseen.rows[:1]
        ),
        *_meters("expiring", "Calibrations that run out soon", due.expiring, asked, named, today),
        *(
            _row(
                "coming",
                "Visits planned",
                due.coming,
                asked,
                first=f"{one.site}, {day_text(one.planned_for)}",
                step=due_words.coming_step(named(one.crew)),
            )
            for one in due.coming.rows[:1]
        ),
    ]
    return Table(
        slug="due",
        caption="What is due, each with what comes first",
        columns=(
            Column("What"),
            Column("How many", is_number=True),
            Column("First of them"),
            Column("Its next step"),
        ),
        rows=tuple(rows),
        href=f"{reverse('due-file', args=['due'])}?{asked.lasting_query}",
    )


def _meters(
    slug: str, what: str, listed: Listed[DueMeter], asked: Asked, named: Named, today: datetime.date
) -> list[tuple[Cell, ...]]:
    return [
        _row(
            slug,
            what,
            listed,
            asked,
            first=one.name if one.due_on is None else f"{one.name}, due {day_text(one.due_on)}",
            step=due_words.meter_step(one, list(dict.fromkeys(map(named, one.crews))), today=today),
        )
        for one in listed.rows[:1]
    ]


def _row(
    slug: str, what: str, listed: Listed[Any], asked: Asked, *, first: str, step: str
) -> tuple[Cell, ...]:
    return (
        Cell(what, href=f"{link_to(asked, 'due')}#{slug}"),
        Cell(f"{listed.total:,}", listed.total),
        Cell(first),
        Cell(step),
    )
