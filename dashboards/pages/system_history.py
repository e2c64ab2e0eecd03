"""A system's history on its page: a chart for each call, everything in order of time."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Any, Final

from django.urls import reverse

from airflow_jobs import units as dimensions
from airflow_jobs.models import Stage

from .. import system_words, words
from ..access import Viewer
from ..charts.history import IN_DOUBT, LANES, MOST_POINTS, Scale, flow_over_time
from ..display import Units
from ..filters import day_text
from ..queries.frame import House
from ..strips import judged_strip
from ..tables import Cell, Column, Table
from ..values.systems import CallHistory, HistoryEvent, Judged, Measurement, SystemHistory

MOST_ON_PAGE: Final = 40

_EVENT_NAMES: Final = {
    "visit": "Visit",
    "adjustment": "Adjusted",
    "meter": "Meter changed",
    "calibration": "Meter calibrated",
    "correction": "Corrected",
}
_LANE_SHAPES: Final = {
    "visit": "a stroke for a visit",
    "adjustment": "a triangle for an adjustment",
    "meter": "a cross where another meter was used",
    "calibration": "a star for a meter's calibration",
    "correction": "a grid for a correction",
}


def call_charts(history: SystemHistory, house: House, today: datetime.date) -> list[dict[str, Any]]:
    """Return a chart with its sentences for each call that was judged."""
    return [
        {
            **_chart(one, history, house.units, number),
            "trend": ""
            if history.facts.retired_on
            else system_words.trend_text(one, today, house.measure_every_months),
            "changes": [
                system_words.change_sentence(change)
                for change in one.changes
                # What a sure trend explains well is no news.
                if change.may_be_step or one.trend is None or not one.trend.is_certain
            ],
        }
        for number, one in enumerate(history.calls)
    ]


def _chart(one: CallHistory, history: SystemHistory, units: Units, number: int) -> dict[str, Any]:
    judged = list(one.measurements)
    scale, trend_number = _scale(judged, units)
    stages = {str(stage): sum(m.stage == stage for m in judged) for stage in Stage}
    counted = [
        f"{stages[stage]} {name}"
        for stage, name in (
            ("as_found", "as found (open circles)"),
            ("as_left", "as left (filled squares)"),
            ("check", "to check (diamonds)"),
        )
        if stages[stage]
    ]
    kinds = {event.kind for event in history.events}
    lanes = [_LANE_SHAPES[kind] for kind, _, _ in LANES if kind in kinds]
    below = f" Below, on the same time axis: {words.listed(lanes)}." if lanes else ""
    thinned = ""
    if len(judged) > MOST_POINTS:
        thinned = (
            " So many would hide each other: of each stage and stretch of time the lowest and the "
            "highest are drawn; the file has all."
        )
    in_doubt = sum(m.in_doubt is not None for m in judged)
    doubt = ""
    if in_doubt:
        verb = "rests" if in_doubt == 1 else "rest"
        doubt = f"{IN_DOUBT} {verb} on a meter found off later, not corrected ({in_doubt}); "
    call = words.CALLS.get(one.call, one.call)
    identifier = "chart-history" if number == 0 else f"chart-history-{one.call}"
    return {
        "id": identifier,
        "data_id": f"{identifier}-data",
        "call": call,
        "title": f"{scale.title}, {call.lower()}",
        "sentence": (
            f"{words.count_of(len(judged), 'judged measurement')}, {call.lower()}: "
            f"{words.listed(counted)}, each with its 95 % interval; ▼ is low, ▲ high, ▨ too close "
            f"to call; {doubt}the band is the target range.{below}{thinned}"
        ),
        "figure": flow_over_time(one, history.events, scale=scale, trend_number=trend_number),
    }


def _scale(judged: list[Measurement], units: Units) -> tuple[Scale, Callable[[float], float]]:
    """Return flow per capacity as the axis; percent of nominal where a design flow rules."""
    last = judged[-1].judged
    assert last is not None
    by_design_flow = {one.judged.by_design_flow for one in judged if one.judged is not None}
    if True in by_design_flow:
        of_what = "design flow" if by_design_flow == {True} else "nominal"

        def ratio(held: Judged, value: float) -> float:
            return 100.0 * value / held.target_nominal

        return (
            Scale(f"Flow, % of {of_what}", ratio),
            lambda value: 100.0 * value / last.target_nominal,
        )

    def per_capacity(held: Judged, value: float) -> float:
        return units.number(value, dimensions.FLOW_PER_CAPACITY)

    return (
        Scale(f"Flow, {units.name(dimensions.FLOW_PER_CAPACITY)}", per_capacity),
        lambda value: units.number(value, dimensions.FLOW_PER_CAPACITY),
    )


def timeline_table(
    history: SystemHistory, viewer: Viewer, units: Units, *, limit: int | None = MOST_ON_PAGE
) -> Table:
    """Return all that was measured and all that happened, in order, the latest first."""
    rows: list[tuple[datetime.datetime, int, tuple[Cell, ...]]] = [
        (one.taken_at, 1, _measured_row(one, viewer, units)) for one in history.measurements
    ]
    rows += [(one.at, 0, _event_row(one)) for one in history.events]
    rows.sort(key=lambda row: (row[0], row[1]), reverse=True)
    shown = rows if limit is None else rows[:limit]
    return Table(
        slug="timeline",
        caption="Everything in order, the latest first",
        columns=(
            Column("When", is_short=True),
            Column("What"),
            Column("Against the target"),
            Column("Verdict"),
            Column("More"),
        ),
        rows=tuple(row for _, _, row in shown),
        href=reverse("system-file", args=[history.facts.name.id, "timeline"]),
        more=len(rows) - len(shown) + history.left_out,
    )


def _measured_row(one: Measurement, viewer: Viewer, units: Units) -> tuple[Cell, ...]:
    judged = one.judged
    shown = words.judged_shown(judged, units) if judged else None
    stage, call = words.STAGES[one.stage], words.CALLS.get(one.call, one.call)
    crew = one.crew if one.crew_id and viewer.sees_crew(one.crew_id) else "another crew"
    return (
        Cell(f"{one.taken_at:%Y-%m-%d %H:%M}", one.taken_at.isoformat(), href=measured_at(one)),
        Cell(f"{stage}, {call.lower()}", note="several sections" if one.flow_set_id else ""),
        Cell(
            shown.number if shown else "–",
            shown.plain if shown else "",
            strip=judged_strip(judged) if judged else None,
            note=shown.spread if shown else "",
        ),
        _verdict_cell(one),
        Cell(one.instrument or "–", f"{one.instrument}; {crew}", note=crew),
    )


def _verdict_cell(one: Measurement) -> Cell:
    verdict = verdict_of(one)
    doubt = in_doubt_text(one)
    return Cell(
        verdict,
        f"{verdict}; {doubt}" if doubt else verdict,
        mark=one.verdict if one.judged else "",
        note=doubt,
    )


def in_doubt_text(one: Measurement) -> str:
    """Say in short that a measurement's meter was found off later; empty where it wasn't."""
    if one.in_doubt is None:
        return ""
    return (
        f"in doubt: {one.in_doubt.name} was found off on {day_text(one.in_doubt.found_on)}, not "
        "corrected"
    )


def _event_row(one: HistoryEvent) -> tuple[Cell, ...]:
    name = _EVENT_NAMES[one.kind]
    return (
        Cell(
            f"{one.at:%Y-%m-%d %H:%M}" if one.has_hour else f"{one.at:%Y-%m-%d}",
            one.at.isoformat() if one.has_hour else one.at.date().isoformat(),
        ),
        Cell(name, f"{name}: {one.what}" if one.what else name, note=one.what),
        Cell("–", ""),
        Cell("–", ""),
        Cell(one.detail or "–", one.detail),
    )


def measured_at(one: Measurement) -> str:
    """Return the address of a measurement's own page; of several ducts added up, the visit's."""
    if one.traverse_id:
        return reverse("traverse", args=[one.traverse_id])
    return reverse("visit", args=[one.visit_id])


def verdict_of(one: Measurement) -> str:
    """Return a measurement's verdict and how far it is to be trusted."""
    if one.state == "failed":
        return "Could not be computed"
    text = words.judged_verdict_text(one)
    if one.state == "pending":
        return f"{text}, being computed again" if text else "Being computed"
    return f"{text}, indicative" if one.indicative and text else text
