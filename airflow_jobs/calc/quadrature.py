"""Means over the true area of the wall law and of its covariance with a position.

The wall law has a kink on the axis and an infinite slope at the wall. Each half is therefore
integrated by itself, with Gauss-Jacobi nodes that carry the weight ``distance ** (1/n)``
exactly; what is left is smooth.

Source of the rules: P. J. Davis and P. Rabinowitz, Methods of Numerical Integration, 2nd edition,
Academic Press 1984, sections 2.7 and 5.6.
"""

from functools import lru_cache

import numpy as np
from scipy.special import roots_jacobi

from airflow_jobs.calc.kernels import matern52
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sections import Shape

LINE_NODES = 40
# As few as keep every mean within 5e-7 of a rule with four times as many nodes each way.
RADIAL_NODES = 20
ANGLE_NODES = 60
STRAIGHT_NODES = 20
# The mean of a mean is smooth: within 2e-7 with fewer nodes, outside and inside.
OUTER_NODES = 10
INNER_RADIAL_NODES = 16
INNER_STRAIGHT_NODES = 14

Ranges = tuple[tuple[float, float], ...]


@lru_cache(maxsize=64)
def wall_rule(exponent: float, count: int) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of the integral of ``(1-t)**(1/exponent) f(t)`` over t from 0 to 1.

    Parameters
    ----------
    exponent : float, positive
        n of the 1/n power law.
    count : int, at least 1
        Number of nodes.

    Returns
    -------
    tuple of ndarray, shape (count,)
        Nodes from the middle (0) to the wall (1), and weights, which hold the wall law.
    """
    power = 1.0 / exponent
    roots, weights = roots_jacobi(count, power, 0.0)
    return 0.5 * (roots + 1.0), weights * 0.5 ** (power + 1.0)


@lru_cache(maxsize=64)
def area_rule(
    shape: Shape,
    aspect: float,
    exponent: float,
    radial_nodes: int = RADIAL_NODES,
    straight_nodes: int = STRAIGHT_NODES,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Nodes and weights of the mean over a round or flat oval section, wall law included.

    Parameters
    ----------
    shape : {'round', 'flat_oval'}
    aspect : float
        Drilled side over depth; matters for a flat oval only.
    exponent : float
        n of the 1/n power law.
    radial_nodes, straight_nodes : int
        Nodes a radius, and along half the straight part of an oval.

    Returns
    -------
    xi, eta, weight : ndarray
        The sum of ``weight * f(xi, eta)`` is the area mean of ``wall law * f``.

    Raises
    ------
    ValueError
        For a rectangle, whose integrals are products of one-dimensional ones.
    """
    radius, radial_weight = wall_rule(exponent, radial_nodes)
    if shape == "round":
        angle = 2.0 * np.pi * (np.arange(ANGLE_NODES) + 0.5) / ANGLE_NODES
        weight = np.repeat(radial_weight * radius, ANGLE_NODES) * (2.0 * np.pi / ANGLE_NODES)
        across = np.outer(radius, np.cos(angle)).ravel()
        up = np.outer(radius, np.sin(angle)).ravel()
        return across, up, weight / np.pi
    if shape != "flat_oval":
        raise ValueError(f"shape is {shape!r}; it must be round or flat_oval")
    # Lengths in halves of the shorter extent: the straight part of the axis reaches to
    # +-straight, the ends are half discs.
    long = max(aspect, 1.0 / aspect)
    straight = long - 1.0
    roots, weights = np.polynomial.legendre.leggauss(straight_nodes)
    half = 0.25 * np.pi * (roots + 1.0)
    end_x = straight + np.outer(radius, np.cos(half)).ravel()
    end_y = np.outer(radius, np.sin(half)).ravel()
    end_weight = np.outer(radial_weight * radius, 0.25 * np.pi * weights).ravel()
    middle_x = np.repeat(0.5 * straight * (roots + 1.0), radial_nodes)
    middle_y = np.tile(radius, straight_nodes)
    middle_weight = np.outer(0.5 * straight * weights, radial_weight).ravel()
    quarter_x = np.concatenate([end_x, middle_x]) / long
    quarter_y = np.concatenate([end_y, middle_y])
    quarter_weight = np.concatenate([end_weight, middle_weight]) / (np.pi + 4.0 * straight)
    across = np.concatenate([quarter_x, -quarter_x, quarter_x, -quarter_x])
    up = np.concatenate([quarter_y, quarter_y, -quarter_y, -quarter_y])
    weight = np.tile(quarter_weight, 4)
    return (across, up, weight) if aspect >= 1.0 else (up, across, weight)


def mean_of_wall_law(shape: Shape, aspect: float, exponent: float) -> float:
    """Mean over the area of the power law of the wall, relative to its peak.

    Parameters
    ----------
    shape, aspect, exponent
        As in `area_rule`; rectangles are allowed.

    Returns
    -------
    float, dimensionless

    Examples
    --------
    >>> round(mean_of_wall_law("rectangular", 1.0, 7.0), 6)
    0.765625
    """
    if shape == "rectangular":
        return (exponent / (exponent + 1.0)) ** 2
    return float(np.sum(area_rule(shape, aspect, exponent)[2]))


def _line_means(exponent: float, reach: float, place: FloatArray) -> FloatArray:
    """Mean over one normalised side of the wall factor times the correlation with each place."""
    node, weight = wall_rule(exponent, LINE_NODES)
    both = matern52((place[..., None] - node) / reach) + matern52((place[..., None] + node) / reach)
    return 0.5 * both @ weight


@lru_cache(maxsize=256)
def _line_double_mean(exponent: float, reach: float) -> float:
    node, weight = wall_rule(exponent, LINE_NODES)
    return float(weight @ _line_means(exponent, reach, node))


def mean_covariances(
    shape: Shape,
    aspect: float,
    exponent: float,
    ranges: Ranges,
    xi: FloatArray,
    eta: FloatArray,
) -> FloatArray:
    """Mean over the area of the wall law times the correlation with each position.

    Parameters
    ----------
    shape, aspect, exponent
        As in `area_rule`; rectangles are allowed.
    ranges : tuple of (float, float), length R
        Ranges along xi and eta.
    xi, eta : ndarray, shape (q,)
        Positions.

    Returns
    -------
    ndarray, shape (R, q), dimensionless
        Without the wall law at the positions themselves.
    """
    if shape == "rectangular":
        across, where_x = np.unique(xi, return_inverse=True)
        up, where_y = np.unique(eta, return_inverse=True)
        side_x = {reach: _line_means(exponent, reach, across)[where_x] for reach, _ in set(ranges)}
        side_y = {reach: _line_means(exponent, reach, up)[where_y] for _, reach in set(ranges)}
        return np.array([side_x[reach_x] * side_y[reach_y] for reach_x, reach_y in ranges])
    return _area_means(area_rule(shape, aspect, exponent), ranges, xi, eta)


def _area_means(
    rule: tuple[FloatArray, FloatArray, FloatArray],
    ranges: Ranges,
    xi: FloatArray,
    eta: FloatArray,
) -> FloatArray:
    """Means of the correlations with each place by one rule of nodes and weights."""
    node_x, node_y, weight = rule
    # Places and nodes share many coordinates: each correlation along an axis is made once.
    across, where_x = np.unique(xi, return_inverse=True)
    up, where_y = np.unique(eta, return_inverse=True)
    node_across, node_where_x = np.unique(node_x, return_inverse=True)
    node_up, node_where_y = np.unique(node_y, return_inverse=True)
    distance_x = across[:, None] - node_across
    distance_y = up[:, None] - node_up
    means = []
    for reach_x, reach_y in ranges:
        along_x = matern52(distance_x / reach_x)[where_x][:, node_where_x]
        along_y = matern52(distance_y / reach_y)[where_y][:, node_where_y]
        means.append((along_x * along_y) @ weight)
    return np.array(means)


# A handful of floats for each proportion of oval, and a tenth of a second to work out.
@lru_cache(maxsize=4096)
def double_mean_covariances(
    shape: Shape, aspect: float, exponent: float, ranges: Ranges
) -> FloatArray:
    """Mean over the area, twice, of the wall law at both places times their correlation.

    Parameters
    ----------
    shape, aspect, exponent, ranges
        As in `mean_covariances`.

    Returns
    -------
    ndarray, shape (R,), dimensionless
    """
    if shape == "rectangular":
        return np.array(
            [
                _line_double_mean(exponent, reach_x) * _line_double_mean(exponent, reach_y)
                for reach_x, reach_y in ranges
            ]
        )
    node_x, node_y, weight = area_rule(shape, aspect, exponent, OUTER_NODES, OUTER_NODES)
    quarter = (node_x > 0.0) & (node_y > 0.0)
    inner = area_rule(shape, aspect, exponent, INNER_RADIAL_NODES, INNER_STRAIGHT_NODES)
    means = _area_means(inner, ranges, node_x[quarter], node_y[quarter])
    return 4.0 * means @ weight[quarter]
