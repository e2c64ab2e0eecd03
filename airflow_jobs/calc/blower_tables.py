"""The maker's blower table: what flow each setting would give on the system as it was measured.

Many blowers have taps or settings instead of speeds. Where the maker's flow by external static is
at hand, the system's own curve through the measured point meets each setting's row.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtri

from airflow_jobs.calc.fans import PRIOR, FanBelief
from airflow_jobs.calc.quantities import FloatArray, checked

SETTING_SCATTER: Final = 0.03
"""Relative standard uncertainty of one setting against another in one table. Common practice."""

TABLE_BIAS: Final = 0.08
"""The same of a table against a blower whose present setting isn't known. Common practice."""

_BISECTIONS = 50
_LEAST_WEIGHT_INSIDE = 0.5


@dataclass(frozen=True, slots=True)
class TablePoint:
    """One entry of a blower table.

    Attributes
    ----------
    setting
        As the maker names it.
    external_static_pa
        Total external static, Pa, at least 0.
    flow_m3_s
        m3/s, above 0.
    """

    setting: str
    external_static_pa: float
    flow_m3_s: float


@dataclass(frozen=True, slots=True)
class SettingForecast:
    """What one setting would give.

    Attributes
    ----------
    setting
        As the maker names it.
    flow_m3_s, low_m3_s, high_m3_s
        Expected flow and its 95 % interval, m3/s.
    external_static_pa
        Expected external static, Pa.
    """

    setting: str
    flow_m3_s: float
    low_m3_s: float
    high_m3_s: float
    external_static_pa: float


def setting_forecasts(
    table: Iterable[TablePoint],
    *,
    flow_m3_s: float,
    external_static_pa: float,
    relative_standard_uncertainty: float,
    current_setting: str | None = None,
    belief: FanBelief = PRIOR,
) -> tuple[SettingForecast, ...]:
    """Return the flow to expect at each setting of a blower table.

    Parameters
    ----------
    table
        The maker's entries, in any order; a setting needs at least two.
    flow_m3_s
        Measured, on the table's basis (as a rule standard air), m3/s, above 0.
    external_static_pa
        Measured with it, Pa, above 0.
    relative_standard_uncertainty
        Of the measured flow, at least 0.
    current_setting
        The setting measured at; where the table has it, all settings are scaled by what the
        measured flow was of the table's.
    belief
        What is known of the system's fixed share and exponent.

    Returns
    -------
    One forecast a setting, by rising flow; settings whose entries don't reach the system's curve
    are left out.

    Raises
    ------
    ValueError
        If a quantity is impossible.

    Notes
    -----
    System: p/p1 = phi + (1 - phi)(Q/Q1)^n over the belief; table: straight lines between its
    entries. Derived from fan laws; common practice.

    Examples
    --------
    >>> table = [TablePoint("low", 60.0, 0.50), TablePoint("low", 180.0, 0.40),
    ...          TablePoint("high", 60.0, 0.64), TablePoint("high", 240.0, 0.48)]
    >>> low, high = setting_forecasts(table, flow_m3_s=0.45, external_static_pa=120.0,
    ...                               relative_standard_uncertainty=0.03, current_setting="low")
    >>> low.setting, round(low.flow_m3_s, 3), 0.5 < high.flow_m3_s < 0.58
    ('low', 0.45, True)
    """
    flow = float(checked("flow_m3_s", flow_m3_s, "m3/s", above=0.0))
    static = float(checked("external_static_pa", external_static_pa, "Pa", above=0.0))
    measured = float(
        checked("relative_standard_uncertainty", relative_standard_uncertainty, "1", at_least=0.0)
    )
    curves = _curves(table)
    scale, table_uncertainty, scaled_at = 1.0, TABLE_BIAS, None
    if current_setting in curves:
        statics, flows = curves[current_setting]
        if statics[0] <= static <= statics[-1]:
            scale = flow / float(np.interp(static, statics, flows))
            table_uncertainty = float(np.hypot(SETTING_SCATTER, measured))
            scaled_at = current_setting
    forecasts = []
    for setting, (statics, flows) in curves.items():
        # Back at its own setting a blower gives what was measured; nothing scatters there.
        uncertainty = measured if setting == scaled_at else table_uncertainty
        met = _meeting_points(statics, scale * flows, flow, static, belief)
        if met is None:
            continue
        log_flow, spread, meeting_static = met
        half_width = float(ndtri(0.975)) * float(np.hypot(spread, uncertainty))
        forecasts.append(
            SettingForecast(
                setting=setting,
                flow_m3_s=float(np.exp(log_flow)),
                low_m3_s=float(np.exp(log_flow - half_width)),
                high_m3_s=float(np.exp(log_flow + half_width)),
                external_static_pa=meeting_static,
            )
        )
    return tuple(sorted(forecasts, key=lambda forecast: (forecast.flow_m3_s, forecast.setting)))


def nearest_setting(
    forecasts: tuple[SettingForecast, ...], target_flow_m3_s: float
) -> SettingForecast | None:
    """Return the forecast that comes nearest to a target flow.

    Parameters
    ----------
    forecasts
        From `setting_forecasts`.
    target_flow_m3_s
        On the same basis, m3/s, above 0.

    Returns
    -------
    The forecast with the smallest ratio to the target; None where there is none.

    Raises
    ------
    ValueError
        If the target isn't positive.

    Examples
    --------
    >>> nearest_setting((), 0.5) is None
    True
    """
    target = float(checked("target_flow_m3_s", target_flow_m3_s, "m3/s", above=0.0))
    return min(
        forecasts,
        key=lambda forecast: abs(float(np.log(forecast.flow_m3_s / target))),
        default=None,
    )


def _curves(table: Iterable[TablePoint]) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Statics (rising) and flows of each setting with at least two entries."""
    by_setting: dict[str, list[tuple[float, float]]] = {}
    for point in table:
        static = float(checked("external_static_pa", point.external_static_pa, "Pa", at_least=0.0))
        flow = float(checked("flow_m3_s", point.flow_m3_s, "m3/s", above=0.0))
        by_setting.setdefault(point.setting, []).append((static, flow))
    curves = {}
    for setting, points in by_setting.items():
        if len({static for static, _ in points}) > 1:
            array = np.array(sorted(points), dtype=np.float64)
            curves[setting] = (array[:, 0], array[:, 1])
    return curves


def _meeting_points(
    statics: FloatArray,
    flows: FloatArray,
    measured_flow: float,
    measured_static: float,
    belief: FanBelief,
) -> tuple[float, float, float] | None:
    """Mean and spread of the log flow, and mean static, where system and setting meet."""

    def system_flow(static: FloatArray) -> FloatArray:
        friction = (static / measured_static - belief.fixed_share) / (1.0 - belief.fixed_share)
        through: FloatArray = measured_flow * np.maximum(friction, 0.0) ** (1.0 / belief.exponent)
        return through

    def surplus(static: FloatArray) -> FloatArray:
        """What the blower gives beyond what the system lets through; falls as static rises."""
        over: FloatArray = np.interp(static, statics, flows) - system_flow(static)
        return over

    low = np.full(belief.weight.shape, statics[0])
    high = np.full(belief.weight.shape, statics[-1])
    inside = (surplus(low) >= 0.0) & (surplus(high) <= 0.0)
    weight = np.where(inside, belief.weight, 0.0)
    if weight.sum() < _LEAST_WEIGHT_INSIDE:
        return None
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        gives_more = surplus(middle) > 0.0
        low = np.where(gives_more, middle, low)
        high = np.where(gives_more, high, middle)
    meeting = 0.5 * (low + high)
    log_flow = np.log(np.interp(meeting, statics, flows))
    weight = weight / weight.sum()
    mean = float(np.sum(weight * log_flow))
    spread = float(np.sqrt(np.sum(weight * (log_flow - mean) ** 2)))
    return mean, spread, float(np.sum(weight * meeting))
