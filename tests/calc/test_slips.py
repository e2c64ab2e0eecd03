"""Copying slips and forgotten linings."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs.calc.rules import log_tchebycheff_fractions
from airflow_jobs.calc.slips import asymmetries_m, check_positions

INCH = 0.0254
FIVE = log_tchebycheff_fractions(5)


def test_0_238_written_for_0_288_is_found_at_109_millimetres() -> None:
    check = check_positions(np.array([34, 109, 229, 326, 423]) / 1000, FIVE, 18 * INCH)
    assert (check.pattern, check.is_symmetric) == ("one_off", False)
    (hole,) = check.misplaced
    assert hole.number == 2
    assert hole.found_m == pytest.approx(0.109)
    assert round(hole.expected_m * 1000) == 132
    assert (hole.written, hole.meant) == ("0.238", "0.288")


def test_the_slip_is_found_in_a_table_of_fractions_too() -> None:
    check = check_positions((0.074, 0.238, 0.5, 0.712, 0.926), FIVE, 1.0)
    assert [(hole.number, hole.written, hole.meant) for hole in check.misplaced] == [
        (2, "0.238", "0.288")
    ]


def test_swapped_digits_are_found() -> None:
    check = check_positions((0.074, 0.288, 0.5, 0.721, 0.926), FIVE, 1.0)
    assert [(hole.number, hole.written, hole.meant) for hole in check.misplaced] == [
        (4, "0.721", "0.712")
    ]


def test_a_layout_as_planned_is_left_alone_whichever_end_it_starts_from() -> None:
    positions = np.array([34, 132, 229, 326, 423]) / 1000
    for order in (positions, positions[::-1]):
        check = check_positions(order, FIVE, 18 * INCH)
        assert (check.pattern, check.is_symmetric, check.misplaced) == ("as_planned", True, ())


def test_a_hole_keeps_the_number_it_was_given_with() -> None:
    check = check_positions(np.array([423, 326, 229, 109, 34]) / 1000, FIVE, 18 * INCH)
    assert [hole.number for hole in check.misplaced] == [4]


def test_holes_laid_out_on_the_outside_size_are_recognised() -> None:
    inside, wall = 16 * INCH, 1 * INCH
    on_outside = np.array(FIVE) * 18 * INCH
    for found in (on_outside, on_outside - wall):
        check = check_positions(found, FIVE, inside, wall_m=wall)
        assert check.pattern == "laid_out_on_outside_size"
    assert check_positions(on_outside - wall, FIVE, inside, wall_m=wall).is_symmetric


def test_holes_counted_from_the_outside_face_are_recognised() -> None:
    inside, wall = 16 * INCH, 1 * INCH
    check = check_positions(np.array(FIVE) * inside + wall, FIVE, inside, wall_m=wall)
    assert (check.pattern, check.shift_m) == ("measured_from_outside", pytest.approx(wall))
    assert not check.is_symmetric


@given(shift=st.floats(0.007, 0.02))
def test_a_common_shift_is_recognised(shift: float) -> None:
    check = check_positions(np.array(FIVE) * 0.4572 + shift, FIVE, 0.4572)
    assert check.pattern == "shifted"
    assert check.shift_m == pytest.approx(shift)


@given(
    extent=st.floats(0.2, 1.5),
    number=st.integers(1, 5),
    miss=st.floats(-0.1, 0.1).filter(lambda m: abs(m) > 0.006),
)
def test_one_hole_off_is_named_whatever_the_size(extent: float, number: int, miss: float) -> None:
    positions = np.array(FIVE) * extent
    moved = positions.copy()
    moved[number - 1] += miss
    if not np.all(np.diff(moved) > 0):
        return
    check = check_positions(moved, FIVE, extent)
    assert check.pattern == "one_off"
    assert [hole.number for hole in check.misplaced] == [number]
    assert check.misplaced[0].expected_m == pytest.approx(positions[number - 1])
    # The middle hole is its own twin and counts double.
    assert not check.is_symmetric


@given(noise=st.lists(st.floats(-0.0024, 0.0024), min_size=5, max_size=5))
def test_the_drills_scatter_is_no_slip(noise: list[float]) -> None:
    check = check_positions(np.array(FIVE) * 0.4572 + noise, FIVE, 0.4572)
    assert (check.pattern, check.is_symmetric) == ("as_planned", True)


def test_another_number_of_holes_can_only_be_checked_for_symmetry() -> None:
    check = check_positions([0.1, 0.3, 0.5], FIVE, 0.6)
    assert (check.pattern, check.is_symmetric, check.misplaced) == ("other_count", True, ())
    assert not check_positions([0.1, 0.25, 0.45], FIVE, 0.6).is_symmetric


def test_two_different_slips_are_both_named() -> None:
    check = check_positions((0.174, 0.288, 0.5, 0.772, 0.926), FIVE, 1.0)
    assert check.pattern == "several_off"
    assert [(hole.number, hole.meant) for hole in check.misplaced] == [(1, "0.074"), (4, "0.712")]


def test_asymmetry_is_zero_for_a_rule_and_the_miss_for_a_moved_twin() -> None:
    np.testing.assert_allclose(asymmetries_m(FIVE, 1.0), 0.0, atol=1e-12)
    np.testing.assert_allclose(
        asymmetries_m((0.074, 0.238, 0.5, 0.712, 0.926), 1.0), [0, -0.05, 0, -0.05, 0], atol=1e-12
    )


def test_impossible_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="extent_m is 0 m; it must be above 0 m"):
        check_positions([0.1], FIVE, 0.0)
    with pytest.raises(ValueError, match="wall_m is -1 m"):
        check_positions([0.1], FIVE, 1.0, wall_m=-1.0)
