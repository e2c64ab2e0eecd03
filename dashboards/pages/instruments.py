"""The instruments pages: calibrations, who reads high or low, and what rests on each meter."""

from __future__ import annotations

import datetime
from dataclasses import replace
from typing import Final
from uuid import UUID

from django.http import Http404, HttpResponse
from django.urls import reverse

from airflow_jobs import units
from airflow_jobs.found_off import CalibrationFound, calibrations
from airflow_jobs.models import Verdict

from .. import calibration_words, meter_words, words
from ..charts.meters import meters_compared
from ..display import Units, unbroken
from ..filters import Asked
from ..queries.meters import register, rests_on
from ..tables import Cell, Column, Table
from ..values.meters import DUE_SOON_DAYS, MeterStanding, Reads, Register, RestsOn
from .calibration_tables import calibrations_table
from .filtering import filter_form, offered_choices
from .frame import Frame, file_of, file_page, page

MOST_RESULTS: Final = 25
# What stands first is what asks for something; the files have all of it.
MOST_METERS: Final = 50


@page
def instruments(frame: Frame) -> HttpResponse:
    """Show the calibration register, and how the meters read against each other."""
    offered = offered_choices(frame)
    asked = frame.asked
    found = register(asked.filters, today=frame.today)
    calibrated = calibrations()
    found_off = calibration_words.found_off_in(calibrated, asked.filters)
    return frame.page(
        "instruments.html",
        section="instruments",
        asked=asked,
        register=found,
        filters=filter_form(asked, offered, page_name="instruments", without_stage="all stages"),
        compared={
            "id": "chart-meters",
            "title": "Against each other",
            "sentence": meter_words.meters_sentence(found, tuple(found_off.values())),
            "data_id": "chart-meters-data",
            "figure": meters_compared(found.meters),
        },
        compared_table=_on_page(_compared_table(found, found_off, asked, frame)),
        register_sentence=meter_words.register_sentence(found, today=frame.today),
        register_table=_on_page(_register_table(found, asked, frame)),
        found_off_sentence=calibration_words.found_off_sentence(calibrated),
        calibrations_table=_on_page(_calibrations_table(calibrated, asked, frame))
        if calibrated
        else None,
        lasting_link=f"{reverse('instruments')}?{asked.lasting_query}",
    )


@file_page
def instruments_file(frame: Frame, *, slug: str) -> HttpResponse:
    """Send one of the page's tables as CSV."""
    if slug not in ("compared", "register", "calibrations"):
        raise Http404
    asked = frame.asked
    if slug == "calibrations":
        return file_of(_calibrations_table(calibrations(), asked, frame), "instruments")
    found = register(asked.filters, today=frame.today)
    if slug == "register":
        return file_of(_register_table(found, asked, frame), "instruments")
    found_off = calibration_words.found_off_in(calibrations(), asked.filters)
    return file_of(_compared_table(found, found_off, asked, frame), "instruments")


@page
def instrument(frame: Frame, *, instrument_id: UUID) -> HttpResponse:
    """Show one meter and the results that rest on it."""
    asked = frame.asked
    one = _meter(asked, frame, instrument_id)
    results, total = rests_on(asked.filters, instrument_id, limit=MOST_RESULTS)
    calibrated = calibrations(instrument_id)
    found_off = calibration_words.found_off_in(calibrated, asked.filters).get(instrument_id)
    return frame.page(
        "instrument.html",
        section="instruments",
        asked=asked,
        meter=one,
        says=meter_words.meter_and_calibration_sentence(
            one, found_off, names_crew=_names_crew(one, frame)
        ),
        held=one.held,
        held_text=meter_words.reads_text(one.held) if one.held else "",
        held_ends=meter_words.reads_ends(one.held) if one.held else "",
        found_off=[
            _found_off(calibration, frame)
            for calibration in calibrated
            if calibration.corrects or (calibration.is_off and calibration.between)
        ],
        calibrations_table=calibrations_table(
            calibrated,
            frame.house.units,
            today=frame.today,
            names_meter=False,
            href=reverse("instrument-calibrations-file", args=[instrument_id]),
        )
        if calibrated
        else None,
        total=total,
        rests=meter_words.rests_sentence(
            one, total, are_in_doubt=found_off is not None and not found_off.corrects
        ),
        table=_results_table(results, one, asked, frame, total=total),
        back=f"{reverse('instruments')}?{asked.query()}",
    )


@file_page
def instrument_file(frame: Frame, *, instrument_id: UUID) -> HttpResponse:
    """Send all results that rest on a meter as CSV."""
    asked = frame.asked
    one = _meter(asked, frame, instrument_id)
    results, total = rests_on(asked.filters, instrument_id, limit=None)
    return file_of(_results_table(results, one, asked, frame, total=total), "instrument")


@page
def instrument_calibrations_file(frame: Frame, *, instrument_id: UUID) -> HttpResponse:
    """Send all calibrations of a meter as CSV."""
    found = calibrations(instrument_id)
    if not found:
        raise Http404
    table = calibrations_table(
        found, frame.house.units, today=frame.today, names_meter=False, href=""
    )
    return file_of(table, "instrument")


def _found_off(one: CalibrationFound, frame: Frame) -> dict[str, str]:
    """Return what is said of a calibration that found the meter off, and where it leads."""
    since, until = one.since, one.performed_on - datetime.timedelta(days=1)
    address = reverse("instrument", args=[one.instrument_id])
    return {
        "found": calibration_words.found_text(one, frame.house.units) if one.is_off else "",
        "since": calibration_words.since_text(one),
        "corrected": calibration_words.corrected_text(one) if one.corrects else "",
        "results": f"{address}?from={since}&to={until}" if since and one.between else "",
        "form": reverse("office:meter-correction", args=[one.id])
        if frame.viewer.is_manager
        else "",
    }


def _calibrations_table(found: tuple[CalibrationFound, ...], asked: Asked, frame: Frame) -> Table:
    return calibrations_table(
        found,
        frame.house.units,
        today=frame.today,
        names_meter=True,
        href=_file("calibrations", asked),
        query=asked.query(),
    )


def _on_page(table: Table) -> Table:
    return replace(table, rows=table.rows[:MOST_METERS], more=max(len(table.rows) - MOST_METERS, 0))


def _meter(asked: Asked, frame: Frame, instrument_id: UUID) -> MeterStanding:
    for one in register(asked.filters, today=frame.today).meters:
        if one.id == instrument_id:
            return one
    raise Http404


def _names_crew(one: MeterStanding, frame: Frame) -> bool:
    return one.only_crew_id is not None and frame.viewer.sees_crew(one.only_crew_id)


def _compared_table(
    found: Register, found_off: dict[UUID, CalibrationFound], asked: Asked, frame: Frame
) -> Table:
    return Table(
        slug="compared",
        caption="How much each meter reads above the others on the same flows",
        columns=(
            Column("Meter", is_short=True),
            Column("Serial", only_in_file=True),
            *_reads_columns("Paired checks"),
            *_reads_columns("Same systems"),
            Column("Its accuracy", is_number=True),
            Column("Results resting on it", is_number=True),
            Column("What it says"),
        ),
        rows=tuple(
            (
                Cell(one.name, href=_address(one, asked), note=one.serial),
                Cell(one.serial),
                *_reads_cells(one.paired),
                *_reads_cells(one.same_system),
                Cell("–", "")
                if one.accuracy_relative is None
                else Cell(
                    unbroken("±", meter_words.allowed_text(one.accuracy_relative)),
                    one.accuracy_relative,
                ),
                Cell(f"{one.results:,}", one.results, href=_address(one, asked)),
                Cell(
                    meter_words.meter_and_calibration_sentence(
                        one, found_off.get(one.id), names_crew=_names_crew(one, frame)
                    )
                ),
            )
            for one in found.meters
        ),
        href=_file("compared", asked),
    )


def _reads_columns(name: str) -> tuple[Column, ...]:
    return (
        Column(name, is_number=True),
        Column(f"{name}, low end", is_number=True, only_in_file=True),
        Column(f"{name}, high end", is_number=True, only_in_file=True),
        Column(f"{name}, comparisons", is_number=True, only_in_file=True),
    )


def _reads_cells(reads: Reads | None) -> tuple[Cell, ...]:
    if reads is None:
        return Cell("–", ""), Cell("", ""), Cell("", ""), Cell("", "")
    return (
        Cell(meter_words.reads_text(reads), reads.offset, note=meter_words.reads_ends(reads)),
        Cell("", reads.low),
        Cell("", reads.high),
        Cell("", reads.comparisons),
    )


def _register_table(found: Register, asked: Asked, frame: Frame) -> Table:
    meters = sorted(found.meters, key=lambda one: (one.is_in_calibration, one.name, one.id))
    return Table(
        slug="register",
        caption="Calibrations, those that are overdue first",
        columns=(
            Column("Meter", is_short=True),
            Column("Serial", only_in_file=True),
            Column("Calibrated", is_short=True),
            Column("Due", is_short=True),
            Column("State"),
            Column("Last used", is_short=True),
            Column("Results out of calibration", is_number=True),
        ),
        rows=tuple(
            (
                Cell(one.name, href=_address(one, asked), note=one.serial),
                Cell(one.serial),
                Cell(one.calibrated_on.isoformat() if one.calibrated_on else "never"),
                Cell(one.due_on.isoformat() if one.due_on else "–"),
                Cell(_state(one, frame.today)),
                Cell(one.last_used_on.isoformat() if one.last_used_on else "never"),
                Cell(f"{one.results_out:,}", one.results_out),
            )
            for one in meters
        ),
        href=_file("register", asked),
    )


def _state(one: MeterStanding, today: datetime.date) -> str:
    if one.retired_on:
        return "Retired"
    if one.is_in_calibration:
        days = one.due_in_days(today)
        if days is not None and days <= DUE_SOON_DAYS:
            return f"In calibration, due {'today' if not days else f'in {days} days'}"
        return "In calibration"
    return "Overdue" if one.due_on else "No calibration on record"


def _results_table(
    results: tuple[RestsOn, ...], one: MeterStanding, asked: Asked, frame: Frame, *, total: int
) -> Table:
    house = frame.house.units
    return Table(
        slug="results",
        caption="Results that rest on it, the latest first",
        columns=(
            Column("Measured", is_short=True),
            Column("System"),
            Column("Site", only_in_file=True),
            Column("Stage"),
            Column(f"Flow in standard air, {house.name(units.FLOW)}", is_number=True),
            Column("Flow, low end", is_number=True, only_in_file=True),
            Column("Flow, high end", is_number=True, only_in_file=True),
            Column("Verdict"),
            Column("Calibration on that day"),
        ),
        rows=tuple(
            (
                Cell(
                    f"{result.taken_at:%Y-%m-%d}",
                    href=reverse("traverse", args=[result.traverse_id]),
                ),
                Cell(
                    result.tag, href=reverse("system", args=[result.equipment_id]), note=result.site
                ),
                Cell(result.site),
                Cell(words.STAGES[result.stage]),
                *_flow_cells(result, house),
                Cell(
                    words.verdict_text(result.verdict, "", None)
                    if result.verdict != Verdict.UNDECIDED
                    else "Too close to call",
                    mark=result.verdict if result.verdict != Verdict.NOT_JUDGED else "",
                ),
                Cell(
                    "In calibration" if result.is_in_calibration else "Out of calibration",
                    note="corrected by the one after it" if result.is_corrected_later else "",
                ),
            )
            for result in results
        ),
        href=f"{reverse('instrument-file', args=[one.id])}?{asked.lasting_query}",
        more=total - len(results),
    )


def _flow_cells(result: RestsOn, house: Units) -> tuple[Cell, Cell, Cell]:
    """Return a flow as it stands on every other page, and its ends for the file."""
    low, high = result.flow_standard_low_m3_s, result.flow_standard_high_m3_s
    shown = house.show(result.flow_standard_m3_s, units.FLOW, low_si=low, high_si=high)
    plain, *ends = (
        "" if value is None else value
        for value in house.numbers((result.flow_standard_m3_s, low, high), units.FLOW)
    )
    return (
        Cell(shown.number if shown else "–", plain, note=shown.spread if shown else ""),
        Cell("", ends[0]),
        Cell("", ends[1]),
    )


def _address(one: MeterStanding, asked: Asked) -> str:
    return f"{reverse('instrument', args=[one.id])}?{asked.query()}"


def _file(slug: str, asked: Asked) -> str:
    return f"{reverse('instruments-file', args=[slug])}?{asked.lasting_query}"
