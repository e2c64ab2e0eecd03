"""The curves of a maker's blower table: a setting's flow against external static."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from airflow_jobs.calc.fans import PRIOR
from airflow_jobs.calc.quantities import FloatArray, checked, unwrapped

BEYOND_SHARE: Final = 0.25
"""A curve is carried on straight by this share of its range of statics, and said to be so."""

# A setting with a single row has no slope of its own: that of fans of its kind, with its spread.
SINGLE_ROW_SLOPE: Final = float(np.sum(PRIOR.weight * PRIOR.fan_slope))
SINGLE_ROW_SLOPE_U: Final = float(
    np.sqrt(np.sum(PRIOR.weight * (PRIOR.fan_slope - SINGLE_ROW_SLOPE) ** 2))
)
_SINGLE_ROW_REACH = 2.0
_SINGLE_ROW_POINTS = 17
_BISECTIONS = 50


@dataclass(frozen=True, slots=True)
class SettingCurve:
    """What a table says of one setting.

    Attributes
    ----------
    setting
        Its name as typed in.
    static_pa
        External statics, rising, Pa.
    flow_m3_s
        Flows at them, m3/s.
    """

    setting: str
    static_pa: tuple[float, ...]
    flow_m3_s: tuple[float, ...]


def setting_curves(rows: Sequence[tuple[str, float, float]]) -> tuple[SettingCurve, ...]:
    """Return the curve of each setting of a table.

    Parameters
    ----------
    rows
        (setting, external static in Pa at least 0, flow in m3/s above 0), in any order.

    Returns
    -------
    tuple of SettingCurve
        In the order in which settings first occur.

    Raises
    ------
    ValueError
        If a quantity is impossible or a setting has two flows at one static.

    Examples
    --------
    >>> curve, = setting_curves([("low", 125.0, 0.5), ("low", 50.0, 0.6)])
    >>> curve.static_pa, curve.flow_m3_s
    ((50.0, 125.0), (0.6, 0.5))
    """
    by_setting: dict[str, dict[float, float]] = {}
    for setting, static, flow in rows:
        pressure = float(checked("static_pa", static, "Pa", at_least=0.0))
        of_setting = by_setting.setdefault(setting, {})
        if pressure in of_setting:
            raise ValueError(f"rows has setting {setting!r} twice at {pressure:g} Pa")
        of_setting[pressure] = float(checked("flow_m3_s", flow, "m3/s", above=0.0))
    return tuple(
        SettingCurve(setting, tuple(sorted(of)), tuple(of[static] for static in sorted(of)))
        for setting, of in by_setting.items()
    )


def flow_at_static_m3_s(
    curve: SettingCurve, static_pa: FloatArray | float, *, slope: float = SINGLE_ROW_SLOPE
) -> FloatArray:
    """Return the flow that the table gives a setting at an external static.

    Parameters
    ----------
    curve
        Of the setting.
    static_pa
        Scalar or array, Pa.
    slope
        d ln p/d ln Q where the setting has a single row, below 0.

    Returns
    -------
    Shape of the statics, m3/s; NaN further from the table than `BEYOND_SHARE`.

    Notes
    -----
    Straight between rows: common practice.

    Examples
    --------
    >>> curve, = setting_curves([("low", 50.0, 0.6), ("low", 150.0, 0.5)])
    >>> float(flow_at_static_m3_s(curve, 100.0))
    0.55
    """
    knots, flows = knots_of(curve, slope)
    return unwrapped(np.interp(static_pa, knots, flows, left=np.nan, right=np.nan))


@lru_cache(maxsize=4096)
def knots_of(curve: SettingCurve, slope: float) -> tuple[FloatArray, FloatArray]:
    """Return statics and flows of a curve, carried on a little beyond its ends.

    Parameters
    ----------
    curve
        Of the setting.
    slope
        d ln p/d ln Q where the setting has a single row, below 0.

    Returns
    -------
    (statics in Pa, rising; flows in m3/s), the same length. A single row is carried on from half
    to twice its static by the slope; one at no static stays alone.

    Notes
    -----
    Straight beyond the ends: common practice for a short way.

    Examples
    --------
    >>> curve, = setting_curves([("low", 50.0, 0.6), ("low", 150.0, 0.5)])
    >>> knots_of(curve, -1.6)[0].tolist()
    [25.0, 50.0, 150.0, 175.0]
    """
    static, flow = np.array(curve.static_pa), np.array(curve.flow_m3_s)
    if static.size == 1:
        if static[0] == 0.0:
            return static, flow
        reach = _SINGLE_ROW_REACH ** np.linspace(-1.0, 1.0, _SINGLE_ROW_POINTS)
        return static * reach, flow * reach ** (1.0 / slope)
    further = BEYOND_SHARE * (static[-1] - static[0])
    first, last = (
        (flow[1] - flow[0]) / (static[1] - static[0]),
        (flow[-1] - flow[-2]) / (static[-1] - static[-2]),
    )
    before = min(further, static[0])
    # Carried on no further than to a tenth of the last flow: a blower doesn't run backwards.
    after = min(further, -0.9 * flow[-1] / last) if last < 0.0 else further
    ends = static[0] - before, static[-1] + after
    at_ends = flow[0] - before * first, flow[-1] + after * last
    if before > 0.0 and at_ends[0] > 0.0:
        static, flow = np.append(ends[0], static), np.append(at_ends[0], flow)
    return np.append(static, ends[1]), np.append(flow, at_ends[1])


def crossing(
    knots: FloatArray,
    flows: FloatArray,
    scale: FloatArray,
    coefficient: FloatArray,
    inverse_exponent: FloatArray,
) -> FloatArray:
    """Return the static at which a setting's flow falls to what the ducts let through.

    Parameters
    ----------
    knots, flows
        Of the setting's curve, see `knots_of`.
    scale
        On the curve's flow, (V,).
    coefficient, inverse_exponent
        c and e of the ducts' flow c p^e, m3/s at 1 Pa and 1 over their exponent, (V,); e = 0
        looks for a flow instead.

    Returns
    -------
    (V,), Pa; NaN where the two don't meet. Where a curve has a hump, the meeting at the highest
    static, which is the one on the stable side.

    Notes
    -----
    Bisection within the piece of the curve where the difference changes its sign.

    Examples
    --------
    >>> curve, = setting_curves([("low", 50.0, 0.6), ("low", 150.0, 0.5)])
    >>> one = np.ones(1)
    >>> crossing(*knots_of(curve, -1.6), one, 0.055 * one, 0.5 * one).round(6).tolist()
    [100.0]
    """
    if knots.size < 2:
        return np.full(scale.shape, np.nan)
    above = scale[:, None] * flows - coefficient[:, None] * knots ** inverse_exponent[:, None]
    falls = (above[:, :-1] >= 0.0) & (above[:, 1:] <= 0.0)
    has_one = falls.any(axis=1)
    segment = falls.shape[1] - 1 - np.argmax(falls[:, ::-1], axis=1)
    low, high = knots[segment], knots[segment + 1]
    rise = (flows[segment + 1] - flows[segment]) / (high - low)
    level = flows[segment] - rise * low
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        is_above = scale * (level + rise * middle) >= coefficient * middle**inverse_exponent
        low, high = np.where(is_above, middle, low), np.where(is_above, high, middle)
    return np.where(has_one, 0.5 * (low + high), np.nan)
