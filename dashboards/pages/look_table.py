"""The table of the systems that need a look, each with its reason and its next step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final
from uuid import UUID

from django.urls import reverse

from .. import words
from ..due_words import Named
from ..filters import Asked, day_text
from ..next_steps import doubts, next_step, page_of
from ..strips import judged_strip
from ..tables import Cell, Column, Table
from ..values.due import NextVisit
from ..values.next_steps import BesideStanding
from ..values.systems import NeedsALook
from .filtering import link_to
from .frame import Frame
from .judged_columns import FILE_COLUMNS, file_cells

MOST_TO_LOOK_AT: Final = 10


def look_table(
    needing: Sequence[NeedsALook],
    asked: Asked,
    frame: Frame,
    *,
    visits: Mapping[UUID, NextVisit],
    named: Named,
    beside: Mapping[UUID, BesideStanding],
    total: int,
) -> Table:
    """Return systems that need a look, ranked, each with its reason and next step.

    Parameters
    ----------
    needing
        Those to show.
    asked
        The filters that the links take along.
    frame
        Who looks, on which day, in which units.
    visits
        The next planned visit of each site that has one.
    named
        How crews are called on the page of this viewer.
    beside
        What the next step of each system rests on.
    total
        How many there are altogether.
    """
    return Table(
        slug="needs-a-look",
        caption="Systems that need a look, the surest and furthest out first",
        columns=(
            Column("System"),
            Column("Site", only_in_file=True),
            Column("Where it stands", only_on_page=True),
            *FILE_COLUMNS,
            Column("Why"),
            Column("Next step"),
        ),
        rows=tuple(
            _row(
                one,
                asked,
                frame,
                planned=_planned(visits.get(one.system.site_id), named),
                beside=beside.get(one.system.id),
            )
            for one in needing
        ),
        href=f"{reverse('needs-a-look-file')}?{asked.lasting_query}",
        more=total - len(needing),
        all_href=link_to(asked, "needs-a-look"),
    )


def _planned(visit: NextVisit | None, named: Named) -> str:
    return f"On {day_text(visit.on)}, {named(visit.crew)}:" if visit else ""


def _row(
    one: NeedsALook,
    asked: Asked,
    frame: Frame,
    *,
    planned: str,
    beside: BesideStanding | None,
) -> tuple[Cell, ...]:
    units = frame.house.units
    judged = one.standing.judged if one.standing else None
    reasons = [words.reason_text(reason, units, frame.today) for reason in one.reasons]
    reasons += doubts(one, beside, units)
    shown = words.judged_shown(judged, units) if judged else None
    how = page_of(one, beside)
    return (
        Cell(
            one.system.tag,
            href=link_to(asked, "system", one.system.id),
            note=one.system.site,
        ),
        Cell(one.system.site),
        Cell(
            shown.number if shown else "–",
            strip=judged_strip(judged) if judged else None,
            mark=one.standing.verdict if one.standing and judged else "",
            note=shown.spread if shown else "",
        ),
        *file_cells(judged, units),
        Cell(
            reasons[0],
            "; ".join(reasons),
            note=". ".join(reasons[1:]),
        ),
        Cell(
            next_step(one, today=frame.today, units=units, planned=planned, beside=beside),
            note=how.text,
            note_href=link_to(asked, how.name, how.id) + how.anchor,
        ),
    )
