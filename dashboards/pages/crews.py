"""The crews page: what each left against what chance and the mix of sites explain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from django.http import Http404, HttpResponse
from django.urls import reverse

from .. import group_words
from ..charts.crews import crew_funnel
from ..charts.shares import shares_by_name
from ..filters import Asked
from ..fleet_words import standing_of_crews
from ..queries.crews import crew_comparison
from ..strips import share_strip
from ..values.crews import CrewComparison, CrewShare, Visits
from ..values.filters import Choices
from ..values.shares import NamedShare, Share
from . import crew_tables as tables
from .filtering import filter_form, hidden_note, offered_choices
from .frame import Frame, file_of, file_page, page

# The whole is nobody in particular.
_NO_ID: Final = UUID(int=0)

TABLES: Final = {
    "left": tables.left_table,
    "found": tables.found_table,
    "visits": tables.visits_table,
}


@dataclass(frozen=True, slots=True)
class View:
    """The comparison as this viewer may see it."""

    asked: Asked
    choices: Choices
    comparison: CrewComparison
    crews: tuple[CrewShare, ...]
    whole: CrewShare | None
    """The company, beside a technician's own crew or one that is chosen."""
    note: str
    """Who is not shown, and why."""

    @property
    def only(self) -> CrewShare | None:
        """The one crew that stands beside the company."""
        return self.crews[0] if self.whole is not None and len(self.crews) == 1 else None

    @property
    def title(self) -> str:
        """Whose page it is."""
        if self.asked.filters.crew is None:
            return "Crews" if self.whole is None else "Your crew and the company"
        named = [one.label for one in self.choices.crews if one.is_chosen]
        return f"{named[0] if named else 'The crew'} and the company"


@page
def crews(frame: Frame) -> HttpResponse:
    """Show what the crews left, what they found, and what they did not measure."""
    view = _view(frame)
    if view.choices.is_empty:
        return frame.page("fleet_empty.html", section="crews", page_name="Crews")
    return frame.page(
        "crews.html",
        section="crews",
        asked=view.asked,
        view=view,
        filters=filter_form(
            view.asked, view.choices, page_name="crews", without_stage="found and left apart"
        ),
        title=view.title,
        headline=_headline(view),
        left=_left_chart(view),
        found=_found_chart(view),
        visits_sentence=group_words.visits_sentence(
            (view.only or _company(view.comparison)).visits,
            who=view.only.name if view.only else "",
        ),
        visits_table=tables.visits_table(view.crews, view.asked, whole=view.whole),
        narrowed=view.asked.filters.kind is not None or view.asked.filters.air_path is not None,
        lasting_link=f"{reverse('crews')}?{view.asked.lasting_query}",
    )


@file_page
def crews_file(frame: Frame, *, slug: str) -> HttpResponse:
    """Send one of the page's tables as CSV, all of its rows."""
    if slug not in TABLES:
        raise Http404
    view = _view(frame)
    return file_of(TABLES[slug](view.crews, view.asked, whole=view.whole, limit=None), "crews")


def _view(frame: Frame) -> View:
    offered = offered_choices(frame)
    asked = frame.asked
    comparison = crew_comparison(asked.filters)
    may_show = [one for one in comparison.crews if one.id not in offered.small_crew_ids]
    mine = [one for one in may_show if frame.viewer.sees_crew(one.id)]
    chosen = asked.filters.crew
    hidden = [one for one in comparison.crews if one.id in offered.small_crew_ids]
    return View(
        asked=asked,
        choices=offered,
        comparison=comparison,
        crews=tuple(one for one in mine if chosen is None or one.id == chosen),
        whole=_company(comparison) if chosen or not frame.viewer.is_manager else None,
        note=hidden_note(
            sum(frame.viewer.sees_crew(one.id) for one in hidden),
            others_show=frame.viewer.is_manager,
        )
        if chosen is None
        else "",
    )


def _company(comparison: CrewComparison) -> CrewShare:
    """Return all crews as one."""
    return CrewShare(
        NamedShare(
            _NO_ID,
            "The company",
            found=comparison.found,
            left=comparison.left,
            found_outside_without_as_left=sum(
                one.named.found_outside_without_as_left for one in comparison.crews
            ),
        ),
        Visits(
            total=sum(one.visits.total for one in comparison.crews),
            unmeasured=sum(one.visits.unmeasured for one in comparison.crews),
            unjudged=sum(one.visits.unjudged for one in comparison.crews),
        ),
    )


def _headline(view: View) -> dict[str, Any]:
    """Return the share of the one crew in view, else of all crews together."""
    only = view.crews[0] if len(view.crews) == 1 else None
    # A crew that is chosen and did nothing here is not all crews.
    nobody = only is None and view.asked.filters.crew is not None
    share = only.named.left if only else Share.of_none() if nobody else view.comparison.left
    return {
        "standing": standing_of_crews(share, only.name if only else "all crews"),
        "strip": share_strip(share),
    }


def _left_chart(view: View) -> dict[str, Any]:
    funnel = view.comparison.funnel
    counted = [one for one in view.crews if one.named.left.total]
    return {
        "id": "chart-funnel",
        "title": "What was left",
        "sentence": group_words.funnel_sentence(
            [one.named for one in counted], funnel, whole=view.comparison.left
        ),
        "note": view.note,
        "data_id": "chart-funnel-data",
        "figure": crew_funnel(counted, funnel) if funnel and counted else None,
        "reading": group_words.funnel_reading(funnel) if funnel and counted else "",
        "table": tables.left_table(view.crews, view.asked, whole=view.whole),
    }


def _found_chart(view: View) -> dict[str, Any]:
    rows = [one.named for one in view.crews if one.named.found.total]
    rows.sort(key=lambda one: (one.found.high_end, one.name.lower(), one.id))
    if view.whole is not None and view.whole.named.found.total:
        rows.append(view.whole.named)
    return {
        "id": "chart-found",
        "title": "What was found",
        "sentence": group_words.difficulty_sentence(view.comparison.found, view.only),
        "data_id": "chart-found-data",
        "figure": shares_by_name(
            rows,
            stage="as_found",
            whole=view.comparison.found,
            whole_name="All jobs in this view, as found",
        )
        if rows
        else None,
        "table": tables.found_table(view.crews, view.asked, whole=view.whole),
    }
