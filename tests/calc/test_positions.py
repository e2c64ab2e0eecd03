"""Tapes, shafts, reach, and positions as drilled."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs.calc.layouts import plan_for
from airflow_jobs.calc.positions import (
    chords_m,
    inches_in_words,
    layout_distances,
    plan_as_drilled,
    tape_position,
    walls_along_shaft_m,
)
from airflow_jobs.calc.reach import reach
from airflow_jobs.calc.recorded_places import counts_read, plan_as_recorded
from airflow_jobs.calc.sections import InsideSection, inside_section

INCH = 0.0254


def _duct(width: float = 0.4572, height: float = 0.6096, wall: float = 0.0) -> InsideSection:
    return InsideSection("rectangular", width, height, wall)


def test_three_quarter_inch_board_puts_the_first_hole_at_31_inside_and_50_on_the_tape() -> None:
    board = inside_section(
        "rectangular",
        outside_width_m=18 * INCH,
        outside_height_m=24 * INCH,
        lining_thickness_m=0.75 * INCH,
    )
    distances = layout_distances(plan_for(board), board)
    assert tape_position(distances.lines_m[0]).millimetres == 31
    assert tape_position(distances.lines_on_outside_tape_m[0]).millimetres == 50


def test_the_last_hole_on_eighteen_inches_is_at_16_67_inches() -> None:
    distances = layout_distances(plan_for(_duct()), _duct())
    last = tape_position(distances.lines_m[-1])
    assert last.millimetres == 423
    assert last.exact_m / INCH == pytest.approx(16.67, abs=0.005)
    assert last.sixteenths == "16 11/16"


@given(distance=st.floats(0.0, 5.0))
def test_tapes_cost_at_most_half_a_mark(distance: float) -> None:
    position = tape_position(distance)
    assert abs(position.millimetre_rounding_m) <= 0.0005 + 1e-12
    assert abs(position.sixteenth_rounding_m) <= INCH / 32 + 1e-12
    assert position.millimetres / 1000 - distance == position.millimetre_rounding_m
    whole, _, part = position.sixteenths.rpartition(" ")
    inches = Fraction(part) + (Fraction(whole) if whole else 0)
    assert float(inches) * INCH - distance == pytest.approx(
        position.sixteenth_rounding_m, abs=1e-12
    )


@given(number=st.integers(0, 5000))
def test_fractions_of_an_inch_are_proper_and_reduced(number: int) -> None:
    text = inches_in_words(number)
    whole, _, part = text.rpartition(" ")
    assert Fraction(part) + (Fraction(whole) if whole else 0) == Fraction(number, 16)
    if "/" in part:
        top, bottom = (int(n) for n in part.split("/"))
        assert 0 < top < bottom
        assert Fraction(top, bottom).denominator == bottom


def test_shaft_marks_add_the_wall_and_the_tip() -> None:
    duct = _duct(wall=0.025)
    distances = layout_distances(plan_for(duct), duct, tip_to_sensor_m=0.012)
    for depths, outside, marks in zip(
        distances.depths_m, distances.depths_from_outside_m, distances.shaft_marks_m, strict=True
    ):
        np.testing.assert_allclose(np.array(outside) - depths, 0.025)
        np.testing.assert_allclose(np.array(marks) - depths, 0.037)


def test_holes_of_a_round_duct_are_spaced_around_its_outside() -> None:
    duct = inside_section("round", outside_diameter_m=0.35, lining_thickness_m=0.025)
    distances = layout_distances(plan_for(duct), duct)
    assert distances.lines_m == ()
    assert distances.angles_deg == (0.0, 60.0, 120.0)
    assert distances.around_outside_m == pytest.approx((0.0, np.pi * 0.35 / 6, np.pi * 0.35 / 3))
    assert distances.depths_m[0][0] == pytest.approx(0.032 * 0.3)


def test_an_ovals_chord_shrinks_towards_its_ends_and_its_wall_grows() -> None:
    oval = InsideSection("flat_oval", 0.6, 0.3, wall_m=0.02)
    plan = plan_for(oval)
    chords, walls = chords_m(plan, oval), walls_along_shaft_m(plan, oval)
    assert chords[2] == pytest.approx(0.3)
    assert walls[2] == pytest.approx(0.02)
    assert chords[0] < chords[1] <= chords[2]
    assert walls[0] > 0.02
    assert chords == pytest.approx(chords[::-1])
    # At the line, the outside semicircle of radius 0.17 and the inside one of 0.15 have one centre.
    into_end = 0.15 - plan.lines[0] * 0.6
    by_hand = (0.17**2 - into_end**2) ** 0.5 - (0.15**2 - into_end**2) ** 0.5
    assert walls[0] == pytest.approx(by_hand)
    assert chords[0] == pytest.approx(2 * (0.15**2 - into_end**2) ** 0.5)


def test_a_moved_hole_takes_its_true_place_and_the_plan_stands_for_the_rest() -> None:
    plan = plan_for(_duct())
    moved = plan_as_drilled(plan, _duct(), lines_m=(0.034, 0.132, 0.249, 0.326, 0.423))
    assert moved.depths == plan.depths
    assert moved.lines[2] == pytest.approx(0.249 / 0.4572)
    assert plan_as_drilled(plan, _duct()) == plan


@given(
    shape=st.sampled_from(["rectangular", "round", "flat_oval"]),
    side=st.sampled_from(["width", "height"]),
)
def test_positions_as_planned_give_back_the_plan(shape: str, side: str) -> None:
    size = (0.4, 0.4) if shape == "round" else (0.6, 0.35)
    duct = InsideSection(shape, *size, wall_m=0.02)  # type: ignore[arg-type]
    plan = plan_for(duct, drilled_side=side)  # type: ignore[arg-type]
    distances = layout_distances(plan, duct, side)  # type: ignore[arg-type]
    back = plan_as_drilled(
        plan,
        duct,
        side,  # type: ignore[arg-type]
        lines_m=distances.lines_m or None,
        angles_deg=distances.angles_deg or None,
        depths_m=distances.depths_m,
    )
    np.testing.assert_allclose(back.xi, plan.xi, atol=1e-14)
    np.testing.assert_allclose(back.eta, plan.eta, atol=1e-14)


def test_lines_may_differ_in_their_depths_and_their_number() -> None:
    plan = plan_as_drilled(
        plan_for(_duct()), _duct(), lines_m=(0.1, 0.3), depths_m=((0.1, 0.5), (0.2, 0.3, 0.4))
    )
    assert plan.number_of_points == 5
    assert plan.line_of_point.tolist() == [0, 0, 1, 1, 1]
    assert plan.eta[0] == pytest.approx(2 * 0.1 / 0.6096 - 1)


def test_impossible_positions_are_refused_by_name_value_and_limit() -> None:
    plan, duct = plan_for(_duct()), _duct()
    circle = InsideSection("round", 0.3, 0.3)
    with pytest.raises(ValueError, match="lines_m has 0.5 m; it must lie inside the section"):
        plan_as_drilled(plan, duct, lines_m=(0.1, 0.5))
    with pytest.raises(ValueError, match="depths_m has 0.7 m; .* below 0.6096 m"):
        plan_as_drilled(plan, duct, depths_m=((0.7,),) * 5)
    with pytest.raises(ValueError, match="depths_m has 2 lists for 5 lines"):
        plan_as_drilled(plan, duct, depths_m=((0.1,), (0.2,)))
    with pytest.raises(ValueError, match="angles_deg is given; a rectangular section has lines_m"):
        plan_as_drilled(plan, duct, angles_deg=(0.0, 90.0))
    with pytest.raises(ValueError, match="lines_m is given; a round section has angles_deg"):
        plan_as_drilled(plan_for(circle), circle, lines_m=(0.1,))
    with pytest.raises(ValueError, match="depths_m has an empty list"):
        plan_as_drilled(plan, duct, depths_m=((),) * 5)
    with pytest.raises(ValueError, match="tip_to_sensor_m is -0.1 m"):
        layout_distances(plan, duct, tip_to_sensor_m=-0.1)
    with pytest.raises(ValueError, match="exact_m is nan m"):
        tape_position(float("nan"))


def test_a_long_probe_reaches_from_one_side_a_shorter_one_from_both_and_a_stub_not_at_all() -> None:
    duct = _duct(0.8, 1.0, wall=0.025)
    plan = plan_for(duct)
    deepest = plan.depths[0][-1] * 1.0
    long_enough = deepest + 0.025 + 0.01
    at_the_limit = reach(plan, duct, probe_reach_m=long_enough + 1e-9, tip_to_sensor_m=0.01)
    just_short = reach(plan, duct, probe_reach_m=long_enough - 1e-3, tip_to_sensor_m=0.01)
    stub = reach(plan, duct, probe_reach_m=0.3, tip_to_sensor_m=0.01)
    assert at_the_limit.judgement == "from_one_side"
    assert just_short.judgement == "from_both_sides"
    assert just_short.from_the_far_side == tuple((j, len(plan.depths[0]) - 1) for j in range(6))
    assert stub.judgement == "not_reached"
    assert (0, 3) in stub.out_of_reach


def test_a_tip_that_touches_the_far_wall_keeps_the_sensor_from_the_last_point() -> None:
    duct = _duct(0.3, 0.3)
    last_gap = 0.3 - plan_for(duct).depths[0][-1] * 0.3
    touching = reach(plan_for(duct), duct, probe_reach_m=2.0, tip_to_sensor_m=last_gap + 0.001)
    clear = reach(plan_for(duct), duct, probe_reach_m=2.0, tip_to_sensor_m=last_gap - 0.001)
    assert (touching.judgement, clear.judgement) == ("from_both_sides", "from_one_side")


def test_reach_is_unknown_without_the_probes_length() -> None:
    duct = _duct()
    assert reach(plan_for(duct), duct, probe_reach_m=None).judgement == "unknown"
    assert reach(plan_for(duct), duct, probe_reach_m=float("nan")).judgement == "unknown"
    with pytest.raises(ValueError, match="probe_reach_m is -1 m"):
        reach(plan_for(duct), duct, probe_reach_m=-1.0)


@given(length=st.floats(0.05, 1.5), extra=st.floats(0.0, 1.0))
def test_a_longer_probe_never_reaches_less(length: float, extra: float) -> None:
    rank = {"not_reached": 0, "from_both_sides": 1, "from_one_side": 2}
    duct = _duct(0.6, 0.9)
    shorter = reach(plan_for(duct), duct, probe_reach_m=length)
    longer = reach(plan_for(duct), duct, probe_reach_m=length + extra)
    assert rank[longer.judgement] >= rank[shorter.judgement]


def test_positions_as_sent_go_before_those_drilled_and_those_before_the_plan() -> None:
    duct = _duct(0.5, 0.5)
    plan = plan_for(duct)
    drilled = {"lines": [0.04, 0.14, 0.27, 0.36, 0.46], "depths": [[0.05, 0.25, 0.45]] * 5}
    sent = {"lines": [0.05, 0.14, 0.27, 0.36, 0.46]}
    found = plan_as_recorded(plan, duct, "width", drilled=drilled, sent=sent)
    assert found.lines[0] == pytest.approx(0.1)
    assert found.depths[0] == pytest.approx((0.1, 0.5, 0.9))
    found = plan_as_recorded(plan, duct, "width", drilled=drilled, sent=None)
    assert found.lines[0] == pytest.approx(0.08)
    assert plan_as_recorded(plan, duct, "width", drilled={}, sent={}) is plan


def test_counts_are_those_read_and_else_those_of_the_section() -> None:
    assert counts_read("points", {"values": [[1.0] * 4] * 6}, lines=5, points=5) == (6, 4)
    assert counts_read("sweeps", {"lines": [{}] * 7}, lines=5, points=5) == (7, 5)
    assert counts_read("average", {"mean": 3.0}, lines=5, points=None) == (5, None)
    assert counts_read("average", {"mean": 3.0, "lines": 6}, lines=5, points=5) == (6, 5)
