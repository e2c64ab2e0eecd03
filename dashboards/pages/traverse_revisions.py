"""The revisions of a traverse: who sent what when and why, what came of it, two side by side."""

from __future__ import annotations

from typing import Any, Final
from uuid import UUID

from django.http import Http404, HttpResponse
from django.urls import reverse

from airflow_jobs import units as dimensions

from .. import contents, words
from ..display import Units, unbroken
from ..filters import day_text
from ..queries.revisions import traverse_revisions as revisions_of
from ..tables import Cell, Column, Table
from ..values.revisions import Revision, RevisionResult, TraverseRevisions
from .frame import Frame, file_of, page

DIFFERENCES: Final = {
    "same": "the same",
    "changed": "changed",
    "only_first": "left out",
    "only_second": "added",
}


@page
def traverse_revisions(frame: Frame, *, traverse_id: UUID) -> HttpResponse:
    """Show every content of a traverse, and two of them side by side."""
    found = _found(traverse_id)
    first, second = _chosen(frame, found)
    fields = contents.compared(first.content, second.content, found.names)
    different = [field for field in fields if field.difference != "same"]
    same = [field for field in fields if field.difference == "same"]
    is_one = first.number == second.number
    return frame.page(
        "traverse_revisions.html",
        section="systems",
        record=found,
        title_day=day_text(found.taken_at.date()),
        title_time=f"{found.taken_at:%H:%M}",
        stage=words.STAGES[found.stage],
        revisions_table=_revisions_table(found, frame),
        first=first,
        second=second,
        is_one=is_one,
        sentence=_sentence(first, second, len(different), len(same)),
        differences_table=_fields_table(found, first, second, different, slug="differences")
        if different
        else None,
        same_table=_fields_table(found, first, second, same, slug="same") if same else None,
        same_count=words.count_of(len(same), "field"),
    )


@page
def traverse_revisions_file(frame: Frame, *, traverse_id: UUID) -> HttpResponse:
    """Send the fields of two revisions as CSV, the same ones too."""
    found = _found(traverse_id)
    first, second = _chosen(frame, found)
    fields = contents.compared(first.content, second.content, found.names)
    return file_of(_fields_table(found, first, second, fields, slug="differences"), "traverse")


def _found(traverse_id: UUID) -> TraverseRevisions:
    found = revisions_of(traverse_id)
    if found is None or not found.revisions:
        raise Http404("There is no such traverse.")
    return found


def _chosen(frame: Frame, found: TraverseRevisions) -> tuple[Revision, Revision]:
    """Return the two that were asked for; without a question the last one and the one before."""
    latest = found.revisions[-1]
    before = found.revisions[-2] if len(found.revisions) > 1 else latest
    first = found.numbered(_number(frame, "first")) or before
    second = found.numbered(_number(frame, "second")) or latest
    return first, second


def _number(frame: Frame, name: str) -> int | None:
    raw = frame.request.GET.get(name, "")
    return int(raw) if raw.isascii() and raw.isdigit() and len(raw) < 7 else None


def _sentence(first: Revision, second: Revision, different: int, same: int) -> str:
    if first.number == second.number:
        return f"Revision {first.number} as it was sent, {words.count_of(same, 'field')}."
    if not different:
        return f"Revisions {first.number} and {second.number} say the same."
    verb = "differs" if different == 1 else "differ"
    return (
        f"{words.count_of(different, 'field')} {verb} between revision {first.number} and "
        f"revision {second.number}; {same:,} are the same."
    )


def _who(one: Revision, found: TraverseRevisions, frame: Frame) -> str:
    if one.is_redacted:
        return "name taken out on request"
    return one.actor if frame.viewer.sees_crew(found.crew_id) else "somebody of another crew"


def _revisions_table(found: TraverseRevisions, frame: Frame) -> Table:
    units = frame.house.units
    current = found.revisions[-1].number
    return Table(
        slug="revisions",
        caption="Every content that was sent, the latest first, and the result it had",
        columns=(
            Column("Revision", is_short=True),
            Column("Recorded", is_short=True),
            Column("By"),
            Column("Why"),
            Column(f"Flow in standard air, {units.name(dimensions.FLOW)}", is_number=True),
            Column("Verdict"),
            Column("Computed", is_short=True),
        ),
        rows=tuple(
            (
                Cell(f"{one.number}", note="the current one" if one.number == current else ""),
                Cell(f"{one.recorded_at:%Y-%m-%d %H:%M}"),
                Cell(_who(one, found, frame)),
                Cell(one.reason or ("first sent" if one.number == 1 else "no reason given")),
                *_result_cells(one.result, units, is_current=one.number == current),
            )
            for one in reversed(found.revisions)
        ),
    )


def _result_cells(
    result: RevisionResult | None, units: Units, *, is_current: bool
) -> tuple[Cell, ...]:
    if result is None:
        why = "it has not been computed yet" if is_current else "corrected before it was computed"
        return (
            Cell("–"),
            Cell("no result", note=why),
            Cell("–"),
        )
    flow = result.flow_standard
    shown = units.show(flow.value, dimensions.FLOW, low_si=flow.low, high_si=flow.high)
    verdict = words.verdict_text(result.verdict, result.leaning, result.probability_most)
    times = result.computations
    return (
        Cell(
            shown.number if shown else "–",
            note=unbroken("±", shown.half_width) if shown and shown.half_width else "",
        ),
        Cell(verdict, mark="" if result.verdict == "not_judged" else result.verdict),
        Cell(
            f"{result.computed_at:%Y-%m-%d %H:%M}",
            note=f"the last of {times} times" if times > 1 else "",
        ),
    )


def _fields_table(
    found: TraverseRevisions,
    first: Revision,
    second: Revision,
    fields: list[contents.Field],
    *,
    slug: str,
) -> Table:
    is_one = first.number == second.number
    address = reverse("traverse-revisions-file", args=[found.traverse_id])
    columns = (
        (Column("Field"), Column(f"Revision {second.number}"))
        if is_one
        else (
            Column("Field"),
            Column(f"Revision {first.number}"),
            Column(f"Revision {second.number}"),
            Column("Difference"),
        )
    )
    captions = {"differences": "What differs", "same": "What is the same in both"}
    return Table(
        slug=slug,
        caption="As it was sent" if is_one else captions[slug],
        columns=columns,
        rows=tuple(_field_row(field, is_one) for field in fields),
        href=f"{address}?first={first.number}&second={second.number}",
    )


def _field_row(field: contents.Field, is_one: bool) -> tuple[Cell, ...]:
    def cell(text: str | None) -> Cell:
        return Cell("–", "") if text is None else Cell(text)

    row: tuple[Any, ...] = (Cell(field.name), cell(field.second))
    if is_one:
        return row
    return (
        Cell(field.name),
        cell(field.first),
        cell(field.second),
        Cell(DIFFERENCES[field.difference]),
    )
