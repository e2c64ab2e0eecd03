"""The weights of the published rule: on plan, off plan, with readings missing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airflow_jobs.calc.integration import (
    gradient_forms,
    predicted_weights,
    transfer_covariance,
    transfer_weights,
)
from airflow_jobs.calc.layouts import Plan
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sampling import Sampling, line_sampling, lines_of_plan, points_of_plan
from benchmarks.fields import SMOOTH_KINDS, Field, fields
from tests.calc.samplings import (
    LINES_5,
    PLANS,
    RECTANGLE_5,
    THREE_DIAMETERS,
    displaced,
    grid,
    mirrored,
)

PLANNED_5 = points_of_plan(RECTANGLE_5)


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_on_plan_every_weight_is_exactly_one_over_n(plan: Plan) -> None:
    planned = points_of_plan(plan)
    weights = transfer_weights(planned, planned)
    assert (weights == 1.0 / planned.count).all()


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_prediction_alone_comes_to_one_over_n_on_plan(plan: Plan) -> None:
    for planned in (points_of_plan(plan), lines_of_plan(plan)):
        weights = predicted_weights(planned, planned)
        np.testing.assert_allclose(weights, 1.0 / planned.count, rtol=0.0, atol=1e-11)


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_weights_add_up_to_one_and_none_is_negative(plan: Plan) -> None:
    rng = np.random.default_rng(11)
    planned = points_of_plan(plan)
    for size in (0.02, 0.1, 0.4, 1.0):
        for _ in range(10):
            actual = displaced(plan, rng, size)
            weights = transfer_weights(planned, actual.keep(rng.random(actual.count) < 0.8))
            assert weights.sum() == pytest.approx(1.0, abs=1e-12)
            assert weights.min() >= 0.0


def test_the_active_set_finds_the_least_variance_of_all_non_negative_weights() -> None:
    rng = np.random.default_rng(12)
    binding = 0
    for _ in range(60):
        actual = displaced(RECTANGLE_5, rng, 0.8)
        weights = transfer_weights(PLANNED_5, actual)
        matrix = transfer_covariance(actual, actual) + 0.01 * np.eye(actual.count)
        target = transfer_covariance(actual, PLANNED_5).mean(axis=1) + 0.01 / actual.count
        slope = matrix @ weights - target
        used = weights > 0.0
        binding += int(not used.all())
        # Karush, Kuhn and Tucker: equal slopes where a weight is used, none lower where it isn't.
        np.testing.assert_allclose(slope[used], slope[used].mean(), atol=1e-10)
        assert (slope[~used] >= slope[used].mean() - 1e-10).all()
    assert binding > 5


@given(st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_weights_follow_their_points_in_any_order(seed: int) -> None:
    rng = np.random.default_rng(seed)
    actual = displaced(RECTANGLE_5, rng, 0.15)
    order = rng.permutation(actual.count)
    shuffled = Sampling(
        shape=actual.shape,
        aspect=actual.aspect,
        xi=actual.xi[order],
        eta=actual.eta[order],
        line=actual.line[order],
        insertion_angle_rad=actual.insertion_angle_rad[order],
    )
    np.testing.assert_allclose(
        transfer_weights(PLANNED_5, shuffled), transfer_weights(PLANNED_5, actual)[order], atol=1e-9
    )


@pytest.mark.parametrize("signs", [(-1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)])
@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_a_mirror_changes_no_weight(plan: Plan, signs: tuple[float, float]) -> None:
    rng = np.random.default_rng(13)
    planned = points_of_plan(plan)
    actual = displaced(plan, rng, 0.15)
    seen = transfer_weights(mirrored(planned, *signs), mirrored(actual, *signs))
    np.testing.assert_allclose(seen, transfer_weights(planned, actual), atol=1e-9)


def test_weights_change_continuously_as_a_hole_moves() -> None:
    steps = np.linspace(LINES_5[1], -0.95, 400)
    before = np.full(25, 0.04)
    for place in steps:
        lines = LINES_5.copy()
        lines[1] = place
        weights = transfer_weights(PLANNED_5, grid(lines, LINES_5))
        assert np.abs(weights - before).max() < 1e-3
        before = weights


def test_a_hole_moved_by_a_hair_changes_next_to_nothing() -> None:
    lines = LINES_5 + np.array([0.0, 1e-6, 0.0, 0.0, 0.0])
    weights = transfer_weights(PLANNED_5, grid(lines, LINES_5))
    np.testing.assert_allclose(weights, 0.04, atol=1e-6)
    assert not (weights == 0.04).all()


def test_a_uniform_field_has_its_own_mean_whatever_was_moved_or_missed() -> None:
    rng = np.random.default_rng(14)
    actual = displaced(THREE_DIAMETERS, rng, 0.3).keep(rng.random(18) < 0.7)
    weights = transfer_weights(points_of_plan(THREE_DIAMETERS), actual)
    assert weights @ np.full(actual.count, 3.0) == pytest.approx(3.0, rel=1e-12)


def test_a_line_off_plan_is_weighted_like_the_points_on_it() -> None:
    moved = LINES_5.copy()
    moved[1] = 2.0 * 0.238 - 1.0
    planned = line_sampling(shape="rectangular", offset=LINES_5)
    by_line = transfer_weights(planned, line_sampling(shape="rectangular", offset=moved))
    many = grid(moved, 2.0 * (np.arange(20) + 0.5) / 20 - 1.0)
    planned_many = grid(LINES_5, 2.0 * (np.arange(20) + 0.5) / 20 - 1.0)
    by_point = transfer_weights(planned_many, many).reshape(5, 20).sum(axis=1)
    np.testing.assert_allclose(by_line, by_point, atol=0.015)


def test_sections_of_different_shape_are_refused() -> None:
    with pytest.raises(ValueError, match="planned lies in a rectangular section"):
        transfer_weights(PLANNED_5, points_of_plan(THREE_DIAMETERS))


def test_the_slopes_of_an_even_developed_field_point_to_the_middle() -> None:
    forms = gradient_forms(PLANNED_5, PLANNED_5)
    even = np.ones(25)
    # Errors of points add up in squares; those of a whole hole cancel by symmetry, but not those
    # of outer holes by themselves.
    assert even @ forms.point_x @ even == pytest.approx(even @ forms.point_y @ even, rel=1e-9)
    assert even @ forms.depth @ even < 0.01 * (even @ forms.hole @ even)


def test_the_form_of_points_agrees_with_moving_them_in_the_fitted_field() -> None:
    rng = np.random.default_rng(15)
    readings = 3.0 + 0.3 * rng.standard_normal(25)
    covariance = transfer_covariance(PLANNED_5, PLANNED_5) + 0.01 * np.eye(25)
    solved = np.linalg.solve(covariance, readings)

    def fitted(xi: FloatArray, eta: FloatArray) -> FloatArray:
        there = grid(np.array([0.0]), np.zeros(25))
        moved = Sampling(there.shape, 1.0, xi, eta, there.line, there.insertion_angle_rad)
        return transfer_covariance(moved, PLANNED_5) @ solved

    step = 1e-6
    # On the axis the wall law has a kink; the slope there is the mean of both sides.
    slopes = (
        fitted(PLANNED_5.xi + step, PLANNED_5.eta) - fitted(PLANNED_5.xi - step, PLANNED_5.eta)
    ) / (2.0 * step)
    expected = np.sum((slopes / 25.0) ** 2)
    forms = gradient_forms(PLANNED_5, PLANNED_5)
    assert readings @ forms.point_x @ readings == pytest.approx(expected, rel=1e-5)


# Root mean square change against on plan, percent: plain average and transfer, over 220 fields
# of eleven kinds. The limits are those that the method was accepted with; the fields are fresh.
FIELDS = fields(SMOOTH_KINDS, 20, seed=2027)


def _changes(sampling: Sampling, field: Field) -> tuple[float, float]:
    velocity = field.at(sampling.xi, sampling.eta)
    base = field.at(PLANNED_5.xi, PLANNED_5.eta).mean()
    weighted = transfer_weights(PLANNED_5, sampling) @ velocity
    return 100.0 * (velocity.mean() / base - 1.0), 100.0 * (weighted / base - 1.0)


def _line_at_0_238(rng: np.random.Generator) -> Sampling:
    lines = LINES_5.copy()
    lines[1] = 2.0 * 0.238 - 1.0
    return grid(lines, LINES_5)


def _one_line_off(rng: np.random.Generator) -> Sampling:
    lines, index = LINES_5.copy(), rng.integers(5)
    shift = 0.2 * rng.choice([-1.0, 1.0])
    lines[index] += shift if abs(lines[index] + shift) < 0.98 else -shift
    return grid(lines, LINES_5)


def _all_lines_off(rng: np.random.Generator) -> Sampling:
    return grid(np.clip(LINES_5 + rng.normal(0.0, 0.06, 5), -0.97, 0.97), LINES_5)


def _depths_shifted(rng: np.random.Generator) -> Sampling:
    return grid(LINES_5, LINES_5 + 0.06)


def _without(rng: np.random.Generator, count: int) -> Sampling:
    present = np.ones(25, dtype=bool)
    present[rng.choice(25, count, replace=False)] = False
    return PLANNED_5.keep(present)


def _without_a_line(rng: np.random.Generator) -> Sampling:
    present = np.ones((5, 5), dtype=bool)
    present[rng.integers(5)] = False
    return PLANNED_5.keep(present.ravel())


@pytest.mark.parametrize(
    ("disturbed", "plain_at_least", "transfer_at_most"),
    [
        pytest.param(_line_at_0_238, 0.6, 0.57, id="second line at 0.238"),
        pytest.param(_one_line_off, 1.2, 1.19, id="one line off by a tenth"),
        pytest.param(_all_lines_off, 1.2, 0.94, id="all lines off"),
        pytest.param(_depths_shifted, 0.5, 0.31, id="depths shifted"),
        pytest.param(lambda rng: _without(rng, 1), 0.7, 0.50, id="one point missing"),
        pytest.param(lambda rng: _without(rng, 3), 1.2, 0.80, id="three points missing"),
        pytest.param(_without_a_line, 2.5, 2.50, id="a line missing"),
    ],
)
def test_transfer_weights_mend_most_of_what_was_moved_or_missed(
    disturbed: object, plain_at_least: float, transfer_at_most: float
) -> None:
    assert callable(disturbed)
    rng = np.random.default_rng(16)
    changes = np.array([_changes(disturbed(rng), field) for field in FIELDS for _ in range(2)])
    plain, transfer = np.sqrt(np.mean(changes**2, axis=0))
    assert plain > plain_at_least
    assert transfer < transfer_at_most
    assert transfer < 0.55 * plain


def test_a_slipped_line_hardly_moves_the_mean_of_developed_flow() -> None:
    slipped = _line_at_0_238(np.random.default_rng(17))
    for field in fields(("developed", "flat"), 10, seed=2028):
        assert abs(_changes(slipped, field)[1]) < 0.07
