"""Simulated measurements of a field, with every error of the budget drawn as declared."""

from dataclasses import dataclass

import numpy as np

from airflow_jobs.calc import components, sweeps
from airflow_jobs.calc.air import moist_air_density_kg_m3
from airflow_jobs.calc.instruments import instruments
from airflow_jobs.calc.kernels import wall_distance
from airflow_jobs.calc.layouts import Plan
from airflow_jobs.calc.ovals import oval_chord
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sampling import Sampling, points_of_plan
from airflow_jobs.calc.sections import area_m2
from airflow_jobs.calc.traverse_batch import Mode, TraverseBatch
from benchmarks.fields import Field

DRY_BULB_C, HUMIDITY, PRESSURE_PA = 24.0, 0.5, 96000.0
DRY_BULB_U_C, HUMIDITY_U, PRESSURE_U_PA = 0.7, 0.08, 600.0
TOLERANCE_M = 0.003
RESOLUTION_M_S = 0.01
VELOCITY_M_S = 4.0
# Turbulence that the averaging of one reading leaves, relative.
READING_NOISE = 0.02
LINE_NODES = 60


@dataclass(frozen=True)
class Way:
    """A way of measuring.

    Attributes
    ----------
    name : str
    plan : Plan
    along_m, depth_m : float
        Inside extents along the drilled side and along the depth.
    mode : {'points', 'sweeps', 'average'}
    hole_shift : float
        Standard deviation of holes drilled elsewhere and written down, share of the side.
    missing : int
        Readings that are missing, other ones for every field.
    gap_m : float
        Unswept strip at each wall.
    blades : bool
        The siting says that blades are close.
    """

    name: str
    plan: Plan
    along_m: float
    depth_m: float
    mode: Mode = "points"
    hole_shift: float = 0.0
    missing: int = 0
    gap_m: float = 0.0
    blades: bool = False


@dataclass(frozen=True)
class Measured:
    """Traverses of one field and the flow that there truly was.

    Attributes
    ----------
    batch : TraverseBatch
    flow_m3_s : ndarray, shape (N,)
        True actual flow, averaged over the time of the traverse.
    """

    batch: TraverseBatch
    flow_m3_s: FloatArray


def measured(
    way: Way, field: Field, number: int, rng: np.random.Generator, *, accuracy: float
) -> Measured:
    """Measure one field many times, with new errors each time.

    Parameters
    ----------
    way : Way
    field : Field
    number : int
        N.
    rng : Generator
    accuracy : float
        Relative limit of error of the meter.

    Returns
    -------
    Measured
    """
    taken = _taken(way, rng)
    round_ = way.plan.shape == "round"
    width = way.along_m + _limits(rng, TOLERANCE_M, number)
    height = width if round_ else way.depth_m + _limits(rng, TOLERANCE_M, number)
    area = area_m2(way.plan.shape, width_m=width, height_m=height)
    air = {
        "dry_bulb_c": DRY_BULB_C + rng.normal(0.0, DRY_BULB_U_C, number),
        "relative_humidity": (HUMIDITY + rng.normal(0.0, HUMIDITY_U, number)).clip(0.01, 0.99),
        "pressure_pa": PRESSURE_PA + rng.normal(0.0, PRESSURE_U_PA, number),
    }
    density = moist_air_density_kg_m3(**air)
    meter = instruments(principle="thermal", shows="standard_velocity")
    places = points_of_plan(taken)
    level = VELOCITY_M_S / field.mean
    if way.mode == "points":
        actual = level * _at_points(field, places, way, number, rng)
    else:
        actual = level * _along_lines(field, taken, way, number, rng)
    # A thermal sensor can't tell backflow; it reads as positive.
    reading = np.abs(actual) * _plant(rng, actual.shape)
    reading = reading * (density / meter.reference_density_kg_m3)[:, None]
    reading = reading * (1.0 + _limits(rng, accuracy, number))[:, None]
    if way.mode == "average":
        reading = _averaged_by_time(reading, rng)
    reading = RESOLUTION_M_S * np.round(reading / RESOLUTION_M_S)
    if way.missing:
        reading[:, rng.choice(reading.shape[1], way.missing, replace=False)] = np.nan
    batch = TraverseBatch(
        plan=way.plan,
        taken=taken if way.hole_shift else None,
        mode=way.mode,
        readings=reading,
        instruments=meter,
        width_m=np.asarray(way.along_m),
        height_m=np.asarray(way.depth_m),
        dry_bulb_c=np.asarray(DRY_BULB_C),
        relative_humidity=np.asarray(HUMIDITY),
        pressure_pa=np.asarray(PRESSURE_PA),
        dry_bulb_u_c=np.asarray(DRY_BULB_U_C),
        relative_humidity_u=np.asarray(HUMIDITY_U),
        pressure_u_pa=np.asarray(PRESSURE_U_PA),
        direction_response=np.asarray(0, dtype=np.int8),
        accuracy_relative=np.asarray(accuracy),
        resolution_m_s=np.asarray(RESOLUTION_M_S),
        dimension_tolerance_m=np.asarray(TOLERANCE_M),
        near_gap_m=np.asarray(way.gap_m),
        far_gap_m=np.asarray(way.gap_m),
        blades_within_5_diameters=np.asarray(way.blades),
    )
    return Measured(batch=batch, flow_m3_s=VELOCITY_M_S * area)


def _limits(rng: np.random.Generator, half: float, number: int) -> FloatArray:
    return rng.uniform(-half, half, number)


def _taken(way: Way, rng: np.random.Generator) -> Plan:
    """Where holes really are: on plan, or each moved by a share of the side."""
    if not way.hole_shift:
        return way.plan
    lines = np.array(way.plan.lines)
    shift = way.hole_shift * (180.0 if way.plan.shape == "round" else 1.0)
    moved = lines + rng.normal(0.0, shift, lines.size)
    if way.plan.shape != "round":
        moved = np.sort(moved.clip(0.03, 0.97))
    return Plan(way.plan.shape, way.plan.rule, tuple(moved), way.plan.depths, way.plan.oval_aspect)


def _kept_inside(
    places: Sampling, xi: FloatArray, eta: FloatArray, shift_x: FloatArray, shift_y: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Places moved, but no nearer to the wall than a sensor can come."""
    for _ in range(6):
        moved_x, moved_y = xi + shift_x, eta + shift_y
        inside = (np.abs(moved_x) < 0.985) & (np.abs(moved_y) < 0.985)
        inside &= wall_distance(places.shape, places.aspect, moved_x, moved_y) > 0.005
        shift_x, shift_y = (
            np.where(inside, shift_x, 0.5 * shift_x),
            np.where(inside, shift_y, 0.5 * shift_y),
        )
    return xi + shift_x, eta + shift_y


def _at_points(
    field: Field, places: Sampling, way: Way, number: int, rng: np.random.Generator
) -> FloatArray:
    """Velocities at points, each displaced by its own, its hole's and its line's error of place."""
    count, lines = places.count, int(places.line.max()) + 1
    cosine, sine = np.cos(places.insertion_angle_rad), np.sin(places.insertion_angle_rad)
    hole = rng.normal(0.0, components.HOLE_PLACE_U_M, (number, lines))[:, places.line]
    depth = rng.normal(0.0, components.DEPTH_PLACE_U_M, (number, lines))[:, places.line]
    own = rng.normal(0.0, components.POINT_PLACE_U_M, (2, number, count))
    shift_x = (own[0] + depth * cosine - hole * sine) * 2.0 / way.along_m
    shift_y = (own[1] + depth * sine + hole * cosine) * 2.0 / way.depth_m
    xi, eta = _kept_inside(places, places.xi, places.eta, shift_x, shift_y)
    tilt = rng.normal(0.0, components.COMMON_TILT_RAD, (number, 1))
    tilt = tilt + rng.normal(0.0, components.POINT_TILT_RAD, (number, count))
    noise = 1.0 + READING_NOISE * rng.standard_normal((number, count))
    return field.at(xi, eta) * np.cos(tilt) * noise


def _along_lines(
    field: Field, taken: Plan, way: Way, number: int, rng: np.random.Generator
) -> FloatArray:
    """Means over drawn lines of a rectangle or oval, from gap to gap, at an uneven pace."""
    offset = 2.0 * np.array(taken.lines) - 1.0
    aspect = taken.oval_aspect
    half = oval_chord(offset, aspect) if aspect is not None else np.ones_like(offset)
    gap = 2.0 * way.gap_m / way.depth_m
    node = (np.arange(LINE_NODES) + 0.5) / LINE_NODES * 2.0 - 1.0
    hole = rng.normal(0.0, components.HOLE_PLACE_U_M, (number, offset.size)) * 2.0 / way.along_m
    xi = (offset + hole).clip(-0.985, 0.985)[:, :, None]
    eta = ((half - gap)[:, None] * node)[None]
    xi, eta = np.broadcast_arrays(xi, eta)
    swept: FloatArray = field.at(xi, eta).mean(axis=2)
    tilt = rng.normal(0.0, components.COMMON_TILT_RAD, (number, 1))
    tilt = tilt + rng.normal(0.0, components.POINT_TILT_RAD, swept.shape)
    pace = 1.0 + sweeps.UNEVEN_PACE_U * rng.standard_normal((number, 1))
    noise = 1.0 + 0.5 * READING_NOISE * rng.standard_normal(swept.shape)
    return swept * np.cos(tilt) * pace * noise


def _averaged_by_time(lines: FloatArray, rng: np.random.Generator) -> FloatArray:
    """One average of lines that took unequal times, each weighing by its time."""
    seconds = rng.normal(12.0, 2.0, lines.shape).clip(5.0, None)
    averaged: FloatArray = np.sum(lines * seconds, axis=1) / np.sum(seconds, axis=1)
    return averaged[:, None]


def _plant(rng: np.random.Generator, shape: tuple[int, ...]) -> FloatArray:
    """A plant that drifts straight through the traverse, and wanders a little beside that."""
    order = np.linspace(-0.5, 0.5, shape[1])
    drift = rng.normal(0.0, components.DRIFT_U, (shape[0], 1))
    rest = rng.normal(0.0, components.DRIFT_U * components.DRIFT_SHARE_OF_ITSELF, (shape[0], 1))
    return 1.0 + drift * order + rest
