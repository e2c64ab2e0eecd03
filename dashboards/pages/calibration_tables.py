"""The tables of calibrations: all of a meter's, or all of the company's."""

from __future__ import annotations

import datetime

from django.urls import reverse

from airflow_jobs import units as dimensions
from airflow_jobs.found_off import CalibrationFound

from ..calibration_words import offset_text, signed_percent
from ..display import Units, percent, unbroken, write
from ..tables import Cell, Column, Table


def calibrations_table(
    found: tuple[CalibrationFound, ...],
    units: Units,
    *,
    today: datetime.date,
    names_meter: bool,
    href: str,
    query: str = "",
) -> Table:
    """Return calibrations with what they found; the latest of a meter first."""
    velocity = units.name(dimensions.VELOCITY)
    meter = (Column("Meter", is_short=True), Column("Serial", only_in_file=True))
    return Table(
        slug="calibrations",
        caption="Calibrations: true velocity is gain × shown + offset. "
        "“Against before” is what changed at a usual reading",
        columns=(
            *(meter if names_meter else ()),
            Column("Calibrated", is_short=True),
            Column("Due", is_short=True),
            Column("Gain", is_number=True),
            Column(f"Offset, {velocity}", is_number=True),
            Column("Accuracy", is_number=True),
            Column("Against before", is_number=True),
            Column("Certificate"),
            Column("State"),
        ),
        rows=tuple(
            (
                *(_meter_cells(one, query) if names_meter else ()),
                Cell(one.performed_on.isoformat()),
                Cell(one.due_on.isoformat()),
                Cell(
                    write(one.gain, 3),
                    one.gain,
                    note=f"{write(one.found_gain, 3)} as it came in" if one.is_adjusted else "",
                ),
                Cell(
                    offset_text(one.offset_m_s, units),
                    units.number(one.offset_m_s, dimensions.VELOCITY),
                    note=f"{offset_text(one.found_offset_m_s, units)} as it came in"
                    if one.is_adjusted
                    else "",
                ),
                _accuracy(one, units),
                _change(one),
                Cell(one.certificate or "–"),
                Cell(_state(one, today)),
            )
            for one in found
        ),
        href=href,
    )


def _meter_cells(one: CalibrationFound, query: str) -> tuple[Cell, Cell]:
    address = reverse("instrument", args=[one.instrument_id])
    return Cell(one.meter, href=f"{address}?{query}" if query else address), Cell(one.serial)


def _accuracy(one: CalibrationFound, units: Units) -> Cell:
    parts = []
    if one.accuracy_relative is not None:
        parts.append(unbroken("±", percent(one.accuracy_relative, 1)))
    if one.accuracy_absolute_m_s:
        number = units.number(one.accuracy_absolute_m_s, dimensions.VELOCITY)
        digits = 2 if units.system == "si" else 0
        parts.append(unbroken("±", write(number, digits), units.name(dimensions.VELOCITY)))
    return Cell(" and ".join(parts) or "–")


def _change(one: CalibrationFound) -> Cell:
    if one.change is None:
        return Cell("–", "")
    note = ""
    if one.before_on is None:
        note = "nothing before"
    elif one.is_off:
        note = f"more than {percent(one.allowed, 1)}"
    return Cell(signed_percent(one.change), one.change, note=note)


def _state(one: CalibrationFound, today: datetime.date) -> str:
    if not one.counts:
        return "Retired"
    if one.corrects:
        return "Corrects earlier readings"
    if one.is_off and one.between:
        return "Found it off"
    if one.due_on < today:
        return "Ran out"
    return "In force" if one.performed_on <= today else "To come"
