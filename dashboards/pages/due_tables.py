"""The tables of what is due."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from django.urls import reverse

from airflow_jobs.found_off import CalibrationFound
from airflow_jobs.words import misread_text

from .. import due_words, meter_words, words
from ..due_words import Named
from ..filters import Asked
from ..tables import Cell, Column, Table
from ..values.due import DueMeter, DueSystem, Listed, MeasureBy, PlannedVisit
from ..values.meters import MeterAstray
from ..values.systems import SystemName
from .filtering import link_to


def missed_table(listed: Listed[PlannedVisit], asked: Asked, named: Named) -> Table:
    """Return the planned visits that brought no measurement, the oldest first."""
    return Table(
        slug="missed",
        caption="Planned visits without a measurement, the oldest first",
        columns=(
            Column("Planned for", is_short=True),
            Column("Site"),
            Column("Systems there", is_number=True),
            Column("Crew"),
            Column("Purpose"),
            Column("What became of it"),
            Column("Next step"),
        ),
        rows=tuple(
            (
                *_visit_cells(one, asked, named),
                Cell(due_words.visit_state(one)),
                Cell(due_words.missed_step(one, named(one.crew))),
            )
            for one in listed.rows
        ),
        href=_file("missed", asked),
        more=listed.total - len(listed.rows),
    )


def coming_table(listed: Listed[PlannedVisit], asked: Asked, named: Named) -> Table:
    """Return the planned visits of the next weeks, the nearest first."""
    return Table(
        slug="coming",
        caption="Planned visits, the nearest first",
        columns=(
            Column("Planned for", is_short=True),
            Column("Site"),
            Column("Systems there", is_number=True),
            Column("Crew"),
            Column("Purpose"),
        ),
        rows=tuple(_visit_cells(one, asked, named) for one in listed.rows),
        href=_file("coming", asked),
        more=listed.total - len(listed.rows),
    )


def _visit_cells(one: PlannedVisit, asked: Asked, named: Named) -> tuple[Cell, ...]:
    return (
        Cell(one.planned_for.isoformat()),
        Cell(one.site, href=link_to(asked, "site", one.site_id)),
        Cell(f"{one.systems:,}", one.systems),
        Cell(named(one.crew)),
        Cell(due_words.PURPOSES.get(one.purpose, one.purpose)),
    )


def late_table(listed: Listed[DueSystem], asked: Asked) -> Table:
    """Return the systems that were not measured for too long, the longest first."""
    return Table(
        slug="late",
        caption="Systems not measured for too long, the longest first",
        columns=(
            Column("System"),
            Column("Site", only_in_file=True),
            Column("Last measured", is_short=True),
            Column("Due since", is_short=True),
            Column("Visit planned for", is_short=True),
            Column("Next step"),
        ),
        rows=tuple(
            (
                *system_cells(one.system, asked),
                _day(one.last_measured_on),
                _day(one.due_on),
                _day(one.planned_for),
                Cell(due_words.system_step(one)),
            )
            for one in listed.rows
        ),
        href=_file("late", asked),
        more=listed.total - len(listed.rows),
    )


def never_table(listed: Listed[DueSystem], asked: Asked) -> Table:
    """Return the systems that were never measured, those on record the longest first."""
    return Table(
        slug="never",
        caption="Systems never measured, those on record the longest first",
        columns=(
            Column("System"),
            Column("Site", only_in_file=True),
            Column("Kind"),
            Column("On record since", is_short=True),
            Column("Visit planned for", is_short=True),
            Column("Next step"),
        ),
        rows=tuple(
            (
                *system_cells(one.system, asked),
                Cell(words.KINDS.get(one.system.kind, one.system.kind)),
                _day(one.on_record_since),
                _day(one.planned_for),
                Cell(due_words.system_step(one)),
            )
            for one in listed.rows
        ),
        href=_file("never", asked),
        more=listed.total - len(listed.rows),
    )


def foreseen_table(listed: Listed[MeasureBy], asked: Asked, *, today: datetime.date) -> Table:
    """Return the systems that may leave their range, the soonest first."""
    return Table(
        slug="foreseen",
        caption="Systems that may leave their range, the soonest first",
        columns=(
            Column("System"),
            Column("Site", only_in_file=True),
            Column("Measure by", is_short=True),
            Column("Last measured", is_short=True),
            Column("Where it is going"),
            Column("Next step"),
        ),
        rows=tuple(
            (
                *system_cells(one.system, asked),
                Cell("now" if one.by <= today else one.by.isoformat(), one.by.isoformat()),
                _day(one.last_measured_on),
                Cell(words.drift_text(one.trend, today)),
                Cell(due_words.foreseen_step(one, today=today)),
            )
            for one in listed.rows
        ),
        href=_file("foreseen", asked),
        more=listed.total - len(listed.rows),
    )


def meters_table(
    listed: Listed[DueMeter], asked: Asked, named: Named, *, slug: str, today: datetime.date
) -> Table:
    """Return meters whose calibration has run out (`overdue`) or soon will (`expiring`)."""
    is_over = slug == "overdue"
    return Table(
        slug=slug,
        caption=(
            "Meters out of calibration, the longest first"
            if is_over
            else "Calibrations that run out soon, the nearest first"
        ),
        columns=(
            Column("Meter", is_short=True),
            Column("Serial", only_in_file=True),
            Column("Was due" if is_over else "Due", is_short=True),
            Column("Last used", is_short=True),
            Column("Used last by"),
            Column("Next step"),
        ),
        rows=tuple(_meter_row(one, asked, named, today) for one in listed.rows),
        href=_file(slug, asked),
        more=listed.total - len(listed.rows),
    )


def found_off_table(listed: Listed[CalibrationFound], asked: Asked, *, is_manager: bool) -> Table:
    """Return the meters that were found off and whose results are not corrected."""
    return Table(
        slug="found-off",
        caption="Meters found off, with results that are not corrected, the most results first",
        columns=(
            Column("Meter", is_short=True),
            Column("Serial", only_in_file=True),
            Column("Found off on", is_short=True),
            Column("It read", is_short=True),
            Column("Results not corrected", is_number=True),
            Column("Next step"),
        ),
        rows=tuple(
            (
                Cell(
                    one.meter, href=link_to(asked, "instrument", one.instrument_id), note=one.serial
                ),
                Cell(one.serial),
                Cell(one.performed_on.isoformat()),
                Cell(misread_text(one.change or 0.0)),
                Cell(f"{one.between:,}", one.between),
                found_off_step(one, is_manager=is_manager),
            )
            for one in listed.rows
        ),
        href=_file("found-off", asked),
        more=listed.total - len(listed.rows),
    )


def astray_table(found: Sequence[MeterAstray], asked: Asked) -> Table:
    """Return the meters that read high or low against the others, the most results first."""
    return Table(
        slug="astray",
        caption="Meters that read high or low against the others, the most results first",
        columns=(
            Column("Meter", is_short=True),
            Column("Above the others", is_number=True),
            Column("Above the others, low end", is_number=True, only_in_file=True),
            Column("Above the others, high end", is_number=True, only_in_file=True),
            Column("Results resting on it", is_number=True),
            Column("Next step"),
        ),
        rows=tuple(
            (
                Cell(one.name, href=link_to(asked, "instrument", one.id)),
                Cell(
                    meter_words.reads_text(one.held),
                    one.held.offset,
                    note=meter_words.reads_ends(one.held),
                ),
                Cell("", one.held.low),
                Cell("", one.held.high),
                Cell(f"{one.results:,}", one.results),
                astray_step(one, asked),
            )
            for one in found
        ),
        href=_file("astray", asked),
    )


def astray_step(one: MeterAstray, asked: Asked) -> Cell:
    """Return what to do about a meter that reads high or low, with the page of it."""
    return Cell(
        due_words.ASTRAY_STEP,
        note="The meter and what rests on it",
        note_href=link_to(asked, "instrument", one.id),
    )


def found_off_step(one: CalibrationFound, *, is_manager: bool) -> Cell:
    """Return what to do about what a calibration found, with the page where that is done."""
    return Cell(
        due_words.found_off_step(is_manager=is_manager),
        note="See what each would become, and correct them" if is_manager else "The meter",
        note_href=reverse("office:meter-correction", args=[one.id])
        if is_manager
        else f"{reverse('instrument', args=[one.instrument_id])}#found-title",
    )


def _meter_row(one: DueMeter, asked: Asked, named: Named, today: datetime.date) -> tuple[Cell, ...]:
    # Several crews that may not be named are "another crew" once.
    crews = list(dict.fromkeys(named(crew) for crew in one.crews))
    return (
        Cell(one.name, href=link_to(asked, "instrument", one.id), note=one.serial),
        Cell(one.serial),
        Cell(one.due_on.isoformat() if one.due_on else "no calibration on record"),
        Cell(one.last_used_on.isoformat() if one.last_used_on else "never"),
        Cell(words.listed(crews) or "–"),
        Cell(due_words.meter_step(one, crews, today=today)),
    )


def system_cells(system: SystemName, asked: Asked) -> tuple[Cell, Cell]:
    """Return a system with its site below it on the page, beside it in the file."""
    return (
        Cell(system.tag, href=link_to(asked, "system", system.id), note=system.site),
        Cell(system.site),
    )


def _day(day: datetime.date | None) -> Cell:
    return Cell("–", "") if day is None else Cell(day.isoformat())


def _file(slug: str, asked: Asked) -> str:
    return f"{reverse('due-file', args=[slug])}?{asked.lasting_query}"
