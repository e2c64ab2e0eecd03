"""The page of what is due: visits, systems that wait to be measured, calibrations."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from django.http import Http404, HttpResponse
from django.urls import reverse

from .. import due_words
from ..due_words import Named
from ..filters import Asked
from ..queries.attention import attention
from ..queries.due import due
from ..tables import Table
from ..values.due import CrewName, Due
from ..values.filters import Choices
from . import due_tables as tables
from .due_summary import summary_table
from .filtering import filter_form, offered_choices
from .frame import Frame, file_of, file_page, page

MOST_ROWS: Final = 25


@dataclass(frozen=True, slots=True)
class View:
    """What is due, as this viewer may see it."""

    frame: Frame
    asked: Asked
    choices: Choices
    due: Due
    named: Named


@dataclass(frozen=True, slots=True)
class Section:
    """One of the page's lists."""

    title: str
    sentence: str
    table: Table

    @property
    def slug(self) -> str:
        """What the section is called in addresses."""
        return self.table.slug


@page
def due_page(frame: Frame) -> HttpResponse:
    """Show what is due as things stand today, whatever the period."""
    view = _view(frame, limit=MOST_ROWS)
    if view.choices.is_empty:
        return frame.page("fleet_empty.html", section="due", page_name="Due")
    return frame.page(
        "due.html",
        section="due",
        asked=view.asked,
        filters=filter_form(view.asked, view.choices, page_name="due", as_of_today=True),
        says=due_words.due_sentence(view.due, months=frame.house.measure_every_months),
        sections=_sections(view),
        interval=due_words.interval_text(frame.house.measure_every_months),
        address=reverse("due"),
    )


@file_page
def due_file(frame: Frame, *, slug: str) -> HttpResponse:
    """Send one of the page's tables as CSV, all of its rows."""
    makers = {**_TABLES, "due": _summary}
    if slug not in makers:
        raise Http404
    return file_of(makers[slug](_view(frame, limit=None)), "due")


def crew_named(frame: Frame, *, unnamed: frozenset[UUID] = frozenset()) -> Named:
    """Return how crews are called on the page of this viewer.

    A page that compares passes in `unnamed` the crews that show only with consent. Who has a meter
    or a visit to make is no comparison.
    """

    def named(crew: CrewName) -> str:
        if crew.id in unnamed:
            return "the crew"
        return crew.name if frame.viewer.sees_crew(crew.id) else "another crew"

    return named


def _view(frame: Frame, *, limit: int | None) -> View:
    offered = offered_choices(frame)
    asked = frame.asked
    standing = attention(asked.filters, today=frame.today)
    return View(
        frame=frame,
        asked=asked,
        choices=offered,
        due=due(
            asked.filters,
            standing,
            today=frame.today,
            months=frame.house.measure_every_months,
            limit=limit,
        ),
        named=crew_named(frame),
    )


def _sections(view: View) -> tuple[Section, ...]:
    found, months = view.due, view.frame.house.measure_every_months
    sentences = {
        "found-off": ("Meters found off, not corrected", due_words.found_off_sentence(found)),
        "astray": ("Meters that read high or low", due_words.astray_sentence(found)),
        "overdue": ("Meters out of calibration", due_words.overdue_sentence(found)),
        "missed": ("Planned visits without a measurement", due_words.missed_sentence(found)),
        "late": (
            "Systems not measured for too long",
            due_words.late_sentence(found, months=months),
        ),
        "never": ("Systems never measured", due_words.never_sentence(found)),
        "foreseen": ("Systems that may leave their range", due_words.foreseen_sentence(found)),
        "expiring": ("Calibrations that run out soon", due_words.expiring_sentence(found)),
        "coming": ("Visits planned", due_words.coming_sentence(found)),
    }
    return tuple(
        Section(title, sentence, _TABLES[slug](view))
        for slug, (title, sentence) in sentences.items()
    )


_TABLES: Final[dict[str, Callable[[View], Table]]] = {
    "found-off": lambda view: tables.found_off_table(
        view.due.found_off, view.asked, is_manager=view.frame.viewer.is_manager
    ),
    "astray": lambda view: tables.astray_table(view.due.astray, view.asked),
    "overdue": lambda view: tables.meters_table(
        view.due.overdue, view.asked, view.named, slug="overdue", today=view.frame.today
    ),
    "missed": lambda view: tables.missed_table(view.due.missed, view.asked, view.named),
    "late": lambda view: tables.late_table(view.due.late, view.asked),
    "never": lambda view: tables.never_table(view.due.never, view.asked),
    "foreseen": lambda view: tables.foreseen_table(
        view.due.foreseen, view.asked, today=view.frame.today
    ),
    "expiring": lambda view: tables.meters_table(
        view.due.expiring, view.asked, view.named, slug="expiring", today=view.frame.today
    ),
    "coming": lambda view: tables.coming_table(view.due.coming, view.asked, view.named),
}


def _summary(view: View) -> Table:
    return summary_table(
        view.due,
        view.asked,
        view.named,
        today=view.frame.today,
        is_manager=view.frame.viewer.is_manager,
    )
