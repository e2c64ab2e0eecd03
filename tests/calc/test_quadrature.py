"""Means over the area, held against general-purpose adaptive quadrature."""

import numpy as np
import pytest
from scipy.integrate import dblquad, quad

from airflow_jobs.calc.kernels import matern52, wall_law
from airflow_jobs.calc.quadrature import (
    Ranges,
    area_rule,
    double_mean_covariances,
    mean_covariances,
    mean_of_wall_law,
)
from airflow_jobs.calc.sections import Shape

# What the method asks of every integral.
TOLERANCE = 1e-6
EXPONENTS = (5.0, 7.0, 10.0, 20.0)
RANGES: Ranges = ((1.0, 1.0), (0.25, 1.0), (0.35, 0.35))
PLACES = [(0.0, 0.0), (0.3, -0.6), (-0.85, 0.1), (0.02, 0.96)]


def _line_mean(exponent: float, reach: float, place: float) -> float:
    def weighted(t: float, side: float) -> float:
        return float(matern52((place - side * t) / reach))

    total = 0.0
    for side in (-1.0, 1.0):
        # The kink of the correlation at the place itself is where to split.
        split = side * place if 0.0 < side * place < 1.0 else 0.5
        inner, _ = quad(
            lambda t, s=side: (1.0 - t) ** (1.0 / exponent) * weighted(t, s), 0.0, split,
            epsabs=1e-12,
        )  # fmt: skip
        outer, _ = quad(
            weighted, split, 1.0, args=(side,), weight="alg", wvar=(0.0, 1.0 / exponent),
            epsabs=1e-12,
        )  # fmt: skip
        total += inner + outer
    return 0.5 * total


@pytest.mark.parametrize("exponent", EXPONENTS)
def test_means_over_a_rectangle_agree_with_adaptive_quadrature(exponent: float) -> None:
    for xi, eta in PLACES:
        got = mean_covariances(
            "rectangular", 1.0, exponent, RANGES, np.array([xi]), np.array([eta])
        )
        for index, (reach_x, reach_y) in enumerate(RANGES):
            expected = _line_mean(exponent, reach_x, xi) * _line_mean(exponent, reach_y, eta)
            assert got[index, 0] == pytest.approx(expected, rel=TOLERANCE)


@pytest.mark.parametrize("exponent", EXPONENTS)
def test_double_means_over_a_rectangle_agree_with_adaptive_quadrature(exponent: float) -> None:
    def outer(place: float, reach: float) -> float:
        return _line_mean(exponent, reach, place)

    got = double_mean_covariances("rectangular", 1.0, exponent, ((0.35, 0.35),))
    half, _ = quad(
        outer, 0.0, 1.0, args=(0.35,), weight="alg", wvar=(0.0, 1.0 / exponent), epsabs=1e-9
    )
    assert got[0] == pytest.approx(half**2, rel=TOLERANCE)


@pytest.mark.parametrize("place", [(0.0, 0.0), (0.3, -0.6), (0.9, 0.1)])
def test_means_over_a_round_section_agree_with_adaptive_quadrature(
    place: tuple[float, float],
) -> None:
    exponent, reach = 7.0, 0.6
    xi, eta = place

    # The fifth root of the distance to the wall is a smooth variable to integrate over.
    def integrand(angle: float, root: float) -> float:
        radius = 1.0 - root**5
        law = root ** (5.0 / exponent)
        x, y = radius * np.cos(angle), radius * np.sin(angle)
        near = matern52((x - xi) / reach) * matern52((y - eta) / reach)
        return float(law * near * radius * 5.0 * root**4)

    total, _ = dblquad(integrand, 0.0, 1.0, 0.0, 2.0 * np.pi, epsabs=1e-9, epsrel=1e-9)
    got = mean_covariances(
        "round", 1.0, exponent, ((reach, reach),), np.array([xi]), np.array([eta])
    )
    assert got[0, 0] == pytest.approx(total / np.pi, rel=TOLERANCE)


@pytest.mark.parametrize("aspect", [1.0, 1.4, 3.0, 0.5])
def test_the_rule_of_an_oval_gives_its_area_and_its_wall_law(aspect: float) -> None:
    xi, eta, weight = area_rule("flat_oval", aspect, 7.0)
    law = wall_law("flat_oval", aspect, xi, eta)
    # Weights hold the law: without it they are shares of the area.
    assert np.sum(weight / law) == pytest.approx(1.0, abs=2e-3)
    long = max(aspect, 1.0 / aspect)
    straight, power = long - 1.0, 1.0 / 7.0
    ends = 2.0 * np.pi * (1.0 / (power + 1.0) - 1.0 / (power + 2.0))
    middle = 4.0 * straight / (power + 1.0)
    expected = (ends + middle) / (np.pi + 4.0 * straight)
    assert mean_of_wall_law("flat_oval", aspect, 7.0) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("shape", "aspect"), [("round", 1.0), ("flat_oval", 1.3), ("flat_oval", 4.0)]
)
def test_more_nodes_change_nothing_that_matters(shape: Shape, aspect: float) -> None:
    places = np.array([(0.0, 0.0), (0.3, -0.6), (-0.6, 0.3), (0.1, 0.9)])
    for exponent in EXPONENTS:
        got = mean_covariances(shape, aspect, exponent, RANGES, *places.T)
        xi, eta, weight = area_rule(shape, aspect, exponent, 80, 80)
        for index, (reach_x, reach_y) in enumerate(RANGES):
            near = matern52((places[:, :1] - xi) / reach_x)
            near = near * matern52((places[:, 1:] - eta) / reach_y)
            np.testing.assert_allclose(got[index], near @ weight, rtol=TOLERANCE)


@pytest.mark.parametrize(("shape", "aspect"), [("round", 1.0), ("flat_oval", 2.0)])
def test_the_mean_of_a_mean_is_the_double_mean(shape: Shape, aspect: float) -> None:
    xi, eta, weight = area_rule(shape, aspect, 7.0)
    ranges: Ranges = ((1.0, 1.0), (0.35, 0.35))
    direct = mean_covariances(shape, aspect, 7.0, ranges, xi, eta) @ weight
    got = double_mean_covariances(shape, aspect, 7.0, ranges)
    np.testing.assert_allclose(got, direct, rtol=TOLERANCE)


def test_an_oval_as_high_as_wide_has_the_means_of_a_round_section() -> None:
    round_mean = mean_covariances("round", 1.0, 7.0, RANGES, np.array([0.3]), np.array([-0.5]))
    oval_mean = mean_covariances("flat_oval", 1.0, 7.0, RANGES, np.array([0.3]), np.array([-0.5]))
    np.testing.assert_allclose(oval_mean, round_mean, rtol=TOLERANCE)


def test_a_rectangle_has_no_rule_of_two_dimensions() -> None:
    with pytest.raises(ValueError, match="shape is 'rectangular'"):
        area_rule("rectangular", 1.0, 7.0)
