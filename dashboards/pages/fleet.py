"""The fleet page: how the company stands, and what to do first."""

from __future__ import annotations

from typing import Any, Final

from django.http import Http404, HttpResponse

from .. import due_words, fleet_words, words
from ..queries.attention import attention
from ..queries.beside_standing import beside_standings
from ..queries.due import due, next_visits
from ..queries.flows import flows
from ..queries.shares import change_against_before
from ..strips import share_strip
from . import fleet_charts
from . import fleet_tables as tables
from .due import crew_named
from .due_summary import summary_table
from .filtering import filter_form
from .fleet_view import View, view_of
from .frame import Frame, file_of, file_page, page
from .look_table import MOST_TO_LOOK_AT, look_table

FILES: Final = ("months", "flows", "places", "crews", "sites")


@page
def fleet(frame: Frame) -> HttpResponse:
    """Show how things stand, what needs a look, what is due, and where it comes from."""
    view = view_of(frame)
    if view.choices.is_empty:
        return frame.page("fleet_empty.html", section="fleet")
    standing = attention(view.asked.filters, today=frame.today)
    looked_at = standing.systems[:MOST_TO_LOOK_AT]
    visits = next_visits([one.system.site_id for one in looked_at], today=frame.today)
    months = frame.house.measure_every_months
    coming_due = due(view.asked.filters, standing, today=frame.today, months=months, limit=1)
    named = crew_named(frame, unnamed=view.choices.small_crew_ids)
    return frame.page(
        "fleet.html",
        section="fleet",
        asked=view.asked,
        view=view,
        filters=filter_form(view.asked, view.choices, page_name="fleet"),
        headline=_headline(view),
        charts=_charts(view, frame) if view.shares.left.total or view.shares.found.total else (),
        attention=standing,
        attention_table=look_table(
            looked_at,
            view.asked,
            frame,
            visits=visits,
            named=named,
            beside=beside_standings(
                looked_at,
                today=frame.today,
                astray={one.id: one for one in coming_due.astray},
            ),
            total=len(standing.systems),
        ),
        due_sentence=due_words.due_sentence(coming_due, months=months),
        due_table=summary_table(
            coming_due, view.asked, named, today=frame.today, is_manager=frame.viewer.is_manager
        ),
        advice_line=words.ADVICE_LINE,
    )


@file_page
def fleet_file(frame: Frame, *, slug: str) -> HttpResponse:
    """Send one of the page's tables as CSV, all of its rows."""
    if slug not in FILES:
        raise Http404
    view = view_of(frame)
    if slug in ("flows", "places"):
        found = flows(view.asked.filters, width=fleet_charts.bin_width(frame.house.units))
        return file_of(fleet_charts.bins_table(found, slug, view.asked, frame.house.units), "fleet")
    if slug == "months":
        return file_of(tables.months_table(view.shares, view.asked), "fleet")
    return file_of(fleet_charts.named_table(view, slug, limit=None), "fleet")


def _headline(view: View) -> dict[str, Any]:
    share = view.whole
    is_left = view.stage == "as_left"
    corrected = view.shares.left_corrected if is_left else view.shares.found_corrected
    change = change_against_before(view.asked.filters, share)
    return {
        "share": share,
        "standing": fleet_words.standing(share, change, view.asked),
        "strip": share_strip(share),
        "composition": fleet_words.composition_sentence(share),
        "before": fleet_words.before_sentence(change),
        "corrected": fleet_words.corrected_sentence(corrected, stage=view.stage),
        "without_as_left": view.shares.found_outside_without_as_left if is_left else 0,
        "pending": view.shares.pending,
    }


def _charts(view: View, frame: Frame) -> tuple[dict[str, Any], ...]:
    units = frame.house.units
    found = flows(view.asked.filters, width=fleet_charts.bin_width(units))
    return (
        fleet_charts.rates_chart(found, view, units),
        *fleet_charts.places_chart(found, view, units),
        fleet_charts.months_chart(view),
        fleet_charts.crews_chart(view, is_manager=frame.viewer.is_manager),
        fleet_charts.sites_chart(view),
    )
