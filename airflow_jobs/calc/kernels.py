"""The wall law and the covariance that say how velocities in a duct section hang together.

Positions are normalised and centred, both coordinates from -1 to 1: `xi` along the drilled side,
`eta` along the depth; in a round section both are divided by the radius. `aspect` is the extent
along the drilled side over the extent along the depth, and matters for a flat oval only.
Everything here is dimensionless.
"""

import numpy as np
from numpy.typing import ArrayLike

from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sections import SHAPES, Shape

# A gradient of the wall law grows without bound at the wall, where no probe can stand: nearer
# than this share of the half depth the slope at this share stands for it.
NEAREST_GRADIENT = 1e-3


def matern52(distance: ArrayLike) -> FloatArray:
    """Correlation of two values at a scaled distance, Matérn with smoothness 5/2.

    Parameters
    ----------
    distance : array_like, dimensionless, any sign
        Distance divided by the range.

    Returns
    -------
    ndarray, dimensionless, in (0, 1]

    Notes
    -----
    Source: M. L. Stein, Interpolation of Spatial Data, Springer 1999, section 2.10;
    C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, MIT Press
    2006, equation (4.17).
    """
    scaled = np.sqrt(5.0) * np.abs(np.asarray(distance, dtype=float))
    correlation: FloatArray = (1.0 + scaled + scaled * scaled / 3.0) * np.exp(-scaled)
    return correlation


def matern52_slope(distance: ArrayLike) -> FloatArray:
    """Derivative of `matern52` with respect to a signed scaled distance.

    Parameters
    ----------
    distance : array_like, dimensionless, any sign

    Returns
    -------
    ndarray, dimensionless

    Notes
    -----
    Source: derived from `matern52`: d/dr = -(5/3) r (1 + sqrt(5) |r|) exp(-sqrt(5) |r|).
    """
    signed = np.asarray(distance, dtype=float)
    scaled = np.sqrt(5.0) * np.abs(signed)
    slope: FloatArray = -(5.0 / 3.0) * signed * (1.0 + scaled) * np.exp(-scaled)
    return slope


def _from_spine(
    shape: Shape, aspect: float, xi: FloatArray, eta: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Vector from the nearest place that is furthest from every wall, its length 1 at the wall.

    In a round section that place is the centre, in a flat oval the axis of its straight part.
    """
    if shape == "round":
        return xi, eta
    if aspect >= 1.0:
        return np.sign(xi) * np.maximum(np.abs(xi) * aspect - (aspect - 1.0), 0.0), eta
    long = 1.0 / aspect
    return xi, np.sign(eta) * np.maximum(np.abs(eta) * long - (long - 1.0), 0.0)


def wall_distance(shape: Shape, aspect: float, xi: ArrayLike, eta: ArrayLike) -> FloatArray:
    """Distance to the wall, one at the middle and zero at the wall.

    Parameters
    ----------
    shape : {'rectangular', 'round', 'flat_oval'}
    aspect : float, positive
        Drilled side over depth; ignored unless the section is a flat oval.
    xi, eta : array_like, dimensionless, -1 to 1
        Normalised positions.

    Returns
    -------
    ndarray
        ``(1 - |xi|)(1 - |eta|)`` in a rectangle; in a round or flat oval section the distance to
        the nearest wall over half the shorter extent.

    Raises
    ------
    ValueError
        If the shape is unknown.

    Notes
    -----
    Source: geometry; the product form in a rectangle is common practice in fitting
    developed flow to a power law.
    """
    x = np.asarray(xi, dtype=float)
    y = np.asarray(eta, dtype=float)
    if shape == "rectangular":
        product: FloatArray = (1.0 - np.abs(x)) * (1.0 - np.abs(y))
        return product
    if shape in ("round", "flat_oval"):
        distance: FloatArray = 1.0 - np.hypot(*_from_spine(shape, aspect, x, y))
        return distance
    raise ValueError(f"shape is {shape!r}; it must be one of {', '.join(SHAPES)}")


def wall_law(
    shape: Shape, aspect: float, xi: ArrayLike, eta: ArrayLike, *, exponent: ArrayLike = 7.0
) -> FloatArray:
    """Velocity of developed flow relative to its peak, the power law of the wall.

    Parameters
    ----------
    shape, aspect, xi, eta
        As in `wall_distance`.
    exponent : array_like, dimensionless, positive
        n of the 1/n power law; seven is the usual value. Broadcasts against the positions.

    Returns
    -------
    ndarray, dimensionless, 0 to 1

    Notes
    -----
    Source: J. Nikuradse, VDI-Forschungsheft 356, 1932, after H. Schlichting, Boundary-Layer
    Theory, 7th edition, section XX (1/n law, n from 6 to 10 with Reynolds number), from memory.
    """
    distance = np.maximum(wall_distance(shape, aspect, xi, eta), 0.0)
    law: FloatArray = distance ** (1.0 / np.asarray(exponent, dtype=float))
    return law


def wall_law_gradient(
    shape: Shape, aspect: float, xi: ArrayLike, eta: ArrayLike, *, exponent: float = 7.0
) -> tuple[FloatArray, FloatArray]:
    """Slope of `wall_law` along both normalised coordinates.

    On the axis, where the law has a kink, the slope is taken as zero: the mean of both sides.

    Parameters
    ----------
    shape, aspect, xi, eta
        As in `wall_distance`.
    exponent : float, dimensionless, positive

    Returns
    -------
    tuple of ndarray
        Derivatives with respect to xi and to eta.

    Notes
    -----
    Source: derived from `wall_law`.
    """
    x = np.asarray(xi, dtype=float)
    y = np.asarray(eta, dtype=float)
    distance = np.maximum(wall_distance(shape, aspect, x, y), NEAREST_GRADIENT)
    slope = distance ** (1.0 / exponent - 1.0) / exponent
    if shape == "rectangular":
        return (
            -slope * np.sign(x) * (1.0 - np.abs(y)),
            -slope * np.sign(y) * (1.0 - np.abs(x)),
        )
    across, up = _from_spine(shape, aspect, x, y)
    radius = np.hypot(across, up)
    safe = np.where(radius > 0.0, radius, 1.0)
    stretch_x = max(aspect, 1.0) if shape == "flat_oval" else 1.0
    stretch_y = max(1.0 / aspect, 1.0) if shape == "flat_oval" else 1.0
    return -slope * stretch_x * across / safe, -slope * stretch_y * up / safe
