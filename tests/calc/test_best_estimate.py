"""The mixture: exact on its own laws, equivariant, honest about its error."""

import numpy as np
import pytest
from scipy.special import logsumexp

from airflow_jobs.calc.best_estimate import (
    NOISE_RATIOS,
    RECTANGULAR_RANGES,
    ROUND_RANGES,
    TEMPERING,
    WALL_EXPONENTS,
    estimate_mean,
    expected_wall_factor,
    mixture_for,
)
from airflow_jobs.calc.coverage_factor import student_factor
from airflow_jobs.calc.kernels import matern52, wall_law
from airflow_jobs.calc.layouts import Plan
from airflow_jobs.calc.quadratic_forms import prepared_forms, symmetric_basis
from airflow_jobs.calc.quadrature import (
    double_mean_covariances,
    mean_covariances,
    mean_of_wall_law,
)
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sampling import Sampling, lines_of_plan, points_of_plan
from airflow_jobs.calc.spatial import arm_spread, spatial_constants, spatial_uncertainty
from benchmarks.fields import SMOOTH_KINDS, fields
from tests.calc.samplings import (
    EQUAL_AREA_5,
    PLANS,
    RECTANGLE_5,
    RECTANGLE_7,
    THREE_DIAMETERS,
    TWO_DIAMETERS,
    WIDE_OVAL,
    displaced,
    mirrored,
)


def _slowly(velocity: FloatArray, sampling: Sampling) -> tuple[float, float]:
    """The mixture of one traverse, written out component by component."""
    ranges = RECTANGULAR_RANGES if sampling.shape == "rectangular" else ROUND_RANGES
    count = sampling.count
    logs, means, variances = [], [], []
    for exponent, first in WALL_EXPONENTS:
        law = wall_law(
            sampling.shape, sampling.aspect, sampling.xi, sampling.eta, exponent=exponent
        )
        area_law = mean_of_wall_law(sampling.shape, sampling.aspect, exponent)
        for (reach_x, reach_y), second in ranges:
            pair = ((reach_x, reach_y),)
            near = matern52((sampling.xi[:, None] - sampling.xi) / reach_x)
            near = near * matern52((sampling.eta[:, None] - sampling.eta) / reach_y)
            area = law * mean_covariances(
                sampling.shape, sampling.aspect, exponent, pair, sampling.xi, sampling.eta
            )[0]  # fmt: skip
            double = double_mean_covariances(sampling.shape, sampling.aspect, exponent, pair)[0]
            for noise, third in NOISE_RATIOS:
                matrix = np.outer(law, law) * near + noise**2 * np.eye(count)
                inverse = np.linalg.inv(matrix)
                information = law @ inverse @ law
                explained = inverse @ law
                projector = inverse - np.outer(explained, explained) / information
                weights = projector @ area + explained * area_law / information
                variance = double - 2.0 * weights @ area + weights @ matrix @ weights
                scale = max(
                    velocity @ projector @ velocity / (count - 1), 1e-12 * velocity.mean() ** 2
                )
                logs.append(
                    np.log(first * second * third)
                    - 0.5 * np.linalg.slogdet(matrix)[1]
                    - 0.5 * np.log(information)
                    - 0.5 * (count - 1) * np.log(scale)
                )
                means.append(weights @ velocity)
                variances.append(scale * max(variance, 1e-12))
    tempered = TEMPERING * np.array(logs)
    share = np.exp(tempered - logsumexp(tempered))
    mean = share @ np.array(means)
    return float(mean), float(
        np.sqrt(share @ (np.array(variances) + (np.array(means) - mean) ** 2))
    )


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_many_traverses_at_once_give_what_one_gives_written_out(plan: Plan) -> None:
    rng = np.random.default_rng(21)
    for sampling in (points_of_plan(plan), displaced(plan, rng, 0.1)):
        velocity = 3.0 + 0.5 * rng.standard_normal((4, sampling.count))
        estimate = estimate_mean(velocity, sampling)
        for row in range(4):
            mean, deviation = _slowly(velocity[row], sampling)
            assert estimate.velocity_m_s[row] == pytest.approx(mean, rel=1e-9)
            assert estimate.deviation_m_s[row] == pytest.approx(deviation, rel=1e-8)


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
@pytest.mark.parametrize("exponent", [5.0, 7.0, 10.0, 20.0])
def test_a_pure_wall_law_has_its_exact_mean(plan: Plan, exponent: float) -> None:
    sampling = points_of_plan(plan)
    law = wall_law(sampling.shape, sampling.aspect, sampling.xi, sampling.eta, exponent=exponent)
    estimate = estimate_mean(4.0 * law[None], sampling)
    exact = 4.0 * mean_of_wall_law(sampling.shape, sampling.aspect, exponent)
    assert estimate.velocity_m_s[0] == pytest.approx(exact, rel=1e-9)
    assert estimate.deviation_m_s[0] < 1e-5


def test_there_are_forty_components_for_rectangles_and_thirty_two_elsewhere() -> None:
    assert mixture_for(points_of_plan(RECTANGLE_5)).predictors.shape == (40, 25)
    assert mixture_for(points_of_plan(THREE_DIAMETERS)).predictors.shape == (32, 18)
    assert mixture_for(points_of_plan(WIDE_OVAL)).predictors.shape == (32, 25)
    for priors in (WALL_EXPONENTS, RECTANGULAR_RANGES, ROUND_RANGES, NOISE_RATIOS):
        assert sum(share for _, share in priors) == pytest.approx(1.0)


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_every_component_reproduces_its_own_law(plan: Plan) -> None:
    sampling = points_of_plan(plan)
    mixture = mixture_for(sampling)
    per_exponent = mixture.predictors.shape[0] // len(WALL_EXPONENTS)
    for index, (exponent, _) in enumerate(WALL_EXPONENTS):
        law = wall_law(
            sampling.shape, sampling.aspect, sampling.xi, sampling.eta, exponent=exponent
        )
        chosen = mixture.predictors[index * per_exponent : (index + 1) * per_exponent]
        exact = mean_of_wall_law(sampling.shape, sampling.aspect, exponent)
        np.testing.assert_allclose(chosen @ law, exact, rtol=1e-10)


def test_uniform_readings_stand_for_a_mean_one_to_two_percent_lower() -> None:
    for plan, low, high in ((RECTANGLE_5, 0.98, 0.995), (EQUAL_AREA_5, 0.97, 0.99)):
        sampling = points_of_plan(plan)
        estimate = estimate_mean(np.full((1, sampling.count), 3.0), sampling)
        assert low < estimate.velocity_m_s[0] / 3.0 < high


def test_without_a_profile_developed_flow_is_expected() -> None:
    even_5, even_25 = np.full(5, 0.2), np.full(25, 0.04)
    lines = expected_wall_factor(lines_of_plan(RECTANGLE_5), even_5)
    assert lines == pytest.approx(1.0, abs=2e-3)
    grid = expected_wall_factor(points_of_plan(EQUAL_AREA_5), even_25)
    assert 0.96 < grid < 0.98


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_the_estimate_scales_with_the_readings(plan: Plan) -> None:
    rng = np.random.default_rng(22)
    sampling = points_of_plan(plan)
    velocity = 3.0 + 0.4 * rng.standard_normal((3, sampling.count))
    once, tenfold = estimate_mean(velocity, sampling), estimate_mean(10.0 * velocity, sampling)
    np.testing.assert_allclose(tenfold.velocity_m_s, 10.0 * once.velocity_m_s, rtol=1e-10)
    np.testing.assert_allclose(tenfold.deviation_m_s, 10.0 * once.deviation_m_s, rtol=1e-8)


@pytest.mark.parametrize("signs", [(-1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)])
@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_a_mirror_changes_no_estimate(plan: Plan, signs: tuple[float, float]) -> None:
    rng = np.random.default_rng(23)
    actual = displaced(plan, rng, 0.1)
    velocity = 3.0 + 0.4 * rng.standard_normal((3, actual.count))
    once = estimate_mean(velocity, actual)
    seen = estimate_mean(velocity, mirrored(actual, *signs))
    np.testing.assert_allclose(seen.velocity_m_s, once.velocity_m_s, rtol=1e-9)
    np.testing.assert_allclose(seen.deviation_m_s, once.deviation_m_s, rtol=1e-8)


def test_the_order_of_the_readings_changes_no_estimate() -> None:
    rng = np.random.default_rng(24)
    actual = displaced(RECTANGLE_5, rng, 0.1)
    order = rng.permutation(25)
    shuffled = Sampling(
        shape=actual.shape,
        aspect=actual.aspect,
        xi=actual.xi[order],
        eta=actual.eta[order],
        line=actual.line[order],
        insertion_angle_rad=actual.insertion_angle_rad[order],
    )
    velocity = 3.0 + 0.4 * rng.standard_normal((3, 25))
    np.testing.assert_allclose(
        estimate_mean(velocity[:, order], shuffled).velocity_m_s,
        estimate_mean(velocity, actual).velocity_m_s,
        rtol=1e-10,
    )


def test_an_estimate_depends_on_no_other_traverse_of_the_batch() -> None:
    rng = np.random.default_rng(25)
    for plan in (RECTANGLE_5, RECTANGLE_7, THREE_DIAMETERS):
        sampling = points_of_plan(plan)
        velocity = 3.0 + 0.4 * rng.standard_normal((2100, sampling.count))
        together = estimate_mean(velocity, sampling)
        for row in (0, 1, 1023, 1024, 2047, 2099):
            alone = estimate_mean(velocity[row : row + 1], sampling)
            assert alone.velocity_m_s[0] == pytest.approx(together.velocity_m_s[row], rel=1e-12)
            assert alone.deviation_m_s[0] == pytest.approx(together.deviation_m_s[row], rel=1e-12)


def test_an_estimate_changes_continuously_as_a_point_moves() -> None:
    rng = np.random.default_rng(26)
    planned = points_of_plan(RECTANGLE_5)
    velocity = 3.0 + 0.4 * rng.standard_normal((1, 25))
    before = estimate_mean(velocity, planned).velocity_m_s[0]
    for step in np.linspace(0.0, 0.2, 100):
        moved = planned.xi.copy()
        moved[7] += step
        there = Sampling("rectangular", 1.0, moved, planned.eta, planned.line,
                         planned.insertion_angle_rad)  # fmt: skip
        now = estimate_mean(velocity, there).velocity_m_s[0]
        assert abs(now - before) < 0.004
        before = now


def test_fewer_than_four_readings_give_no_estimate() -> None:
    planned = points_of_plan(RECTANGLE_5)
    three = planned.keep(np.arange(25) < 3)
    assert np.isnan(estimate_mean(np.full((2, 3), 3.0), three).velocity_m_s).all()
    four = planned.keep(np.arange(25) < 4)
    assert np.isfinite(estimate_mean(np.full((2, 4), 3.0), four).velocity_m_s).all()


def test_still_air_has_an_estimate_of_zero_and_no_relative_uncertainty() -> None:
    planned = points_of_plan(RECTANGLE_5)
    velocity = np.zeros((1, 25))
    estimate = estimate_mean(velocity, planned)
    assert estimate.velocity_m_s[0] == 0.0
    spatial = spatial_uncertainty(velocity, planned, estimate, rule="log_tchebycheff")
    assert np.isnan(spatial.relative[0])


def test_readings_of_another_number_are_refused() -> None:
    with pytest.raises(ValueError, match=r"velocity_m_s has shape \(1, 24\)"):
        estimate_mean(np.zeros((1, 24)), points_of_plan(RECTANGLE_5))


def test_a_single_reading_has_no_mixture() -> None:
    with pytest.raises(ValueError, match="at least 2"):
        mixture_for(points_of_plan(RECTANGLE_5).keep(np.arange(25) < 1))


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_forms_in_the_symmetric_basis_are_the_forms_themselves(plan: Plan) -> None:
    rng = np.random.default_rng(27)
    for sampling in (points_of_plan(plan), displaced(plan, rng, 0.1), lines_of_plan(plan)):
        near = matern52(sampling.averaged(sampling.xi)[:, None] - sampling.averaged(sampling.xi))
        matrices = np.array([near, near @ near])
        vectors = rng.standard_normal((sampling.count, 5))
        direct = np.einsum("in,fij,jn->fn", vectors, matrices, vectors)
        np.testing.assert_allclose(
            prepared_forms(matrices, sampling).of(vectors), direct, rtol=1e-9, atol=1e-9
        )
        basis = symmetric_basis(sampling)
        np.testing.assert_allclose(basis @ basis.T, np.eye(sampling.count), atol=1e-12)


def test_the_symmetry_of_a_plan_spares_most_products() -> None:
    products = mixture_for(points_of_plan(RECTANGLE_5)).residuals.coefficients.shape[1]
    assert products == 97


def test_arms_are_the_four_radii_of_two_diameters() -> None:
    sampling = points_of_plan(TWO_DIAMETERS)
    velocity = np.repeat([3.0, 4.0, 5.0, 6.0], 3)[None]
    spread = arm_spread(velocity, sampling)
    assert spread.is_complete
    assert spread.deviation_m_s[0] == pytest.approx(np.std([3, 4, 5, 6], ddof=1))


def test_diameters_stand_in_where_an_arm_has_no_reading() -> None:
    sampling = points_of_plan(TWO_DIAMETERS)
    present = np.ones(12, dtype=bool)
    present[:3] = False
    velocity = np.repeat([4.0, 5.0, 6.0], 3)[None]
    spread = arm_spread(velocity, sampling.keep(present))
    assert not spread.is_complete
    assert spread.deviation_m_s[0] == pytest.approx(np.std([4.0, 5.5], ddof=1))


def test_a_lone_diameter_has_no_spread_of_arms() -> None:
    sampling = points_of_plan(TWO_DIAMETERS).keep(np.arange(12) < 6)
    spread = arm_spread(np.full((2, 6), 3.0), sampling)
    assert (spread.deviation_m_s == 0.0).all()
    assert not spread.is_complete


def test_the_spread_of_arms_enters_with_two_diameters_only() -> None:
    lopsided = np.repeat([2.0, 3.0, 4.0, 5.0], 3)[None]
    sampling = points_of_plan(TWO_DIAMETERS)
    estimate = estimate_mean(lopsided, sampling)
    spatial = spatial_uncertainty(lopsided, sampling, estimate, rule="log_linear")
    constants = spatial_constants(shape="round", rule="log_linear", lines=2)
    arms = arm_spread(lopsided, sampling).deviation_m_s
    expected = np.sqrt(
        (constants.factor * estimate.deviation_m_s) ** 2
        + (constants.floor * estimate.velocity_m_s) ** 2
        + (0.12 * arms) ** 2
    )
    np.testing.assert_allclose(spatial.relative * estimate.velocity_m_s, expected)
    assert spatial.degrees_of_freedom == 5.0
    three = points_of_plan(THREE_DIAMETERS)
    velocity = np.full((1, 18), 3.0)
    assert spatial_uncertainty(
        velocity, three, estimate_mean(velocity, three), rule="log_linear"
    ).arms_complete


# Coverage and error on fresh fields. The bounds are what the method was accepted with.
@pytest.mark.parametrize(
    ("plan", "error_at_most", "least_coverage"),
    [
        pytest.param(RECTANGLE_5, 0.6, 0.97, id="5x5"),
        pytest.param(RECTANGLE_7, 0.35, 0.97, id="7x7"),
        pytest.param(EQUAL_AREA_5, 0.8, 0.97, id="equal area"),
        pytest.param(THREE_DIAMETERS, 0.7, 0.94, id="three diameters"),
        pytest.param(WIDE_OVAL, 0.5, 0.94, id="oval"),
    ],
)
def test_the_true_mean_lies_within_the_spatial_interval(
    plan: Plan, error_at_most: float, least_coverage: float
) -> None:
    sampling = points_of_plan(plan)
    drawn = fields(SMOOTH_KINDS, 25, seed=2029, shape=plan.shape, aspect=sampling.aspect)
    velocity = np.array([field.at(sampling.xi, sampling.eta) / field.mean for field in drawn])
    estimate = estimate_mean(velocity, sampling)
    spatial = spatial_uncertainty(velocity, sampling, estimate, rule=plan.rule)
    error = estimate.velocity_m_s - 1.0
    factor = student_factor(np.array(spatial.degrees_of_freedom))
    assert np.mean(np.abs(error) <= factor * spatial.relative) >= least_coverage
    assert 100.0 * np.sqrt(np.mean(error**2)) < error_at_most


def test_the_best_estimate_beats_the_plain_mean_of_an_equal_area_grid() -> None:
    sampling = points_of_plan(EQUAL_AREA_5)
    drawn = fields(SMOOTH_KINDS, 20, seed=2030)
    velocity = np.array([field.at(sampling.xi, sampling.eta) / field.mean for field in drawn])
    plain = velocity.mean(axis=1) - 1.0
    best = estimate_mean(velocity, sampling).velocity_m_s - 1.0
    assert 0.025 < plain.mean() < 0.035
    assert np.sqrt(np.mean(best**2)) < 0.25 * np.sqrt(np.mean(plain**2))


def test_a_layout_without_rule_of_its_own_keeps_the_constants_of_its_kind() -> None:
    assert spatial_constants(shape="rectangular", rule="equal_area", lines=5).floor == 0.014
    assert spatial_constants(shape="rectangular", rule="log_tchebycheff", lines=5).floor == 0.008
    assert spatial_constants(shape="round", rule="equal_annuli", lines=3).factor == 1.0
    assert spatial_constants(shape="round", rule="equal_annuli", lines=2).factor == 0.6
    assert spatial_constants(shape="flat_oval", rule="equal_area", lines=5).factor == 0.8
