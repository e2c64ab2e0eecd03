"""Where readings stand and what of the section they speak for."""

import numpy as np
import pytest

from airflow_jobs.calc.kernels import wall_law
from airflow_jobs.calc.layouts import Plan
from airflow_jobs.calc.quadrature import mean_of_wall_law
from airflow_jobs.calc.sampling import (
    insertion_angles_rad,
    line_sampling,
    lines_of_plan,
    point_sampling,
    points_of_plan,
    radius_sampling,
)
from tests.calc.samplings import (
    PLANS,
    RECTANGLE_5,
    TALL_OVAL,
    THREE_DIAMETERS,
    TWO_DIAMETERS,
    WIDE_OVAL,
)


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_points_stand_where_the_plan_puts_them(plan: Plan) -> None:
    sampling = points_of_plan(plan)
    np.testing.assert_allclose(sampling.xi, plan.xi, atol=1e-9)
    np.testing.assert_allclose(sampling.eta, plan.eta, atol=1e-9)
    np.testing.assert_array_equal(sampling.line, plan.line_of_point)
    assert sampling.count == plan.number_of_points


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_depths_grow_along_the_direction_of_insertion(plan: Plan) -> None:
    sampling = points_of_plan(plan)
    along = sampling.xi * np.cos(sampling.insertion_angle_rad) + sampling.eta * np.sin(
        sampling.insertion_angle_rad
    )
    for line in np.unique(sampling.line):
        assert (np.diff(along[sampling.line == line]) > 0.0).all()


def test_the_first_hole_of_a_round_duct_looks_down_its_own_axis() -> None:
    np.testing.assert_allclose(insertion_angles_rad([0.0, 90.0]), [-np.pi / 2, -np.pi], atol=1e-12)


def test_equal_places_are_equal_samplings_and_share_what_was_set_up() -> None:
    first = points_of_plan(RECTANGLE_5)
    again = point_sampling(
        shape="rectangular", xi=RECTANGLE_5.xi, eta=RECTANGLE_5.eta, line=RECTANGLE_5.line_of_point
    )
    nudged = point_sampling(
        shape="rectangular",
        xi=RECTANGLE_5.xi + 1e-12,
        eta=RECTANGLE_5.eta,
        line=RECTANGLE_5.line_of_point,
    )
    moved = point_sampling(
        shape="rectangular",
        xi=RECTANGLE_5.xi + 1e-6,
        eta=RECTANGLE_5.eta,
        line=RECTANGLE_5.line_of_point,
    )
    assert first == again
    assert hash(first) == hash(again)
    assert first == nudged
    assert first != moved
    assert first != "rectangular"


def test_keeping_some_readings_leaves_their_places() -> None:
    sampling = points_of_plan(RECTANGLE_5)
    present = np.arange(25) % 3 > 0
    kept = sampling.keep(present)
    np.testing.assert_array_equal(kept.xi, sampling.xi[present])
    assert sampling.keep(np.ones(25, dtype=bool)) is sampling
    lines = lines_of_plan(RECTANGLE_5).keep(np.arange(5) != 2)
    assert lines.count == 4
    assert lines.averaging is not None
    np.testing.assert_allclose(lines.averaging.sum(axis=1), 1.0)
    np.testing.assert_array_equal(np.unique(lines.line), [0, 1, 3, 4])


def test_a_mask_that_fits_nothing_is_refused() -> None:
    sampling = points_of_plan(RECTANGLE_5)
    with pytest.raises(ValueError, match=r"present has shape \(3,\)"):
        sampling.keep([True, False, True])
    with pytest.raises(ValueError, match="leaves no reading"):
        sampling.keep(np.zeros(25, dtype=bool))


@pytest.mark.parametrize("exponent", [5.0, 7.0, 10.0, 20.0])
def test_the_mean_along_a_line_is_that_of_the_wall_law(exponent: float) -> None:
    sampling = line_sampling(shape="rectangular", offset=[0.0, 0.6])
    law = wall_law("rectangular", 1.0, sampling.xi, sampling.eta, exponent=exponent)
    whole = exponent / (exponent + 1.0)
    np.testing.assert_allclose(
        sampling.averaged(law), [whole, 0.4 ** (1.0 / exponent) * whole], rtol=1e-7
    )


@pytest.mark.parametrize("plan", [WIDE_OVAL, TALL_OVAL], ids=["wide", "tall"])
def test_lines_of_an_oval_run_from_wall_to_wall(plan: Plan) -> None:
    sampling = lines_of_plan(plan)
    law = wall_law(plan.shape, sampling.aspect, sampling.xi, sampling.eta)
    for line in range(sampling.count):
        assert sampling.averaging is not None
        nodes = sampling.averaging[line] > 0.0
        assert law[nodes].min() < 0.15
        np.testing.assert_allclose(sampling.eta[nodes].mean(), 0.0, atol=1e-12)


def test_equal_lines_of_an_oval_have_nearly_the_mean_of_its_area() -> None:
    sampling = lines_of_plan(WIDE_OVAL)
    law = wall_law("flat_oval", sampling.aspect, sampling.xi, sampling.eta)
    assert sampling.averaged(law).mean() == pytest.approx(
        mean_of_wall_law("flat_oval", sampling.aspect, 7.0), rel=5e-3
    )


def test_the_mean_along_a_radius_is_that_of_the_area() -> None:
    sampling = radius_sampling(insertion_angle_rad=insertion_angles_rad([0.0, 60.0, 120.0]))
    law = wall_law("round", 1.0, sampling.xi, sampling.eta)
    np.testing.assert_allclose(
        sampling.averaged(law), mean_of_wall_law("round", 1.0, 7.0), rtol=1e-7
    )


def test_a_diameter_has_the_radius_of_its_hole_first() -> None:
    for plan in (THREE_DIAMETERS, TWO_DIAMETERS):
        sampling = lines_of_plan(plan)
        assert sampling.count == 2 * len(plan.lines)
        first_hole = sampling.averaged(sampling.eta)[:2]
        assert first_hole[0] > 0.0 > first_hole[1]


def test_a_diameter_has_no_depth_mean() -> None:
    with pytest.raises(ValueError, match="shape is 'round'"):
        line_sampling(shape="round", offset=[0.0])


def test_points_outside_the_section_are_refused() -> None:
    with pytest.raises(ValueError, match=r"xi, eta are 0\.8, 0\.8 at point 1"):
        point_sampling(shape="round", xi=[0.0, 0.8], eta=[0.0, 0.8], line=[0, 0])
    with pytest.raises(ValueError, match="they must be alike"):
        point_sampling(shape="round", xi=[0.0], eta=[0.0, 0.5], line=[0, 0])
    with pytest.raises(ValueError, match="a flat oval needs one above 0"):
        point_sampling(shape="flat_oval", xi=[0.0], eta=[0.0], line=[0])
