"""Pressure and power at another speed, with intervals, for what is believed about a fan."""

from dataclasses import dataclass

import numpy as np

from airflow_jobs.calc.fan_laws import flow_ratio_at_speed
from airflow_jobs.calc.fans import FanBelief
from airflow_jobs.calc.quantities import FloatArray

_PROBABILITIES = (0.025, 0.5, 0.975)


@dataclass(frozen=True, slots=True)
class Expected:
    """A quantity to expect: median and 95 % interval."""

    middle: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class SpeedOutcome:
    """What another speed does besides the flow.

    Attributes
    ----------
    pressure_ratio
        New over old external static.
    power_ratio
        New over old power that the air takes up; the shaft's, as far as the fan's efficiency
        stays as it is.
    """

    pressure_ratio: Expected
    power_ratio: Expected


def outcome_at_speed(belief: FanBelief, speed_ratio: float) -> SpeedOutcome:
    """Return what another speed does to pressure and power.

    Parameters
    ----------
    belief
        What is known of fan and system.
    speed_ratio
        New over old, from 0.7 to 1.4.

    Returns
    -------
    SpeedOutcome

    Raises
    ------
    ValueError
        If the ratio is out of its range.

    Notes
    -----
    The system's p/p1 = phi + (1 - phi) x^n at each member's flow ratio x, and power by p Q; with
    neither fixed pressure nor another exponent than 2 these are the fan laws' square and cube.
    Derived.

    Examples
    --------
    >>> from airflow_jobs.calc.fans import PRIOR
    >>> outcome = outcome_at_speed(PRIOR, 1.1)
    >>> outcome.power_ratio.low < 1.1**3 < outcome.power_ratio.high
    True
    """
    flow = flow_ratio_at_speed(
        speed_ratio=speed_ratio,
        fixed_share=belief.fixed_share,
        fan_slope=belief.fan_slope,
        exponent=belief.exponent,
    )
    pressure = belief.fixed_share + (1.0 - belief.fixed_share) * flow**belief.exponent
    return SpeedOutcome(
        pressure_ratio=_expected(pressure, belief.weight),
        power_ratio=_expected(pressure * flow, belief.weight),
    )


def response_interval(belief: FanBelief) -> Expected:
    """Return the exponent g = d ln Q/d ln N as it is believed.

    Parameters
    ----------
    belief
        What is known of fan and system.

    Returns
    -------
    Expected

    Notes
    -----
    Weighted quantiles of the belief's members.

    Examples
    --------
    >>> from airflow_jobs.calc.fans import PRIOR
    >>> response_interval(PRIOR).low >= 1.0
    True
    """
    return _expected(belief.response, belief.weight)


def _expected(values: FloatArray, weight: FloatArray) -> Expected:
    order = np.argsort(values)
    reached = np.cumsum(weight[order])
    places = np.searchsorted(reached, np.array(_PROBABILITIES) * reached[-1])
    low, middle, high = values[order][np.minimum(places, values.size - 1)]
    return Expected(float(middle), float(low), float(high))
