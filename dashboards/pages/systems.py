"""The list of systems, with search."""

from __future__ import annotations

from urllib.parse import parse_qsl, urlencode
from uuid import UUID

from django.http import HttpResponse
from django.urls import reverse

from .. import words
from ..display import Units
from ..filters import kind_choices
from ..queries.systems import system_list, system_names
from ..strips import judged_strip
from ..tables import Cell, Column, Table, Tick
from ..values.systems import ListedSystem
from .compare import read_systems
from .filtering import link_to, offered_choices
from .frame import Frame, page

LONGEST_SEARCH = 200


@page
def systems(frame: Frame) -> HttpResponse:
    """List the systems in use, those that match the words first asked for."""
    parameters = frame.request.GET
    search = parameters.get("q", "")[:LONGEST_SEARCH]
    number = parameters.get("page", "1")
    filters = frame.asked.filters
    found = system_list(
        filters, search=search, page=int(number) if number.isdecimal() and len(number) < 7 else 1
    )
    ticked = system_names(read_systems(frame)[0])
    offered = offered_choices(frame)

    def link(to_page: int) -> str:
        address = link_to(
            frame.asked,
            "systems",
            q=search,
            page=str(to_page) if to_page > 1 else None,
        )
        if not ticked:
            return address
        chosen = urlencode([("system", one.id) for one in ticked])
        return f"{address}{'&' if '?' in address else '?'}{chosen}"

    # What the form doesn't ask for follows along.
    asked_for = {"q", "customer", "site", "kind"}
    kept = [
        (name, value) for name, value in parse_qsl(frame.asked.query()) if name not in asked_for
    ]

    return frame.page(
        "systems.html",
        section="systems",
        found=found,
        search=search,
        kept=kept,
        ticked=ticked,
        customers=offered.customers,
        sites=offered.sites,
        kinds=kind_choices(frame.asked),
        table=_table(found.rows, frame.house.units, {one.id for one in ticked}),
        earlier=link(found.page - 1) if found.page > 1 else "",
        later=link(found.page + 1) if found.page < found.pages else "",
    )


def _table(listed: tuple[ListedSystem, ...], units: Units, ticked: set[UUID]) -> Table:
    return Table(
        slug="systems",
        caption="Where each stands: as it was last left, or found where nothing was measured after",
        columns=(
            Column("System"),
            Column("Kind"),
            Column("Last measured", is_short=True),
            Column("Where it stands"),
            Column("Verdict"),
        ),
        # What is ticked already stands above the table.
        rows=tuple(_row(one, units, has_tick=one.system.id not in ticked) for one in listed),
    )


def _row(one: ListedSystem, units: Units, *, has_tick: bool) -> tuple[Cell, ...]:
    system, standing = one.system, one.standing
    place = f"{system.site}, {one.customer}" if one.customer else system.site
    name = Cell(
        system.tag,
        href=reverse("system", args=[system.id]),
        note=place,
        tick=Tick("system", str(system.id), f"Compare {system.tag}, {system.site}")
        if has_tick
        else None,
    )
    kind = Cell(words.KINDS.get(system.kind, system.kind))
    if standing is None:
        return name, kind, Cell("never"), Cell("–"), Cell("–")
    when = Cell(
        f"{standing.taken_at:%Y-%m-%d}",
        note=words.STAGES[standing.stage].lower(),
    )
    judged = standing.judged
    if judged is None:
        word = "Failed" if standing.state == "failed" else words.judged_verdict_text(standing)
        return name, kind, when, Cell("–"), Cell(word or "Being computed")
    shown = words.judged_shown(judged, units)
    return (
        name,
        kind,
        when,
        Cell(
            shown.number,
            strip=judged_strip(judged),
            note=shown.spread,
        ),
        Cell(words.judged_verdict_text(standing), mark=standing.verdict),
    )
