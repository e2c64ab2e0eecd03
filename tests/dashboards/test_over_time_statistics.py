"""Statistics of the page over time: judges from elsewhere, and what simulated years must show."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from numpy.typing import NDArray
from scipy.stats import betabinom
from statsmodels.stats.contingency_tables import StratifiedTable

from dashboards.statistics.control_charts import ewma_band, ewma_limits
from dashboards.statistics.drift import share_slope, smoothed_means
from dashboards.statistics.month_limits import FEWEST_MONTHS, MOST_EXACT, month_limits
from dashboards.statistics.stratified import Difference, stratified_difference
from tests.calc import published

Numbers = NDArray[np.int_]
SHARE = 0.86


def _months(rng: np.random.Generator, months: int, jobs: float, spread: float) -> tuple[Any, Any]:
    """Return counts and totals of months of one share that scatters by an intra-class correlation.

    A year in which nothing changed.
    """
    total = np.maximum(rng.poisson(jobs, months), 1)
    share = np.full(months, SHARE)
    if spread:
        strength = (1.0 - spread) / spread
        share = rng.beta(SHARE * strength, (1.0 - SHARE) * strength, months)
    return rng.binomial(total, share), total


# --- Months ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("months", "jobs", "spread"),
    [(6, 60, 0.0), (12, 25, 0.0), (12, 60, 0.01), (12, 60, 0.02), (18, 25, 0.02), (40, 75, 0.01)],
)
def test_a_year_in_which_nothing_changed_is_left_in_peace(
    months: int, jobs: float, spread: float
) -> None:
    rng = np.random.default_rng(20260701)
    accused = np.mean(
        [month_limits(*_months(rng, months, jobs, spread)).differs.any() for _ in range(250)]
    )
    assert accused <= 0.055


def test_a_month_far_below_the_others_is_found() -> None:
    rng = np.random.default_rng(20260702)
    found = []
    for _ in range(200):
        total = np.maximum(rng.poisson(60, 12), 1)
        share = np.full(12, SHARE)
        share[7] -= 0.3
        limits = month_limits(rng.binomial(total, share), total)
        found.append(limits.differs[7] and limits.differs.sum() == 1)
    assert np.mean(found) >= 0.8


def test_a_month_differs_just_where_it_lies_beyond_its_limits() -> None:
    rng = np.random.default_rng(20260703)
    for _ in range(60):
        count, total = _months(rng, 9, 30.0, 0.1)
        limits = month_limits(count, total)
        beyond = (count / total < limits.low - 1e-9) | (count / total > limits.high + 1e-9)
        np.testing.assert_array_equal(limits.differs, beyond)


def test_fewer_jobs_have_wider_limits() -> None:
    total = np.array([8, 20, 50, 120, 250, 395, 405, 4000])
    # Two of each: a month that has most of all jobs is held against few others.
    limits = month_limits(np.round(np.repeat(total, 2) * SHARE), np.repeat(total, 2))
    width = (limits.high - limits.low)[::2]
    assert np.all(np.diff(width) < 0.0)
    # The exact limits go over into the smooth ones without a step to be seen.
    assert total[5] < MOST_EXACT < total[6]
    assert width[5] == pytest.approx(width[6], abs=0.004)


def test_months_that_scatter_widen_the_limits_and_say_so() -> None:
    total = np.full(14, 300)
    rng = np.random.default_rng(20260704)
    calm = month_limits(rng.binomial(300, SHARE, 14), total)
    wild = month_limits(rng.binomial(300, np.tile([0.78, 0.94], 7)), total)
    assert not calm.has_spread
    assert wild.has_spread
    assert not wild.differs.any()
    assert wild.spread_sd == pytest.approx(0.08, abs=0.03)
    assert np.all(wild.high - wild.low > 1.3 * (calm.high - calm.low))


def test_a_limit_leaves_the_probability_it_says_below_it() -> None:
    # Twenty long months that agree leave no doubt about the spread: the limits are the binomial's.
    total = np.full(20, 900)
    count = np.round(total * 0.8 + np.tile([-9.0, 9.0], 10))
    limits = month_limits(count, total)
    tail = 0.05 / 40.0
    below = betabinom(900, 0.8 * 900 * 19, 0.2 * 900 * 19).cdf(np.floor(limits.low[0] * 900) - 1)
    assert below <= tail


def test_a_handful_of_months_compares_nothing() -> None:
    two = month_limits([3, 0], [3, 3])
    assert np.isnan(two.low).all()
    assert not two.differs.any()
    assert not np.isnan(month_limits([3] * FEWEST_MONTHS, [3] * FEWEST_MONTHS).low).any()
    assert month_limits([], []).differs.size == 0


def test_three_jobs_accuse_no_month() -> None:
    assert not month_limits([1, 0, 1], [1, 1, 1]).differs.any()
    assert not month_limits([3, 1, 3, 3], [3, 3, 3, 3]).differs.any()


@pytest.mark.parametrize(("count", "total"), [([4], [3]), ([-1], [3]), ([0], [0]), ([1], [1.5])])
def test_impossible_months_are_refused(count: list[float], total: list[float]) -> None:
    with pytest.raises(ValueError, match="count must be"):
        month_limits(count, total)
    with pytest.raises(ValueError, match="one shape"):
        month_limits([1, 2], [3])


# --- Like with like ----------------------------------------------------------------------


def _of_tables(tables: list[tuple[int, int, int, int]], **fields: Any) -> Difference:
    """Compare the rows of two-by-two tables: (in range, outside) of group 1, then of group 0."""
    cells = [
        (stratum, group, inside, inside + outside)
        for stratum, (a, b, c, d) in enumerate(tables)
        for group, inside, outside in ((1, a, b), (0, c, d))
    ]
    stratum, group, count, total = np.array(cells).T
    return stratified_difference(
        **{
            "count": count,
            "total": total,
            "group": group,
            "stratum": stratum,
            "month": np.arange(len(cells)),
            "site": stratum,
            **fields,
        }
    )


def test_the_difference_and_its_error_are_the_published_ones() -> None:
    row = published.row("ST-MH-RD")
    found = _of_tables([tuple(table) for table in row.inputs["tables"]])
    row.assert_matches([found.difference, found.chance_sd])


@pytest.mark.parametrize("seed", range(12))
def test_the_difference_is_the_one_of_least_squares_with_a_level_for_each_stratum(
    seed: int,
) -> None:
    rng = np.random.default_rng(seed)
    tables: list[tuple[int, int, int, int]] = [
        (int(a), int(b), int(c), int(d) + 1)
        for a, b, c, d in rng.integers(0, 12, (rng.integers(2, 7), 4))
        if a + b > 0
    ]
    found = _of_tables(tables)
    jobs = [
        (stratum, group, inside)
        for stratum, (a, b, c, d) in enumerate(tables)
        for group, inside, number in ((1, 1, a), (1, 0, b), (0, 1, c), (0, 0, d))
        for _ in range(number)
    ]
    stratum, group, inside = np.array(jobs).T
    levels = (stratum[:, None] == np.arange(len(tables))[None, :]).astype(float)
    judge = sm.OLS(inside.astype(float), np.column_stack((group, levels))).fit()
    assert found.difference == pytest.approx(judge.params[0], abs=1e-9)


def test_one_stratum_has_the_plain_difference_and_its_error() -> None:
    found = _of_tables([(56, 14, 48, 32)])
    assert found.difference == pytest.approx(0.8 - 0.6)
    plain = np.sqrt(0.8 * 0.2 / 70 + 0.6 * 0.4 / 80)
    assert found.chance_sd == pytest.approx(plain, rel=0.01)


def test_the_verdict_on_many_jobs_agrees_with_a_judge() -> None:
    rng = np.random.default_rng(20260705)
    ours, judged = [], []
    for _ in range(60):
        tables = []
        for level in rng.uniform(0.4, 0.9, 12):
            n = rng.integers(5, 40, 2)
            k = rng.binomial(n, [min(level + 0.12, 1.0), level])
            tables.append((k[0], n[0] - k[0], k[1], n[1] - k[1]))
        found = _of_tables(tables)
        ours.append(abs(found.difference) / found.chance_sd)
        test = StratifiedTable([np.array(t).reshape(2, 2) for t in tables]).test_null_odds()
        judged.append(np.sqrt(test.statistic))
    # The judge's statistic is that of no difference, ours that of the difference there is.
    np.testing.assert_allclose(ours, judged, rtol=0.12, atol=0.15)


def test_what_has_nothing_to_be_compared_with_is_counted_and_left_out() -> None:
    found = _of_tables([(8, 2, 5, 5)])
    more = stratified_difference(
        count=[8, 5, 0, 7],
        total=[10, 10, 30, 7],
        group=[1, 0, 1, 0],
        stratum=[0, 0, 1, 2],
        month=[0, 1, 2, 3],
        site=[0, 0, 1, 2],
    )
    assert more.difference == found.difference
    assert more.total == (10, 10)
    assert more.alone == (7, 30)
    assert more.strata == 1


def test_another_mix_alone_is_no_difference() -> None:
    # Half in range at the hard sites, nine in ten at the easy ones; only the mix changes.
    found = _of_tables([(45, 5, 180, 20), (100, 100, 25, 25)])
    assert found.difference == pytest.approx(0.0, abs=1e-12)
    assert not found.is_sure


def test_where_nothing_can_be_compared_nothing_is_said() -> None:
    apart = stratified_difference(
        count=[1, 2], total=[3, 3], group=[0, 1], stratum=[0, 1], month=[0, 1], site=[0, 1]
    )
    assert np.isnan(apart.difference)
    assert apart.alone == (3, 3)
    assert not apart.is_sure
    none = stratified_difference(count=[], total=[], group=[], stratum=[], month=[], site=[])
    assert np.isnan(none.difference)


def test_two_months_give_no_interval() -> None:
    found = _of_tables([(90, 10, 10, 90)], month=[1, 0])
    assert found.difference == pytest.approx(0.8)
    assert np.isnan(found.low)
    assert not found.is_sure


def test_the_other_way_round_the_difference_is_mirrored() -> None:
    tables = [(20, 5, 15, 12), (9, 1, 30, 9), (4, 4, 2, 8)]
    found = _of_tables(tables)
    back = _of_tables([(c, d, a, b) for a, b, c, d in tables])
    assert (back.low, back.high) == pytest.approx((-found.high, -found.low))


def test_impossible_groups_are_refused() -> None:
    fields: dict[str, Any] = {"stratum": [0], "month": [0], "site": [0]}
    with pytest.raises(ValueError, match="count must be from 0 to total"):
        stratified_difference(count=[3], total=[2], group=[0], **fields)
    with pytest.raises(ValueError, match="group must be 0 or 1"):
        stratified_difference(count=[1], total=[2], group=[2], **fields)
    with pytest.raises(ValueError, match="one shape"):
        stratified_difference(count=[1, 2], total=[2], group=[0], **fields)
    with pytest.raises(ValueError, match="level"):
        stratified_difference(count=[1], total=[2], group=[0], level=95.0, **fields)


SITES, KINDS = 25, 3


def _company(
    rng: np.random.Generator,
    *,
    before: int,
    after: int,
    jobs: int,
    change: float = 0.0,
    month_sd: float = 0.0,
    site_sd: float = 0.0,
    wander_sd: float = 0.0,
    share: float = 0.85,
) -> Difference:
    """Simulate a company before and after a day, its mix of sites half another one after it."""
    months = before + after
    total = jobs * months
    level = rng.normal(0.0, site_sd, SITES * KINDS)
    mixes = rng.dirichlet(np.ones(SITES * KINDS), 2)
    month = rng.integers(0, months, total)
    is_after = (month >= before).astype(int)
    stratum = np.where(
        is_after == 1,
        rng.choice(SITES * KINDS, total, p=mixes.mean(axis=0)),
        rng.choice(SITES * KINDS, total, p=mixes[0]),
    )
    wander = rng.normal(0.0, wander_sd, (SITES, 2))[stratum // KINDS, is_after]
    chance = share + level[stratum] + rng.normal(0.0, month_sd, months)[month] + wander
    inside = rng.random(total) < np.clip(chance + change * is_after, 0.01, 0.99)
    return stratified_difference(
        count=inside,
        total=np.ones(total),
        group=is_after,
        stratum=stratum,
        month=month,
        site=stratum // KINDS,
    )


@pytest.mark.parametrize(
    ("before", "after", "jobs", "spreads"),
    [
        (6, 6, 50, {}),
        (6, 6, 50, {"site_sd": 0.1}),
        (6, 6, 50, {"site_sd": 0.1, "month_sd": 0.05}),
        (9, 3, 50, {"site_sd": 0.1, "month_sd": 0.03}),
        (18, 18, 25, {"site_sd": 0.1, "month_sd": 0.03, "wander_sd": 0.07}),
        (3, 3, 50, {"site_sd": 0.1, "month_sd": 0.05}),
    ],
)
def test_a_day_that_changed_nothing_is_seldom_said_to_have(
    before: int, after: int, jobs: int, spreads: dict[str, float]
) -> None:
    rng = np.random.default_rng(20260706)
    claimed = [
        _company(rng, before=before, after=after, jobs=jobs, **spreads).is_sure for _ in range(400)
    ]
    # 5 %, and two standard errors of so many simulated companies.
    assert np.mean(claimed) <= 0.05 + 2.0 * np.sqrt(0.05 * 0.95 / 400)


@pytest.mark.parametrize("month_sd", [0.0, 0.05])
@pytest.mark.parametrize("share_of_cold_months", [1.0, 0.7])
def test_seasons_and_calls_that_make_no_difference_are_seldom_said_to(
    share_of_cold_months: float, month_sd: float
) -> None:
    rng = np.random.default_rng(20260713)
    months, total = 24, 600
    claimed = []
    for _ in range(250):
        stratum, month = rng.integers(0, SITES * KINDS, total), rng.integers(0, months, total)
        # Months of one group lie between those of the other; with calls some months have both.
        is_cold = np.isin(month % 12, (9, 10, 11, 0, 1, 2))
        group = (is_cold & (rng.random(total) < share_of_cold_months)).astype(int)
        level = rng.normal(0.0, 0.1, SITES * KINDS)[stratum]
        chance = 0.85 + level + rng.normal(0.0, month_sd, months)[month]
        found = stratified_difference(
            count=rng.random(total) < np.clip(chance, 0.01, 0.99),
            total=np.ones(total),
            group=group,
            stratum=stratum,
            month=month,
            site=stratum // KINDS,
        )
        claimed.append(found.is_sure)
    assert np.mean(claimed) <= 0.05 + 2.0 * np.sqrt(0.05 * 0.95 / 250)


@pytest.mark.parametrize("month_sd", [0.0, 0.03])
def test_fifteen_points_are_found_with_three_hundred_jobs_on_either_side(month_sd: float) -> None:
    rng = np.random.default_rng(20260707)
    found = [
        _company(
            rng,
            before=6,
            after=6,
            jobs=50,
            change=0.15,
            month_sd=month_sd,
            site_sd=0.1,
            share=0.7,
        )
        for _ in range(200)
    ]
    assert np.mean([one.is_sure for one in found]) >= 0.8
    assert np.mean([one.difference for one in found]) == pytest.approx(0.15, abs=0.012)


def test_months_that_differ_widen_the_interval() -> None:
    rng = np.random.default_rng(20260708)
    calm = [_company(rng, before=6, after=6, jobs=200) for _ in range(40)]
    wild = [_company(rng, before=6, after=6, jobs=200, month_sd=0.08) for _ in range(40)]
    assert np.median([one.high - one.low for one in wild]) > 1.5 * np.median(
        [one.high - one.low for one in calm]
    )


# --- Slow change -------------------------------------------------------------------------


def test_limits_of_equally_sure_means_settle_to_the_handbook_s() -> None:
    low, high = ewma_band(np.full(60, 2.0), centre=50.0, weight=0.3, sigmas=3.0)
    settled = ewma_limits(centre=50.0, sd=2.0, weight=0.3, sigmas=3.0)
    assert (low[-1], high[-1]) == pytest.approx(settled, abs=1e-9)
    assert np.all(np.diff(high) >= 0.0)
    # After the first value the average is that value's weight of it.
    assert high[0] == pytest.approx(50.0 + 3.0 * 0.3 * 2.0)


@pytest.mark.parametrize(
    ("steps", "month_sd"), [(12, 0.0), (12, 0.05), (18, 0.0), (40, 0.0), (40, 0.05)]
)
def test_a_steady_company_is_seldom_said_to_drift(steps: int, month_sd: float) -> None:
    rng = np.random.default_rng(20260709)
    claimed = []
    for _ in range(500):
        jobs = np.maximum(rng.poisson(25, steps), 2)
        mean = rng.normal(rng.normal(0.45, month_sd, steps), 0.35 / np.sqrt(jobs))
        drift = smoothed_means(mean, jobs, job_sd=0.35)
        claimed.append(np.any((drift.average < drift.low) | (drift.average > drift.high)))
    assert np.mean(claimed) <= 0.05 + 2.0 * np.sqrt(0.05 * 0.95 / 500)


def test_a_slow_fall_is_found() -> None:
    rng = np.random.default_rng(20260710)
    found = []
    for _ in range(200):
        jobs = np.maximum(rng.poisson(25, 18), 2)
        mean = rng.normal(0.45 - 0.3 * np.linspace(0, 1, 18), 0.35 / np.sqrt(jobs))
        drift = smoothed_means(mean, jobs, job_sd=0.35)
        found.append(drift.average[-1] < drift.low[-1] or np.any(drift.average > drift.high))
    assert np.mean(found) >= 0.8


def test_means_that_jump_widen_their_limits() -> None:
    jobs = np.full(12, 25)
    calm = smoothed_means(np.full(12, 0.5), jobs, job_sd=0.3)
    wild = smoothed_means(np.tile([0.3, 0.7], 6), jobs, job_sd=0.3)
    assert calm.scatter == 1.0
    assert wild.scatter > 3.0
    with pytest.raises(ValueError, match="two at least"):
        smoothed_means([0.5], [3], job_sd=0.3)


def test_jobs_without_scatter_are_no_division_by_nothing() -> None:
    drift = smoothed_means([0.5] * 6, [1] * 6, job_sd=0.0)
    assert np.all(drift.average == 0.5)


def test_the_slope_of_a_share_agrees_with_a_judge() -> None:
    rng = np.random.default_rng(20260711)
    time = np.arange(14) / 12.0
    total = rng.integers(20, 60, 14)
    # Scatter enough that the interval is that of least squares itself.
    count = rng.binomial(total, np.clip(0.6 + 0.1 * time + rng.normal(0, 0.15, 14), 0, 1))
    found = share_slope(count, total, time)
    judge = sm.WLS(count / total, sm.add_constant(time), weights=total).fit()
    assert found.slope == pytest.approx(judge.params[1])
    assert (found.low, found.high) == pytest.approx(tuple(judge.conf_int()[1]))


def test_the_slope_s_interval_is_never_narrower_than_chance() -> None:
    # Shares that lie on a line to a hair, of few jobs: the binomial scatter is what there is.
    found = share_slope([4, 4, 4, 4], [5, 5, 5, 5], [0.0, 1.0, 2.0, 3.0])
    assert found.slope == pytest.approx(0.0)
    assert found.high > 0.2
    all_inside = share_slope([5, 5, 5, 5], [5, 5, 5, 5], [0.0, 1.0, 2.0, 3.0])
    assert all_inside.high > 0.0
    assert not all_inside.is_sure


def test_a_share_that_does_not_change_is_seldom_said_to() -> None:
    rng = np.random.default_rng(20260712)
    claimed = []
    for _ in range(600):
        count, total = _months(rng, 24, 12.0, 0.02)
        claimed.append(share_slope(count, total, np.arange(24) / 12.0).is_sure)
    assert np.mean(claimed) <= 0.05 + 2.0 * np.sqrt(0.05 * 0.95 / 600)


def test_two_months_have_no_slope() -> None:
    assert np.isnan(share_slope([1, 2], [3, 3], [0.0, 1.0]).slope)
    assert np.isnan(share_slope([1, 2, 2], [3, 3, 3], [1.0, 1.0, 1.0]).slope)
    with pytest.raises(ValueError, match="level"):
        share_slope([1, 2, 2], [3, 3, 3], [0.0, 1.0, 2.0], level=1.5)


def test_jobs_that_all_agree_leave_an_interval_all_the_same() -> None:
    counts = [3, 4, 5, 4, 4, 4]
    found = stratified_difference(
        count=counts,
        total=counts,
        group=[0, 0, 0, 1, 1, 1],
        stratum=[0] * 6,
        month=range(6),
        site=[0] * 6,
    )
    assert found.difference == 0.0
    # Newcombe's of 12 of 12 and 12 of 12 reaches from -24 to 24 points.
    assert -0.3 < found.low < -0.15
    assert 0.15 < found.high < 0.3
