"""What was measured beside the airflow: pressures, temperature rises, flows by other means."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from airflow_jobs import units as dimensions
from airflow_jobs import words
from airflow_jobs.display import Units, write
from airflow_jobs.models import (
    Equipment,
    FlowReading,
    PressureReading,
    Stage,
    TemperatureRise,
    UnitSystem,
)

from .values import FactRow

Row = TypeVar("Row", PressureReading, TemperatureRise, FlowReading)


def beside_of(
    system: Equipment,
    pressures: Sequence[PressureReading],
    rises: Sequence[TemperatureRise],
    readings: Sequence[FlowReading],
    units: Units,
) -> tuple[FactRow, ...]:
    """Return rows of what stands beside a system's airflow, before and after.

    Parameters
    ----------
    system
        The system.
    pressures, rises, readings
        Its own on this visit, oldest first; readings without those that a flow-set adds up.
    units
        The company's units.
    """

    def pressure(value_pa: float | None) -> str:
        """Return a pressure as gauges show it: to a hundredth of an inch, or to a pascal."""
        if value_pa is None:
            return ""
        number = units.number(value_pa, dimensions.PRESSURE)
        decimals = 0 if units.system == UnitSystem.SI else 2
        return f"{write(number, decimals)} {units.name(dimensions.PRESSURE)}"

    most = pressure(system.max_external_static_pa)

    def external(row: PressureReading) -> str:
        text = pressure(row.external_static_pa)
        return f"{text} (nameplate allows {most})" if text and most else text

    found = [
        _row("External static", pressures, external),
        _row("Filter drop", pressures, lambda row: pressure(row.filter_drop_pa)),
        _row("Coil drop", pressures, lambda row: pressure(row.coil_drop_pa)),
        _row("Temperature rise", rises, lambda row: _rise(row, units)),
    ]
    for method in sorted({row.method for row in readings}):
        of_method = [row for row in readings if row.method == method]
        name = words.METHODS.get(method, method)
        found.append(_row(name, of_method, lambda row: _reading(row, units)))
    return tuple(row for row in found if row.before or row.after)


def _row(name: str, rows: Sequence[Row], text: Callable[[Row], str]) -> FactRow:
    """Return what was read first as found and last as left, where it says something."""

    def said(stage: str) -> list[str]:
        return [found for row in rows if row.stage == stage and (found := text(row))]

    before, after = said(Stage.AS_FOUND), said(Stage.AS_LEFT)
    return FactRow(name, before[0] if before else "", after[-1] if after else "")


def _rise(row: TemperatureRise, units: Units) -> str:
    rise = units.show(row.leaving_c - row.entering_c, dimensions.TEMPERATURE_DIFFERENCE)
    entering = units.show(row.entering_c, dimensions.TEMPERATURE)
    leaving = units.show(row.leaving_c, dimensions.TEMPERATURE)
    assert rise is not None
    assert entering is not None
    assert leaving is not None
    return f"{rise.plain} ({entering.number} to {leaving.plain})"


def _reading(row: FlowReading, units: Units) -> str:
    half = row.relative_uncertainty
    shown = units.show(
        row.flow_m3_s,
        dimensions.FLOW,
        low_si=None if half is None else row.flow_m3_s * (1.0 - half),
        high_si=None if half is None else row.flow_m3_s * (1.0 + half),
    )
    assert shown is not None
    return shown.plain if half is not None else f"{shown.plain}, indicative only"


def done_of(kind: str, from_value: str, to_value: str) -> str:
    """Return an adjustment in words."""
    if from_value and to_value:
        return f"{kind} from {from_value} to {to_value}"
    if to_value:
        return f"{kind}: {to_value}"
    if from_value:
        return f"{kind}, was {from_value}"
    return kind
