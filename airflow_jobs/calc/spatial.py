"""The spatial and repeat uncertainty of a best estimate, by kind of traverse.

Source: factors and floors were chosen on simulated duct fields with exactly known means and
tested on fresh ones, see `benchmarks/coverage.py`.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from airflow_jobs.calc.best_estimate import MeanEstimate
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.rules import Rule
from airflow_jobs.calc.sampling import Sampling
from airflow_jobs.calc.sections import Shape

ARM_SPREAD_FACTOR: Final = 0.12
"""Share of the spread of two diameters' arms that stands for what two diameters can't see."""

LEAST_DEGREES_OF_FREEDOM: Final = 4.0

AVERAGE_ONLY_U: Final = 0.015
"""Relative standard uncertainty where one average is known and no profile: what five swept lines
miss of the true mean behind a jet, the worst of the simulated kinds of field."""


@dataclass(frozen=True)
class SpatialConstants:
    """How the mixture's standard deviation becomes a spatial standard uncertainty.

    Attributes
    ----------
    factor : float
        Factor on the mixture's relative standard deviation.
    floor : float
        Relative standard uncertainty that no traverse of the kind gets below.
    """

    factor: float
    floor: float


LOG_TCHEBYCHEFF_CONSTANTS = SpatialConstants(0.7, 0.008)
EQUAL_AREA_CONSTANTS = SpatialConstants(0.7, 0.014)
THREE_DIAMETERS_CONSTANTS = SpatialConstants(1.0, 0.007)
TWO_DIAMETERS_CONSTANTS = SpatialConstants(0.6, 0.009)
OVAL_CONSTANTS = SpatialConstants(0.8, 0.010)


def spatial_constants(*, shape: Shape, rule: Rule, lines: int) -> SpatialConstants:
    """Constants of the spatial uncertainty for a kind of traverse.

    Parameters
    ----------
    shape : {'rectangular', 'round', 'flat_oval'}
    rule : str
        The layout rule.
    lines : int
        Number of lines; in a round section of diameters with a reading.

    Returns
    -------
    SpatialConstants

    Notes
    -----
    Source: see the module's text.
    """
    if shape == "flat_oval":
        return OVAL_CONSTANTS
    if shape == "round":
        return THREE_DIAMETERS_CONSTANTS if lines >= 3 else TWO_DIAMETERS_CONSTANTS
    return EQUAL_AREA_CONSTANTS if rule == "equal_area" else LOG_TCHEBYCHEFF_CONSTANTS


@dataclass(frozen=True)
class ArmSpread:
    """How far the arms of two diameters lie apart.

    Attributes
    ----------
    deviation_m_s : ndarray, shape (N,)
        Standard deviation of the arms' means, with n - 1.
    is_complete : bool
        False where an arm has no reading and whole diameters stand in.
    """

    deviation_m_s: FloatArray
    is_complete: bool


def arm_spread(velocity_m_s: FloatArray, sampling: Sampling) -> ArmSpread:
    """Spread of the means of the four radii of two diameters.

    Parameters
    ----------
    velocity_m_s : ndarray, shape (N, m), m/s
        Corrected readings.
    sampling : Sampling
        Where they were taken; a point on the centre belongs to no arm.

    Returns
    -------
    ArmSpread
        Zero where there is but one diameter.
    """
    middle_x, middle_y = sampling.averaged(sampling.xi), sampling.averaged(sampling.eta)
    along = middle_x * np.cos(sampling.insertion_angle_rad) + middle_y * np.sin(
        sampling.insertion_angle_rad
    )
    diameters = np.unique(sampling.line)
    arms = [
        (sampling.line == line) & (side * along > 1e-9) for line in diameters for side in (-1, 1)
    ]
    is_complete = diameters.size >= 2 and all(arm.any() for arm in arms)
    groups = arms if is_complete else [sampling.line == line for line in diameters]
    means = np.array([velocity_m_s[:, group].mean(axis=1) for group in groups])
    deviation = means.std(axis=0, ddof=1) if len(groups) > 1 else np.zeros(means.shape[1])
    return ArmSpread(deviation_m_s=deviation, is_complete=is_complete)


@dataclass(frozen=True)
class SpatialUncertainty:
    """Relative standard uncertainty of the best estimate from place and repeat, N traverses.

    Attributes
    ----------
    relative : ndarray, shape (N,), dimensionless
        NaN without an estimate above zero.
    degrees_of_freedom : float
    arms_complete : bool
        False where two diameters were judged without all four arms.
    """

    relative: FloatArray
    degrees_of_freedom: float
    arms_complete: bool


def spatial_uncertainty(
    velocity_m_s: FloatArray,
    sampling: Sampling,
    estimate: MeanEstimate,
    *,
    rule: Rule,
) -> SpatialUncertainty:
    """Relative standard uncertainty that comes from where and how often was measured.

    Parameters
    ----------
    velocity_m_s : ndarray, shape (N, m), m/s
        Corrected readings.
    sampling : Sampling
        Where they were taken.
    estimate : MeanEstimate
        The mixture's answer for them.
    rule : str
        The layout rule, which decides factor and floor.

    Returns
    -------
    SpatialUncertainty
    """
    lines = int(np.unique(sampling.line).size)
    constants = spatial_constants(shape=sampling.shape, rule=rule, lines=lines)
    has_estimate = estimate.velocity_m_s > 0.0
    mean = np.where(has_estimate, estimate.velocity_m_s, np.nan)
    variance = (constants.factor * estimate.deviation_m_s / mean) ** 2 + constants.floor**2
    arms_complete = True
    if sampling.shape == "round" and lines <= 2:
        arms = arm_spread(velocity_m_s, sampling)
        arms_complete = arms.is_complete
        variance = variance + (ARM_SPREAD_FACTOR * arms.deviation_m_s / mean) ** 2
    return SpatialUncertainty(
        relative=np.sqrt(variance),
        degrees_of_freedom=max(0.5 * sampling.count - 1.0, LEAST_DEGREES_OF_FREEDOM),
        arms_complete=arms_complete,
    )
