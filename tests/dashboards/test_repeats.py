"""Which systems are found outside beyond chance: properties, a judge, simulated fleets."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import betabinom, binom

from dashboards.statistics.repeats import FEWEST_VISITS, found_too_often, upper_tail


@given(
    st.integers(1, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
    st.floats(0.02, 0.98),
    st.floats(0.001, 0.5),
)
def test_the_tail_agrees_with_a_judge(pair: tuple[int, int], share: float, spread: float) -> None:
    count, total = pair
    strength = (1.0 - spread) / spread
    judge = betabinom.sf(count - 1, total, share * strength, (1.0 - share) * strength)
    ours = upper_tail([count], [total], [share], [spread])
    assert float(ours[0]) == pytest.approx(float(judge), rel=1e-6, abs=1e-9)
    plain = upper_tail([count], [total], [share], [0.0])
    assert float(plain[0]) == pytest.approx(float(binom.sf(count - 1, total, share)), rel=1e-6)


def test_many_tails_at_once_are_what_each_is_alone() -> None:
    rng = np.random.default_rng(3)
    total = rng.integers(1, 40, 500)
    count = rng.binomial(total, 0.5)
    together = upper_tail(count, total, np.full(500, 0.4), np.full(500, 0.1))
    alone = [
        float(upper_tail([k], [n], [0.4], [0.1])[0]) for k, n in zip(count, total, strict=True)
    ]
    np.testing.assert_allclose(together, alone, rtol=1e-12)


def test_three_of_four_is_nothing_special_where_seven_in_ten_are_found_outside() -> None:
    compared = found_too_often([3, *[7] * 40], [4, *[10] * 40], [0] * 41)
    assert not compared.is_marked.any()
    assert compared.p_value[0] == pytest.approx(0.65, abs=0.02)
    assert compared.expected_share[0] == pytest.approx(0.7, abs=0.01)


def test_seven_of_eight_is_special_where_one_in_seven_is_found_outside() -> None:
    compared = found_too_often([7, *[1] * 40], [8, *[7] * 40], [0] * 41)
    assert compared.is_marked.tolist() == [True, *[False] * 40]


def test_a_kind_that_is_found_outside_oftener_is_no_offence() -> None:
    # Forty of a kind at one in ten, forty of another at eight in ten.
    count, total = [1] * 40 + [8] * 40, [10] * 80
    assert not found_too_often(count, total, [0] * 40 + [1] * 40).is_marked.any()
    assert found_too_often([1] * 79 + [8], total, [0] * 80).is_marked[79]


def test_too_few_visits_are_not_compared() -> None:
    compared = found_too_often([2, *[1] * 30], [FEWEST_VISITS - 1, *[20] * 30], [0] * 31)
    assert np.isnan(compared.p_value[0])
    assert not compared.is_marked[0]


def test_nothing_to_compare_is_no_error() -> None:
    assert found_too_often([], [], []).is_marked.size == 0
    alone = found_too_often([4], [4], [0])
    assert not alone.is_marked.any()


def test_what_is_impossible_is_refused() -> None:
    with pytest.raises(ValueError, match="count"):
        found_too_often([5], [4], [0])
    with pytest.raises(ValueError, match="shape"):
        found_too_often([1, 2], [4], [0])
    with pytest.raises(ValueError, match="kind"):
        found_too_often([1], [4], [-1])


def _fleet(
    rng: np.random.Generator, systems: int, share: float, lasting: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return a fleet of systems that are all alike; some faults last to the next visit."""
    total = rng.integers(2, 10, systems)
    count = np.zeros(systems, int)
    lasts = np.zeros(systems, bool)
    for visit in range(9):
        is_outside = rng.random(systems) < np.where(lasts, 0.95, share)
        is_outside &= visit < total
        count += is_outside
        lasts = is_outside & (rng.random(systems) < lasting)
    return count, total, rng.integers(0, 4, systems)


@pytest.mark.parametrize("systems", [30, 150])
@pytest.mark.parametrize("share", [0.15, 0.4, 0.7])
@pytest.mark.parametrize("lasting", [0.0, 0.12])
def test_systems_that_are_alike_are_left_in_peace_in_nineteen_fleets_of_twenty(
    systems: int, share: float, lasting: float
) -> None:
    rng = np.random.default_rng(20261126)
    named = [
        found_too_often(*_fleet(rng, systems, share, lasting)).is_marked.any() for _ in range(400)
    ]
    assert np.mean(named) <= 0.05


def _named(rng: np.random.Generator, share: float) -> tuple[float, float]:
    """Return which part of eight bad systems is named, and which part of the named is good."""
    hits, wrong = [], []
    for _ in range(200):
        total = np.concatenate([rng.integers(8, 13, 8), rng.integers(4, 13, 142)])
        shares = np.concatenate([np.full(8, 0.75), np.full(142, share)])
        marked = found_too_often(
            rng.binomial(total, shares), total, rng.integers(0, 4, 150)
        ).is_marked
        hits.append(np.mean(marked[:8]))
        wrong.append(np.sum(marked[8:]) / max(np.sum(marked), 1))
    return float(np.mean(hits)), float(np.mean(wrong))


def test_systems_that_stand_out_of_a_good_fleet_are_named_four_times_in_five() -> None:
    hits, wrong = _named(np.random.default_rng(7), 0.15)
    assert hits > 0.8
    assert wrong < 0.05


def test_where_many_are_found_outside_few_can_be_named() -> None:
    hits, wrong = _named(np.random.default_rng(8), 0.4)
    assert hits < 0.2
    assert wrong < 0.05
