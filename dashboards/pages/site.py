"""A site's page: its systems and how they stand, how hard it is, its visits, what is due."""

from __future__ import annotations

import datetime
from dataclasses import replace
from typing import Any, Final
from uuid import UUID

from django.http import Http404, HttpResponse
from django.urls import reverse

from airflow_jobs import units as dimensions
from airflow_jobs.models import Stage

from .. import system_words, words
from ..display import Units
from ..filters import Asked, day_text
from ..queries.shares import fleet_shares
from ..queries.site import site_picture
from ..tables import Cell, Column, Table
from ..values.shares import NamedShare, Share
from ..values.sites import SitePicture
from . import site_tables as tables
from .filtering import filter_form, offered_choices
from .fleet_tables import SHARE_COLUMNS, share_cells
from .frame import Frame, file_of, file_page, page
from .site_steps import steps_at

FILES: Final = ("systems", "shares", "visits", "due")
NOTHING: Final = Share(0, 0, 0, 0, 0, 0, 0.0, 1.0)


@page
def site(frame: Frame, *, site_id: UUID) -> HttpResponse:
    """Show a site: how its systems stand, how they are found and left, what is due."""
    picture = _picture(site_id)
    shares = _shares(frame.asked, picture)
    held = shares.found_compared
    compared = held if held is not None and held.is_comparable else None
    due = _due_table(frame, picture)
    return frame.page(
        "site.html",
        section="systems",
        asked=frame.asked,
        site=picture.facts,
        picture=picture,
        filters=_form(frame, picture),
        standing=system_words.site_standing_sentence(picture),
        harder=system_words.site_sentence(
            picture.facts.name,
            shares.found,
            differs=compared is not None and compared.differs,
            expected=None if compared is None else compared.expected_outside,
        ),
        shares_table=_shares_table(shares, frame.asked, picture),
        systems_table=tables.systems_table(picture, frame.house, frame.today),
        due=system_words.due_sentence(len(due.rows)),
        due_table=due,
        visits_table=tables.visits_table(picture, frame.viewer),
        facts=_facts(picture, frame.house.units),
        returning_query=frame.asked.query(site=str(site_id), crew=None),
    )


@file_page
def site_file(frame: Frame, *, site_id: UUID, slug: str) -> HttpResponse:
    """Send one of the page's tables as CSV, all of its rows."""
    if slug not in FILES:
        raise Http404
    picture = _picture(site_id, limit=None)
    if slug == "shares":
        table = _shares_table(_shares(frame.asked, picture), frame.asked, picture)
    elif slug == "visits":
        table = tables.visits_table(picture, frame.viewer)
    elif slug == "due":
        table = _due_table(frame, picture)
    else:
        table = tables.systems_table(picture, frame.house, frame.today)
    return file_of(table, "site")


def _picture(site_id: UUID, **limit: None) -> SitePicture:
    picture = site_picture(site_id, **limit)
    if picture is None:
        raise Http404("There is no such site.")
    return picture


def _shares(asked: Asked, picture: SitePicture) -> NamedShare:
    """Return the site's shares in the period, held against those of all other sites."""
    everywhere = replace(asked.filters, crew=None, customer=None, site=None)
    for one in fleet_shares(everywhere).by_site:
        if one.id == picture.facts.id:
            return one
    return NamedShare(picture.facts.id, picture.facts.name, NOTHING, NOTHING)


def _due_table(frame: Frame, picture: SitePicture) -> Table:
    steps = steps_at(frame, picture.facts.id)
    return tables.due_table(picture, frame.house, frame.today, steps=steps)


def _form(frame: Frame, picture: SitePicture) -> dict[str, Any]:
    form = filter_form(
        frame.asked,
        replace(offered_choices(frame), crews=(), customers=(), sites=()),
        page_name="systems",
        without_stage="as found and as left apart",
    )
    form["address"] = reverse("site", args=[picture.facts.id])
    form["lists"] = [one for one in form["lists"] if one["key"] in ("kind", "air_path")]
    form["on"] = [one for one in form["on"] if one["name"] in ("Kind", "Air path")]
    return form


def _shares_table(shares: NamedShare, asked: Asked, picture: SitePicture) -> Table:
    address = reverse("site-file", args=[picture.facts.id, "shares"])
    return Table(
        slug="shares",
        caption=f"Share in range, {asked.period_text.lower()}; found and left are two facts",
        columns=(Column("Stage"), *SHARE_COLUMNS),
        rows=tuple(
            (Cell(words.STAGES[stage]), *share_cells(shares.at(stage)))
            for stage in (Stage.AS_FOUND, Stage.AS_LEFT)
        ),
        href=f"{address}?{asked.lasting_query}",
    )


def _facts(picture: SitePicture, units: Units) -> list[tuple[str, str]]:
    facts = picture.facts
    elevation = units.show(facts.elevation_m, dimensions.ELEVATION)
    found = [
        ("Customer", facts.customer),
        ("Address", facts.address),
        ("Elevation", elevation.plain if elevation else "not on record"),
        ("Climate", facts.climate),
        ("Time zone", facts.time_zone),
        ("Retired on", _day(facts.retired_on)),
        ("Notes", facts.notes),
    ]
    return [(name, text) for name, text in found if text]


def _day(day: datetime.date | None) -> str:
    return day_text(day) if day else ""
