"""Funnel limits of groups that differ a little among themselves."""

import numpy as np
import pytest

from dashboards.statistics.funnels import exact_limits, spread_limits


@pytest.mark.parametrize("total", [1, 7, 60, 1999])
def test_a_funnel_without_spread_is_the_exact_one(total: int) -> None:
    for probability in (0.001, 0.025, 0.975, 0.999):
        plain = exact_limits(total=total, share=0.2, probability=probability)
        with_hair = spread_limits(total=[total], share=0.2, probability=probability, spread=1e-9)
        assert with_hair[0] == pytest.approx(np.clip(plain, 0.0, 1.0), abs=1e-3)


def test_spread_widens_a_funnel_and_more_jobs_never_narrow_it_to_nothing() -> None:
    jobs = np.array([20, 100, 500, 2000, 2001, 20000])
    low = spread_limits(total=jobs, share=0.12, probability=0.025, spread=0.02)
    high = spread_limits(total=jobs, share=0.12, probability=0.975, spread=0.02)
    plain = exact_limits(total=jobs, share=0.12, probability=0.975)
    assert np.all(high > plain)
    assert np.all(np.diff(high[:4]) < 0.0)
    assert high[5] < high[4]
    # The exact limits go over into the smooth ones without a step to be seen: a tenth of a percent.
    assert high[3] == pytest.approx(high[4], abs=0.001)
    assert low[3] == pytest.approx(low[4], abs=0.001)
    assert high[-1] > 0.12 + 1.5 * np.sqrt(0.12 * 0.88 * 0.02)


def test_a_spread_funnel_holds_as_many_as_it_says() -> None:
    rng = np.random.default_rng(5)
    strength = (1.0 - 0.05) / 0.05
    rates = rng.beta(0.2 * strength, 0.8 * strength, 20_000)
    shares = rng.binomial(80, rates) / 80
    high = spread_limits(total=[80], share=0.2, probability=0.975, spread=0.05)[0]
    assert np.mean(shares > high) == pytest.approx(0.025, abs=0.006)


def test_impossible_spreads_and_totals_are_refused() -> None:
    with pytest.raises(ValueError, match="spread must be from 0 to below 1"):
        spread_limits(total=[10], share=0.2, probability=0.9, spread=1.0)
    with pytest.raises(ValueError, match="whole numbers"):
        spread_limits(total=[10.5], share=0.2, probability=0.9, spread=0.1)
