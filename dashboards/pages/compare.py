"""Systems beside each other: two to six of them, each against its own target."""

from __future__ import annotations

from typing import Any, Final
from urllib.parse import urlencode
from uuid import UUID

from django.http import Http404, HttpResponse
from django.urls import reverse

from airflow_jobs import units as dimensions
from airflow_jobs.models import Call

from .. import compare_words, words
from ..charts.compare import beside_each_other
from ..filters import Problem, period_choices
from ..queries.compare import comparison, position
from ..tables import Table
from ..values.compare import Comparison
from ..values.filters import Choice
from ..values.systems import Judged
from . import compare_tables as tables
from .frame import Frame, file_of, page, refused

FEWEST: Final = 2
MOST: Final = 6
FILES: Final = ("summary", "differences", "points")
SCALES: Final = {"range": "In its target range", "flow": "Flow per capacity"}


@page
def systems_compared(frame: Frame) -> HttpResponse:
    """Show systems beside each other, and what differs."""
    asked_for, problems = read_systems(frame)
    compared = _compared(frame, asked_for)
    problems += _missing(asked_for, compared)
    systems = compared.systems
    return frame.page(
        "compare.html",
        section="systems",
        asked=frame.asked,
        problems=problems,
        comparison=compared,
        enough=len(systems) >= FEWEST,
        form=_form(frame, compared),
        others=f"{reverse('systems')}?{urlencode([('system', one.system.id) for one in systems])}",
        chart=_chart(frame, compared) if systems else None,
        differences=compare_words.difference_sentences(compared, frame.house.units),
        summary_table=_with_file(frame, tables.summary_table(compared, frame.house.units)),
        differences_table=_with_file(frame, tables.differences_table(compared, frame.house.units)),
        points_href=_file(frame, "points"),
    )


@page
def compared_file(frame: Frame, *, slug: str) -> HttpResponse:
    """Send one of the page's tables as CSV."""
    if slug not in FILES:
        raise Http404
    asked_for, problems = read_systems(frame)
    compared = _compared(frame, asked_for)
    problems += _missing(asked_for, compared)
    if no_file := refused(frame, (*frame.asked.left_out, *problems)):
        return no_file
    if slug == "points":
        return file_of(tables.points_table(compared, frame.house.units), "compared")
    table = tables.summary_table if slug == "summary" else tables.differences_table
    return file_of(table(compared, frame.house.units), "compared")


def read_systems(frame: Frame) -> tuple[list[UUID], list[Problem]]:
    """Return the systems that an address names, each once, and what made no sense."""
    found: list[UUID] = []
    problems: list[Problem] = []
    for text in frame.request.GET.getlist("system"):
        try:
            identifier = UUID(text)
        except ValueError:
            problems.append(
                Problem("The address names a system that can't exist", "it is left out", "system")
            )
            continue
        if identifier not in found:
            found.append(identifier)
    if len(found) > MOST:
        problems.append(
            Problem(
                f"More than {MOST} can't be read beside each other",
                f"the first {MOST} are shown",
                "system",
            )
        )
    return found[:MOST], problems


def _compared(frame: Frame, systems: list[UUID]) -> Comparison:
    call = frame.request.GET.get("call", "")
    return comparison(
        systems,
        frame.asked.filters,
        call=call if call in Call.values else "",
        is_relative=frame.request.GET.get("scale") != "flow",
    )


def _missing(asked_for: list[UUID], compared: Comparison) -> list[Problem]:
    missing = len(asked_for) - len(compared.systems)
    if not missing:
        return []
    return [
        Problem(f"{words.count_of(missing, 'system')} of the address can't be found", "", "system")
    ]


def _form(frame: Frame, compared: Comparison) -> dict[str, Any]:
    filters = frame.asked.filters
    chosen_scale = "range" if compared.is_relative else "flow"
    scales = SCALES if compared.has_capacities else {"range": SCALES["range"]}
    return {
        "systems": [
            Choice(str(one.system.id), f"{one.system.tag}, {one.system.site}", is_chosen=True)
            for one in compared.systems
        ],
        "calls": [
            Choice(call, words.CALLS.get(call, call), call == compared.call)
            for call in compared.calls
        ],
        "scales": [Choice(key, text, key == chosen_scale) for key, text in scales.items()],
        "periods": period_choices(frame.asked),
        "from": filters.from_on.isoformat()
        if filters.from_on and frame.asked.period == "dates"
        else "",
        "to": filters.to_on.isoformat() if filters.to_on and frame.asked.period == "dates" else "",
    }


def _chart(frame: Frame, compared: Comparison) -> dict[str, Any]:
    units = frame.house.units

    def in_range(judged: Judged, value: float) -> float:
        return 100.0 * position(judged, value)

    def per_capacity(judged: Judged, value: float) -> float:
        return units.number(value, dimensions.FLOW_PER_CAPACITY)

    title = (
        "0 % the low limit, 100 % the high one"
        if compared.is_relative
        else units.name(dimensions.FLOW_PER_CAPACITY)
    )
    has_any = any(one.measurements for one in compared.systems)
    return {
        "id": "chart-compared",
        "data_id": "chart-compared-data",
        "title": "Systems beside each other",
        "sentence": compare_words.chart_sentence(compared),
        "figure": beside_each_other(
            compared, title=title, number=in_range if compared.is_relative else per_capacity
        )
        if has_any
        else None,
    }


def _with_file(frame: Frame, table: Table) -> Table:
    return Table(
        slug=table.slug,
        caption=table.caption,
        columns=table.columns,
        rows=table.rows,
        href=_file(frame, table.slug),
    )


def _file(frame: Frame, slug: str) -> str:
    return f"{reverse('compared-file', args=[slug])}?{frame.request.GET.urlencode()}"
