"""The wall law, the correlation and their slopes."""

import numpy as np
import pytest
from scipy.special import gamma, kv

from airflow_jobs.calc.kernels import (
    matern52,
    matern52_slope,
    wall_distance,
    wall_law,
    wall_law_gradient,
)
from airflow_jobs.calc.sections import Shape

SECTIONS: list[tuple[Shape, float]] = [
    ("rectangular", 1.0),
    ("round", 1.0),
    ("flat_oval", 1.0),
    ("flat_oval", 2.5),
    ("flat_oval", 0.4),
]


def test_the_correlation_is_the_matern_function_of_smoothness_five_halves() -> None:
    distance = np.linspace(0.05, 4.0, 50)
    scaled = np.sqrt(5.0) * distance
    general = 2.0 ** (1.0 - 2.5) / gamma(2.5) * scaled**2.5 * kv(2.5, scaled)
    np.testing.assert_allclose(matern52(distance), general, rtol=1e-12)
    assert matern52(0.0) == 1.0


def test_the_correlation_is_even_and_its_slope_odd() -> None:
    distance = np.linspace(-3.0, 3.0, 61)
    np.testing.assert_array_equal(matern52(distance), matern52(-distance))
    np.testing.assert_array_equal(matern52_slope(distance), -matern52_slope(-distance))


def test_the_slope_of_the_correlation_agrees_with_differences() -> None:
    distance = np.linspace(-3.0, 3.0, 61)
    step = 1e-5
    differences = (matern52(distance + step) - matern52(distance - step)) / (2 * step)
    np.testing.assert_allclose(matern52_slope(distance), differences, atol=1e-9)


@pytest.mark.parametrize(("shape", "aspect"), SECTIONS)
def test_the_slope_of_the_wall_law_agrees_with_differences(shape: Shape, aspect: float) -> None:
    rng = np.random.default_rng(3)
    xi, eta = rng.uniform(-0.6, 0.6, (2, 200))
    step = 1e-6
    along, up = wall_law_gradient(shape, aspect, xi, eta)
    by_x = wall_law(shape, aspect, xi + step, eta) - wall_law(shape, aspect, xi - step, eta)
    by_y = wall_law(shape, aspect, xi, eta + step) - wall_law(shape, aspect, xi, eta - step)
    np.testing.assert_allclose(along, by_x / (2 * step), atol=2e-6)
    np.testing.assert_allclose(up, by_y / (2 * step), atol=2e-6)


@pytest.mark.parametrize(("shape", "aspect"), SECTIONS)
def test_the_wall_law_is_one_in_the_middle_and_zero_at_the_wall(
    shape: Shape, aspect: float
) -> None:
    assert wall_law(shape, aspect, 0.0, 0.0) == 1.0
    for xi, eta in ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)):
        assert wall_distance(shape, aspect, xi, eta) == pytest.approx(0.0, abs=1e-12)


def test_the_wall_law_has_no_slope_on_the_axis() -> None:
    assert wall_law_gradient("rectangular", 1.0, 0.0, 0.0) == (0.0, 0.0)
    assert wall_law_gradient("round", 1.0, 0.0, 0.0) == (0.0, 0.0)


def test_a_flat_oval_is_a_round_section_when_it_is_as_high_as_wide() -> None:
    rng = np.random.default_rng(4)
    xi, eta = rng.uniform(-0.7, 0.7, (2, 50))
    np.testing.assert_allclose(
        wall_distance("flat_oval", 1.0, xi, eta), wall_distance("round", 1.0, xi, eta), atol=1e-15
    )


def test_turning_an_oval_swaps_its_coordinates() -> None:
    rng = np.random.default_rng(5)
    xi, eta = rng.uniform(-0.6, 0.6, (2, 50))
    np.testing.assert_allclose(
        wall_distance("flat_oval", 2.5, xi, eta), wall_distance("flat_oval", 0.4, eta, xi)
    )


def test_an_unknown_shape_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="shape is 'hexagonal'"):
        wall_distance("hexagonal", 1.0, 0.0, 0.0)  # type: ignore[arg-type]
