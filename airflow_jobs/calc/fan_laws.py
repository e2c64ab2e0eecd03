"""The fan laws, and how flow answers speed where fan curve and system curve meet.

The plain laws hold for a fan on a system whose pressure goes with the square of the flow. Real
systems have other exponents and pressures that don't depend on flow, so the flow answers a change
of speed with ln Q = g ln N, where g is 1 by the plain law and mostly more.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from airflow_jobs.calc.quantities import FloatArray, checked, unwrapped

SLOWEST_RATIO: Final = 0.7
FASTEST_RATIO: Final = 1.4

_NEWTON_STEPS = 12


@dataclass(frozen=True, slots=True)
class FanRatios:
    """New over old for one fan on one system.

    Attributes
    ----------
    flow, pressure, power
        Ratios, shape of what went in.
    """

    flow: FloatArray
    pressure: FloatArray
    power: FloatArray


def fan_law_ratios(*, speed_ratio: npt.ArrayLike, density_ratio: npt.ArrayLike = 1.0) -> FanRatios:
    """Return what the plain fan laws say of another speed and density.

    Parameters
    ----------
    speed_ratio
        Scalar or array, new over old speed, above 0.
    density_ratio
        Scalar or array, new over old density, above 0.

    Returns
    -------
    FanRatios

    Raises
    ------
    ValueError
        If a ratio isn't positive.

    Notes
    -----
    Q ~ N, p ~ rho N^2, P ~ rho N^3: AMCA 203; ASHRAE Handbook HVAC Systems and Equipment, Fans.

    Examples
    --------
    >>> round(float(fan_law_ratios(speed_ratio=1.1).power), 3)
    1.331
    """
    speed = checked("speed_ratio", speed_ratio, "1", above=0.0)
    density = checked("density_ratio", density_ratio, "1", above=0.0)
    speed, density = np.broadcast_arrays(speed, density)
    return FanRatios(
        flow=unwrapped(speed.copy()),
        pressure=unwrapped(density * speed**2),
        power=unwrapped(density * speed**3),
    )


def speed_ratio_for_same_pressure(density_ratio: npt.ArrayLike) -> FloatArray:
    """Return the speed that keeps a fan's pressure in air of another density.

    Parameters
    ----------
    density_ratio
        Scalar or array, new over old density, above 0.

    Returns
    -------
    New over old speed.

    Raises
    ------
    ValueError
        If the ratio isn't positive.

    Notes
    -----
    Source: the pressure law of `fan_law_ratios`, solved for speed.

    Examples
    --------
    >>> round(float(speed_ratio_for_same_pressure(0.8)), 3)
    1.118
    """
    return unwrapped(1.0 / np.sqrt(checked("density_ratio", density_ratio, "1", above=0.0)))


def response_exponent(*, fan_slope: npt.ArrayLike, system_exponent: npt.ArrayLike) -> FloatArray:
    """Return g = d ln Q/d ln N of a fan on a system.

    Parameters
    ----------
    fan_slope
        Scalar or array, s = d ln p/d ln Q of the fan curve at the operating point, at most 0:
        rising curves are the stall side, where no advice holds.
    system_exponent
        Scalar or array, E = d ln p/d ln Q of the system, above 0; 2 for plain friction, lowered
        by a fixed share phi of the pressure to n (1 - phi).

    Returns
    -------
    Broadcast shape; 1 where E is 2.

    Raises
    ------
    ValueError
        On the stall side, or if the system's exponent isn't positive.

    Notes
    -----
    With p_fan = N^2 f(Q/N): (2 - s) d ln N = (E - s) d ln Q, so g = (2 - s)/(E - s). Derived from
    the fan laws.

    Examples
    --------
    >>> float(response_exponent(fan_slope=-2.0, system_exponent=2.0))
    1.0
    """
    slope = checked("fan_slope", fan_slope, "1", at_most=0.0)
    exponent = checked("system_exponent", system_exponent, "1", above=0.0)
    return unwrapped((2.0 - slope) / (exponent - slope))


def measured_response(*, speed_ratio: npt.ArrayLike, flow_ratio: npt.ArrayLike) -> FloatArray:
    """Return g from two measured flows at two speeds.

    Parameters
    ----------
    speed_ratio
        Scalar or array, new over old speed, above 0, not 1.
    flow_ratio
        Scalar or array, new over old flow, above 0.

    Returns
    -------
    Broadcast shape.

    Raises
    ------
    ValueError
        If a ratio is impossible.

    Notes
    -----
    ln Q2/Q1 over ln N2/N1: definition.

    Examples
    --------
    >>> round(float(measured_response(speed_ratio=0.9, flow_ratio=0.88)), 2)
    1.21
    """
    speed = checked("speed_ratio", speed_ratio, "1", above=0.0)
    flow = checked("flow_ratio", flow_ratio, "1", above=0.0)
    if np.any(speed == 1.0):
        raise ValueError("speed_ratio is 1; two different speeds are needed")
    return unwrapped(np.log(flow) / np.log(speed))


def flow_ratio_at_speed(
    *,
    speed_ratio: npt.ArrayLike,
    fixed_share: npt.ArrayLike,
    fan_slope: npt.ArrayLike,
    exponent: npt.ArrayLike,
) -> FloatArray:
    """Return the flow at another speed where fan curve and system curve meet.

    Parameters
    ----------
    speed_ratio
        Scalar or array, new over old, from 0.7 to 1.4.
    fixed_share
        Scalar or array, phi, 0 to 0.45.
    fan_slope
        Scalar or array, s, at most 0.
    exponent
        Scalar or array, n of the pressure that depends on flow, 1 to 2.5.

    Returns
    -------
    Broadcast shape, new over old flow.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    The fan is a parabola through the operating point, p/p1 = (1 - s/2) r^2 + (s/2) x^2, the
    system p/p1 = phi + (1 - phi) x^n. The difference rises and is convex in x, so Newton's steps
    from above come down to the root. Derived.

    Examples
    --------
    >>> plain = flow_ratio_at_speed(speed_ratio=0.8, fixed_share=0.0, fan_slope=-1.0, exponent=2.0)
    >>> round(float(plain), 12)
    0.8
    """
    speed = checked("speed_ratio", speed_ratio, "1", at_least=SLOWEST_RATIO, at_most=FASTEST_RATIO)
    fixed = checked("fixed_share", fixed_share, "1", at_least=0.0, at_most=0.45)
    slope = checked("fan_slope", fan_slope, "1", at_most=0.0)
    power = checked("exponent", exponent, "1", at_least=1.0, at_most=2.5)
    available = (1.0 - 0.5 * slope) * speed**2 - fixed
    flow = np.broadcast_to(
        2.0 * np.maximum(speed, 1.0),
        np.broadcast_shapes(speed.shape, fixed.shape, slope.shape, power.shape),
    )
    for _ in range(_NEWTON_STEPS):
        raised = flow ** (power - 1.0)
        excess = (1.0 - fixed) * raised * flow - 0.5 * slope * flow**2 - available
        rise = (1.0 - fixed) * power * raised - slope * flow
        flow = flow - excess / rise
    return unwrapped(flow)
