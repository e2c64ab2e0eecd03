"""What the readings of a traverse say about its velocity profile."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sampling import Sampling

LEAST_PRESSURE_SHARE: Final = 0.1
"""A velocity pressure counts as usable above a tenth of the largest. AMCA 203, Field Performance
Measurement, traverse plane: 75 % of the readings or more (from memory)."""

LEAST_VELOCITY_SHARE: Final = LEAST_PRESSURE_SHARE**0.5
"""The same rule in velocities."""


@dataclass(frozen=True)
class Profile:
    """Four numbers of N profiles, all dimensionless, shape (N,); NaN where the mean isn't positive.

    Attributes
    ----------
    max_over_mean : ndarray
        Largest reading over the mean by the rule.
    share_under_tenth : ndarray
        Share of readings whose velocity pressure isn't above a tenth of the largest.
    variation : ndarray
        Standard deviation of the readings over their plain mean.
    asymmetry : ndarray
        How far the middle of the flow lies from where an even flow's would, in half extents.
    """

    max_over_mean: FloatArray
    share_under_tenth: FloatArray
    variation: FloatArray
    asymmetry: FloatArray


def share_of_pressures_above_a_tenth(velocity_pressure_pa: FloatArray) -> FloatArray:
    """Share of velocity pressures strictly above a tenth of the largest of their traverse.

    Parameters
    ----------
    velocity_pressure_pa : ndarray, shape (..., m), Pa
        Signed; NaN where not taken.

    Returns
    -------
    ndarray, shape (...), 0 to 1
        NaN where the largest isn't positive.

    Notes
    -----
    Source: AMCA 203, Field Performance Measurement of Fan Systems, traverse plane (from memory).

    Examples
    --------
    >>> float(share_of_pressures_above_a_tenth(np.array([1.0, 2.0, 20.0, 30.0])))
    0.5
    """
    pressures = np.asarray(velocity_pressure_pa, dtype=float)
    taken = np.isfinite(pressures)
    largest = np.max(np.where(taken, pressures, -np.inf), axis=-1, keepdims=True)
    above = (pressures > LEAST_PRESSURE_SHARE * largest) & taken
    share = above.sum(axis=-1) / np.maximum(taken.sum(axis=-1), 1)
    return np.where(largest[..., 0] > 0.0, share, np.nan)


def profile_of(velocity_m_s: FloatArray, weights: FloatArray, sampling: Sampling) -> Profile:
    """Describe the profiles of N traverses.

    Parameters
    ----------
    velocity_m_s : ndarray, shape (N, m), m/s
        Corrected readings, the present ones.
    weights : ndarray, shape (m,)
        Their weights in the mean by the rule.
    sampling : Sampling
        Where they were taken.

    Returns
    -------
    Profile

    Notes
    -----
    Source: common practice; the asymmetry is the length of the first moment of the weighted
    readings about the centre, less that of the weights.
    """
    mean = velocity_m_s @ weights
    is_positive = mean > 0.0
    positive = np.where(is_positive, mean, np.nan)
    plain = velocity_m_s.mean(axis=1)
    # Squares keep their sign, so that backflow counts as little, not as much.
    pressures = velocity_m_s * np.abs(velocity_m_s)
    moments = []
    for nodes in (sampling.xi, sampling.eta):
        place = sampling.averaged(nodes)
        moments.append(velocity_m_s @ (weights * place) / positive - weights @ place)
    return Profile(
        max_over_mean=velocity_m_s.max(axis=1) / positive,
        share_under_tenth=1.0 - share_of_pressures_above_a_tenth(pressures),
        variation=np.where(
            is_positive, velocity_m_s.std(axis=1) / np.where(plain > 0.0, plain, np.nan), np.nan
        ),
        asymmetry=np.hypot(*moments),
    )
