"""Simulated velocity fields of duct sections, each with an exactly known mean.

A field is a wall law times a shape, ``v = U distance^(1/n) g(xi, eta)``, in any section. Its mean
is integrated with the wall law as the weight, exact to rounding for smooth shapes.
Kinds are what a traverse meets: developed flow, bends, jets, swirl, fans, wakes, backflow.
No measured dense traverse stands behind them: figures are about declared kinds of field.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from airflow_jobs.calc.kernels import wall_law
from airflow_jobs.calc.quadrature import area_rule, wall_rule
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sections import Shape

ShapeFunction = Callable[[FloatArray, FloatArray], FloatArray]

FINE_NODES = 64


@dataclass(frozen=True)
class Field:
    """One velocity field.

    Attributes
    ----------
    kind : str
    shape, aspect
        Of the section.
    exponent : float
        n of the wall law.
    profile : callable
        g(xi, eta).
    mean : float
        Over the true area; same unit as `at` gives.
    """

    kind: str
    shape: Shape
    aspect: float
    exponent: float
    profile: ShapeFunction
    mean: float

    def at(self, xi: FloatArray, eta: FloatArray) -> FloatArray:
        """Velocity at normalised places."""
        law = wall_law(self.shape, self.aspect, xi, eta, exponent=self.exponent)
        velocity: FloatArray = law * self.profile(xi, eta)
        return velocity


def exact_mean(
    shape: Shape, aspect: float, exponent: float, profile: ShapeFunction, nodes: int = FINE_NODES
) -> float:
    """Mean of a field over the true area.

    Parameters
    ----------
    shape, aspect, exponent, profile
        As in `Field`.
    nodes : int
        Nodes a half side, or a radius.

    Returns
    -------
    float
    """
    if shape == "rectangular":
        node, weight = wall_rule(exponent, nodes)
        places = np.concatenate([-node, node])
        shares = 0.5 * np.concatenate([weight, weight])
        across, up = np.meshgrid(places, places, indexing="ij")
        return float(shares @ profile(across, up) @ shares)
    across, up, shares = area_rule(shape, aspect, exponent, nodes, nodes)
    return float(shares @ profile(across, up))


def field_of(
    kind: str, rng: np.random.Generator, *, shape: Shape = "rectangular", aspect: float = 1.0
) -> Field:
    """Draw one field of a kind.

    Parameters
    ----------
    kind : str
        A key of `KINDS`.
    rng : Generator
    shape, aspect
        Of the section.

    Returns
    -------
    Field
    """
    exponent, profile = KINDS[kind](rng)
    mean = exact_mean(shape, aspect, exponent, profile)
    return Field(kind, shape, aspect, exponent, profile, mean)


def _wall_exponent(rng: np.random.Generator) -> float:
    # Few values, so that the quadrature's nodes are worked out but once for each.
    return float(rng.choice([6.0, 7.0, 8.0, 9.0, 10.0]))


def _turn(rng: np.random.Generator) -> tuple[float, float]:
    angle = rng.uniform(0.0, 2.0 * np.pi)
    return float(np.cos(angle)), float(np.sin(angle))


Draw = Callable[[np.random.Generator], tuple[float, ShapeFunction]]


def _developed(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    return _wall_exponent(rng), lambda x, y: np.ones_like(x)


def _flat(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    return float(rng.choice([14.0, 20.0, 28.0])), lambda x, y: np.ones_like(x)


def _skewed(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    cosine, sine = _turn(rng)
    slope = rng.uniform(0.1, 0.4)
    return _wall_exponent(rng), lambda x, y: 1.0 + slope * (cosine * x + sine * y)


def _bend(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    cosine, sine = _turn(rng)
    slope, bow = rng.uniform(0.2, 0.5), rng.uniform(-0.25, 0.25)
    cross = rng.uniform(0.0, 0.2)

    def profile(x: FloatArray, y: FloatArray) -> FloatArray:
        along, across = cosine * x + sine * y, -sine * x + cosine * y
        return 1.0 + slope * along + bow * (along**2 - 0.3) + cross * along * across**2

    return _wall_exponent(rng), profile


def _jet(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    x0, y0 = rng.uniform(-0.4, 0.4, 2)
    wide, high = rng.uniform(0.4, 0.8, 2)
    rest = rng.uniform(0.15, 0.4)

    def profile(x: FloatArray, y: FloatArray) -> FloatArray:
        core: FloatArray = np.exp(-0.5 * (((x - x0) / wide) ** 2 + ((y - y0) / high) ** 2))
        return rest + core

    return float(rng.choice([10.0, 14.0, 20.0])), profile


def _two_streams(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    cosine, sine = _turn(rng)
    place, blend = rng.uniform(-0.4, 0.4), rng.uniform(0.2, 0.5)
    step = rng.uniform(0.15, 0.4)

    def profile(x: FloatArray, y: FloatArray) -> FloatArray:
        edge: FloatArray = np.tanh((cosine * x + sine * y - place) / blend)
        return 1.0 + step * edge

    return _wall_exponent(rng), profile


def _swirl(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    dip, core = rng.uniform(0.1, 0.4), rng.uniform(0.3, 0.6)
    lobes = rng.uniform(0.0, 0.12)
    cosine, sine = _turn(rng)

    def profile(x: FloatArray, y: FloatArray) -> FloatArray:
        square = x**2 + y**2
        eye: FloatArray = np.exp(-0.5 * square / core**2)
        return 1.0 - dip * eye + lobes * (cosine * (x**2 - y**2) + sine * 2.0 * x * y)

    return _wall_exponent(rng), profile


def _four_lobes(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    cosine, sine = _turn(rng)
    depth = rng.uniform(0.1, 0.3)

    def profile(x: FloatArray, y: FloatArray) -> FloatArray:
        real, imaginary = x**4 - 6.0 * x**2 * y**2 + y**4, 4.0 * x * y * (x**2 - y**2)
        return 1.0 + depth * (cosine * real + sine * imaginary)

    return _wall_exponent(rng), profile


def _fan(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    cosine, sine = _turn(rng)
    hub, ring = rng.uniform(0.3, 0.6), rng.uniform(0.2, 0.5)
    slope = rng.uniform(0.1, 0.35)

    def profile(x: FloatArray, y: FloatArray) -> FloatArray:
        radius = np.hypot(x, y)
        bump: FloatArray = np.exp(-0.5 * ((radius - 0.6) / 0.25) ** 2)
        eye: FloatArray = np.exp(-0.5 * (x**2 + y**2) / 0.25**2)
        return 0.9 + ring * bump - hub * eye + slope * (cosine * x + sine * y)

    return _wall_exponent(rng), profile


def _wake(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    """One broad wake, of a damper shaft or a strut: wider than a grid's spacing."""
    cosine, sine = _turn(rng)
    place, wide = rng.uniform(-0.5, 0.5), rng.uniform(0.2, 0.4)
    dip = rng.uniform(0.15, 0.4)

    def profile(x: FloatArray, y: FloatArray) -> FloatArray:
        deficit: FloatArray = np.exp(-0.5 * ((cosine * x + sine * y - place) / wide) ** 2)
        return 1.0 - dip * deficit

    return _wall_exponent(rng), profile


def _blades(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    """The wakes of several blades: finer than a grid of five."""
    across = bool(rng.integers(2))
    count = int(rng.integers(3, 7))
    start = rng.uniform(0.0, 2.0 * np.pi)
    dip = rng.uniform(0.1, 0.3)

    def profile(x: FloatArray, y: FloatArray) -> FloatArray:
        place = y if across else x
        ripple: FloatArray = np.cos(np.pi * count * place + start)
        return 1.0 + dip * ripple

    return _wall_exponent(rng), profile


def _backflow(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    cosine, sine = _turn(rng)
    slope = rng.uniform(0.95, 1.2)

    def profile(x: FloatArray, y: FloatArray) -> FloatArray:
        return 1.0 + slope * (cosine * x + sine * y)

    return _wall_exponent(rng), profile


def _rough(rng: np.random.Generator) -> tuple[float, ShapeFunction]:
    """A random smooth field: a dozen plane waves of falling size."""
    number = rng.normal(0.0, 1.6, (12, 2))
    start = rng.uniform(0.0, 2.0 * np.pi, 12)
    size = rng.normal(0.0, 0.06, 12)

    def profile(x: FloatArray, y: FloatArray) -> FloatArray:
        waves = np.ones_like(x)
        for (across, up), phase, height in zip(number, start, size, strict=True):
            waves = waves + height * np.cos(across * x * 2.0 + up * y * 2.0 + phase)
        return waves

    return _wall_exponent(rng), profile


KINDS: dict[str, Draw] = {
    "developed": _developed,
    "flat": _flat,
    "skewed": _skewed,
    "bend": _bend,
    "jet": _jet,
    "two streams": _two_streams,
    "swirl": _swirl,
    "four lobes": _four_lobes,
    "fan": _fan,
    "wake": _wake,
    "rough": _rough,
    "backflow": _backflow,
    "blades": _blades,
}
SMOOTH_KINDS = tuple(kind for kind in KINDS if kind not in ("backflow", "blades"))


def fields(
    kinds: tuple[str, ...],
    number: int,
    seed: int,
    *,
    shape: Shape = "rectangular",
    aspect: float = 1.0,
) -> list[Field]:
    """Draw several fields of each kind, always the same for one seed.

    Parameters
    ----------
    kinds : tuple of str
    number : int
        Of each kind.
    seed : int
    shape, aspect
        Of the section.

    Returns
    -------
    list of Field
    """
    rng = np.random.default_rng(seed)
    return [
        field_of(kind, rng, shape=shape, aspect=aspect) for kind in kinds for _ in range(number)
    ]
