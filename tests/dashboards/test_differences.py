"""Differences of a few systems: a judge, what holds all at once, and what can't be said."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import ttest_ind

from dashboards.statistics.differences import pairwise_differences


def test_two_groups_have_a_judge_s_interval() -> None:
    first, second = [0.2, 0.5, 0.35, 0.6], [0.9, 1.2, 0.7]
    (one,) = pairwise_differences([first, second])
    judge = ttest_ind(second, first, equal_var=False).confidence_interval(0.95)
    assert one.size == pytest.approx(np.mean(second) - np.mean(first))
    assert (one.low, one.high) == pytest.approx((judge.low, judge.high))


def test_more_groups_have_wider_intervals_that_hold_all_at_once() -> None:
    rng = np.random.default_rng(4)
    groups = [rng.normal(0.0, 0.2, 7) for _ in range(4)]
    found = pairwise_differences(groups)
    assert [(one.first, one.second) for one in found] == [
        (0, 1),
        (0, 2),
        (0, 3),
        (1, 2),
        (1, 3),
        (2, 3),
    ]
    judge = ttest_ind(groups[3], groups[0], equal_var=False).confidence_interval(0.95 ** (1 / 6))
    assert (found[2].low, found[2].high) == pytest.approx((judge.low, judge.high))


@pytest.mark.parametrize("systems", [2, 6])
def test_systems_that_are_alike_are_told_apart_in_one_comparison_of_twenty_at_most(
    systems: int,
) -> None:
    rng = np.random.default_rng(20261126)
    scatters = np.linspace(0.1, 0.4, systems)
    wrong = []
    for _ in range(1500):
        groups = [rng.normal(0.4, scatter, rng.integers(3, 9)) for scatter in scatters]
        wrong.append(any(one.is_sure for one in pairwise_differences(groups)))
    assert np.mean(wrong) <= 0.06


def test_what_was_measured_once_has_no_interval() -> None:
    (one,) = pairwise_differences([[0.4], [0.9, 1.0, 1.1]])
    assert one.size == pytest.approx(0.6)
    assert (one.low, one.high) == (-np.inf, np.inf)
    assert not one.is_sure
    (nothing,) = pairwise_differences([[], [0.9, 1.0]])
    assert np.isnan(nothing.size)
    assert not nothing.is_sure


def test_values_that_agree_by_chance_are_not_believed_beyond_the_meter() -> None:
    (plain,) = pairwise_differences([[0.5, 0.5, 0.5], [0.51, 0.51, 0.51]])
    (careful,) = pairwise_differences([[0.5, 0.5, 0.5], [0.51, 0.51, 0.51]], least_sd=0.05)
    assert plain.is_sure
    assert not careful.is_sure


def test_what_is_missing_is_left_out_and_what_is_impossible_refused() -> None:
    (one,) = pairwise_differences([[0.4, np.nan, 0.6], [0.4, 0.6]])
    assert one.size == 0.0
    with pytest.raises(ValueError, match="groups"):
        pairwise_differences([[0.4]])
    with pytest.raises(ValueError, match="level"):
        pairwise_differences([[0.4], [0.5]], level=95)
