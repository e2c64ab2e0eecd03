"""Layouts that several tests of the numerical core use."""

import numpy as np

from airflow_jobs.calc.kernels import wall_distance
from airflow_jobs.calc.layouts import Plan, plan_by_rule
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sampling import Sampling, point_sampling, points_of_plan

RECTANGLE_5 = plan_by_rule("rectangular", "log_tchebycheff", 5, 5)
RECTANGLE_7 = plan_by_rule("rectangular", "log_tchebycheff", 7, 7)
EQUAL_AREA_5 = plan_by_rule("rectangular", "equal_area", 5, 5)
THREE_DIAMETERS = plan_by_rule("round", "log_linear", 3, 6)
TWO_DIAMETERS = plan_by_rule("round", "log_linear", 2, 6)
WIDE_OVAL = plan_by_rule("flat_oval", "log_tchebycheff", 5, 5, 2.0)
TALL_OVAL = plan_by_rule("flat_oval", "equal_area", 4, 6, 0.5)

PLANS: dict[str, Plan] = {
    "rectangle 5x5": RECTANGLE_5,
    "rectangle 7x7": RECTANGLE_7,
    "equal area 5x5": EQUAL_AREA_5,
    "three diameters": THREE_DIAMETERS,
    "two diameters": TWO_DIAMETERS,
    "wide oval": WIDE_OVAL,
    "tall oval": TALL_OVAL,
}

LINES_5 = 2.0 * np.array(RECTANGLE_5.lines) - 1.0


def grid(lines: FloatArray, depths: FloatArray) -> Sampling:
    """Points of a rectangle on a grid of lines and depths, normalised."""
    return point_sampling(
        shape="rectangular",
        xi=np.repeat(lines, depths.size),
        eta=np.tile(depths, lines.size),
        line=np.repeat(np.arange(lines.size), depths.size),
    )


def displaced(plan: Plan, rng: np.random.Generator, size: float) -> Sampling:
    """The points of a plan, each moved a little and kept inside the section."""
    planned = points_of_plan(plan)
    shift = rng.normal(0.0, size, (2, planned.count))
    for _ in range(12):
        xi, eta = planned.xi + shift[0], planned.eta + shift[1]
        reach = np.maximum(np.abs(xi), np.abs(eta)) < 0.98
        inside = reach & (wall_distance(planned.shape, planned.aspect, xi, eta) > 0.02)
        shift = np.where(inside, shift, 0.5 * shift)
    return point_sampling(
        shape=planned.shape,
        xi=xi,
        eta=eta,
        line=planned.line,
        insertion_angle_rad=planned.insertion_angle_rad,
        aspect=planned.aspect,
    )


def mirrored(sampling: Sampling, sign_x: float, sign_y: float) -> Sampling:
    """The same points seen in a mirror."""
    return point_sampling(
        shape=sampling.shape,
        xi=sign_x * sampling.xi,
        eta=sign_y * sampling.eta,
        line=sampling.line,
        insertion_angle_rad=np.arctan2(
            sign_y * np.sin(sampling.insertion_angle_rad),
            sign_x * np.cos(sampling.insertion_angle_rad),
        ),
        aspect=sampling.aspect,
    )
