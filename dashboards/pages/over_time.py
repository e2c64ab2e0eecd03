"""The page over time: months, the calendar, kinds, and a day that may have changed something."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from typing import Any, Final
from urllib.parse import parse_qsl

from django.http import Http404, HttpResponse

from .. import day_words
from .. import over_time_words as words
from ..charts.over_time import (
    calendar_shares,
    held_over_time,
    parts_over_time,
    smoothed_over_time,
)
from ..filters import Asked, Problem
from ..queries.over_time import over_time as over_time_of
from ..values.filters import Choices
from ..values.over_time import HeldSteps, OverTime
from . import over_time_tables as tables
from .filtering import filter_form, offered_choices
from .frame import Frame, file_of, file_page, page, refused

LONGEST_NAME: Final = 60
STAGES: Final = "found and left apart"


@dataclass(frozen=True, slots=True)
class View:
    """What is asked for, the day included, and what the record says."""

    asked: Asked
    choices: Choices
    found: OverTime
    day: datetime.date | None
    day_name: str

    @property
    def kept(self) -> dict[str, str]:
        """What the address holds besides the filters."""
        if self.day is None:
            return {}
        named = {"campaign_name": self.day_name} if self.day_name else {}
        return {"campaign": self.day.isoformat(), **named}


@page
def over_time(frame: Frame) -> HttpResponse:
    """Show how things went over the months, and what differs more than chance."""
    view = _view(frame)
    if view.choices.is_empty:
        return frame.page("fleet_empty.html", section="over-time", page_name="Over time")
    found, asked = view.found, view.asked
    return frame.page(
        "over_time.html",
        section="over-time",
        asked=asked,
        filters=filter_form(
            asked, view.choices, page_name="over-time", without_stage=STAGES, kept=view.kept
        ),
        has_jobs=bool(found.left.whole.total or found.found.whole.total),
        pending=found.pending,
        held=(_held_chart(view, found.left), _held_chart(view, found.found)),
        day=_day_section(view),
        place=_place_chart(view),
        seasons=_seasons(view),
        kinds=_kinds_chart(view),
        calls=_calls_section(view),
    )


@file_page
def over_time_file(frame: Frame, *, slug: str) -> HttpResponse:
    """Send one of the page's tables as CSV, all of its rows."""
    if slug not in tables.FILES:
        raise Http404
    view = _view(frame)
    table = tables.FILES[slug](view.found, view.asked)
    if no_file := refused(frame, view.asked.left_out):
        return no_file
    if table is None:
        raise Http404
    return file_of(table, "over-time")


def _view(frame: Frame) -> View:
    offered = offered_choices(frame)
    asked = frame.asked
    given = frame.request.GET.get("campaign", "").strip()
    name = " ".join(frame.request.GET.get("campaign_name", "").split())[:LONGEST_NAME]
    day = None
    if given:
        try:
            day = datetime.date.fromisoformat(given)
        except ValueError:
            problem = Problem(
                f"“{given}” is no day to compare before and after: write it as 2026-03-01",
                parameter="campaign",
            )
            asked = replace(asked, problems=(*asked.problems, problem))
    return View(
        asked=asked,
        choices=offered,
        found=over_time_of(asked.filters, campaign=day, campaign_name=name),
        day=day,
        day_name=name if day else "",
    )


def _held_chart(view: View, held: HeldSteps) -> dict[str, Any]:
    verb = words.VERBS[held.stage]
    return {
        "id": f"chart-months-{verb}",
        "title": f"{verb.capitalize()} in range by {held.step}",
        "sentence": words.held_sentence(held),
        "reading": words.held_note(held),
        "data_id": f"chart-months-{verb}-data",
        "figure": held_over_time(held, campaign_on=view.day) if held.steps else None,
        "table": tables.held_table(held, view.asked),
    }


def _place_chart(view: View) -> dict[str, Any]:
    drift = view.found.drift
    return {
        "id": "chart-place",
        "title": "Slow change of what is left",
        "sentence": words.drift_sentence(drift, view.found.left.step),
        "reading": words.DRIFT_NOTE if drift else "",
        "data_id": "chart-place-data",
        "figure": smoothed_over_time(drift, campaign_on=view.day) if drift else None,
        "table": tables.place_table(view.found, view.asked),
    }


def _seasons(view: View) -> dict[str, Any]:
    found = view.found
    return {
        "id": "chart-calendar",
        "title": "By month of the calendar, and by call",
        "sentence": words.season_sentence(found),
        "short": words.short_season_note(found),
        "calls": words.call_sentence(found),
        "data_id": "chart-calendar-data",
        "figure": calendar_shares(found.calendar) if found.calendar else None,
        "table": tables.contrasts_table(found, view.asked),
        "months": tables.calendar_table(found, view.asked),
        "longer": view.asked.query(**{"period": "all", "from": None, "to": None}, **view.kept),
    }


def _kinds_chart(view: View) -> dict[str, Any]:
    found = view.found
    named = [(words.part_name(part.key), part) for part in found.kinds]
    return {
        "id": "chart-kinds",
        "title": "By kind of equipment",
        "sentence": words.kinds_sentence(found.kinds, nouns="kinds"),
        "note": words.few_jobs_note(found.kinds, found.part_step),
        "data_id": "chart-kinds-data",
        "figure": parts_over_time(named, step=found.part_step, whole=found.left.whole)
        if named
        else None,
        "table": tables.parts_table(found.kinds, view.asked, slug="kinds", noun="kind"),
        "steps": tables.parts_steps_table(
            found.kinds, view.asked, step=found.part_step, slug="kinds-over-time", noun="kind"
        ),
    }


def _calls_section(view: View) -> dict[str, Any]:
    found = view.found
    return {
        "sentence": words.kinds_sentence(found.by_call, nouns="calls"),
        "table": tables.parts_table(found.by_call, view.asked, slug="calls", noun="call"),
        "steps": tables.parts_steps_table(
            found.by_call, view.asked, step=found.part_step, slug="calls-over-time", noun="call"
        ),
    }


def _day_section(view: View) -> dict[str, Any]:
    campaign = view.found.campaign
    shown: dict[str, Any] = {
        "hidden": parse_qsl(view.asked.query()),
        "longest": LONGEST_NAME,
        "campaign": campaign,
        "without": view.asked.query(),
    }
    if campaign is None:
        return shown
    return {
        **shown,
        "title": day_words.day_title(campaign),
        "value": campaign.on.isoformat(),
        "sentence": day_words.campaign_sentence(campaign),
        "notes": day_words.campaign_notes(campaign),
        "table": tables.day_table(campaign, view.asked),
    }
