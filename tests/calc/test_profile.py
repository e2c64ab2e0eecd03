"""What readings say about their profile."""

import numpy as np
import pytest

from airflow_jobs.calc.integration import transfer_weights
from airflow_jobs.calc.profile import (
    LEAST_VELOCITY_SHARE,
    Profile,
    profile_of,
    share_of_pressures_above_a_tenth,
)
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sampling import points_of_plan
from airflow_jobs.calc.sensing import root_of_mean_overread
from tests.calc import published
from tests.calc.samplings import RECTANGLE_5, THREE_DIAMETERS, mirrored

PLACES = points_of_plan(RECTANGLE_5)
EVEN = np.full(25, 0.04)


def _profile(velocity: FloatArray) -> Profile:
    return profile_of(np.atleast_2d(velocity), EVEN, PLACES)


@published.each("AC-EX1", "AC-EX2")
def test_the_share_of_usable_pressures_meets_the_published_examples(row: published.Row) -> None:
    row.assert_matches(100.0 * share_of_pressures_above_a_tenth(np.array(row.inputs["pv"])))


def test_the_pressure_rule_in_velocities_is_a_root_of_a_tenth() -> None:
    published.row("AC-75V").assert_matches(LEAST_VELOCITY_SHARE)


def test_the_rule_is_strict_and_counts_what_was_taken_only() -> None:
    pressures = np.array([[10.0, 1.0, np.nan, 5.0], [10.0, 1.1, np.nan, 5.0]])
    np.testing.assert_allclose(share_of_pressures_above_a_tenth(pressures), [2 / 3, 1.0])


def test_backflow_counts_as_little_pressure() -> None:
    velocity = np.full(25, 3.0)
    velocity[:5] = -3.0
    assert _profile(velocity).share_under_tenth[0] == pytest.approx(0.2)


def test_an_even_profile_has_no_variation_and_no_asymmetry() -> None:
    profile = _profile(np.full(25, 3.0))
    assert profile.max_over_mean[0] == pytest.approx(1.0)
    assert profile.share_under_tenth[0] == 0.0
    assert profile.variation[0] == pytest.approx(0.0, abs=1e-12)
    assert profile.asymmetry[0] == pytest.approx(0.0, abs=1e-12)


def test_the_asymmetry_is_the_same_from_every_side() -> None:
    rng = np.random.default_rng(41)
    velocity = 3.0 + 0.5 * rng.standard_normal((1, 25))
    once = profile_of(velocity, EVEN, PLACES)
    for signs in ((-1.0, 1.0), (1.0, -1.0)):
        seen = profile_of(velocity, EVEN, mirrored(PLACES, *signs))
        np.testing.assert_allclose(seen.asymmetry, once.asymmetry)


def test_a_slope_has_the_asymmetry_of_its_first_moment() -> None:
    profile = _profile(3.0 * (1.0 + 0.3 * PLACES.xi))
    assert profile.asymmetry[0] == pytest.approx(0.3 * np.mean(PLACES.xi**2), rel=1e-9)


def test_missing_points_make_no_asymmetry_of_an_even_profile() -> None:
    planned = points_of_plan(THREE_DIAMETERS)
    actual = planned.keep(np.arange(18) > 2)
    profile = profile_of(np.full((1, 15), 3.0), transfer_weights(planned, actual), actual)
    assert profile.asymmetry[0] == pytest.approx(0.0, abs=1e-12)


def test_the_variation_is_what_averaged_pressures_would_over_read_by() -> None:
    rng = np.random.default_rng(42)
    velocity = 3.0 + 0.5 * rng.standard_normal(25)
    over_read = np.sqrt(np.mean(velocity**2)) / velocity.mean()
    assert float(root_of_mean_overread(_profile(velocity).variation[0])) == pytest.approx(over_read)


def test_without_flow_there_is_no_profile() -> None:
    for velocity in (np.zeros(25), np.full(25, -2.0)):
        profile = _profile(velocity)
        assert np.isnan(profile.max_over_mean[0])
        assert np.isnan(profile.variation[0])
        assert np.isnan(profile.asymmetry[0])
        assert np.isnan(profile.share_under_tenth[0])
