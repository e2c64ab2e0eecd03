"""The tables of a site's page."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Final
from uuid import UUID

from django.urls import reverse

from airflow_jobs.models import Purpose

from .. import system_words, words
from ..access import Viewer
from ..filters import day_text
from ..queries.frame import House
from ..strips import judged_strip
from ..tables import Cell, Column, Table
from ..values.sites import SitePicture, SystemAtSite
from ..values.systems import Measurement
from .judged_columns import FILE_COLUMNS, file_cells
from .site_steps import SystemStep

PURPOSES: Final = {str(purpose): label for purpose, label in Purpose.choices}


def systems_table(picture: SitePicture, house: House, today: datetime.date) -> Table:
    """Return where each system stands and when it is to be measured again."""
    return Table(
        slug="systems",
        caption="Where each stands: as it was last left, or found where nothing was measured after",
        columns=(
            Column("System"),
            Column("Kind"),
            Column("Last measured", is_short=True),
            Column("Where it stands", only_on_page=True),
            *FILE_COLUMNS,
            Column("Verdict"),
            Column("Measure next"),
        ),
        rows=tuple(row for one in picture.systems for row in _system_rows(one, house, today)),
        href=reverse("site-file", args=[picture.facts.id, "systems"]),
    )


def _system_rows(one: SystemAtSite, house: House, today: datetime.date) -> list[tuple[Cell, ...]]:
    retired = f"retired on {day_text(one.retired_on)}" if one.retired_on else ""
    name = Cell(one.system.tag, href=reverse("system", args=[one.system.id]), note=retired)
    kind = Cell(words.KINDS.get(one.system.kind, one.system.kind))
    if one.retired_on:
        following = Cell("–")
    elif one.verdict in ("low", "high", "undecided"):
        following = Cell("Now: what to do is said under what is due.")
    else:
        following = Cell(
            system_words.next_text(
                one.trend,
                one.last_measured_on,
                every_months=house.measure_every_months,
                today=today,
            )
        )
    if not one.standing:
        return [
            (
                name,
                kind,
                Cell("never"),
                Cell("–"),
                *file_cells(None, house.units),
                Cell("–"),
                following,
            )
        ]
    return [(name, kind, *_standing_cells(measured, house), following) for measured in one.standing]


def _standing_cells(measured: Measurement, house: House) -> tuple[Cell, ...]:
    when = Cell(
        f"{measured.taken_at:%Y-%m-%d}",
        note=f"{words.STAGES[measured.stage]}, "
        f"{words.CALLS.get(measured.call, measured.call)}".lower(),
    )
    judged = measured.judged
    if judged is None:
        word = "Failed" if measured.state == "failed" else words.judged_verdict_text(measured)
        nothing = file_cells(None, house.units)
        return when, Cell("–"), *nothing, Cell(word or "Being computed")
    shown = words.judged_shown(judged, house.units)
    return (
        when,
        Cell(shown.number, strip=judged_strip(judged), note=shown.spread),
        *file_cells(judged, house.units),
        Cell(words.judged_verdict_text(measured), mark=measured.verdict),
    )


def due_table(
    picture: SitePicture, house: House, today: datetime.date, *, steps: Mapping[UUID, SystemStep]
) -> Table:
    """Return what is to be done at the site, the most pressing first.

    Parameters
    ----------
    picture, house, today
        The site, the company, and the day from which it is said.
    steps
        The next step of each system that needs a look.
    """
    due: list[tuple[datetime.date, str, tuple[Cell, ...]]] = []
    for visit in picture.visits:
        if visit.began_on is None:
            day = visit.planned_for
            purpose = PURPOSES.get(visit.purpose, visit.purpose)
            late = " It was planned for a day that has passed." if day and day < today else ""
            due.append(
                (
                    day or datetime.date.max,
                    str(visit.id),
                    (
                        Cell(day.isoformat() if day else "no day yet"),
                        Cell("The site"),
                        Cell(f"{purpose} visit is planned.{late}"),
                    ),
                )
            )
    for one in picture.systems:
        if one.retired_on is not None:
            continue
        when, why = system_words.due_of(
            one.trend,
            one.last_measured_on,
            steps[one.system.id].step
            if one.verdict in ("low", "high", "undecided") and one.system.id in steps
            else "",
            every_months=house.measure_every_months,
            today=today,
        )
        if why:
            due.append(
                (
                    when or datetime.date.min,
                    str(one.system.id),
                    (
                        Cell(when.isoformat() if when else "now"),
                        Cell(one.system.tag, href=reverse("system", args=[one.system.id])),
                        Cell(why),
                    ),
                )
            )
    return Table(
        slug="due",
        caption="What is due, the most pressing first",
        columns=(Column("By", is_short=True), Column("What"), Column("What to do")),
        rows=tuple(row for _, _, row in sorted(due, key=lambda item: item[:2])),
        href=reverse("site-file", args=[picture.facts.id, "due"]),
    )


def visits_table(picture: SitePicture, viewer: Viewer) -> Table:
    """Return the visits, the latest first."""
    return Table(
        slug="visits",
        caption="Visits, the latest first",
        columns=(
            Column("Day", is_short=True),
            Column("Purpose"),
            Column("Crew"),
            Column("Systems measured", is_number=True),
            Column("Found outside", is_number=True),
            Column("Left outside", is_number=True),
        ),
        rows=tuple(
            (
                Cell(
                    visit.began_on.isoformat()
                    if visit.began_on
                    else visit.planned_for.isoformat()
                    if visit.planned_for
                    else "no day yet",
                    note="" if visit.began_on else "planned",
                ),
                Cell(PURPOSES.get(visit.purpose, visit.purpose)),
                Cell(visit.crew if viewer.sees_crew(visit.crew_id) else "another crew"),
                Cell(f"{visit.systems:,}" if visit.began_on else "–", visit.systems),
                Cell(
                    f"{visit.found_outside:,} of {visit.found:,}" if visit.found else "–",
                    visit.found_outside,
                ),
                Cell(
                    f"{visit.left_outside:,} of {visit.left:,}" if visit.left else "–",
                    visit.left_outside,
                ),
            )
            for visit in picture.visits
        ),
        href=reverse("site-file", args=[picture.facts.id, "visits"]),
        more=picture.visits_left_out,
    )
