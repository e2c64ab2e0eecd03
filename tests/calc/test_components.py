"""Components of the budget, one by one, against chance and against the judge."""

import numpy as np
import pytest
import uncertainties

from airflow_jobs.calc.components import (
    DEPTH_PLACE_U_M,
    HOLE_PLACE_U_M,
    POINT_PLACE_U_M,
    area_u,
    calibration_u,
    drift_u,
    position_u,
    resolution_u,
)
from airflow_jobs.calc.integration import transfer_covariance, transfer_weights
from airflow_jobs.calc.layouts import Plan
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sampling import Sampling, lines_of_plan, points_of_plan
from airflow_jobs.calc.sections import Shape, area_m2
from tests.calc.samplings import RECTANGLE_5, RECTANGLE_7, THREE_DIAMETERS, WIDE_OVAL


def _one(value: float) -> FloatArray:
    return np.array([value])


def test_the_meter_enters_with_both_of_its_limits() -> None:
    u = calibration_u(
        accuracy_relative=_one(0.03),
        accuracy_absolute_m_s=_one(0.06),
        velocity_mean_m_s=_one(3.0),
    )
    assert u[0] == pytest.approx(np.hypot(0.03, 0.02) / 3**0.5)
    assert np.isnan(
        calibration_u(
            accuracy_relative=_one(0.03),
            accuracy_absolute_m_s=_one(0.0),
            velocity_mean_m_s=_one(-1.0),
        )[0]
    )


@pytest.mark.parametrize(
    ("relative", "absolute", "expected"),
    [(np.nan, np.nan, 0.05), (np.nan, 0.06, 0.02), (0.03, np.nan, 0.03)],
)
def test_what_is_not_known_of_a_meter_is_zero_unless_nothing_is(
    relative: float, absolute: float, expected: float
) -> None:
    u = calibration_u(
        accuracy_relative=_one(relative),
        accuracy_absolute_m_s=_one(absolute),
        velocity_mean_m_s=_one(3.0),
    )
    assert u[0] == pytest.approx(expected / 3**0.5)


def test_the_last_digit_does_what_rounding_does() -> None:
    rng = np.random.default_rng(61)
    exact = rng.uniform(2.0, 4.0, (20000, 25))
    errors = (0.1 * np.round(exact / 0.1) - exact).mean(axis=1)
    u = resolution_u(
        resolution_m_s=_one(0.1), weights=np.full(25, 0.04), velocity_mean_m_s=_one(3.0)
    )
    assert errors.std() / 3.0 == pytest.approx(u[0], rel=0.03)


@pytest.mark.parametrize(
    ("shape", "width", "height", "lining"),
    [
        ("rectangular", 0.4, 0.6, 0.0),
        ("rectangular", 0.4, 0.6, 0.025),
        ("round", 0.4, 0.4, 0.0),
        ("round", 0.4, 0.4, 0.025),
        ("flat_oval", 0.6, 0.3, 0.0),
        ("flat_oval", 0.6, 0.3, 0.025),
    ],
)
def test_the_area_is_as_uncertain_as_the_judge_says(
    shape: Shape, width: float, height: float, lining: float
) -> None:
    size_u = 0.003 / 3**0.5
    wide = uncertainties.ufloat(width + 2 * lining, size_u)
    high = wide if shape == "round" else uncertainties.ufloat(height + 2 * lining, size_u)
    thick = uncertainties.ufloat(lining, size_u) if lining else 0.0
    inner_w, inner_h = wide - 2 * thick, high - 2 * thick
    area = inner_w * inner_h
    if shape != "rectangular":
        area = np.pi / 4 * inner_h**2 + inner_h * (inner_w - inner_h)
    assert area.nominal_value == pytest.approx(
        float(area_m2(shape, width_m=width, height_m=height))
    )
    got = area_u(
        shape=shape,
        width_m=_one(width),
        height_m=_one(height),
        tolerance_m=_one(0.003),
        lining_thickness_m=_one(lining),
    )[0]
    assert got == pytest.approx(area.std_dev / area.nominal_value, rel=1e-9)


def test_the_lining_of_a_rectangle_counts_both_walls_of_both_sides() -> None:
    bare, lined = (
        area_u(
            shape="rectangular",
            width_m=_one(0.4),
            height_m=_one(0.5),
            tolerance_m=_one(0.003),
            lining_thickness_m=_one(thickness),
        )[0]
        for thickness in (0.0, 0.025)
    )
    expected = 2 * 0.003 / 3**0.5 * (1 / 0.4 + 1 / 0.5)
    assert np.sqrt(lined**2 - bare**2) == pytest.approx(expected)


def test_a_drift_that_goes_with_the_readings_is_not_averaged_out() -> None:
    order = np.linspace(-0.5, 0.5, 25)
    weights = np.full(25, 0.04)
    even = drift_u(np.full((1, 25), 3.0), weights=weights, time_order=order,
                   velocity_mean_m_s=_one(3.0))  # fmt: skip
    assert even[0] == pytest.approx(0.02 * 0.15)
    rising = 3.0 * (1.0 + order)[None]
    unbalanced = drift_u(rising, weights=weights, time_order=order, velocity_mean_m_s=_one(3.0))
    assert unbalanced[0] == pytest.approx(0.02 * (np.mean(order**2) + 0.15))


def _position(
    velocity: FloatArray, plan: Plan, along_m: float, depth_m: float, lines: bool = False
) -> float:
    places = lines_of_plan(plan) if lines else points_of_plan(plan)
    mean = velocity @ transfer_weights(places, places)
    return float(
        position_u(
            velocity[None],
            planned=places,
            actual=places,
            along_m=_one(along_m),
            depth_m=_one(depth_m),
            velocity_mean_m_s=np.array([mean]),
        )[0]
    )


@pytest.mark.parametrize(
    ("plan", "along_m", "depth_m"),
    [(RECTANGLE_7, 1.2, 0.9), (THREE_DIAMETERS, 0.8, 0.8), (WIDE_OVAL, 1.2, 0.6)],
    ids=["rectangle", "round", "oval"],
)
def test_the_position_term_is_what_chance_displacements_do(
    plan: Plan, along_m: float, depth_m: float
) -> None:
    rng = np.random.default_rng(62)
    places = points_of_plan(plan)
    readings = 3.0 * (1.0 + 0.3 * places.xi - 0.2 * places.eta + 0.1 * places.xi**2)
    covariance = transfer_covariance(places, places) + 0.01 * np.eye(places.count)
    solved = np.linalg.solve(covariance, readings)

    def fitted(xi: FloatArray, eta: FloatArray) -> FloatArray:
        moved = Sampling(places.shape, places.aspect, xi, eta, places.line,
                         places.insertion_angle_rad)  # fmt: skip
        result: FloatArray = transfer_covariance(moved, places) @ solved
        return result

    # Small displacements: the term is a first-order one. A kink on the axis has no first order
    # there; mirrored pairs of displacements take its even part out.
    scale = 0.02
    lines = int(places.line.max()) + 1
    cosine, sine = np.cos(places.insertion_angle_rad), np.sin(places.insertion_angle_rad)
    means = []
    for _ in range(3000):
        own = scale * rng.normal(0.0, POINT_PLACE_U_M, (2, places.count))
        hole = scale * rng.normal(0.0, HOLE_PLACE_U_M, lines)[places.line]
        depth = scale * rng.normal(0.0, DEPTH_PLACE_U_M, lines)[places.line]
        shift_x = (own[0] + depth * cosine - hole * sine) * 2.0 / along_m
        shift_y = (own[1] + depth * sine + hole * cosine) * 2.0 / depth_m
        there = fitted(places.xi + shift_x, places.eta + shift_y)
        back = fitted(places.xi - shift_x, places.eta - shift_y)
        means.append(0.5 * np.mean(there - back))
    expected = np.std(means) / scale / readings.mean()
    assert _position(readings, plan, along_m, depth_m) == pytest.approx(expected, rel=0.05)


def test_a_larger_duct_forgives_errors_of_place() -> None:
    velocity = 3.0 * (1.0 + 0.3 * RECTANGLE_5.xi)
    small = _position(velocity, RECTANGLE_5, 0.3, 0.3)
    large = _position(velocity, RECTANGLE_5, 0.9, 0.9)
    assert small == pytest.approx(3.0 * large, rel=1e-9)


def test_swept_lines_have_errors_of_their_holes_but_hardly_of_depth() -> None:
    velocity = np.array([2.6, 3.0, 3.2, 3.1, 2.9])
    narrow = _position(velocity, RECTANGLE_5, 0.3, 0.6, lines=True)
    shallow = _position(velocity, RECTANGLE_5, 0.6, 0.3, lines=True)
    assert narrow > 1.5 * shallow
