"""A meter found off later: how much is taken, how sure that is, and whether the interval holds."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs.calc.meter_changes import (
    MeterBetween,
    allowed_error,
    meter_between,
    meter_change_u,
    relative_change,
)

SHARES = st.integers(0, 2**30).map(lambda part: part / 2**30)
"""Shares whose rest, too, is a number that floating point holds exactly."""
GAINS = st.floats(0.8, 1.25)
OFFSETS = st.floats(-0.3, 0.3)


def _between(share: float, gain: float = 1.06, offset: float = 0.0) -> MeterBetween:
    return meter_between(
        gain_before=1.0,
        offset_before_m_s=0.0,
        gain_found=gain,
        offset_found_m_s=offset,
        share=share,
    )


@given(share=SHARES, gain=GAINS, offset=OFFSETS)
def test_what_is_taken_lies_between_nothing_and_all_of_what_was_found(
    share: float, gain: float, offset: float
) -> None:
    between = _between(share, gain, offset)
    assert min(1.0, gain) - 1e-12 <= between.gain <= max(1.0, gain) + 1e-12
    assert min(0.0, offset) - 1e-12 <= between.offset_m_s <= max(0.0, offset) + 1e-12


@given(share=SHARES, gain=GAINS, offset=OFFSETS)
def test_no_distribution_between_none_and_all_spreads_wider(
    share: float, gain: float, offset: float
) -> None:
    # Bhatia and Davis: the variance is at most (largest - mean)(mean - smallest).
    between = _between(share, gain, offset)
    bound = (gain - between.gain) * (between.gain - 1.0)
    assert between.gain_u**2 == pytest.approx(bound, abs=1e-12)


def test_at_the_ends_nothing_is_in_doubt() -> None:
    assert (_between(0.0).gain, _between(0.0).gain_u) == (1.0, 0.0)
    assert _between(1.0).gain == pytest.approx(1.06)
    assert _between(1.0).gain_u == 0.0


@given(share=SHARES)
def test_forth_and_back_mirror_each_other(share: float) -> None:
    first = _between(share)
    back = meter_between(
        gain_before=1.06,
        offset_before_m_s=0.0,
        gain_found=1.0,
        offset_found_m_s=0.0,
        share=1.0 - share,
    )
    assert back.gain == pytest.approx(first.gain)
    assert abs(back.gain_u) == pytest.approx(abs(first.gain_u))


def test_a_share_beyond_the_time_is_refused() -> None:
    with pytest.raises(ValueError, match="share is 1.2; it must be from 0 to 1"):
        _between(1.2)


@pytest.mark.parametrize("change", [0.04, -0.08])
@pytest.mark.parametrize("other_u", [0.0, 0.01, 0.02])
@pytest.mark.parametrize("kind", ["step", "gradual"])
def test_over_the_time_in_doubt_the_interval_holds_the_true_gain(
    change: float, other_u: float, kind: str
) -> None:
    # Readings at any time, a meter that went off at any moment or little by little; whatever
    # else is uncertain beside it.
    chance = np.random.default_rng(20260603)
    shares, moments = chance.uniform(size=(2, 40_000))
    taken = [_between(float(share), 1.0 + change) for share in shares]
    gains = np.array([one.gain for one in taken])
    u = np.hypot([one.gain_u for one in taken], other_u)
    true = 1.0 + change * (shares >= moments if kind == "step" else shares)
    missed = np.abs(gains + chance.normal(0.0, other_u, shares.size) - true) > 1.96 * u + 1e-9
    assert 1.0 - missed.mean() >= 0.949
    # On average nothing is taken too much or too little.
    assert np.mean(gains - true) == pytest.approx(0.0, abs=0.01 * abs(change) + 1e-3)


def test_gain_and_offset_go_up_and_down_together() -> None:
    # A gain up by 2 % and an offset down by 0.06 m/s cancel at 3 m/s.
    u = meter_change_u(
        gain_u=np.array([0.02, 0.02]),
        offset_u_m_s=np.array([-0.06, 0.06]),
        indicated_mean_m_s=np.array([3.0, 3.0]),
        velocity_mean_m_s=np.array([3.0, 3.0]),
    )
    assert u == pytest.approx([0.0, 0.04])


def test_without_a_change_there_is_no_doubt_even_where_nothing_flows() -> None:
    zero = np.zeros(2)
    u = meter_change_u(
        gain_u=zero,
        offset_u_m_s=zero,
        indicated_mean_m_s=np.array([0.0, 3.0]),
        velocity_mean_m_s=np.array([0.0, 3.0]),
    )
    assert u.tolist() == [0.0, 0.0]


def test_a_change_is_relative_to_what_had_been_taken() -> None:
    change = relative_change(
        gain_before=1.02,
        offset_before_m_s=0.1,
        gain_found=1.04,
        offset_found_m_s=0.2,
        indicated_m_s=np.array([1.0, 5.0]),
    )
    assert change == pytest.approx([0.12 / 1.12, 0.2 / 5.2])
    assert np.isnan(
        relative_change(
            gain_before=1.0,
            offset_before_m_s=-1.0,
            gain_found=1.0,
            offset_found_m_s=0.0,
            indicated_m_s=0.5,
        )
    )


def test_accuracy_allows_more_where_the_air_is_slow_and_5_percent_where_none_is_known() -> None:
    allowed = allowed_error(
        accuracy_relative=0.03, accuracy_absolute_m_s=0.04, velocity_m_s=np.array([1.0, 100.0])
    )
    assert allowed == pytest.approx([0.05, 0.03], rel=1e-3)
    unknown = allowed_error(
        accuracy_relative=np.nan, accuracy_absolute_m_s=np.nan, velocity_m_s=3.0
    )
    assert float(unknown) == 0.05
