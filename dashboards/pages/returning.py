"""Systems found outside again: beyond chance, moved back out, or never set right in between."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final
from uuid import UUID

from django.http import Http404, HttpResponse
from django.urls import reverse

from .. import group_words, returning_words, words
from ..charts.shares import shares_by_name
from ..filters import Asked
from ..queries.returning import MOST_ON_PAGE, returning
from ..queries.shares import fleet_shares
from ..tables import Table
from ..values.filters import Choices, Filters
from ..values.returning import Returning
from ..values.shares import FleetShares, NamedShare
from . import fleet_tables
from . import returning_tables as tables
from .filtering import filter_form, offered_choices
from .frame import Frame, file_of, file_page, page
from .site_steps import SystemStep, steps_among

FILES: Final = ("often", "sites", "returns", "never-right")


@page
def systems_returning(frame: Frame) -> HttpResponse:
    """Show which systems and sites keep being found outside, and what happened in between."""
    offered = replace(offered_choices(frame), crews=())
    if offered.is_empty:
        return frame.page("fleet_empty.html", section="systems", page_name="Found outside again")
    asked = frame.asked
    found = returning(asked.filters)
    shares = fleet_shares(_fleet(asked.filters))
    return frame.page(
        "returning.html",
        section="systems",
        asked=asked,
        found=found,
        filters=_form(asked, offered),
        often=returning_words.often_sentence(found),
        often_table=tables.often_table(found.systems, asked),
        sites=_sites_chart(shares, asked),
        returned=returning_words.returned_sentence(found),
        target_note=returning_words.target_note(found),
        returns_table=tables.returns_table(
            found.returns,
            asked,
            frame.house.units,
            total=found.set_right.outside,
            limit=MOST_ON_PAGE,
        ),
        never_right=returning_words.never_right_sentence(found.never_right),
        never_right_table=tables.never_right_table(
            found.never_right, asked, steps=_steps(frame, found, tables.MOST_ROWS)
        ),
        advice_line=words.ADVICE_LINE,
    )


@file_page
def returning_file(frame: Frame, *, slug: str) -> HttpResponse:
    """Send one of the page's tables as CSV, all of its rows."""
    if slug not in FILES:
        raise Http404
    asked = frame.asked
    if slug == "sites":
        shares = fleet_shares(_fleet(asked.filters))
        return file_of(_sites_table(_hardest_first(shares, asked), asked, limit=None), "returning")
    found = returning(asked.filters, limit=None)
    table = {
        "often": lambda: tables.often_table(found.systems, asked, limit=None),
        "returns": lambda: tables.returns_table(
            found.returns, asked, frame.house.units, total=len(found.returns), limit=None
        ),
        "never-right": lambda: tables.never_right_table(
            found.never_right, asked, steps=_steps(frame, found), limit=None
        ),
    }[slug]()
    return file_of(table, "returning")


def _steps(frame: Frame, found: Returning, limit: int | None = None) -> dict[UUID, SystemStep]:
    """Return the next step of each system that was never set right and is shown."""
    shown = {one.system.id for one in found.never_right[:limit]}
    return steps_among(frame, frame.asked.filters, shown)


def _fleet(filters: Filters) -> Filters:
    """Return the view by which sites are held against each other: all of them."""
    return replace(filters, crew=None, customer=None, site=None)


def _form(asked: Asked, offered: Choices) -> dict[str, Any]:
    form = filter_form(
        asked,
        offered,
        page_name="systems-returning",
        without_stage="as found, and as left before",
    )
    # One crew finds a system, another may have left it: a crew narrows nothing here.
    form["lists"] = [one for one in form["lists"] if one["key"] != "crew"]
    return form


def _hardest_first(shares: FleetShares, asked: Asked) -> tuple[NamedShare, ...]:
    kept = [
        one
        for one in shares.by_site
        if one.found.total and (asked.filters.site is None or one.id == asked.filters.site)
    ]
    return tuple(sorted(kept, key=lambda one: (one.found.high_end, one.name.lower(), one.id)))


def _sites_chart(shares: FleetShares, asked: Asked) -> dict[str, Any]:
    sites = _hardest_first(shares, asked)
    return {
        "id": "chart-sites",
        "title": "Sites",
        "sentence": group_words.named_sentence(
            sites, stage="as_found", whole=shares.found, nouns="sites"
        ),
        "data_id": "chart-sites-data",
        "figure": (
            shares_by_name(
                sites,
                stage="as_found",
                whole=shares.found,
                whole_name="All jobs in this period, as found",
            )
            if sites
            else None
        ),
        "table": _sites_table(sites, asked),
    }


def _sites_table(
    sites: tuple[NamedShare, ...], asked: Asked, *, limit: int | None = fleet_tables.MOST_ROWS
) -> Table:
    as_found = replace(asked, filters=replace(asked.filters, stage="as_found"))
    table = fleet_tables.named_table(
        sites,
        as_found,
        slug="sites",
        noun="site",
        href=lambda one: f"{reverse('site', args=[one.id])}?{asked.query(site=None)}",
        limit=limit,
    )
    return replace(table, href=f"{reverse('returning-file', args=['sites'])}?{asked.lasting_query}")
