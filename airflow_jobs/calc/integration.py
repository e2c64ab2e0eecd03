"""The mean by the published rule: one weight a reading, whatever was moved or missed.

Where every planned reading was taken in its planned place, the rule's own mean is the plain
average and each weight is exactly 1/n. Where a hole had to move or a reading is missing, the
weights are those of the best linear prediction of that same plain average from the readings
there are; no weight moves without reason, none is negative.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.optimize import nnls

from airflow_jobs.calc.kernels import matern52, matern52_slope, wall_law, wall_law_gradient
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sampling import Sampling

# The covariance of the transfer: a broad common level, and a local departure a sixteenth of it.
WALL_EXPONENT = 7.0
LEVEL_VARIANCE = 4.0
LOCAL_VARIANCE = 0.25
LOCAL_RANGE = 0.8
NOISE_RATIO = 0.10

# Weights are a few hundred bytes a layout.
CACHED_LAYOUTS = 4096
# A row far heavier than the others makes non-negative least squares keep the sum at one.
SUM_ROW_WEIGHT = 1e3
MOST_SUPPORT_CHANGES = 200


def transfer_covariance(first: Sampling, second: Sampling) -> FloatArray:
    """Covariance between two sets of readings under the transfer's model.

    Parameters
    ----------
    first : Sampling
        m readings.
    second : Sampling
        k readings in the same section.

    Returns
    -------
    ndarray, shape (m, k), dimensionless
        ``b(p) b(p') [4 + 0.25 m52(dxi/0.8) m52(deta/0.8)]``, averaged over lines where a
        reading is a line's mean.

    Notes
    -----
    Source: universal kriging with a wall-law trend, after N. A. C. Cressie, Statistics for
    Spatial Data, revised edition, Wiley 1993, section 3.4; the constants were chosen on
    simulated duct fields.
    """
    law_first = wall_law(first.shape, first.aspect, first.xi, first.eta, exponent=WALL_EXPONENT)
    law_second = wall_law(
        second.shape, second.aspect, second.xi, second.eta, exponent=WALL_EXPONENT
    )
    local = matern52((first.xi[:, None] - second.xi) / LOCAL_RANGE) * matern52(
        (first.eta[:, None] - second.eta) / LOCAL_RANGE
    )
    nodes = np.outer(law_first, law_second) * (LEVEL_VARIANCE + LOCAL_VARIANCE * local)
    covariance: FloatArray = second.averaged(first.averaged(nodes, axis=0), axis=1)
    return covariance


def _equality_solve(
    matrix: FloatArray, target: FloatArray, support: np.ndarray
) -> tuple[FloatArray, float]:
    """Best weights with the sum one on a support, and the multiplier of the sum."""
    chosen = np.flatnonzero(support)
    factor = cho_factor(matrix[np.ix_(chosen, chosen)], lower=True)
    free = cho_solve(factor, target[chosen])
    ones = cho_solve(factor, np.ones(chosen.size))
    multiplier = (free.sum() - 1.0) / ones.sum()
    weights = np.zeros(target.size)
    weights[chosen] = free - multiplier * ones
    return weights, float(multiplier)


def _non_negative_solve(matrix: FloatArray, target: FloatArray) -> FloatArray:
    """Minimum of ``w'Mw/2 - h'w`` with the sum one and no weight negative, by active set."""
    lower = np.linalg.cholesky(matrix)
    projected = solve_triangular(lower, target, lower=True)
    rows = np.vstack([lower.T, np.full(target.size, SUM_ROW_WEIGHT)])
    start, _ = nnls(rows, np.append(projected, SUM_ROW_WEIGHT))
    support = start > 0.0
    tolerance = 1e-12 * float(np.abs(target).max())
    for _ in range(MOST_SUPPORT_CHANGES):
        weights, multiplier = _equality_solve(matrix, target, support)
        if weights.min() < 0.0:
            support[int(np.argmin(weights))] = False
            continue
        slack = matrix @ weights - target + multiplier
        slack[support] = 0.0
        if slack.min() >= -tolerance:
            return weights
        support[int(np.argmin(slack))] = True
    # Cycling is possible only where two optima tie to rounding; either is then as good.
    tied: FloatArray = np.maximum(weights, 0.0) / np.maximum(weights, 0.0).sum()
    return tied


@lru_cache(maxsize=CACHED_LAYOUTS)
def transfer_weights(planned: Sampling, actual: Sampling) -> FloatArray:
    """Weights of the readings in the mean that the published rule defines.

    Parameters
    ----------
    planned : Sampling
        n readings where the rule puts them.
    actual : Sampling
        m readings where they were taken, the present ones only.

    Returns
    -------
    ndarray, shape (m,), dimensionless, read-only
        Never negative, adding up to one; exactly 1/n each where every planned reading was
        taken in its place.

    Raises
    ------
    ValueError
        If the two lie in sections of different shape.

    Notes
    -----
    Source: best linear unbiased prediction of a block mean, N. A. C. Cressie, Statistics for
    Spatial Data, revised edition, Wiley 1993, section 3.4.5; non-negative least squares after
    C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, Prentice-Hall 1974, chapter 23.
    """
    if (planned.shape, planned.aspect) != (actual.shape, actual.aspect):
        raise ValueError(
            f"planned lies in a {planned.shape} section (aspect {planned.aspect}) and actual in a "
            f"{actual.shape} one (aspect {actual.aspect}); they must be the same section"
        )
    if planned == actual:
        weights = np.full(actual.count, 1.0 / actual.count)
    else:
        weights = predicted_weights(planned, actual)
    weights.flags.writeable = False
    return weights


def predicted_weights(planned: Sampling, actual: Sampling) -> FloatArray:
    """The weights of `transfer_weights` by prediction alone, without its short way on plan.

    Parameters
    ----------
    planned, actual : Sampling
        As in `transfer_weights`.

    Returns
    -------
    ndarray, shape (m,), dimensionless
    """
    noise = NOISE_RATIO**2
    matrix = transfer_covariance(actual, actual) + noise * np.eye(actual.count)
    target = transfer_covariance(actual, planned).mean(axis=1) + noise / actual.count
    weights, _ = _equality_solve(matrix, target, np.ones(actual.count, dtype=bool))
    if weights.min() < 0.0:
        weights = _non_negative_solve(matrix, target)
    return weights


@dataclass(frozen=True)
class GradientForms:
    """What errors of position do to the mean, as quadratic forms of the readings.

    Each form is symmetric, shape (m, m); ``v' form v`` times the square of a displacement in
    normalised units is a variance of the mean.

    Attributes
    ----------
    point_x, point_y : ndarray
        Every point displaced by itself, along the drilled side and along the depth.
    hole : ndarray
        Every line displaced as a whole, square to its direction of insertion.
    depth : ndarray
        Every line displaced as a whole, along its direction of insertion.
    """

    point_x: FloatArray
    point_y: FloatArray
    hole: FloatArray
    depth: FloatArray


def gradient_forms(planned: Sampling, actual: Sampling) -> GradientForms:
    """Quadratic forms that turn displacements of points, holes and depths into variances.

    Parameters
    ----------
    planned, actual : Sampling
        As in `transfer_weights`.

    Returns
    -------
    GradientForms

    Notes
    -----
    Source: JCGM 100:2008, section 5.1.2 (law of propagation), with the gradient of the
    posterior mean of the transfer's model; derived.
    """
    weights = transfer_weights(planned, actual)
    slope_x, slope_y = _posterior_slopes(actual)
    weighted_x = weights[:, None] * slope_x
    weighted_y = weights[:, None] * slope_y
    cosine = np.cos(actual.insertion_angle_rad)[:, None]
    sine = np.sin(actual.insertion_angle_rad)[:, None]
    _, where = np.unique(actual.line, return_inverse=True)
    lines = np.zeros((where.max() + 1, actual.count))
    lines[where, np.arange(actual.count)] = 1.0
    along = lines @ (cosine * weighted_x + sine * weighted_y)
    across = lines @ (-sine * weighted_x + cosine * weighted_y)
    return GradientForms(
        point_x=weighted_x.T @ weighted_x,
        point_y=weighted_y.T @ weighted_y,
        hole=across.T @ across,
        depth=along.T @ along,
    )


def _posterior_slopes(actual: Sampling) -> tuple[FloatArray, FloatArray]:
    """Matrices that take readings to the slopes of the fitted field at each reading's place."""
    law = wall_law(actual.shape, actual.aspect, actual.xi, actual.eta, exponent=WALL_EXPONENT)
    law_x, law_y = wall_law_gradient(
        actual.shape, actual.aspect, actual.xi, actual.eta, exponent=WALL_EXPONENT
    )
    apart_x = (actual.xi[:, None] - actual.xi) / LOCAL_RANGE
    apart_y = (actual.eta[:, None] - actual.eta) / LOCAL_RANGE
    corr_x, corr_y = matern52(apart_x), matern52(apart_y)
    level = LEVEL_VARIANCE + LOCAL_VARIANCE * corr_x * corr_y
    change_x = LOCAL_VARIANCE * matern52_slope(apart_x) * corr_y / LOCAL_RANGE
    change_y = LOCAL_VARIANCE * corr_x * matern52_slope(apart_y) / LOCAL_RANGE
    nodes_x = (law_x[:, None] * level + law[:, None] * change_x) * law
    nodes_y = (law_y[:, None] * level + law[:, None] * change_y) * law
    covariance = transfer_covariance(actual, actual) + NOISE_RATIO**2 * np.eye(actual.count)
    factor = cho_factor(covariance, lower=True)

    def at_readings(nodes: FloatArray) -> FloatArray:
        readings = actual.averaged(actual.averaged(nodes, axis=0), axis=1)
        return cho_solve(factor, readings.T).T

    return at_readings(nodes_x), at_readings(nodes_y)
