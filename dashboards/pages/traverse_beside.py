"""What was read beside a traverse: static pressures with what they are held against, and heat."""

from __future__ import annotations

from django.urls import reverse

from airflow_jobs import units as dimensions

from .. import words
from ..display import Units, percent, write
from ..tables import Cell, Column, Table
from ..values.traverses import HeatRise, StaticPressures, TraverseRecord


def pressures_table(record: TraverseRecord, units: Units) -> Table | None:
    """Return the static pressures of the visit; external static and drops come from them."""
    if not record.pressures:
        return None
    unit = units.name(dimensions.PRESSURE)
    return Table(
        slug="pressures",
        caption=f"Static pressures of the system on this visit, {unit} against the room",
        columns=(
            Column("When", is_short=True),
            Column("Stage"),
            Column("Return", is_number=True),
            Column("Supply", is_number=True),
            Column("External static", is_number=True),
            Column("Drop over the filter", is_number=True),
            Column("Drop over the coil", is_number=True),
        ),
        rows=tuple(_pressure_row(one, record, units) for one in record.pressures),
        href=reverse("traverse-file", args=[record.id, "pressures"]),
    )


def _pressure_row(one: StaticPressures, record: TraverseRecord, units: Units) -> tuple[Cell, ...]:
    most = record.max_external_static_pa
    note = ""
    if one.external_pa is not None and most:
        above = one.external_pa > most
        note = "more than the maker allows" if above else "within what the maker allows"
    return (
        Cell(f"{one.taken_at:%Y-%m-%d %H:%M}"),
        Cell(words.STAGES[one.stage]),
        _pressure(one.return_pa, units),
        _pressure(one.supply_pa, units),
        _pressure(one.external_pa, units, note),
        _pressure(one.filter_drop_pa, units),
        _pressure(one.coil_drop_pa, units),
    )


def _pressure(value_pa: float | None, units: Units, note: str = "") -> Cell:
    if value_pa is None:
        return Cell("–", "")
    number = units.number(value_pa, dimensions.PRESSURE)
    return Cell(write(number, 2 if units.system == "ip" else 0), number, note=note)


def pressures_sentence(record: TraverseRecord, units: Units) -> str:
    """Say what the external static pressure is held against."""
    most = units.show(record.max_external_static_pa, dimensions.PRESSURE)
    if most is None:
        return (
            "The maker's largest external static pressure is not on record for this system, so "
            "there is nothing to hold it against."
        )
    return f"The maker allows {most.plain} of external static pressure."


def rises_table(record: TraverseRecord, units: Units) -> Table | None:
    """Return the temperature rises of the visit, with the heat between their ends."""
    if not record.rises:
        return None
    return Table(
        slug="rises",
        caption="Temperature rise of the system on this visit",
        columns=(
            Column("When", is_short=True),
            Column("Stage"),
            Column(f"Entering, {units.name(dimensions.TEMPERATURE)}", is_number=True),
            Column(f"Leaving, {units.name(dimensions.TEMPERATURE)}", is_number=True),
            Column(f"Rise, {units.name(dimensions.TEMPERATURE_DIFFERENCE)}", is_number=True),
            Column("Heat"),
        ),
        rows=tuple(_rise_row(one, units) for one in record.rises),
        href=reverse("traverse-file", args=[record.id, "rises"]),
    )


def _rise_row(one: HeatRise, units: Units) -> tuple[Cell, ...]:
    entering = units.number(one.entering_c, dimensions.TEMPERATURE)
    leaving = units.number(one.leaving_c, dimensions.TEMPERATURE)
    return (
        Cell(f"{one.taken_at:%Y-%m-%d %H:%M}"),
        Cell(words.STAGES[one.stage]),
        Cell(write(entering, 1), entering),
        Cell(write(leaving, 1), leaving),
        Cell(write(leaving - entering, 1), leaving - entering),
        Cell(_heat(one, units)),
    )


def _heat(one: HeatRise, units: Units) -> str:
    if one.electric_w is not None:
        shown = units.show(one.electric_w, dimensions.ELECTRIC_POWER)
        return f"{shown.plain} of electric heat" if shown else "–"
    shown = units.show(one.heat_input_w, dimensions.HEAT)
    if shown is None:
        return "–"
    return f"{shown.plain} of fuel at an efficiency of {percent(one.efficiency)}"
