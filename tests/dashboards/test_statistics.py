"""Statistics: properties, judges from elsewhere, and what simulated years must show."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import gammaln
from scipy.stats import betabinom, theilslopes
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

from dashboards.statistics import comparisons
from dashboards.statistics.comparisons import mark
from dashboards.statistics.funnels import exact_limits
from dashboards.statistics.intervals import wilson
from dashboards.statistics.shares import (
    FEWEST_TO_CORRECT,
    corrected_share,
    corrected_share_inside,
    probability_inside,
)
from dashboards.statistics.shrinkage import log_likelihood, shrink
from dashboards.statistics.trends import leaving_time, theil_sen

totals = st.integers(1, 400)


@given(totals.flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_score_interval_agrees_with_a_judge_and_holds_the_share(pair: tuple[int, int]) -> None:
    count, total = pair
    low, high = wilson(count=count, total=total)
    judge = proportion_confint(count, total, method="wilson")
    assert (float(low), float(high)) == pytest.approx(judge, abs=1e-12)
    assert 0.0 <= low <= count / total <= high <= 1.0


@given(totals.flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_score_interval_is_symmetric(pair: tuple[int, int]) -> None:
    count, total = pair
    low, high = wilson(count=count, total=total)
    other_low, other_high = wilson(count=total - count, total=total)
    assert (low, high) == pytest.approx((1.0 - other_high, 1.0 - other_low), abs=1e-12)


def test_no_jobs_say_nothing() -> None:
    low, high = wilson(count=0, total=0)
    assert (low, high) == (0.0, 1.0)


def test_an_impossible_count_is_refused() -> None:
    with pytest.raises(ValueError, match="count"):
        wilson(count=3, total=2)
    with pytest.raises(ValueError, match="level"):
        wilson(count=1, total=2, level=95)
    with pytest.raises(ValueError, match="count"):
        shrink([3], [2])
    with pytest.raises(ValueError, match="count"):
        mark([3], [2])


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(st.integers(0, 200), st.integers(-40, 40)),
        min_size=2,
        max_size=12,
        unique_by=lambda point: point[0],
    )
)
def test_the_slope_agrees_with_a_judge(points: list[tuple[int, int]]) -> None:
    t, y = np.array(sorted(points), float).T / 8.0
    line = theil_sen(t, y)
    judge = theilslopes(y, t)
    assert float(line.slope) == pytest.approx(judge.slope, rel=1e-9, abs=1e-12)
    assert float(line.slope_low) == pytest.approx(judge.low_slope, rel=1e-9, abs=1e-12)
    assert float(line.slope_high) == pytest.approx(judge.high_slope, rel=1e-9, abs=1e-12)


def test_many_series_at_once_give_what_each_gives_alone() -> None:
    rng = np.random.default_rng(8)
    t = np.sort(rng.uniform(0, 5, (30, 9)), axis=-1)
    y = rng.normal(0, 1, (30, 9))
    stretch = np.sort(rng.integers(0, 3, (30, 9)), axis=-1)
    t[rng.random(t.shape) < 0.2] = np.nan
    together = theil_sen(t, y, stretch=stretch, value_sd=np.full(t.shape, 0.5))
    for index in range(30):
        here = np.isfinite(t[index])
        alone = theil_sen(
            t[index][here],
            y[index][here],
            stretch=stretch[index][here],
            value_sd=np.full(int(here.sum()), 0.5),
        )
        for name in ("slope", "slope_low", "slope_high", "centre_time", "centre_value", "centre_u"):
            np.testing.assert_allclose(
                getattr(together, name)[index], getattr(alone, name), rtol=1e-12, err_msg=name
            )


def test_a_step_between_stretches_is_no_trend() -> None:
    t = np.arange(6.0)
    y = np.array([1.0, 1.0, 1.0, 2.0, 2.0, 2.0])
    assert float(theil_sen(t, y).slope) > 0
    assert float(theil_sen(t, y, stretch=[0, 0, 0, 1, 1, 1]).slope) == 0.0


def test_two_visits_have_an_interval_as_wide_as_the_meter_allows() -> None:
    line = theil_sen([0.0, 1.0], [0.0, -0.10], value_sd=[0.02, 0.02])
    assert float(line.slope_high - line.slope) == pytest.approx(1.96 * 0.02 * np.sqrt(2), rel=1e-3)
    assert float(line.slope_high) < 0


def test_a_loss_of_a_tenth_is_seen_after_two_visits_with_one_meter() -> None:
    rng = np.random.default_rng(3)
    years = np.tile([0.0, 1.0], (4000, 1))
    flow = -0.10 * years + rng.normal(0, 0.02, years.shape)
    line = theil_sen(years, flow, value_sd=np.full(years.shape, 0.02))
    assert np.mean(line.slope_high < 0) > 0.9


def test_the_slope_s_interval_holds_the_true_slope_as_often_as_it_says() -> None:
    rng = np.random.default_rng(4)
    t = np.sort(rng.uniform(0, 5, (4000, 8)), axis=-1)
    stretch = np.repeat([0, 1], 4) * np.ones((4000, 1), int)
    y = -0.04 * t + 0.3 * stretch + rng.normal(0, 0.02, t.shape)
    line = theil_sen(t, y, stretch=stretch, value_sd=np.full(t.shape, 0.02))
    covered = np.mean((line.slope_low <= -0.04) & (line.slope_high >= -0.04))
    assert covered > 0.94


def test_the_leaving_date_s_ends_hold_the_true_date_as_often_as_they_say() -> None:
    rng = np.random.default_rng(5)
    t = np.sort(rng.uniform(0, 5, (6000, 8)), axis=-1)
    y = 0.5 - 0.1 * t + rng.normal(0, 0.02, t.shape)
    line = theil_sen(t, y, value_sd=np.full(t.shape, 0.02))
    leaving = leaving_time(line, low=-0.2, high=1.0)
    told = np.isfinite(leaving.expected)
    assert np.mean(told) > 0.9
    held = (leaving.earliest <= 7.0) & (leaving.latest >= 7.0)
    assert np.mean(held[told]) > 0.93
    assert np.all(leaving.earliest[told] <= leaving.expected[told])
    assert np.all(leaving.expected[told] <= leaving.latest[told])


def test_a_rising_line_is_the_mirror_of_a_falling_one() -> None:
    t = np.array([0.0, 1.0, 2.0, 3.0])
    y = np.array([0.0, -0.05, -0.11, -0.14])
    sd = np.full(4, 0.01)
    falling = leaving_time(theil_sen(t, y, value_sd=sd), low=-0.3, high=0.2)
    rising = leaving_time(theil_sen(t, -y, value_sd=sd), low=-0.2, high=0.3)
    for name in ("expected", "earliest", "latest"):
        assert float(getattr(falling, name)) == pytest.approx(float(getattr(rising, name)))


def test_what_shows_no_trend_has_no_leaving_date() -> None:
    line = theil_sen([0.0, 1.0, 2.0], [0.0, 0.001, -0.001], value_sd=[0.02] * 3)
    assert np.isnan(leaving_time(line, low=-0.2, high=0.2).expected)


def test_the_corrected_share_is_unbiased_where_counting_is_not() -> None:
    rng = np.random.default_rng(6)
    truth = rng.normal(0.5, 0.25, 20000)
    u = np.full(truth.shape, 0.12)
    measured = truth + rng.normal(0, u)
    inside = np.mean((truth > 0) & (truth < 1))
    counted = np.mean((measured > 0) & (measured < 1))
    corrected = corrected_share_inside(measured, u, low=0.0, high=1.0)
    assert abs(counted - inside) > 0.015
    assert abs(corrected - inside) < 0.005


def test_the_corrected_share_leaves_out_what_is_not_known() -> None:
    known = corrected_share_inside([0.2, 0.5, 1.4], [0.1, 0.1, 0.1], low=0, high=1)
    more = corrected_share_inside([0.2, np.nan, 0.5, 1.4], [0.1, 0.1, 0.1, 0.1], low=0, high=1)
    assert more == known
    assert np.isnan(corrected_share_inside([0.2], [0.1], low=0, high=1))


def test_jobs_that_are_all_alike_keep_a_share() -> None:
    assert corrected_share_inside([0.5] * 5, [0.1] * 5, low=0, high=1) == pytest.approx(1.0)


def test_a_probability_inside_follows_from_both_limits() -> None:
    assert float(probability_inside(400.0, 20.0, low=350.0, high=450.0)) == pytest.approx(
        0.98758, abs=1e-5
    )


def test_a_few_wild_values_hardly_move_the_corrected_share() -> None:
    rng = np.random.default_rng(3)
    values, u = rng.normal(0.5, 0.3, 1000), np.full(1002, 0.1)
    calm = corrected_share_inside(values, u[:1000], low=0.0, high=1.0)
    wild = corrected_share_inside([*values, 1e9, -1e9], u, low=0.0, high=1.0)
    assert wild == pytest.approx(calm, abs=0.005)


@given(st.integers(1, 60), st.floats(0.02, 0.98), st.floats(0.001, 0.49))
def test_the_likelihood_agrees_with_a_judge(total: int, mean: float, spread: float) -> None:
    strength = (1.0 - spread) / spread
    counts = np.arange(total + 1, dtype=float)
    judge = betabinom(total, mean * strength, (1.0 - mean) * strength).logpmf(counts)
    np.testing.assert_allclose(
        comparisons._log_pmf(counts, float(total), mean, spread), judge, atol=1e-7
    )
    ours = log_likelihood(counts, np.full(counts.shape, float(total)), mean, np.array(spread))
    constant = gammaln(total + 1.0) - gammaln(counts + 1.0) - gammaln(total - counts + 1.0)
    np.testing.assert_allclose(ours + constant, judge, atol=1e-7)


def test_shrunken_shares_are_nearer_to_the_truth_than_raw_ones() -> None:
    rng = np.random.default_rng(9)
    raw_error, shrunk_error = [], []
    for _ in range(40):
        truth = rng.beta(12 * 0.85, 12 * 0.15, 40)
        total = np.round(np.exp(rng.uniform(np.log(3), np.log(60), 40)))
        count = rng.binomial(total.astype(int), truth)
        raw_error.append(np.mean((count / total - truth) ** 2))
        shrunk_error.append(np.mean((shrink(count, total).share - truth) ** 2))
    assert np.sqrt(np.mean(shrunk_error) / np.mean(raw_error)) < 0.75


def test_groups_that_are_alike_are_given_the_whole_s_share() -> None:
    shrunk = shrink([8, 16, 4], [10, 20, 5])
    assert shrunk.spread == 0.0
    assert np.ptp(shrunk.share) == pytest.approx(0.0, abs=1e-12)
    assert np.all((shrunk.low < 0.8) & (shrunk.high > 0.8))


def test_a_group_without_jobs_is_given_the_whole_s_share() -> None:
    shrunk = shrink([0, 30, 9], [0, 40, 40])
    assert shrunk.share[0] == pytest.approx(shrunk.mean)


@given(st.lists(st.floats(1e-6, 1.0), min_size=1, max_size=30))
def test_thefalse_discovery_rate_is_controlled_as_a_judge_does(p: list[float]) -> None:
    judge = multipletests(p, alpha=0.05, method="fdr_bh")[0]
    np.testing.assert_array_equal(comparisons.false_discovery(np.array(p)), judge)


def test_nobody_is_marked_on_a_handful_of_jobs() -> None:
    marked = mark([19, 12, 12, 12], [19, 100, 100, 100])
    assert not marked.is_marked.any()
    assert np.isnan(marked.p_value[0])


def test_a_crew_with_the_hard_sites_is_not_marked_for_them() -> None:
    # Two strata: easy sites, where one in ten ends outside, and hard ones, where half do.
    total = np.array([[100, 0], [80, 20], [90, 10], [10, 90], [70, 40]])
    count = np.array([[10, 0], [8, 10], [9, 5], [1, 45], [7, 20]])
    assert not mark(count, total).is_marked.any()
    assert mark(count.sum(axis=1), total.sum(axis=1)).p_value[3] < 0.05


def _years_of_crews(rng: np.random.Generator, years: int) -> list[np.ndarray]:
    return [
        np.round(np.exp(rng.uniform(np.log(3), np.log(200), 40))).astype(int) for _ in range(years)
    ]


def test_forty_equal_crews_are_left_in_peace_in_nineteen_years_of_twenty() -> None:
    rng = np.random.default_rng(20260603)
    years = _years_of_crews(rng, 1000)
    accused = np.mean([mark(rng.binomial(n, 0.12), n).is_marked.any() for n in years])
    assert accused <= 0.05


def test_a_crew_that_leaves_a_third_outside_is_found_in_four_years_of_five() -> None:
    rng = np.random.default_rng(20260604)
    found = []
    for n in _years_of_crews(rng, 1000):
        n[0] = 60
        share = np.full(40, 0.12)
        share[0] = 0.32
        found.append(mark(rng.binomial(n, share), n).is_marked[0])
    assert np.mean(found) >= 0.80


def test_funnel_limits_narrow_with_the_number_of_jobs() -> None:
    n = np.arange(5, 400)
    width = exact_limits(total=n, share=0.12, probability=0.975) - exact_limits(
        total=n, share=0.12, probability=0.025
    )
    assert np.all(np.diff(width) < 1e-3)
    assert width[-1] < width[0] / 5


@pytest.mark.parametrize("values", [3, 4])
def test_values_that_fall_in_a_row_by_chance_are_seldom_a_trend(values: int) -> None:
    rng = np.random.default_rng(10)
    years = np.tile(np.linspace(0.0, 1.5, values), (4000, 1))
    # A system that jumps by a fifth between visits, read with a meter good to 4 %.
    jumping = rng.normal(0, 0.2, years.shape)
    line = theil_sen(years, jumping, value_sd=np.full(years.shape, 0.04))
    in_a_row = 2.0 / math.factorial(values)
    assert np.mean(np.abs(line.tau) == 1.0) == pytest.approx(in_a_row, abs=0.02)
    assert np.mean((line.slope_high < 0) | (line.slope_low > 0)) < 0.75 * in_a_row


def test_three_values_on_a_line_are_one() -> None:
    line = theil_sen([0.0, 1.0, 2.0], [0.0, -0.05, -0.10], value_sd=[0.02] * 3)
    assert float(line.slope_high) < 0


def test_one_bad_reading_among_many_does_not_hide_a_fall() -> None:
    years = np.arange(9.0)
    flow = -0.05 * years
    flow[4] += 0.4
    line = theil_sen(years, flow, value_sd=np.full(9, 0.02))
    assert float(line.slope) == pytest.approx(-0.05, abs=0.005)
    assert float(line.slope_high) < 0


def test_nobody_is_marked_against_fewer_jobs_than_it_takes_to_be_compared() -> None:
    few_others = mark([15, 0], [30, 12])
    assert not few_others.is_marked.any()
    assert np.isnan(few_others.p_value).all()
    assert np.isfinite(mark([15, 0], [30, 40]).p_value).all()
    alone = mark([25], [30])
    assert not alone.is_marked.any()


@pytest.mark.parametrize(("middle", "sd", "u"), [(0.5, 0.3, 0.15), (0.6, 0.35, 0.15)])
def test_the_interval_of_the_corrected_share_holds_the_true_one(
    middle: float, sd: float, u: float
) -> None:
    rng = np.random.default_rng(8)
    true = float(probability_inside(middle, sd, low=0.0, high=1.0))
    held = 0
    for _ in range(100):
        errors = u * rng.uniform(0.7, 1.3, 100)
        measured = rng.normal(middle, sd, 100) + errors * rng.normal(size=100)
        found = corrected_share(measured, errors, low=0.0, high=1.0)
        assert found is not None
        assert 0.0 <= found.low <= found.share <= found.high <= 1.0
        assert found == corrected_share(measured, errors, low=0.0, high=1.0)
        held += found.low <= true <= found.high
    assert 90 <= held <= 100


def test_few_jobs_are_not_corrected_and_many_have_a_narrow_interval() -> None:
    rng = np.random.default_rng(9)
    few, many = rng.normal(0.5, 0.3, FEWEST_TO_CORRECT - 1), rng.normal(0.5, 0.3, 20_000)
    assert corrected_share(few, 0.15, low=0.0, high=1.0) is None
    found = corrected_share(many, 0.15, low=0.0, high=1.0)
    assert found is not None
    assert 0.012 < found.high - found.low < 0.025
    alike = corrected_share(np.full(60, 0.5), 0.1, low=0.0, high=1.0)
    assert alike is not None
    assert alike.share == pytest.approx(1.0)
    assert alike.low < 0.96
