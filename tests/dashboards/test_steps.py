"""Steps told from drifts: properties, a judge, and what simulated fleets must show."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.regression.linear_model import OLS

from dashboards.statistics.steps import Change, clearest_change

METER_SD = 0.02


def _change(y: np.ndarray, t: np.ndarray | None = None) -> Change:
    times = np.arange(y.size, dtype=float) if t is None else t
    found = clearest_change(times, y, stretch=np.zeros(y.size, int), value_sd=METER_SD)
    assert found is not None
    return found


def test_size_and_own_chance_agree_with_a_judge() -> None:
    y = np.array([0.31, -0.22, 0.12, -1.4, -1.1, -1.6, -1.2])
    found = _change(y)
    assert found.after == 2
    beyond = (np.arange(7) > 2).astype(float)
    judge = OLS(y, np.column_stack([np.ones(7), beyond])).fit()
    assert found.size == pytest.approx(judge.params[1])
    assert found.own_p == pytest.approx(judge.pvalues[1], rel=1e-6)
    # Values that scatter far more than a meter does speak for themselves.
    assert [found.low, found.high] == pytest.approx(judge.conf_int()[1], rel=1e-6)
    line = OLS(y, np.column_stack([np.ones(7), np.arange(7.0), beyond])).fit()
    assert found.step_p == pytest.approx(line.pvalues[2], rel=1e-6)


@given(
    st.lists(st.integers(-100, 100), min_size=4, max_size=12),
    st.integers(-50, 50),
)
def test_a_level_moves_nothing_and_a_mirror_turns_the_sign(values: list[int], level: int) -> None:
    y = np.array(values, float) / 500.0
    found, moved, mirrored = _change(y), _change(y + level), _change(-y)
    assert moved.change_p == pytest.approx(found.change_p, rel=1e-5, abs=1e-12)
    assert mirrored.change_p == pytest.approx(found.change_p, rel=1e-9, abs=1e-12)
    if mirrored.after == found.after:
        assert mirrored.size == pytest.approx(-found.size, abs=1e-12)


def test_an_adjustment_is_no_change() -> None:
    y = np.array([0.0, 0.01, -0.01, 0.2, 0.21, 0.19])
    assert _change(y).is_sure
    found = clearest_change(range(6), y, stretch=[0, 0, 0, 1, 1, 1], value_sd=METER_SD)
    assert found is not None
    assert not found.is_sure


def test_too_few_values_say_nothing() -> None:
    assert clearest_change([], [], stretch=[], value_sd=METER_SD) is None
    assert clearest_change([0.0], [0.0], stretch=[0], value_sd=METER_SD) is None
    assert clearest_change([0.0, 1.0], [0.0, 1.0], stretch=[0, 0], value_sd=METER_SD) is None
    assert clearest_change(range(4), [0.0] * 4, stretch=range(4), value_sd=METER_SD) is None


def test_what_is_impossible_is_refused() -> None:
    with pytest.raises(ValueError, match="shape"):
        clearest_change([0.0, 1.0], [0.0], stretch=[0], value_sd=METER_SD)
    with pytest.raises(ValueError, match="value_sd"):
        clearest_change([0.0], [0.0], stretch=[0], value_sd=0.0)
    with pytest.raises(ValueError, match="swap_sd"):
        clearest_change([0.0, 1.0], [0.0, 1.0], stretch=[0, 0], value_sd=0.1, swap_sd=[0.1, 0.1])


def test_a_step_is_found_where_it_was() -> None:
    rng = np.random.default_rng(5)
    right = 0
    for _ in range(200):
        t = np.sort(rng.uniform(0.0, 3.2, 9))
        found = _change(rng.normal(0.0, 0.015, 9) - 0.13 * (np.arange(9) > 4), t)
        right += found.is_step and found.after == 4
    assert right > 170


def test_the_size_s_interval_holds_the_true_size_as_often_as_it_says() -> None:
    rng = np.random.default_rng(6)
    held = []
    for _ in range(600):
        visits = int(rng.integers(7, 11))
        beyond = np.arange(visits) >= visits // 2
        t = np.sort(rng.uniform(0.0, 3.2, visits))
        found = _change(rng.normal(0.0, METER_SD, visits) - 0.14 * beyond, t)
        if found.is_step:
            held.append(found.low <= -0.14 <= found.high)
    assert np.mean(held) > 0.94


def _system(rng: np.random.Generator, fall_a_year: float, scatter: float) -> Change:
    visits = int(rng.integers(4, 12))
    t = np.sort(rng.uniform(0.0, 3.2, visits))
    return _change(rng.normal(0.0, scatter, visits) - fall_a_year * t, t)


def test_no_step_is_named_in_nineteen_fleets_of_twenty() -> None:
    rng = np.random.default_rng(20261126)
    fleets, named = 40, 0
    for _ in range(fleets):
        steady = (_system(rng, 0.0, METER_SD) for _ in range(140))
        falling = (_system(rng, rng.uniform(0.03, 0.09), METER_SD) for _ in range(10))
        named += any([*(one.is_step for one in steady), *(one.is_step for one in falling)])
    assert named / fleets <= 0.05


@pytest.mark.parametrize("fall_a_year", [0.05, 0.08, 0.12])
def test_a_drift_is_seldom_taken_for_a_step(fall_a_year: float) -> None:
    rng = np.random.default_rng(11)
    taken = np.mean([_system(rng, fall_a_year, METER_SD).is_step for _ in range(2000)])
    assert taken <= 0.006


@pytest.mark.parametrize("scatter", [0.03, 0.06, 0.2])
def test_a_flow_that_wanders_by_itself_seldom_shows_a_step(scatter: float) -> None:
    rng = np.random.default_rng(12)
    assert np.mean([_system(rng, 0.0, scatter).is_step for _ in range(2000)]) <= 0.02
