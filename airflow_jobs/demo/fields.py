"""Velocity fields: how the air is spread over a section, with an exactly known mean.

A field is a wall law times a smooth disturbance, of a strength that goes with the straight
duct before the section. Only ratios to the mean matter, so the mean is integrated once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from airflow_jobs.calc.ovals import oval_chord
from airflow_jobs.calc.quantities import FloatArray

from .seeded import Seeded

NODES: Final = 16
WALL_CLUSTERING: Final = 5
ANGLES: Final = 48
STRIP_NODES: Final = 24


@dataclass(frozen=True)
class Field:
    """A velocity field over the normalised coordinates of `calc.layouts.Plan`.

    Attributes
    ----------
    shape
        `rectangular`, `round` or `flat_oval`.
    oval_aspect
        Flat oval: extent along the drilled side over extent along the depth; else 1.
    wall_exponent
        n of the 1/n wall law.
    tilt
        Slope along both coordinates.
    hollow
        How much faster the flanks run than the middle.
    jet
        Strength, centre and width of a jet.
    """

    shape: str
    oval_aspect: float
    wall_exponent: float
    tilt: tuple[float, float]
    hollow: float
    jet: tuple[float, float, float, float]

    def raw(self, xi: npt.ArrayLike, eta: npt.ArrayLike) -> FloatArray:
        """Return the velocity in a scale of its own; broadcast shape."""
        x = np.asarray(xi, dtype=float)
        y = np.asarray(eta, dtype=float)
        strength, jet_x, jet_y, width = self.jet
        jet = strength * np.exp(-((x - jet_x) ** 2 + (y - jet_y) ** 2) / (2.0 * width**2))
        disturbed = (
            1.0 + self.tilt[0] * x + self.tilt[1] * y + self.hollow * (x * x + y * y - 0.6) + jet
        )
        wall = np.maximum(self._wall_distance(x, y), 0.0) ** (1.0 / self.wall_exponent)
        result: FloatArray = wall * np.maximum(disturbed, 0.05)
        return result

    def relative(self, xi: npt.ArrayLike, eta: npt.ArrayLike) -> FloatArray:
        """Return velocity over mean velocity; broadcast shape."""
        result: FloatArray = self.raw(xi, eta) / mean_of(self)
        return result

    def _wall_distance(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Distance to the wall, 1 in the middle; a product of two in a rectangle."""
        if self.shape == "rectangular":
            return (1.0 - np.abs(x)) * (1.0 - np.abs(y))
        if self.shape == "round":
            return 1.0 - np.hypot(x, y)
        half = max(self.oval_aspect, 1.0), max(1.0 / self.oval_aspect, 1.0)
        beyond_x = np.maximum(np.abs(x) * half[0] - (half[0] - 1.0), 0.0)
        beyond_y = np.maximum(np.abs(y) * half[1] - (half[1] - 1.0), 0.0)
        if self.oval_aspect >= 1.0:
            return 1.0 - np.hypot(beyond_x, y)
        return 1.0 - np.hypot(x, beyond_y)


@lru_cache(maxsize=1024)
def mean_of(field: Field) -> float:
    """Return the area mean of a field in its own scale."""
    nodes, weights = _half_nodes()
    x = np.concatenate([-nodes[::-1], nodes])
    w = np.concatenate([weights[::-1], weights])
    if field.shape == "rectangular":
        values = field.raw(x[:, np.newaxis], x[np.newaxis, :])
        return float(w @ values @ w / 4.0)
    if field.shape == "round":
        angle = 2.0 * np.pi * np.arange(ANGLES) / ANGLES
        radius = nodes[:, np.newaxis]
        values = field.raw(radius * np.sin(angle), radius * np.cos(angle)).mean(axis=1)
        return float(2.0 * np.sum(weights * nodes * values))
    strips, strip_weights = np.polynomial.legendre.leggauss(STRIP_NODES * 2)
    chord = oval_chord(strips, field.oval_aspect)
    values = field.raw(strips[:, np.newaxis], x[np.newaxis, :] * chord[:, np.newaxis]) @ w / 2.0
    share = strip_weights * chord
    return float(np.sum(share * values) / np.sum(share))


@lru_cache(maxsize=1)
def _half_nodes() -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre nodes from the axis to the wall, clustered where the wall law is steep."""
    s, weight = np.polynomial.legendre.leggauss(NODES)
    s = 0.5 * (s + 1.0)
    order = np.argsort(-s)
    distance = s[order] ** WALL_CLUSTERING
    jacobian = WALL_CLUSTERING * s[order] ** (WALL_CLUSTERING - 1)
    return 1.0 - distance, 0.5 * weight[order] * jacobian


def field_for(seeded: Seeded, shape: str, oval_aspect: float, upstream_diameters: float) -> Field:
    """Return a field of the strength that some straight duct leaves of its disturbances.

    Parameters
    ----------
    seeded
        Where chance comes from.
    shape
        `rectangular`, `round` or `flat_oval`.
    oval_aspect
        See `Field`.
    upstream_diameters
        Straight duct before the section, hydraulic diameters.
    """
    strength = 0.02 + 0.16 * float(np.exp(-upstream_diameters / 3.0))
    has_jet = upstream_diameters < 3.0 and seeded.chance(0.5)
    return Field(
        shape=shape,
        oval_aspect=oval_aspect,
        wall_exponent=seeded.uniform(5.5, 9.5),
        tilt=(seeded.normal(0.0, strength), seeded.normal(0.0, strength)),
        hollow=seeded.normal(0.0, 0.5 * strength),
        jet=(
            seeded.uniform(0.15, 0.4) if has_jet else 0.0,
            seeded.uniform(-0.5, 0.5),
            seeded.uniform(-0.5, 0.5),
            seeded.uniform(0.35, 0.6),
        ),
    )
