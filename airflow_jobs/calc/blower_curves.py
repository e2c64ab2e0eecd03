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
_NEWTON_STEPS = 14
_LEAST_SHARE = 1e-9


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


@lru_cache(maxsize=1024)
def stacked_knots(curves: tuple[SettingCurve, ...], slope: float) -> tuple[FloatArray, FloatArray]:
    """Return the knots of several curves as arrays, (S, K), filled up with NaN.

    Parameters
    ----------
    curves, slope
        As for `knots_of`.

    Returns
    -------
    (statics in Pa, flows in m3/s).

    Examples
    --------
    >>> curves = setting_curves([("low", 50.0, 0.6), ("low", 150.0, 0.5), ("off", 0.0, 0.1)])
    >>> stacked_knots(curves, -1.6)[0].shape
    (2, 4)
    """
    knots = [knots_of(curve, slope) for curve in curves]
    longest = max(static.size for static, _ in knots)
    stacked = np.full((2, len(curves), longest), np.nan)
    for row, (static, flow) in enumerate(knots):
        stacked[:, row, : static.size] = static, flow
    return stacked[0], stacked[1]


def crossing(
    statics: FloatArray,
    flows: FloatArray,
    *,
    scale: FloatArray,
    coefficient: FloatArray,
    inverse_exponent: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return where settings' flows fall to what the ducts let through.

    Parameters
    ----------
    statics, flows
        Knots of S curves, (S, K), see `stacked_knots`.
    scale
        On the curves' flow, (V,).
    coefficient, inverse_exponent
        c and e of the ducts' flow c p^e, m3/s at 1 Pa and 1 over their exponent, (V,); e = 0
        looks for a flow instead.

    Returns
    -------
    (static in Pa, scaled flow in m3/s), each (S, V); NaN where the two don't meet. Where a curve
    has a hump, the meeting at the highest static, which is the one on the stable side.

    Notes
    -----
    Newton's method within the piece of the curve where the difference changes its sign.

    Examples
    --------
    >>> curves = setting_curves([("low", 50.0, 0.6), ("low", 150.0, 0.5)])
    >>> one = np.ones(1)
    >>> static, flow = crossing(*stacked_knots(curves, -1.6), scale=one, coefficient=0.055 * one,
    ...                         inverse_exponent=0.5 * one)
    >>> round(float(static[0, 0]), 6), round(float(flow[0, 0]), 6)
    (100.0, 0.55)
    """
    count = scale.size
    if statics.shape[1] < 2:
        nowhere = np.full((statics.shape[0], count), np.nan)
        return nowhere, nowhere
    let_through = coefficient[:, None] * statics[:, None, :] ** inverse_exponent[:, None]
    above = scale[:, None] * flows[:, None, :] - let_through
    falls = (above[..., :-1] >= 0.0) & (above[..., 1:] <= 0.0)
    has_one = falls.any(axis=2)
    piece = falls.shape[2] - 1 - np.argmax(falls[..., ::-1], axis=2)
    low, high, flow_low, flow_high = (
        # Any piece will do where there is none; its answer is thrown away.
        np.where(has_one, np.take_along_axis(knots, np.where(has_one, piece, 0) + shift, 1), shift)
        for knots, shift in ((statics, 0), (statics, 1), (flows, 0), (flows, 1))
    )
    rise = (flow_high - flow_low) / (high - low)
    level = flow_low - rise * low
    # The difference is convex within a piece, so Newton's steps come up to the root from the left.
    low = np.maximum(low, _LEAST_SHARE * high)
    static = low
    for _ in range(_NEWTON_STEPS):
        through = coefficient * static**inverse_exponent
        excess = scale * (level + rise * static) - through
        fall = inverse_exponent * through / static - scale * rise
        # Where nothing falls, the two run along each other, and the first place is as good as any.
        step = np.where(fall > 0.0, excess / np.where(fall > 0.0, fall, 1.0), 0.0)
        static = np.clip(static + step, low, high)
    met = np.where(has_one, static, np.nan)
    return met, scale * (level + rise * met)
