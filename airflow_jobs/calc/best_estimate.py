"""The best estimate of the true mean velocity and its spatial uncertainty: a finite mixture.

Each component is a Gaussian process around a wall law of its own exponent, with its own ranges
of correlation and share of noise; each predicts the mean over the true area, the slow layer at
the wall included. The readings themselves weigh the components. Set-up depends on positions
only and is kept for each layout; the rest works on arrays of traverses.

Source: universal kriging and Bayesian model averaging: N. A. C. Cressie, Statistics for Spatial
Data, revised edition, Wiley 1993, section 3.4; J. A. Hoeting, D. Madigan, A. E. Raftery and
C. T. Volinsky, Statistical Science 14 (1999) 382-417. Components, tempering and the factors of
`spatial` were chosen on simulated duct fields with exactly known means.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np

from airflow_jobs.calc.kernels import matern52, wall_law
from airflow_jobs.calc.quadratic_forms import QuadraticForms, prepared_forms
from airflow_jobs.calc.quadrature import (
    Ranges,
    double_mean_covariances,
    mean_covariances,
    mean_of_wall_law,
)
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sampling import Sampling

WALL_EXPONENTS = ((5.0, 0.15), (7.0, 0.40), (10.0, 0.25), (20.0, 0.20))
RECTANGULAR_RANGES = (
    ((1.0, 1.0), 0.40),
    ((0.6, 0.6), 0.25),
    ((0.25, 1.0), 0.08),
    ((1.0, 0.25), 0.08),
    ((0.35, 0.35), 0.19),
)
ROUND_RANGES = (
    ((1.6, 1.6), 0.30),
    ((1.0, 1.0), 0.35),
    ((0.6, 0.6), 0.25),
    ((0.35, 0.35), 0.10),
)
NOISE_RATIOS = ((0.08, 0.5), (0.4, 0.5))

# Untempered weights of the components are over-confident.
TEMPERING = 0.3
LEAST_VARIANCE_SHARE = 1e-12
LEAST_UNIT_VARIANCE = 1e-12
LEAST_POINTS = 4

# A hundred kilobytes a layout, four times that without symmetry; three milliseconds to set up.
CACHED_LAYOUTS = 192
# So many traverses at a time keep every intermediate array in the processor's cache.
BLOCK = 1024


@dataclass(frozen=True)
class Mixture:
    """The mixture's set-up for one layout: C components, m readings.

    Attributes
    ----------
    predictors : ndarray, shape (C, m)
        Weights of the readings in each component's mean.
    unit_variances : ndarray, shape (C,)
        Variance of that mean for unit process variance.
    log_weights : ndarray, shape (C,)
        Tempered logarithm of prior and determinants.
    residuals : QuadraticForms
        ``v' P v`` of each component.
    """

    predictors: FloatArray
    unit_variances: FloatArray
    log_weights: FloatArray
    residuals: QuadraticForms

    @property
    def readings(self) -> int:
        """Number of readings."""
        return int(self.predictors.shape[1])


@lru_cache(maxsize=CACHED_LAYOUTS)
def mixture_for(sampling: Sampling) -> Mixture:
    """Set up the mixture for readings at given places.

    Parameters
    ----------
    sampling : Sampling
        m readings, the present ones only.

    Returns
    -------
    Mixture

    Raises
    ------
    ValueError
        If there are fewer than two readings.
    """
    count = sampling.count
    if count < 2:
        raise ValueError(f"sampling has {count} reading; at least 2 are needed")
    shape, aspect = sampling.shape, sampling.aspect
    weighted_ranges = RECTANGULAR_RANGES if shape == "rectangular" else ROUND_RANGES
    ranges: Ranges = tuple(pair for pair, _ in weighted_ranges)
    apart_x = sampling.xi[:, None] - sampling.xi
    apart_y = sampling.eta[:, None] - sampling.eta
    correlations = [
        matern52(apart_x / reach_x) * matern52(apart_y / reach_y) for reach_x, reach_y in ranges
    ]
    covariance, law, area_law, to_area, area_area = [], [], [], [], []
    for exponent, _ in WALL_EXPONENTS:
        nodes = wall_law(shape, aspect, sampling.xi, sampling.eta, exponent=exponent)
        means = mean_covariances(shape, aspect, exponent, ranges, sampling.xi, sampling.eta)
        doubles = double_mean_covariances(shape, aspect, exponent, ranges)
        outer = np.outer(nodes, nodes)
        for index in range(len(ranges)):
            full = sampling.averaged(sampling.averaged(outer * correlations[index], axis=0), axis=1)
            for _ in NOISE_RATIOS:
                covariance.append(full)
                law.append(sampling.averaged(nodes))
                area_law.append(mean_of_wall_law(shape, aspect, exponent))
                to_area.append(sampling.averaged(nodes * means[index]))
                area_area.append(doubles[index])
    noises = np.tile([noise**2 for noise, _ in NOISE_RATIOS], len(covariance) // len(NOISE_RATIOS))
    priors = [
        first * second * third
        for (_, first), (_, second), (_, third) in product(
            WALL_EXPONENTS, weighted_ranges, NOISE_RATIOS
        )
    ]
    return _solved(
        sampling,
        np.array(covariance) + noises[:, None, None] * np.eye(count),
        np.array(law),
        np.array(area_law),
        np.array(to_area),
        np.array(area_area),
        np.log(priors),
    )


def _solved(
    sampling: Sampling,
    matrix: FloatArray,
    law: FloatArray,
    area_law: FloatArray,
    to_area: FloatArray,
    area_area: FloatArray,
    log_prior: FloatArray,
) -> Mixture:
    """Predictors, variances and weights of every component from its covariances."""
    inverse = np.linalg.inv(matrix)
    inverse = 0.5 * (inverse + np.swapaxes(inverse, 1, 2))
    explained = np.einsum("cij,cj->ci", inverse, law)
    information = np.einsum("ci,ci->c", law, explained)
    projected = inverse - explained[:, :, None] * explained[:, None, :] / information[:, None, None]
    predictors = np.einsum("cij,cj->ci", projected, to_area)
    predictors += explained * (area_law / information)[:, None]
    variances = (
        area_area
        - 2.0 * np.einsum("ci,ci->c", predictors, to_area)
        + np.einsum("ci,cij,cj->c", predictors, matrix, predictors)
    )
    log_determinant = np.linalg.slogdet(matrix)[1]
    log_weights = log_prior - 0.5 * log_determinant - 0.5 * np.log(information)
    return Mixture(
        predictors=predictors,
        unit_variances=np.maximum(variances, LEAST_UNIT_VARIANCE),
        log_weights=TEMPERING * log_weights,
        residuals=prepared_forms(projected, sampling),
    )


@dataclass(frozen=True)
class MeanEstimate:
    """The mixture's answer for N traverses.

    Attributes
    ----------
    velocity_m_s : ndarray, shape (N,)
        Best estimate of the mean over the true area; NaN with fewer than four readings.
    deviation_m_s : ndarray, shape (N,)
        Standard deviation of the mixture around it; NaN likewise.
    """

    velocity_m_s: FloatArray
    deviation_m_s: FloatArray


def estimate_mean(velocity_m_s: FloatArray, sampling: Sampling) -> MeanEstimate:
    """Estimate the mean over the true area from corrected readings.

    Parameters
    ----------
    velocity_m_s : ndarray, shape (N, m), m/s, finite
        Corrected readings of N traverses at the same places.
    sampling : Sampling
        Where the m readings were taken.

    Returns
    -------
    MeanEstimate

    Raises
    ------
    ValueError
        If the number of readings doesn't match.

    Examples
    --------
    >>> import numpy as np
    >>> from airflow_jobs.calc.layouts import plan_by_rule
    >>> from airflow_jobs.calc.sampling import points_of_plan
    >>> places = points_of_plan(plan_by_rule("rectangular", "log_tchebycheff", 5, 5))
    >>> estimate = estimate_mean(np.full((1, 25), 3.0), places)
    >>> bool(2.93 < estimate.velocity_m_s[0] < 2.98)
    True
    """
    readings = np.asarray(velocity_m_s, dtype=float)
    if readings.ndim != 2 or readings.shape[1] != sampling.count:
        raise ValueError(
            f"velocity_m_s has shape {readings.shape}; it must be (N, {sampling.count})"
        )
    number = readings.shape[0]
    velocity = np.full(number, np.nan)
    deviation = np.full(number, np.nan)
    if sampling.count < LEAST_POINTS:
        return MeanEstimate(velocity_m_s=velocity, deviation_m_s=deviation)
    mixture = mixture_for(sampling)
    for start in range(0, number, BLOCK):
        block = np.ascontiguousarray(readings[start : start + BLOCK].T)
        velocity[start : start + BLOCK], deviation[start : start + BLOCK] = _block(mixture, block)
    return MeanEstimate(velocity_m_s=velocity, deviation_m_s=deviation)


def _block(mixture: Mixture, readings: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of the mixture for readings of shape (m, block)."""
    freedom = mixture.readings - 1
    least = np.maximum(LEAST_VARIANCE_SHARE * readings.mean(axis=0) ** 2, np.finfo(float).tiny)
    scale = mixture.residuals.of(readings)
    scale /= freedom
    np.maximum(scale, least, out=scale)
    weight = np.log(scale)
    weight *= -0.5 * TEMPERING * freedom
    weight += mixture.log_weights[:, None]
    weight -= weight.max(axis=0)
    np.exp(weight, out=weight)
    weight /= weight.sum(axis=0)
    means = mixture.predictors @ readings
    mean = np.einsum("cn,cn->n", weight, means)
    means -= mean
    means *= means
    scale *= mixture.unit_variances[:, None]
    scale += means
    return mean, np.sqrt(np.einsum("cn,cn->n", weight, scale))


def expected_wall_factor(sampling: Sampling, weights: FloatArray) -> float:
    """Mean over the true area over the weighted mean of readings, where no profile is known.

    Parameters
    ----------
    sampling : Sampling
        Where the m readings were taken.
    weights : ndarray, shape (m,)
        Of the readings in their mean.

    Returns
    -------
    float, dimensionless
        For developed flow, averaged over the mixture's wall laws with their prior weights.
    """
    factors = [
        share
        * mean_of_wall_law(sampling.shape, sampling.aspect, exponent)
        / float(
            weights
            @ sampling.averaged(
                wall_law(
                    sampling.shape, sampling.aspect, sampling.xi, sampling.eta, exponent=exponent
                )
            )
        )
        for exponent, share in WALL_EXPONENTS
    ]
    return float(sum(factors))
