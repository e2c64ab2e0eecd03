"""Which part of the section each reading speaks for: a point, a swept line, a swept radius.

A reading is a linear functional of the velocity field. A point is one value; a line drawn at an
even pace is the mean over its depth; a radius drawn with depth stamps is the mean weighted by
the radius. A `Sampling` holds the nodes and, for lines and radii, the averaging weights.
"""

from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike

from airflow_jobs.calc.kernels import wall_distance
from airflow_jobs.calc.layouts import Plan
from airflow_jobs.calc.ovals import oval_chord
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sections import Shape

# Positions are compared, and set-ups cached, at this many decimals of the half width: a
# thousandth of a micrometre on any duct, well above rounding noise.
POSITION_DECIMALS = 9

# Nodes a half line. The wall law is smooth in the fifth root of the distance to the wall, so
# nodes are spaced evenly, in Gauss's sense, in that root.
HALF_LINE_NODES = 20
WALL_CLUSTERING = 5


@dataclass(frozen=True, eq=False)
class Sampling:
    """m readings in one section, as weighted means over q nodes.

    Attributes
    ----------
    shape : {'rectangular', 'round', 'flat_oval'}
    aspect : float
        Drilled side over depth; 1 unless the section is a flat oval, since nothing else
        depends on it.
    xi, eta : ndarray, shape (q,), dimensionless, -1 to 1
        Nodes, along the drilled side and along the depth.
    line : ndarray of int, shape (m,)
        The line (round: diameter) that each reading belongs to.
    insertion_angle_rad : ndarray, shape (m,)
        Direction of insertion of each reading's line, from the xi axis towards the eta axis;
        pi/2 in a rectangle or oval.
    averaging : ndarray, shape (m, q), or None
        Weights of the nodes in each reading, each row adding up to one; None for points.
    """

    shape: Shape
    aspect: float
    xi: FloatArray
    eta: FloatArray
    line: np.ndarray
    insertion_angle_rad: FloatArray
    averaging: FloatArray | None = field(default=None)

    @property
    def count(self) -> int:
        """How many readings there are."""
        return int(self.line.size)

    @cached_property
    def key(self) -> tuple[object, ...]:
        """What two samplings must share to be the same."""
        averaging = None if self.averaging is None else self.averaging.tobytes()
        return (
            self.shape,
            self.aspect,
            self.xi.tobytes(),
            self.eta.tobytes(),
            self.line.tobytes(),
            self.insertion_angle_rad.tobytes(),
            averaging,
        )

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sampling) and self.key == other.key

    def averaged(self, values: FloatArray, axis: int = -1) -> FloatArray:
        """Take the values at the nodes over to the readings, along one axis."""
        if self.averaging is None:
            return values
        return np.moveaxis(np.moveaxis(values, axis, -1) @ self.averaging.T, -1, axis)

    def keep(self, present: ArrayLike) -> "Sampling":
        """The same sampling with only the readings that were taken.

        Parameters
        ----------
        present : array_like of bool, shape (m,)

        Returns
        -------
        Sampling

        Raises
        ------
        ValueError
            If the mask has another length or leaves nothing.
        """
        mask = np.asarray(present, dtype=bool)
        if mask.shape != (self.count,):
            raise ValueError(f"present has shape {mask.shape}; it must be ({self.count},)")
        if not mask.any():
            raise ValueError("present leaves no reading; at least 1 is needed")
        if mask.all():
            return self
        nodes = mask if self.averaging is None else (self.averaging[mask] != 0.0).any(axis=0)
        averaging = None if self.averaging is None else self.averaging[np.ix_(mask, nodes)]
        return Sampling(
            shape=self.shape,
            aspect=self.aspect,
            xi=self.xi[nodes],
            eta=self.eta[nodes],
            line=self.line[mask],
            insertion_angle_rad=self.insertion_angle_rad[mask],
            averaging=averaging,
        )


def _rounded(values: ArrayLike) -> FloatArray:
    """Values as a new float array on the grid on which positions are compared."""
    # Adding zero turns -0.0 into 0.0, so that both give the same key.
    return np.round(np.asarray(values, dtype=float), POSITION_DECIMALS) + 0.0


def _aspect(shape: Shape, aspect: float | None) -> float:
    """The aspect on the grid for an oval, 1 for the shapes that don't depend on it."""
    if shape != "flat_oval":
        return 1.0
    if aspect is None or not aspect > 0.0:
        raise ValueError(f"aspect is {aspect}; a flat oval needs one above 0")
    return float(np.round(aspect, POSITION_DECIMALS))


def point_sampling(
    *,
    shape: Shape,
    xi: ArrayLike,
    eta: ArrayLike,
    line: ArrayLike,
    insertion_angle_rad: ArrayLike = np.pi / 2,
    aspect: float | None = None,
) -> Sampling:
    """Readings taken point by point.

    Parameters
    ----------
    shape : {'rectangular', 'round', 'flat_oval'}
    xi, eta : array_like, shape (m,), dimensionless, -1 to 1
        Normalised positions along the drilled side and along the depth.
    line : array_like of int, shape (m,)
        The line each point belongs to.
    insertion_angle_rad : array_like, shape (m,) or scalar
        Direction of insertion, from the xi axis towards the eta axis.
    aspect : float, positive
        Drilled side over depth; a flat oval needs it.

    Returns
    -------
    Sampling

    Raises
    ------
    ValueError
        If shapes disagree, or a point lies outside the section.

    Examples
    --------
    >>> point_sampling(shape="rectangular", xi=[-0.5, 0.5], eta=[0.0, 0.0], line=[0, 1]).count
    2
    """
    x, y = _rounded(xi), _rounded(eta)
    lines = np.asarray(line, dtype=np.int64)
    if x.ndim != 1 or x.shape != y.shape or x.shape != lines.shape or x.size == 0:
        raise ValueError(
            f"xi, eta and line have shapes {x.shape}, {y.shape} and {lines.shape}; "
            "they must be alike, of one dimension and not empty"
        )
    ratio = _aspect(shape, aspect)
    inside = (np.abs(x) <= 1.0) & (np.abs(y) <= 1.0) & (wall_distance(shape, ratio, x, y) > -1e-6)
    if not inside.all():
        first = int(np.argmin(inside))
        raise ValueError(
            f"xi, eta are {x[first]:g}, {y[first]:g} at point {first}; "
            "they must lie inside the section"
        )
    angles = np.broadcast_to(np.asarray(insertion_angle_rad, dtype=float), x.shape)
    return Sampling(
        shape=shape,
        aspect=ratio,
        xi=x,
        eta=y,
        line=lines,
        insertion_angle_rad=_rounded(angles),
    )


@lru_cache(maxsize=4096)
def points_of_plan(plan: Plan) -> Sampling:
    """Readings taken at the points of a plan, or where its holes and depths really were.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    Sampling
    """
    angle: FloatArray | float = np.pi / 2
    if plan.shape == "round":
        angle = insertion_angles_rad(np.asarray(plan.lines))[plan.line_of_point]
    return point_sampling(
        shape=plan.shape,
        xi=plan.xi,
        eta=plan.eta,
        line=plan.line_of_point,
        insertion_angle_rad=angle,
        aspect=plan.oval_aspect,
    )


@lru_cache(maxsize=512)
def lines_of_plan(plan: Plan) -> Sampling:
    """Readings that are depth means of the lines of a plan; in a round duct, of its radii.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    Sampling
        One reading a line in a rectangle or oval; two a diameter, the hole's side first, in
        a round section.
    """
    if plan.shape == "round":
        return radius_sampling(insertion_angle_rad=insertion_angles_rad(np.asarray(plan.lines)))
    return line_sampling(
        shape=plan.shape, offset=2.0 * np.asarray(plan.lines) - 1.0, aspect=plan.oval_aspect
    )


def insertion_angles_rad(hole_angle_deg: ArrayLike) -> FloatArray:
    """Direction in which a probe goes in at each hole of a round duct.

    Parameters
    ----------
    hole_angle_deg : array_like, degrees
        Angle of the hole, 0 at the first, clockwise facing downstream.

    Returns
    -------
    ndarray, rad
        From the xi axis (to the right of the first hole) towards the eta axis (towards it).
    """
    angle = np.radians(np.asarray(hole_angle_deg, dtype=float))
    direction: FloatArray = np.arctan2(-np.cos(angle), -np.sin(angle))
    return direction


def _half_line_rule() -> tuple[FloatArray, FloatArray]:
    """Nodes from 0 (middle) to 1 (wall) and weights, clustered at the wall."""
    roots, weights = np.polynomial.legendre.leggauss(HALF_LINE_NODES)
    root, weight = 0.5 * (roots + 1.0), 0.5 * weights
    return 1.0 - root**WALL_CLUSTERING, weight * WALL_CLUSTERING * root ** (WALL_CLUSTERING - 1)


def _one_a_row(count: int, weights: FloatArray) -> FloatArray:
    """Averaging weights where each reading has its own nodes, one reading after the other."""
    averaging: FloatArray = np.kron(np.eye(count), weights).astype(np.float64)
    return averaging


def line_sampling(*, shape: Shape, offset: ArrayLike, aspect: float | None = None) -> Sampling:
    """Readings that are means over the whole depth of straight lines, wall to wall.

    Parameters
    ----------
    shape : {'rectangular', 'flat_oval'}
    offset : array_like, shape (L,), dimensionless, -1 to 1
        Normalised place of each line along the drilled side.
    aspect : float, positive
        Drilled side over depth; a flat oval needs it.

    Returns
    -------
    Sampling

    Raises
    ------
    ValueError
        For a round section, where the mean over a diameter isn't the mean over the area.
    """
    if shape == "round":
        raise ValueError("shape is 'round'; depth means are for rectangular and flat_oval sections")
    place = _rounded(offset)
    ratio = _aspect(shape, aspect)
    node, weight = _half_line_rule()
    depth = np.concatenate([-node, node])
    half = oval_chord(place, ratio) if shape == "flat_oval" else np.ones_like(place)
    count = place.size
    return Sampling(
        shape=shape,
        aspect=ratio,
        xi=np.repeat(place, depth.size),
        eta=np.outer(half, depth).ravel(),
        line=np.arange(count, dtype=np.int64),
        insertion_angle_rad=np.full(count, np.pi / 2),
        averaging=_one_a_row(count, 0.5 * np.concatenate([weight, weight])),
    )


def radius_sampling(*, insertion_angle_rad: ArrayLike) -> Sampling:
    """Readings that are area-weighted means over the two radii of each diameter of a round duct.

    Parameters
    ----------
    insertion_angle_rad : array_like, shape (L,)
        Direction of insertion of each diameter.

    Returns
    -------
    Sampling
        Two readings a diameter, first the radius on the side of the hole, then the far one.
    """
    angles = _rounded(np.atleast_1d(np.asarray(insertion_angle_rad, dtype=float)))
    node, weight = _half_line_rule()
    share = weight * node / np.sum(weight * node)
    directions = np.repeat(angles, 2)
    signed = np.tile([-1.0, 1.0], angles.size)[:, None] * node
    return Sampling(
        shape="round",
        aspect=1.0,
        xi=(np.cos(directions)[:, None] * signed).ravel(),
        eta=(np.sin(directions)[:, None] * signed).ravel(),
        line=np.repeat(np.arange(angles.size, dtype=np.int64), 2),
        insertion_angle_rad=directions,
        averaging=_one_a_row(directions.size, share),
    )
