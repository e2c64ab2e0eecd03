"""Swept lines: unswept strips, depth stamps, lines that weigh alike."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from airflow_jobs.calc.sweeps import (
    gap_factor,
    gap_uncertainty,
    line_mean_from_stamps_m_s,
    radius_means_from_stamps_m_s,
    stamped_profile,
)

gaps = st.floats(0.0, 0.45)


def _law(t: float, exponent: float) -> float:
    return float((2.0 * min(t, 1.0 - t)) ** (1.0 / exponent))


@given(gaps, gaps, st.sampled_from([5.0, 7.0, 10.0]))
def test_the_gap_factor_is_whole_over_swept_mean_of_the_wall_law(
    near: float, far: float, exponent: float
) -> None:
    swept, _ = quad(_law, near, 1.0 - far, args=(exponent,), points=[0.5], epsabs=1e-10)
    whole = exponent / (exponent + 1.0)
    expected = whole / (swept / (1.0 - near - far))
    assert float(gap_factor(near=near, far=far, exponent=exponent)) == pytest.approx(
        expected, rel=1e-6
    )


def test_without_gaps_nothing_is_corrected_and_nothing_doubted() -> None:
    assert float(gap_factor(near=0.0, far=0.0)) == 1.0
    assert float(gap_uncertainty(near=0.0, far=0.0, is_skew_possible=True)) == 0.0


@given(gaps, gaps)
def test_both_walls_count_alike(near: float, far: float) -> None:
    assert float(gap_factor(near=near, far=far)) == pytest.approx(
        float(gap_factor(near=far, far=near)), rel=1e-9
    )


def test_wider_gaps_are_corrected_more() -> None:
    width = np.linspace(0.0, 0.4, 30)
    factor = gap_factor(near=width, far=width)
    assert (np.diff(factor) < 0.0).all()
    assert (np.diff(gap_uncertainty(near=width, far=width, is_skew_possible=False)) > 0.0).all()


def test_a_possible_skew_adds_half_of_the_correction() -> None:
    even = gap_uncertainty(near=0.1, far=0.02, is_skew_possible=False)
    skewed = gap_uncertainty(near=0.1, far=0.02, is_skew_possible=True)
    half = 0.5 * abs(1.0 - gap_factor(near=0.1, far=0.02))
    assert float(skewed) == pytest.approx(float(np.hypot(even, half)))


def test_a_sweep_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="near and far leave"):
        gap_factor(near=0.5, far=0.5)
    with pytest.raises(ValueError, match=r"near is -0\.1"):
        gap_factor(near=-0.1, far=0.0)


def test_stamps_give_the_depth_mean_whatever_the_pace() -> None:
    fraction = np.linspace(0.02, 0.98, 200)
    # A hand that slows down in the middle: four times as many stamps there.
    uneven = np.sort(np.concatenate([fraction, np.linspace(0.4, 0.6, 600)]))
    velocity = 3.0 + uneven * 1.5
    profile = stamped_profile(depth_m=0.5 * uneven, velocity_m_s=velocity, chord_m=0.5)
    law = 1.0 - 2 * 0.02 / 8.0
    assert line_mean_from_stamps_m_s(profile) == pytest.approx(3.75 * law, rel=2e-3)
    # Evenly weighted in time, the middle would count double; here it doesn't.
    steep = stamped_profile(depth_m=0.5 * uneven, velocity_m_s=uneven**3, chord_m=0.5)
    assert line_mean_from_stamps_m_s(steep) == pytest.approx(0.25, rel=0.02)
    assert abs(np.mean(uneven**3) - 0.25) > 0.05


def test_the_strip_to_the_wall_follows_the_seventh_root() -> None:
    fraction = np.linspace(0.05, 0.95, 400)
    law = (2.0 * np.minimum(fraction, 1.0 - fraction)) ** (1.0 / 7.0)
    profile = stamped_profile(depth_m=fraction, velocity_m_s=law, chord_m=1.0)
    assert line_mean_from_stamps_m_s(profile) == pytest.approx(7.0 / 8.0, rel=1e-4)


def test_stamps_of_a_diameter_give_the_area_mean_of_each_radius() -> None:
    fraction = np.linspace(0.02, 0.98, 801)
    radius = np.abs(2.0 * fraction - 1.0)
    law = (1.0 - radius) ** (1.0 / 7.0)
    profile = stamped_profile(depth_m=0.3 * fraction, velocity_m_s=law, chord_m=0.3)
    near, far = radius_means_from_stamps_m_s(profile)
    exact = 2.0 * (1.0 / (1.0 + 1.0 / 7.0) - 1.0 / (2.0 + 1.0 / 7.0))
    assert near == pytest.approx(exact, rel=1e-4)
    assert far == pytest.approx(exact, rel=1e-4)
    # What the mean over the diameter would have read.
    assert np.mean(law) > 1.05 * exact


def test_each_radius_keeps_its_own_side() -> None:
    fraction = np.linspace(0.0, 1.0, 101)
    velocity = np.where(fraction < 0.5, 2.0, 4.0)
    near, far = radius_means_from_stamps_m_s(
        stamped_profile(depth_m=fraction, velocity_m_s=velocity, chord_m=1.0)
    )
    assert near == pytest.approx(2.0, abs=0.02)
    assert far == pytest.approx(4.0, abs=0.02)


def test_stamps_out_of_order_and_twice_at_one_depth_are_put_in_order() -> None:
    profile = stamped_profile(
        depth_m=[0.4, 0.0, 0.2, 0.2], velocity_m_s=[4.0, 2.0, 2.0, 4.0], chord_m=0.4
    )
    assert profile.fraction.tolist() == [0.0, 0.5, 1.0]
    assert profile.velocity_m_s.tolist() == [2.0, 3.0, 4.0]


def test_stamps_that_cannot_be_a_line_are_refused() -> None:
    with pytest.raises(ValueError, match="2 different depths"):
        stamped_profile(depth_m=[0.1, 0.1, 0.2], velocity_m_s=[1.0, 1.0, 1.0], chord_m=0.4)
    with pytest.raises(ValueError, match=r"depth_m is 0\.5"):
        stamped_profile(depth_m=[0.1, 0.2, 0.5], velocity_m_s=[1.0, 1.0, 1.0], chord_m=0.4)
    with pytest.raises(ValueError, match="one side of the centre"):
        radius_means_from_stamps_m_s(
            stamped_profile(depth_m=[0.0, 0.1, 0.15], velocity_m_s=[1.0] * 3, chord_m=0.4)
        )
