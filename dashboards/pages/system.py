"""A system's page: where it stands, its history, its trend."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from django.urls import reverse

from airflow_jobs import units as dimensions

from .. import meter_words, words
from ..access import Viewer
from ..display import Units
from ..filters import day_text
from ..queries.history import system_history
from ..queries.measurements import standing_measurements
from ..queries.meters_astray import judged_otherwise
from ..strips import judged_strip
from ..tables import Cell, Column, Table
from ..values.systems import Measurement, OtherwiseJudged, SystemHistory
from .frame import Frame, file_of, page
from .site_steps import steps_at
from .system_history import (
    call_charts,
    in_doubt_text,
    measured_at,
    timeline_table,
    verdict_of,
)

FILES = ("timeline", "measurements", "adjustments")


@page
def system(frame: Frame, *, system_id: UUID) -> HttpResponse:
    """Show a system: its standing, its flow over time, every measurement."""
    history = _history(system_id)
    standing = standing_measurements(history.measurements)
    step = steps_at(frame, history.facts.name.site_id).get(system_id)
    # What needs a look says so with its next step.
    asked_of = [] if step else [one for one in standing if one.in_doubt is None]
    otherwise = dict(
        zip(
            (one.traverse_id for one in asked_of),
            judged_otherwise(asked_of, today=frame.today),
            strict=True,
        )
    )
    return frame.page(
        "system.html",
        section="systems",
        history=history,
        facts=_facts(history, frame.house.units),
        standing=[
            _standing(one, otherwise.get(one.traverse_id), frame.house.units) for one in standing
        ],
        next_step=step,
        next_step_href=_on_this_page(step.href, system_id) if step else "",
        charts=call_charts(history, frame.house, frame.today),
        timeline_table=timeline_table(history, frame.viewer, frame.house.units),
        advice_line=words.ADVICE_LINE,
    )


@page
def system_file(frame: Frame, *, system_id: UUID, slug: str) -> HttpResponse:
    """Send one of the page's tables as CSV, all of its rows."""
    if slug not in FILES:
        raise Http404
    history = _history(system_id, limit=None)
    if slug == "timeline":
        table = timeline_table(history, frame.viewer, frame.house.units, limit=None)
    elif slug == "measurements":
        table = _measurements_table(history, frame.viewer, frame.house.units)
    else:
        table = _adjustments_table(history)
    return file_of(table, "system")


def _on_this_page(href: str, system_id: UUID) -> str:
    """Return an address; where it leads to this very page only to where on it."""
    page_itself, _, section = href.partition("#")
    is_here = page_itself.partition("?")[0] == reverse("system", args=[system_id])
    return f"#{section}" if is_here and section else href


def _history(system_id: UUID, **limit: None) -> SystemHistory:
    history = system_history(system_id, **limit)
    if history is None:
        raise Http404("There is no such system.")
    return history


def _facts(history: SystemHistory, units: Units) -> list[tuple[str, str]]:
    facts = history.facts
    capacity = units.show(facts.capacity_w, dimensions.CAPACITY)
    elevation = units.show(facts.elevation_m, dimensions.ELEVATION)
    found = [
        ("Kind", words.KINDS.get(facts.name.kind, facts.name.kind)),
        ("Customer", facts.customer),
        (
            "Rated capacity" if facts.is_rated else "Nominal capacity",
            capacity.plain if capacity else "not on record",
        ),
        ("Model", facts.model_number),
        ("Serial number", facts.serial_number),
        ("Blower drive", words.FAN_DRIVES.get(facts.fan_drive, "")),
        ("Elevation", elevation.plain if elevation else ""),
        ("In use since", day_text(facts.commissioned_on) if facts.commissioned_on else ""),
        ("Retired on", day_text(facts.retired_on) if facts.retired_on else ""),
    ]
    return [(name, text) for name, text in found if text]


def _standing(one: Measurement, otherwise: OtherwiseJudged | None, units: Units) -> dict[str, Any]:
    judged = one.judged
    doubt, meter = in_doubt_text(one), one.in_doubt.id if one.in_doubt else None
    if otherwise is not None:
        doubt = f"in doubt: {meter_words.astray_text(otherwise, units)}"
        meter = otherwise.meter.id
    return {
        "measurement": one,
        "shown": words.judged_shown(judged, units) if judged else None,
        "range": words.range_text(judged, units) if judged else "",
        "strip": words.labelled_strip(judged, units) if judged else None,
        "verdict": words.judged_verdict_text(one),
        "stage": words.STAGES[one.stage].lower(),
        "call": words.CALLS.get(one.call, one.call).lower(),
        "day": day_text(one.taken_at.date()),
        "link": measured_at(one),
        "visit": reverse("visit", args=[one.visit_id]),
        "in_doubt": doubt,
        "meter": meter,
    }


def _measurements_table(history: SystemHistory, viewer: Viewer, units: Units) -> Table:
    return Table(
        slug="measurements",
        caption="All measurements, the latest first",
        columns=(
            Column("Taken at", is_short=True),
            Column("Stage"),
            Column("Call"),
            Column("Against the target", only_on_page=True),
            Column("Judged value", is_number=True, only_in_file=True),
            Column("Judged low end", is_number=True, only_in_file=True),
            Column("Judged high end", is_number=True, only_in_file=True),
            Column("Judged unit", only_in_file=True),
            Column("Target low", is_number=True, only_in_file=True),
            Column("Target high", is_number=True, only_in_file=True),
            Column("Verdict"),
            Column("Standard flow", is_number=True, only_on_page=True),
            Column(
                f"Standard flow, {units.name(dimensions.FLOW)}", is_number=True, only_in_file=True
            ),
            Column("Meter and crew"),
            Column("Meter found off later on", only_in_file=True),
            Column("Visit", only_on_page=True),
            Column("State", only_in_file=True),
            Column("Indicative", only_in_file=True),
        ),
        rows=tuple(_row(one, viewer, units) for one in reversed(history.measurements)),
        href=reverse("system-file", args=[history.facts.name.id, "measurements"]),
    )


def _row(one: Measurement, viewer: Viewer, units: Units) -> tuple[Cell, ...]:
    judged = one.judged
    dimension = (
        dimensions.FLOW if judged and judged.by_design_flow else dimensions.FLOW_PER_CAPACITY
    )

    def raw(value: float | None) -> Cell:
        return Cell("", "" if value is None else units.number(value, dimension))

    shown = words.judged_shown(judged, units) if judged else None
    flow = units.show(
        one.flow_standard,
        dimensions.FLOW,
        low_si=one.flow_standard_low,
        high_si=one.flow_standard_high,
    )
    crew = one.crew if one.crew_id and viewer.sees_crew(one.crew_id) else "another crew"
    return (
        Cell(
            f"{one.taken_at:%Y-%m-%d %H:%M}",
            one.taken_at.isoformat(),
            href=measured_at(one),
            note="several sections" if one.flow_set_id else "",
        ),
        Cell(words.STAGES[one.stage]),
        Cell(words.CALLS.get(one.call, one.call)),
        Cell(
            shown.number if shown else "–",
            strip=judged_strip(judged) if judged else None,
            note=shown.spread if shown else "",
        ),
        raw(judged.value if judged else None),
        raw(judged.low if judged else None),
        raw(judged.high if judged else None),
        Cell(units.name(dimension) if judged else ""),
        raw(judged.target_low if judged else None),
        raw(judged.target_high if judged else None),
        Cell(verdict_of(one), mark=one.verdict if judged else ""),
        Cell(flow.number if flow else "–", note=flow.spread if flow else ""),
        Cell(
            "",
            "" if one.flow_standard is None else units.number(one.flow_standard, dimensions.FLOW),
        ),
        Cell(one.instrument or "–", f"{one.instrument}; {crew}", note=crew),
        Cell("", one.in_doubt.found_on.isoformat() if one.in_doubt else ""),
        Cell("Its report", href=reverse("visit", args=[one.visit_id])),
        Cell(one.state),
        Cell("yes" if one.indicative else "no"),
    )


def _adjustments_table(history: SystemHistory) -> Table:
    return Table(
        slug="adjustments",
        caption="Adjustments, the latest first",
        columns=(
            Column("Made at", is_short=True),
            Column("What"),
            Column("From"),
            Column("To"),
            Column("Notes"),
        ),
        rows=tuple(
            (
                Cell(f"{one.made_at:%Y-%m-%d %H:%M}", one.made_at.isoformat()),
                Cell(one.kind),
                Cell(one.from_value or "–"),
                Cell(one.to_value or "–"),
                Cell(one.notes or "–"),
            )
            for one in reversed(history.adjustments)
        ),
        href=reverse("system-file", args=[history.facts.name.id, "adjustments"]),
    )
