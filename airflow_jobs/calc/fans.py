"""Fans: what a change of speed really does to a flow, and how sure that is.

The fan laws hold for a fan on a system whose pressure goes with the square of the flow. Real
systems have other exponents and pressures that don't depend on flow, so the flow answers a change
of speed with ln Q = g ln N, where g is 1 by the plain law and mostly more.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr
from scipy.stats.qmc import Sobol

from airflow_jobs.calc.fan_laws import (
    FASTEST_RATIO,
    SLOWEST_RATIO,
    flow_ratio_at_speed,
    response_exponent,
)
from airflow_jobs.calc.quantities import FloatArray, checked, unwrapped

LARGEST_STEP: Final = 0.15
"""One step changes the speed by this share at most; then measure again. Common practice."""

PRIOR_SAMPLE_BASE_2: Final = 10
PRIOR_SAMPLE_SIZE: Final = 2**PRIOR_SAMPLE_BASE_2

# What is believed about a comfort system's fan before it is known better (declared here, common
# practice; no survey of measured curves was available): half of the systems have no pressure
# independent of flow, the others up to 40 % of it; fan curves at the operating point fall with a
# log-slope between -4 (steep) and 0 (flat); filters, coils and ducts together follow an exponent
# between laminar-like 1.6 and fully rough 2.
_LARGEST_FIXED_SHARE = 0.4
_STEEPEST_SLOPE = -4.0
_LOWEST_EXPONENT, _HIGHEST_EXPONENT = 1.6, 2.0

_LEAST_BLUR = 1e-4
_BISECTIONS = 40


@dataclass(frozen=True, slots=True)
class FanBelief:
    """A fixed sample of what fan and system may be, with weights.

    Attributes
    ----------
    fixed_share
        Share of the pressure that doesn't depend on flow, (K,).
    fan_slope
        d ln p/d ln Q of the fan curve at the operating point, at most 0, (K,).
    exponent
        Of the rest of the system's pressure, (K,).
    weight
        Sum 1, (K,).
    """

    fixed_share: FloatArray
    fan_slope: FloatArray
    exponent: FloatArray
    weight: FloatArray

    @property
    def response(self) -> FloatArray:
        """The exponent g = d ln Q/d ln N of each member, (K,)."""
        system = self.exponent * (1.0 - self.fixed_share)
        return response_exponent(fan_slope=self.fan_slope, system_exponent=system)

    @property
    def mean_response(self) -> float:
        """Weighted mean of g."""
        return float(np.sum(self.weight * self.response))


@dataclass(frozen=True, slots=True)
class FlowPrediction:
    """The flow to expect at another speed.

    Attributes
    ----------
    flow_m3_s
        Median, m3/s.
    low_m3_s, high_m3_s
        95 % prediction interval, m3/s.
    model_standard_uncertainty
        Of the log flow ratio, from not knowing fan and system; without measurement.
    """

    flow_m3_s: FloatArray
    low_m3_s: FloatArray
    high_m3_s: FloatArray
    model_standard_uncertainty: FloatArray


@dataclass(frozen=True, slots=True)
class SpeedStep:
    """A speed to try.

    Attributes
    ----------
    wanted_ratio
        New over old speed that would meet the target.
    step_ratio
        The same, limited to one step.
    is_limited
        The step stops short of the target: measure again afterwards.
    power_ratio
        New over old shaft power at the step: motor current first.
    """

    wanted_ratio: FloatArray
    step_ratio: FloatArray
    is_limited: npt.NDArray[np.bool_]
    power_ratio: FloatArray


def _prior() -> FanBelief:
    """A Sobol net over the declared ranges: fixed, without a random number."""
    net = Sobol(d=3, scramble=False).random_base2(PRIOR_SAMPLE_BASE_2)
    unit = net + 0.5 / PRIOR_SAMPLE_SIZE
    return FanBelief(
        fixed_share=_LARGEST_FIXED_SHARE * np.maximum(2.0 * unit[:, 0] - 1.0, 0.0),
        fan_slope=_STEEPEST_SLOPE * unit[:, 1] ** 1.5,
        exponent=_LOWEST_EXPONENT + (_HIGHEST_EXPONENT - _LOWEST_EXPONENT) * unit[:, 2],
        weight=np.full(PRIOR_SAMPLE_SIZE, 1.0 / PRIOR_SAMPLE_SIZE),
    )


PRIOR: Final = _prior()


def belief_after(
    belief: FanBelief,
    *,
    speed_ratio: float,
    flow_ratio: float,
    relative_standard_uncertainty: float,
) -> FanBelief:
    """Return what is believed about a fan after one change of speed was measured.

    Parameters
    ----------
    belief
        Before.
    speed_ratio
        New over old speed of that change, from 0.7 to 1.4.
    flow_ratio
        New over old flow as measured, above 0.
    relative_standard_uncertainty
        Of the flow ratio (of what the two measurements don't share), above 0.

    Returns
    -------
    FanBelief
        The same members with other weights.

    Raises
    ------
    ValueError
        If an argument is impossible.

    Notes
    -----
    Bayes' rule with a normal likelihood for the log flow ratio, JCGM 101:2008 in spirit.

    Examples
    --------
    >>> learned = belief_after(PRIOR, speed_ratio=0.9, flow_ratio=0.9,
    ...                        relative_standard_uncertainty=0.01)
    >>> learned.mean_response < PRIOR.mean_response
    True
    """
    measured = float(checked("flow_ratio", flow_ratio, "1", above=0.0))
    uncertainty = float(
        checked("relative_standard_uncertainty", relative_standard_uncertainty, "1", above=0.0)
    )
    miss = np.log(_member_ratios(belief, speed_ratio)) - np.log(measured)
    score = np.log(np.maximum(belief.weight, 1e-300)) - 0.5 * (miss / uncertainty) ** 2
    weight = np.exp(score - score.max())
    return replace(belief, weight=weight / weight.sum())


def predicted_flow(
    *,
    flow_m3_s: npt.ArrayLike,
    speed_ratio: npt.ArrayLike,
    relative_standard_uncertainty: npt.ArrayLike,
    belief: FanBelief = PRIOR,
) -> FlowPrediction:
    """Return the flow to expect at another speed, with a 95 % interval.

    Parameters
    ----------
    flow_m3_s
        Scalar or array, measured at the old speed, m3/s, above 0.
    speed_ratio
        Scalar or array, new over old, from 0.7 to 1.4.
    relative_standard_uncertainty
        Scalar or array, of the measured flow, at least 0.
    belief
        What is known of fan and system.

    Returns
    -------
    FlowPrediction

    Raises
    ------
    ValueError
        If an argument is impossible.

    Notes
    -----
    Each member of the belief is pushed through `fan_laws.flow_ratio_at_speed` and blurred by the
    measurement; median and interval are the mixture's quantiles. Derived; its coverage is tested
    against fans and systems of another kind.

    Examples
    --------
    >>> slower = predicted_flow(flow_m3_s=0.5, speed_ratio=0.9, relative_standard_uncertainty=0.02)
    >>> float(slower.low_m3_s) < 0.45 < float(slower.high_m3_s)
    True
    """
    flow = checked("flow_m3_s", flow_m3_s, "m3/s", above=0.0)
    speed = checked("speed_ratio", speed_ratio, "1", at_least=SLOWEST_RATIO, at_most=FASTEST_RATIO)
    measured = checked(
        "relative_standard_uncertainty", relative_standard_uncertainty, "1", at_least=0.0
    )
    log_ratio = np.log(_member_ratios(belief, speed))
    mean = np.sum(belief.weight * log_ratio, axis=-1)
    spread = np.sqrt(np.sum(belief.weight * (log_ratio - mean[..., np.newaxis]) ** 2, axis=-1))
    low, middle, high = (
        flow * np.exp(ratio)
        for ratio in _quantiles(log_ratio, belief.weight, measured, (0.025, 0.5, 0.975))
    )
    return FlowPrediction(
        flow_m3_s=unwrapped(middle),
        low_m3_s=unwrapped(low),
        high_m3_s=unwrapped(high),
        model_standard_uncertainty=unwrapped(spread),
    )


def speed_step(
    *, flow_m3_s: npt.ArrayLike, target_flow_m3_s: npt.ArrayLike, belief: FanBelief = PRIOR
) -> SpeedStep:
    """Return the speed to try next on the way to a target flow.

    Parameters
    ----------
    flow_m3_s
        Scalar or array, measured, m3/s, above 0.
    target_flow_m3_s
        Scalar or array, m3/s, above 0.
    belief
        What is known of fan and system.

    Returns
    -------
    SpeedStep

    Raises
    ------
    ValueError
        If a flow isn't positive.

    Notes
    -----
    N2 = N1 (Qt/Q1)^(1/g), then limited to `LARGEST_STEP`; power by the cube. Fan laws.

    Examples
    --------
    >>> step = speed_step(flow_m3_s=0.8, target_flow_m3_s=0.55)
    >>> float(step.step_ratio), bool(step.is_limited)
    (0.85, True)
    """
    flow = checked("flow_m3_s", flow_m3_s, "m3/s", above=0.0)
    target = checked("target_flow_m3_s", target_flow_m3_s, "m3/s", above=0.0)
    wanted = np.asarray((target / flow) ** (1.0 / belief.mean_response))
    step = np.clip(wanted, 1.0 - LARGEST_STEP, 1.0 + LARGEST_STEP)
    return SpeedStep(
        wanted_ratio=unwrapped(wanted),
        step_ratio=unwrapped(step),
        is_limited=np.asarray(step != wanted, dtype=np.bool_),
        power_ratio=unwrapped(step**3),
    )


def as_left_score(
    *,
    flow_m3_s: npt.ArrayLike,
    prediction: FlowPrediction,
    first_independent_uncertainty: npt.ArrayLike,
    second_independent_uncertainty: npt.ArrayLike,
) -> FloatArray:
    """Return how many standard deviations an as-left flow lies from its prediction.

    Parameters
    ----------
    flow_m3_s
        Scalar or array, measured as left, m3/s, above 0.
    prediction
        From the as-found flow and the change of speed.
    first_independent_uncertainty, second_independent_uncertainty
        Scalars or arrays: relative standard uncertainties of both flows without what they share
        (the same meter's calibration, the same area), at least 0.

    Returns
    -------
    Broadcast shape; beyond 2 something else changed as well.

    Raises
    ------
    ValueError
        If an argument is impossible.

    Notes
    -----
    (ln Q2 - ln Q2,predicted)/sqrt(u_i1^2 + u_i2^2 + model^2). Derived.

    Examples
    --------
    >>> slower = predicted_flow(flow_m3_s=0.5, speed_ratio=0.9, relative_standard_uncertainty=0.02)
    >>> score = as_left_score(flow_m3_s=0.5, prediction=slower,
    ...                       first_independent_uncertainty=0.01,
    ...                       second_independent_uncertainty=0.01)
    >>> float(score) > 3
    True
    """
    flow = checked("flow_m3_s", flow_m3_s, "m3/s", above=0.0)
    first = checked(
        "first_independent_uncertainty", first_independent_uncertainty, "1", at_least=0.0
    )
    second = checked(
        "second_independent_uncertainty", second_independent_uncertainty, "1", at_least=0.0
    )
    spread = np.sqrt(first**2 + second**2 + prediction.model_standard_uncertainty**2)
    return unwrapped(np.log(flow / prediction.flow_m3_s) / spread)


def _member_ratios(belief: FanBelief, speed_ratio: npt.ArrayLike) -> FloatArray:
    return flow_ratio_at_speed(
        speed_ratio=np.asarray(speed_ratio, dtype=np.float64)[..., np.newaxis],
        fixed_share=belief.fixed_share,
        fan_slope=belief.fan_slope,
        exponent=belief.exponent,
    )


def _quantiles(
    log_ratio: FloatArray,
    weight: FloatArray,
    blur: FloatArray,
    probabilities: tuple[float, ...],
) -> FloatArray:
    """Quantiles of a mixture of normals around the members, by bisection; one row a probability."""
    # A measurement is never exact; the floor keeps the mixture's distribution smooth.
    blur = np.maximum(blur, _LEAST_BLUR)[..., np.newaxis]
    shape = (
        len(probabilities),
        *np.broadcast_shapes(log_ratio.shape, weight.shape, blur.shape)[:-1],
    )
    probability = np.reshape(probabilities, (-1, *(1,) * (len(shape) - 1)))
    low = np.broadcast_to(np.min(log_ratio - 6.0 * blur, axis=-1), shape)
    high = np.broadcast_to(np.max(log_ratio + 6.0 * blur, axis=-1), shape)
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        reached = np.sum(weight * ndtr((middle[..., np.newaxis] - log_ratio) / blur), axis=-1)
        low = np.where(reached < probability, middle, low)
        high = np.where(reached < probability, high, middle)
    result: FloatArray = 0.5 * (low + high)
    return result
