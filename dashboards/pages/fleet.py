"""The fleet page: how the company stands, and what needs a look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from django.http import Http404, HttpResponse
from django.urls import reverse

from .. import words
from ..charts.shares import share_over_time, shares_by_name
from ..filters import Asked
from ..queries.attention import attention
from ..queries.shares import change_against_before, fleet_shares
from ..strips import share_strip
from ..tables import Table
from ..values.filters import Choices
from ..values.shares import FleetShares, NamedShare, Share
from . import fleet_tables as tables
from .filtering import allowed, filter_form, hidden_note, offered_choices
from .frame import Frame, file_of, page

# The whole is nobody in particular.
_NO_ID: Final = UUID(int=0)

FILES: Final = ("months", "crews", "sites", "needs-a-look", "calibrations")


@dataclass(frozen=True, slots=True)
class View:
    """The shares as this viewer may see them."""

    asked: Asked
    choices: Choices
    shares: FleetShares
    crews: tuple[NamedShare, ...]
    sites: tuple[NamedShare, ...]
    company: NamedShare | None
    """The whole, beside a technician's own crew."""
    hidden_crews: int

    @property
    def stage(self) -> str:
        """The stage that headline, crews and sites speak of."""
        return self.asked.filters.stage

    @property
    def whole(self) -> Share:
        """The share of that stage over everything in the view."""
        return self.shares.left if self.stage == "as_left" else self.shares.found


@page
def fleet(frame: Frame) -> HttpResponse:
    """Show how things stand, over time, by crew, by site, and what needs a look."""
    view = _view(frame)
    if view.choices.is_empty:
        return frame.page("fleet_empty.html", section="fleet")
    standing = attention(view.asked.filters, today=frame.today)
    return frame.page(
        "fleet.html",
        section="fleet",
        asked=view.asked,
        view=view,
        filters=filter_form(view.asked, view.choices, page_name="fleet"),
        headline=_headline(view),
        charts=_charts(view, frame) if view.shares.left.total or view.shares.found.total else (),
        attention=standing,
        attention_table=tables.attention_table(
            standing.systems, view.asked, frame.house.units, today=frame.today
        ),
        instruments_table=tables.instruments_table(standing, view.asked),
        advice_line=words.ADVICE_LINE,
        lasting_link=f"{reverse('fleet')}?{view.asked.lasting_query}",
    )


@page
def fleet_file(frame: Frame, *, slug: str) -> HttpResponse:
    """Send one of the page's tables as CSV, all of its rows."""
    if slug not in FILES:
        raise Http404
    if slug in ("needs-a-look", "calibrations"):
        asked = allowed(frame, offered_choices(frame))
        standing = attention(asked.filters, today=frame.today)
        table = (
            tables.attention_table(
                standing.systems, asked, frame.house.units, today=frame.today, limit=None
            )
            if slug == "needs-a-look"
            else tables.instruments_table(standing, asked)
        )
        return file_of(table, "fleet")
    view = _view(frame)
    if slug == "months":
        return file_of(tables.months_table(view.shares, view.asked), "fleet")
    return file_of(_named_table(view, slug, limit=None), "fleet")


def _view(frame: Frame) -> View:
    offered = offered_choices(frame)
    asked = allowed(frame, offered)
    shares = fleet_shares(asked.filters)
    may_show = [one for one in shares.by_crew if one.id not in offered.small_crew_ids]
    crews = [one for one in may_show if frame.viewer.sees_crew(one.id)]
    company = None
    if not frame.viewer.is_manager:
        company = NamedShare(_NO_ID, "The company", found=shares.found, left=shares.left)
    return View(
        asked=asked,
        choices=offered,
        shares=shares,
        crews=_worst_first(crews, asked.filters.stage),
        sites=_worst_first(list(shares.by_site), asked.filters.stage),
        company=company,
        hidden_crews=len(shares.by_crew) - len(may_show) if frame.viewer.is_manager else 0,
    )


def _worst_first(named: list[NamedShare], stage: str) -> tuple[NamedShare, ...]:
    """Order by the upper end of the interval: who surely leaves most outside comes first."""
    kept = [one for one in named if one.at(stage).total]
    return tuple(sorted(kept, key=lambda one: (one.at(stage).high_end, one.name, one.id)))


def _headline(view: View) -> dict[str, Any]:
    share = view.whole
    is_left = view.stage == "as_left"
    planning = view.shares.left_planning_share if is_left else view.shares.found_planning_share
    return {
        "share": share,
        "percent": words.percent(share.share),
        "interval": words.interval_text(share),
        "strip": share_strip(share),
        "verb": "left" if is_left else "found",
        "too_close": words.too_close_sentence(share),
        "change": words.change_sentence(change_against_before(view.asked.filters, share)),
        "planning": words.percent(planning) if planning is not None else "",
        "without_as_left": view.shares.found_outside_without_as_left if is_left else 0,
        "pending": view.shares.pending,
    }


def _charts(view: View, frame: Frame) -> tuple[dict[str, Any], ...]:
    stage_word = words.STAGES[view.stage].lower()
    months = {
        "id": "chart-months",
        "title": "Over time",
        "sentence": words.months_sentence(view.shares),
        "data_id": "chart-months-data",
        "figure": share_over_time(view.shares),
        "table": tables.months_table(view.shares, view.asked),
    }
    crew_rows = (*view.crews, view.company) if view.company else view.crews
    crews = {
        "id": "chart-crews",
        "title": "By crew" if frame.viewer.is_manager else "Your crew and the company",
        "sentence": words.named_sentence(
            view.crews, stage=view.stage, whole=view.whole, nouns="crews"
        ),
        "note": hidden_note(view.hidden_crews),
        "data_id": "chart-crews-data",
        "table_open": True,
        "figure": shares_by_name(
            crew_rows,
            stage=view.stage,
            whole=view.whole,
            whole_name=f"All jobs in this view, {stage_word}",
        ),
        "table": _named_table(view, "crews"),
    }
    sites = {
        "id": "chart-sites",
        "title": "By site",
        "sentence": words.named_sentence(
            view.sites, stage=view.stage, whole=view.whole, nouns="sites"
        ),
        "data_id": "chart-sites-data",
        "figure": shares_by_name(
            view.sites,
            stage=view.stage,
            whole=view.whole,
            whole_name=f"All jobs in this view, {stage_word}",
        ),
        "table": _named_table(view, "sites"),
    }
    return months, crews, sites


def _named_table(view: View, slug: str, *, limit: int | None = tables.MOST_ROWS) -> Table:
    def link(parameter: str, one: NamedShare) -> str:
        return f"{reverse('fleet')}?{view.asked.query(**{parameter: str(one.id)})}"

    if slug == "crews":
        return tables.named_table(
            view.crews,
            view.asked,
            slug="crews",
            noun="crew",
            href=lambda one: link("crew", one),
            whole=view.company,
            limit=limit,
        )
    return tables.named_table(
        view.sites,
        view.asked,
        slug="sites",
        noun="site",
        href=lambda one: link("site", one),
        limit=limit,
    )
