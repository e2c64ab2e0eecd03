"""Advice by the maker's table: which setting, and the flow to expect at it."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, Final

from airflow_jobs.calc.blower_curves import SettingCurve, setting_curves
from airflow_jobs.calc.blower_tables import SettingForecast, TableForecast, table_forecast
from airflow_jobs.calc.crosschecks import COVERAGE_FACTOR_95

from .beside import Beside, MakersTable, plain_setting
from .cautions import cautions_for, worded
from .system_flows import OffTarget

WORTH_A_CHANGE: Final = 0.02
"""By how much of nominal a setting must come nearer to be worth choosing. Common practice."""
LEAST_STATIC_PA: Final = 2.0
"""An external static under this is no resistance to reckon with. Common practice."""
POSSIBLE_TABLE_RATIO: Final = (0.7, 1.4)
"""Outside of this no advice is built on it. Common practice."""
USUAL_TABLE_RATIO: Final = (0.85, 1.15)
"""Outside of this a flow is unlike its table: another setting, another unit. Common practice."""


def held_to_table(
    table: MakersTable,
    *,
    setting: str,
    actual_m3_s: float,
    relative_u: float,
    standard_over_actual: float,
    external_static_pa: float | None,
    notes: list[str],
) -> tuple[str, TableForecast] | None:
    """Return the setting's name in the table and the forecast; None, and a note, without one.

    Parameters
    ----------
    table
        The maker's.
    setting
        At which the flow was measured, as it was written.
    actual_m3_s, relative_u
        The flow and its relative standard uncertainty.
    standard_over_actual
        Density over standard density.
    external_static_pa
        As measured beside it, if it was.
    notes
        Takes what is worth knowing where the table can't be used.
    """
    if not plain_setting(setting):
        notes.append(
            "The blower's setting isn't on record; with it the maker's table would say which to "
            "choose."
        )
        return None
    standard_pa = None
    if external_static_pa is not None and external_static_pa > LEAST_STATIC_PA:
        # The table is for standard air; a fan's pressure goes with density, its volume doesn't.
        standard_pa = external_static_pa / standard_over_actual
    try:
        curves = _curves(table.rows)
        names = {plain_setting(curve.setting): curve.setting for curve in curves}
        current = names.get(plain_setting(setting))
        if current is None:
            notes.append(f"The maker's table has no setting '{setting}'.")
            return None
        return current, table_forecast(
            curves,
            current=current,
            flow_m3_s=actual_m3_s,
            flow_relative_u=relative_u,
            external_static_pa=standard_pa,
        )
    except ValueError as error:
        notes.append(f"The maker's table couldn't be used: {error}.")
        return None


@lru_cache(maxsize=1024)
def _curves(rows: tuple[tuple[str, float, float], ...]) -> tuple[SettingCurve, ...]:
    return setting_curves(rows)


def advice_by_table(
    target: OffTarget, beside: Beside, table: MakersTable, notes: list[str]
) -> tuple[dict[str, Any] | None, str | None] | None:
    """Return advice, or why there is none; None, and a note, where the table can't be used.

    Parameters
    ----------
    target
        The flow and what it should be.
    beside
        What was recorded beside it.
    table
        The maker's.
    notes
        Takes what is worth knowing where the table can't be used.
    """
    static = beside.static(beside.stage)
    held = held_to_table(
        table,
        setting=target.system.setting,
        actual_m3_s=target.actual_m3_s,
        relative_u=target.relative_u,
        standard_over_actual=target.system.standard_over_actual,
        external_static_pa=None if static is None else static.external_static_pa,
        notes=notes,
    )
    if held is None:
        return None
    current, forecast = held
    low, high = POSSIBLE_TABLE_RATIO
    if not low <= forecast.measured_over_table <= high:
        return None, _far_off(current, forecast)
    # Not a number where a curve doesn't reach what the ducts let through.
    reachable = [item for item in forecast.settings if item.flow_m3_s > 0.0]
    wanted = target.target_m3_s * target.actual_over_basis
    best = min(reachable, key=lambda item: abs(item.flow_m3_s - wanted))
    nearer = abs(target.actual_m3_s - wanted) - abs(best.flow_m3_s - wanted)
    if best.setting == current or nearer < WORTH_A_CHANGE * wanted:
        return None, (
            f"No setting of the maker's table comes clearly nearer to nominal than {current}, at "
            "which it runs: look for the rest in filter, coil, dampers and ducts."
        )
    chosen = _option(target, best)
    return {
        **target.advice(kind="change_setting", by="makers_table"),
        "from_setting": current,
        "to_setting": chosen.pop("setting"),
        **chosen,
        "external_static": _in_its_air(target, forecast.external_static_pa),
        "is_static_measured": forecast.is_static_measured,
        "measured_over_table": forecast.measured_over_table,
        "table_source": table.source,
        "options": [_option(target, item) for item in reachable if item.setting != current],
        "validity": [*notes, *_validity(forecast, best)],
        "cautions": worded(cautions_for(target, beside, chosen["expected_flow"])),
    }, None


def _far_off(current: str, forecast: TableForecast) -> str:
    """Say why a flow so far off its table is nothing to build on."""
    if forecast.is_static_measured:
        return (
            f"The flow is {forecast.measured_over_table:.2f} times what the maker's table has at "
            f"{current} and this static: first check both, and that the table is this unit's."
        )
    if forecast.measured_over_table < 1.0:
        return (
            f"The maker's table has no flow as low as this at {current}, even at its highest "
            "static: measure the external static, and look at filter, coil, dampers and ducts."
        )
    return (
        f"The maker's table has no flow as high as this at {current}, even at its lowest static: "
        "first check the setting, and that the table is this unit's."
    )


def _in_its_air(target: OffTarget, static_pa: float) -> float:
    """Bring a static of the table from standard air to the air as it was."""
    return static_pa * target.system.standard_over_actual


def _option(target: OffTarget, item: SettingForecast) -> dict[str, Any]:
    flow = item.flow_m3_s / target.actual_over_basis
    half_width = COVERAGE_FACTOR_95 * item.relative_u * flow
    return {
        "setting": item.setting,
        **target.expected_flow(flow, flow - half_width, flow + half_width),
        "expected_external_static": _in_its_air(target, item.external_static_pa),
        "is_beyond_table": item.is_beyond,
    }


def _validity(forecast: TableForecast, best: SettingForecast) -> list[str]:
    notes = []
    if not forecast.is_static_measured:
        notes.append(
            "No external static was measured with it: the one at which the table has the measured "
            "flow was taken."
        )
    low, high = USUAL_TABLE_RATIO
    if not low <= forecast.measured_over_table <= high:
        notes.append(
            f"The measured flow is {forecast.measured_over_table:.2f} times the table's at this "
            "setting and static: check the setting, the static and that the table is this unit's."
        )
    if best.is_beyond:
        notes.append("The point lies a little beyond the maker's table.")
    return notes
