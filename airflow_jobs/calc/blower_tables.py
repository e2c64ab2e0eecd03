"""The maker's blower table: which setting would move which flow through the ducts as they are.

A table gives the flow of each setting against external static. The ducts answer a flow with a
pressure that goes with its square, so the flow to expect at a setting is where its curve meets
the ducts' own curve through the point that was measured.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from airflow_jobs.calc.blower_curves import (
    SINGLE_ROW_SLOPE,
    SINGLE_ROW_SLOPE_U,
    SettingCurve,
    crossing,
    flow_at_static_m3_s,
    stacked_knots,
)
from airflow_jobs.calc.quantities import FloatArray, checked

SYSTEM_EXPONENT: Final = 2.0
"""Ducts, coils and filters together, where nothing is known: rough flow. Common practice."""
SYSTEM_EXPONENT_U: Final = 0.4 / 3.0**0.5
"""Uniform from 1.6 (laminar in part) to 2, seen from 2 and counted both ways: as in `fans`."""
TABLE_RELATIVE_U: Final = 0.025
"""Of one setting's flow against another's: makers' tables hold to some 5 %. Common practice."""
STATIC_U_PA: Final = 5.0
"""Of an external static: where the holes are matters more than the meter. Common practice."""
BEYOND_RELATIVE_U: Final = 0.05
"""Of a flow that was read beyond the ends of its curve. Common practice."""

_BASE, _FLOW, _STATIC, _EXPONENT, _TABLE = 0, (1, 2), (3, 4), (5, 6), (7, 8)
_VARIANTS = 9
# A table may begin at no static at all, through which no curve of ducts can be laid.
_LEAST_STATIC_PA = 1e-3


@dataclass(frozen=True, slots=True)
class SettingForecast:
    """What to expect of one setting in the ducts as they are.

    Attributes
    ----------
    setting
        Its name as typed in.
    flow_m3_s
        Actual flow, m3/s; NaN where the curve doesn't reach the ducts' curve.
    external_static_pa
        Where they meet, Pa.
    model_relative_u
        Relative standard uncertainty of the flow without the measured flow's own: static, table,
        the ducts' exponent.
    relative_u
        With it.
    is_beyond
        Read beyond the ends of the curve.
    """

    setting: str
    flow_m3_s: float
    external_static_pa: float
    model_relative_u: float
    relative_u: float
    is_beyond: bool


@dataclass(frozen=True, slots=True)
class TableForecast:
    """What a table says of every setting, held to what was measured.

    Attributes
    ----------
    settings
        In the order of the table.
    external_static_pa
        At the current setting: measured, else where its curve has the measured flow.
    is_static_measured
        Which of the two.
    measured_over_table
        Measured flow over the table's at that static; 1 where the static follows from the flow.
    """

    settings: tuple[SettingForecast, ...]
    external_static_pa: float
    is_static_measured: bool
    measured_over_table: float


@dataclass(frozen=True, slots=True)
class _Point:
    """Where the ducts are now, in V variants of what isn't known exactly."""

    flow: FloatArray
    static: FloatArray
    inverse_exponent: FloatArray
    scale: FloatArray


def table_forecast(
    curves: Sequence[SettingCurve],
    *,
    current: str,
    flow_m3_s: float,
    flow_relative_u: float,
    external_static_pa: float | None = None,
    static_u_pa: float = STATIC_U_PA,
) -> TableForecast:
    """Return what to expect of each setting, given what was measured at one.

    Parameters
    ----------
    curves
        Of the table.
    current
        Setting at which the flow was measured.
    flow_m3_s
        Measured, actual, m3/s, above 0.
    flow_relative_u
        Its relative standard uncertainty, at least 0.
    external_static_pa
        Measured at that setting, Pa, above 0, in the air that the table is for; without it the
        static at which the table gives the measured flow.
    static_u_pa
        Standard uncertainty of a measured static, Pa.

    Returns
    -------
    TableForecast

    Raises
    ------
    ValueError
        If a quantity is impossible, the table doesn't have the setting, or the measured static
        lies too far outside of the table.

    Notes
    -----
    The system curve p = p1 (Q/Q1)^2 through the measured point, met with the setting's curve
    times measured over table flow at the current setting. What isn't known exactly is moved by
    one standard uncertainty both ways and the effects added in quadrature: JCGM 100:2008, 5.1.3
    note 2. Fan curves and system curves: ASHRAE Handbook HVAC Systems and Equipment, Fans.

    Examples
    --------
    >>> from airflow_jobs.calc.blower_curves import setting_curves
    >>> curves = setting_curves([("tap 2", 50.0, 0.55), ("tap 2", 200.0, 0.45),
    ...                          ("tap 4", 50.0, 0.80), ("tap 4", 200.0, 0.70)])
    >>> forecast = table_forecast(curves, current="tap 4", flow_m3_s=0.75, flow_relative_u=0.03,
    ...                           external_static_pa=125.0)
    >>> round(forecast.settings[0].flow_m3_s, 3), round(forecast.settings[1].flow_m3_s, 3)
    (0.54, 0.75)
    """
    by_name = {curve.setting: curve for curve in curves}
    if current not in by_name:
        raise ValueError(f"current is {current!r}; the table has {', '.join(by_name)}")
    flow = float(checked("flow_m3_s", flow_m3_s, "m3/s", above=0.0))
    flow_u = float(checked("flow_relative_u", flow_relative_u, "1", at_least=0.0))
    static_u = float(checked("static_u_pa", static_u_pa, "Pa", at_least=0.0))
    if external_static_pa is not None:
        checked("external_static_pa", external_static_pa, "Pa", above=0.0)

    def settled(slope: float) -> tuple[_Point, FloatArray, FloatArray]:
        point = _measured_point(by_name[current], flow, flow_u, external_static_pa, static_u, slope)
        statics, flows = crossing(
            *stacked_knots(tuple(curves), slope),
            scale=point.scale,
            coefficient=point.flow / point.static**point.inverse_exponent,
            inverse_exponent=point.inverse_exponent,
        )
        return point, statics, flows

    point, statics, flows = settled(SINGLE_ROW_SLOPE)
    if not np.isfinite(point.scale[_BASE]):
        raise ValueError(
            f"external_static_pa is {external_static_pa:g} Pa; the table of setting {current!r} "
            f"ends at {by_name[current].static_pa[-1]:g} Pa"
        )
    logs = np.log(flows)
    effects = [_effects(of_setting) for of_setting in logs]
    if any(len(curve.static_pa) == 1 for curve in curves):
        steep, flat = (
            np.log(settled(SINGLE_ROW_SLOPE + sign * SINGLE_ROW_SLOPE_U)[2][:, _BASE])
            for sign in (-1.0, 1.0)
        )
        for row, effect in enumerate(effects):
            effect["slope"] = _half(logs[row, _BASE], flat[row], steep[row])
    return TableForecast(
        settings=tuple(
            _forecast(
                curve,
                float(flows[row, _BASE]),
                float(statics[row, _BASE]),
                effects[row],
                is_current=curve.setting == current,
            )
            for row, curve in enumerate(curves)
        ),
        external_static_pa=float(point.static[_BASE]),
        is_static_measured=external_static_pa is not None,
        measured_over_table=float(point.scale[_BASE]),
    )


def _measured_point(
    curve: SettingCurve,
    flow_m3_s: float,
    flow_u: float,
    static_pa: float | None,
    static_u_pa: float,
    slope: float,
) -> _Point:
    """Return the point on the ducts' curve, and how the setting differs from its table."""
    flow = np.full(_VARIANTS, flow_m3_s)
    flow[list(_FLOW)] *= np.exp([flow_u, -flow_u])
    exponent = np.full(_VARIANTS, SYSTEM_EXPONENT)
    exponent[list(_EXPONENT)] += [SYSTEM_EXPONENT_U, -SYSTEM_EXPONENT_U]
    if static_pa is not None:
        static = np.full(_VARIANTS, static_pa)
        # A static is never below zero by doubt alone; half of it is the least that is tried.
        moved = min(static_u_pa, 0.5 * static_pa)
        static[list(_STATIC)] += [moved, -moved]
        scale = flow / flow_at_static_m3_s(curve, static, slope=slope)
        return _Point(flow, static, 1.0 / exponent, scale)
    scale = np.ones(_VARIANTS)
    scale[list(_TABLE)] *= np.exp([TABLE_RELATIVE_U, -TABLE_RELATIVE_U])
    static = crossing(
        *stacked_knots((curve,), slope),
        scale=scale,
        coefficient=flow,
        inverse_exponent=np.zeros(_VARIANTS),
    )[0][0]
    # Where the curve has no such flow, the end of the table that comes nearest to it.
    ends = np.array([curve.static_pa[0], curve.static_pa[-1]])
    at_ends = np.array([curve.flow_m3_s[0], curve.flow_m3_s[-1]])
    nearest = np.argmin(np.abs(scale[:, None] * at_ends - flow[:, None]), axis=1)
    is_missed = np.isnan(static)
    static = np.maximum(np.where(is_missed, ends[nearest], static), _LEAST_STATIC_PA)
    scale = np.where(is_missed, flow / at_ends[nearest], scale)
    return _Point(flow, static, 1.0 / exponent, scale)


def _effects(log_flow: FloatArray) -> dict[str, float]:
    base = log_flow[_BASE]
    return {
        name: _half(base, log_flow[plus], log_flow[minus])
        for name, (plus, minus) in (
            ("flow", _FLOW),
            ("static", _STATIC),
            ("exponent", _EXPONENT),
            ("table", _TABLE),
        )
    }


def _half(base: float, plus: float, minus: float) -> float:
    """Return half of what moving a quantity both ways does; by one side where one is missing."""
    if np.isfinite(plus) and np.isfinite(minus):
        return float(abs(plus - minus) / 2.0)
    one = plus if np.isfinite(plus) else minus
    return float(abs(one - base)) if np.isfinite(one) else BEYOND_RELATIVE_U


def _forecast(
    curve: SettingCurve,
    flow: float,
    static: float,
    effects: dict[str, float],
    *,
    is_current: bool,
) -> SettingForecast:
    is_beyond = len(curve.static_pa) > 1 and not (
        curve.static_pa[0] <= static <= curve.static_pa[-1]
    )
    squares = {name: effect**2 for name, effect in effects.items() if name != "flow"}
    if not is_current:
        squares["between"] = TABLE_RELATIVE_U**2
        squares["beyond"] = BEYOND_RELATIVE_U**2 if is_beyond else 0.0
    model = float(np.sqrt(sum(squares.values())))
    return SettingForecast(
        setting=curve.setting,
        flow_m3_s=flow,
        external_static_pa=static,
        model_relative_u=model,
        relative_u=float(np.hypot(model, effects["flow"])),
        is_beyond=is_beyond,
    )
