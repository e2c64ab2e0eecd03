"""The whole evaluation: from readings to verdict, for one traverse and for many."""

from dataclasses import fields as fields_of
from dataclasses import is_dataclass, replace
from typing import Any

import numpy as np
import pytest

from airflow_jobs.calc import sweeps
from airflow_jobs.calc.air import STANDARD_AIR_DENSITY_KG_M3, moist_air_density_kg_m3
from airflow_jobs.calc.conformity import VERDICTS
from airflow_jobs.calc.evaluation import evaluate
from airflow_jobs.calc.instruments import instruments
from airflow_jobs.calc.layouts import Plan, plan_by_rule
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.spatial import AVERAGE_ONLY_U
from airflow_jobs.calc.traverse_batch import TraverseBatch
from airflow_jobs.calc.traverse_results import Evaluation
from airflow_jobs.calc.uncertainty import COMPONENT_NAMES
from benchmarks.fields import fields
from tests.calc.samplings import (
    EQUAL_AREA_5,
    RECTANGLE_5,
    RECTANGLE_7,
    THREE_DIAMETERS,
    TWO_DIAMETERS,
    WIDE_OVAL,
)

FOOT_M = 0.3048
FPM_M_S = FOOT_M / 60.0
CFM_M3_S = FOOT_M**3 / 60.0
TON_W = 12000.0 * 1055.05585262 / 3600.0
CFM_PER_TON = CFM_M3_S / TON_W
WIDTH_M, HEIGHT_M = 18 * 0.0254, 24 * 0.0254


def _batch(readings: Any = 574 * FPM_M_S, **changed: Any) -> TraverseBatch:
    """An 18 by 24 inch return at sea level, read with a vane, unless told otherwise."""
    given: dict[str, Any] = {
        "plan": RECTANGLE_5,
        "instruments": instruments(principle="vane"),
        "width_m": WIDTH_M,
        "height_m": HEIGHT_M,
        "dry_bulb_c": 21.0,
        "relative_humidity": 0.45,
        "pressure_pa": 101325.0,
        "direction_response": "cosine",
        "accuracy_relative": 0.03,
        "capacity_w": 3 * TON_W,
        "target_low": 350 * CFM_PER_TON,
        "target_nominal": 400 * CFM_PER_TON,
        "target_high": 450 * CFM_PER_TON,
    } | changed
    columns = given["plan"].number_of_points
    if given.get("mode") == "sweeps":
        columns = len(given["plan"].lines) * (2 if given["plan"].shape == "round" else 1)
    elif given.get("mode") == "average":
        columns = 1
    array = np.asarray(readings, dtype=float)
    given["readings"] = np.full((1, columns), array) if array.ndim == 0 else np.atleast_2d(array)
    return TraverseBatch(**given)


def _evaluated(readings: Any = 574 * FPM_M_S, **changed: Any) -> Evaluation:
    return evaluate(_batch(readings, **changed))


def _verdict(result: Evaluation, row: int = 0) -> str:
    return VERDICTS[result.conformity.verdict[row]]


def _arrays(value: Any, path: str = "") -> dict[str, np.ndarray]:
    """Every array of a result by its path."""
    found: dict[str, np.ndarray] = {}
    if is_dataclass(value):
        for field in fields_of(value):
            found |= _arrays(getattr(value, field.name), f"{path}.{field.name}")
    elif isinstance(value, tuple):
        for index, item in enumerate(value):
            found |= _arrays(item, f"{path}[{index}]")
    elif isinstance(value, dict):
        for key, item in value.items():
            found |= _arrays(item, f"{path}[{key}]")
    elif isinstance(value, np.ndarray):
        found[path] = value
    return found


# ---- The figures of the trade.


def test_574_feet_a_minute_in_18_by_24_inches_are_1722_cubic_feet_a_minute() -> None:
    result = _evaluated()
    assert result.inside_area_m2[0] / FOOT_M**2 == pytest.approx(3.0)
    assert result.by_rule.velocity_mean_m_s[0] == pytest.approx(574 * FPM_M_S, rel=1e-12)
    assert result.by_rule.actual_m3_s[0] / CFM_M3_S == pytest.approx(1722.0, rel=1e-12)
    actual = _evaluated(target_is_actual=True)
    assert actual.by_rule.per_capacity_m3_s_per_w[0] / CFM_PER_TON == pytest.approx(574.0)
    assert _verdict(actual) == "high"


def test_an_inch_of_lining_leaves_1403_cubic_feet_a_minute() -> None:
    lined = _evaluated(width_m=16 * 0.0254, height_m=22 * 0.0254, lining_thickness_m=0.0254)
    assert lined.by_rule.actual_m3_s[0] / CFM_M3_S == pytest.approx(1403.0, abs=0.5)
    bare = _evaluated(width_m=16 * 0.0254, height_m=22 * 0.0254)
    assert lined.budget_actual.component("area")[0] > bare.budget_actual.component("area")[0]


def test_standard_flow_is_actual_flow_by_density() -> None:
    result = _evaluated(pressure_pa=83500.0, dry_bulb_c=25.0)
    density = moist_air_density_kg_m3(dry_bulb_c=25.0, pressure_pa=83500.0, relative_humidity=0.45)
    assert result.air_density_kg_m3[0] == pytest.approx(float(density))
    assert result.by_rule.mass_kg_s[0] == pytest.approx(result.by_rule.actual_m3_s[0] * density)
    assert result.by_rule.standard_m3_s[0] == pytest.approx(
        result.by_rule.mass_kg_s[0] / STANDARD_AIR_DENSITY_KG_M3
    )


def test_1200_actual_on_three_tons_at_1600_metres_is_330_a_ton_in_standard_air() -> None:
    velocity = 1200 * CFM_M3_S / (WIDTH_M * HEIGHT_M)
    result = _evaluated(velocity, pressure_pa=83500.0, dry_bulb_c=21.0)
    per_ton = result.by_rule.per_capacity_m3_s_per_w[0] / CFM_PER_TON
    assert per_ton == pytest.approx(330.0, abs=4.0)


def test_a_mountain_leaves_the_verdict_open_until_the_maker_says_the_basis() -> None:
    velocity = 1240 * CFM_M3_S / (WIDTH_M * HEIGHT_M)
    mountain = {"pressure_pa": 83500.0, "accuracy_relative": 0.01}
    open_ = _evaluated(velocity, **mountain)
    assert open_.basis_decides[0]
    assert _verdict(open_) == "undecided"
    said = _evaluated(velocity, basis_is_makers_word=True, **mountain)
    assert not said.basis_decides[0]
    assert _verdict(said) == "low"
    maker = _evaluated(velocity, basis_is_makers_word=True, target_is_actual=True, **mountain)
    assert _verdict(maker) == "in_range"


def test_a_design_flow_is_judged_as_a_flow() -> None:
    result = _evaluated(
        capacity_w=np.nan,
        target_is_flow=True,
        target_low=1500 * CFM_M3_S,
        target_nominal=1700 * CFM_M3_S,
        target_high=1900 * CFM_M3_S,
    )
    assert np.isnan(result.by_rule.per_capacity_m3_s_per_w[0])
    assert result.judged_value[0] == result.best_estimate.standard_m3_s[0]
    assert _verdict(result) == "in_range"


def test_a_part_of_a_system_and_a_system_without_target_are_not_judged() -> None:
    assert _verdict(_evaluated(carries_whole_flow=False)) == "not_judged"
    assert _verdict(_evaluated(target_low=np.nan)) == "not_judged"
    assert _verdict(_evaluated(capacity_w=np.nan)) == "not_judged"


# ---- Steps and intervals.


def test_each_step_takes_over_where_the_one_before_left_off() -> None:
    rng = np.random.default_rng(51)
    result = _evaluated(
        3.0 + 0.3 * rng.standard_normal((4, 25)),
        instruments=instruments(
            principle="thermal", shows="standard_velocity", gain=1.02, offset_m_s=-0.01
        ),
        pressure_pa=95000.0,
    )
    steps = [correction.step for correction in result.corrections]
    assert steps == ["positions", "calibration", "density", "sweep_gap", "wall", "alignment"]
    before = result.velocity_indicated_m_s
    for correction in result.corrections:
        np.testing.assert_allclose(before * correction.factor, correction.velocity_after_m_s)
        before = correction.velocity_after_m_s
    by_step = {c.step: c.velocity_after_m_s for c in result.corrections}
    np.testing.assert_array_equal(by_step["sweep_gap"], result.by_rule.velocity_mean_m_s)
    np.testing.assert_array_equal(by_step["alignment"], result.best_estimate.velocity_mean_m_s)


def test_the_interval_lies_around_the_best_estimate() -> None:
    result = _evaluated()
    for interval, value, budget in (
        (result.interval_actual_m3_s, result.best_estimate.actual_m3_s, result.budget_actual),
        (result.interval_standard_m3_s, result.best_estimate.standard_m3_s, result.budget_standard),
        (
            result.interval_per_capacity,
            result.best_estimate.per_capacity_m3_s_per_w,
            result.budget_judged,
        ),
    ):
        np.testing.assert_allclose(interval.high - value, value * budget.relative_u95)
        np.testing.assert_allclose(value - interval.low, value * budget.relative_u95)


def test_a_velocity_pressure_is_a_velocity_whatever_the_display_assumes() -> None:
    density = float(
        moist_air_density_kg_m3(dry_bulb_c=21.0, pressure_pa=90000.0, relative_humidity=0.45)
    )
    result = _evaluated(
        0.5 * density * 9.0,
        is_velocity_pressure=True,
        instruments=instruments(principle="pitot"),
        pressure_pa=90000.0,
    )
    assert result.by_rule.velocity_mean_m_s[0] == pytest.approx(3.0, rel=1e-12)


def test_roots_are_averaged_never_pressures() -> None:
    pressures = np.repeat([4.0, 16.0], [13, 12]).astype(float)
    result = _evaluated(
        pressures, is_velocity_pressure=True, instruments=instruments(principle="pitot")
    )
    density = result.air_density_kg_m3[0]
    expected = np.mean(np.sqrt(2.0 * pressures / density))
    assert result.by_rule.velocity_mean_m_s[0] == pytest.approx(expected)


def test_a_thermal_meter_that_shows_standard_velocity_is_right_for_standard_flow() -> None:
    meter = instruments(principle="thermal", shows="standard_velocity")
    doubt = {"dry_bulb_u_c": 2.0, "pressure_u_pa": 1000.0, "relative_humidity_u": 0.2}
    low = _evaluated(instruments=meter, pressure_pa=83500.0, **doubt)
    high = _evaluated(instruments=meter, pressure_pa=101325.0, **doubt)
    assert low.by_rule.standard_m3_s[0] == pytest.approx(high.by_rule.standard_m3_s[0], rel=1e-12)
    assert low.by_rule.actual_m3_s[0] > 1.2 * high.by_rule.actual_m3_s[0]
    assert low.budget_standard.component("density")[0] == 0.0
    assert low.budget_actual.component("density")[0] > 0.01


@pytest.mark.parametrize(
    ("principle", "actual_share", "standard_share"),
    [("thermal", 1.0, 0.0), ("pitot", 0.5, 0.5), ("vane", 0.0, 1.0)],
)
def test_the_density_enters_with_the_exponent_of_the_principle(
    principle: str, actual_share: float, standard_share: float
) -> None:
    result = _evaluated(
        instruments=instruments(
            principle=principle,
            compensates_temperature=False,
            compensates_pressure=False,
            compensates_humidity=False,
        ),
        pressure_u_pa=1000.0,
    )
    doubt = 1000.0 / 101325.0
    assert result.budget_actual.component("density")[0] == pytest.approx(
        actual_share * doubt, rel=0.02
    )
    assert result.budget_standard.component("density")[0] == pytest.approx(
        standard_share * doubt, rel=0.02
    )


def test_what_a_meter_compensates_is_no_doubt_of_the_actual_velocity() -> None:
    def with_(answer: bool | None) -> Evaluation:
        meter = instruments(
            principle="thermal",
            compensates_temperature=answer,
            compensates_pressure=False,
            compensates_humidity=False,
        )
        return _evaluated(instruments=meter, dry_bulb_u_c=3.0)

    yes, no, unknown = with_(True), with_(False), with_(None)
    assert yes.budget_actual.component("density")[0] == 0.0
    assert yes.budget_standard.component("density")[0] > 0.009
    assert no.budget_actual.component("density")[0] > 0.009
    assert no.budget_standard.component("density")[0] == 0.0
    assert unknown.budget_actual.component("density")[0] > 0.009
    assert unknown.budget_standard.component("density")[0] > 0.009
    assert unknown.signs.compensation_is_unknown[0]


def test_an_unknown_compensation_widens_the_interval_to_both_readings_of_it() -> None:
    meter = instruments(principle="thermal", shows="unknown", compensates_pressure=False)
    known = instruments(principle="thermal", shows="standard_velocity")
    mountain = {"pressure_pa": 83500.0}
    wide = _evaluated(instruments=meter, **mountain)
    sure = _evaluated(instruments=known, **mountain)
    assert wide.signs.compensation_is_unknown[0]
    assert wide.budget_actual.component("compensation")[0] > 0.0
    assert wide.budget_actual.relative_u95[0] > sure.budget_actual.relative_u95[0]
    low, high = wide.interval_actual_m3_s.low[0], wide.interval_actual_m3_s.high[0]
    assert low < sure.best_estimate.actual_m3_s[0] < high


def test_a_better_meter_narrows_the_interval_and_an_unknown_one_counts_five_percent() -> None:
    u95 = [
        _evaluated(accuracy_relative=a).budget_actual.relative_u95[0] for a in (0.01, 0.03, 0.05)
    ]
    assert u95[0] < u95[1] < u95[2]
    unknown = _evaluated(accuracy_relative=np.nan)
    assert unknown.signs.accuracy_is_assumed[0]
    assert unknown.budget_actual.relative_u95[0] == pytest.approx(u95[2])


def test_three_percent_of_meter_alone_cost_3_4_percent() -> None:
    result = _evaluated(accuracy_relative=0.03)
    assert 1.96 * result.budget_actual.component("calibration")[0] == pytest.approx(0.034, abs=2e-4)


def test_blades_close_by_ask_for_seven_by_seven() -> None:
    coarse = _evaluated(blades_within_5_diameters=True)
    assert coarse.budget_actual.component("blades")[0] == 0.026
    assert coarse.indicative_reasons["blades"][0]
    fine = _evaluated(blades_within_5_diameters=True, plan=RECTANGLE_7)
    assert fine.budget_actual.component("blades")[0] == 0.0
    assert not fine.is_indicative[0]


def test_a_disturbance_within_two_diameters_adds_one_percent() -> None:
    result = _evaluated(disturbance_within_2_diameters=True)
    assert result.budget_actual.component("disturbance")[0] == 0.01
    assert not result.is_indicative[0]


def test_a_drill_on_the_other_side_swaps_the_extents() -> None:
    rng = np.random.default_rng(52)
    readings = 3.0 + 0.5 * rng.standard_normal((1, 25))
    wide = _evaluated(readings, width_m=1.0, height_m=0.3)
    turned = _evaluated(readings, width_m=0.3, height_m=1.0, drilled_side="height")
    np.testing.assert_allclose(
        wide.budget_actual.component("position"), turned.budget_actual.component("position")
    )
    assert wide.budget_actual.component("position")[0] != pytest.approx(
        _evaluated(readings, width_m=0.3, height_m=1.0).budget_actual.component("position")[0]
    )


def test_reading_back_and_forth_balances_a_drift_along_the_holes() -> None:
    rising = np.linspace(2.5, 3.5, 25)
    forth = _evaluated(rising)
    back = _evaluated(rising, taken_in="back_and_forth")
    assert forth.budget_actual.component("drift")[0] > back.budget_actual.component("drift")[0]
    even = _evaluated()
    assert even.budget_actual.component("drift")[0] == pytest.approx(0.02 * 0.15)


def test_an_area_by_grille_or_filter_face_takes_the_place_of_the_duct() -> None:
    result = _evaluated(area_override_m2=0.5)
    assert result.inside_area_m2[0] == 0.5
    assert result.budget_actual.component("area")[0] == 0.02
    assert result.hydraulic_diameter_m[0] == pytest.approx(4 * 0.2787 / 2.1336, rel=1e-3)


# ---- Guards and signs.


def test_missing_points_keep_the_result_and_a_missing_line_makes_it_indicative() -> None:
    readings = np.full((2, 25), 3.0)
    readings[:, [3, 17]] = np.nan
    some = _evaluated(readings)
    assert some.by_rule.velocity_mean_m_s == pytest.approx([3.0, 3.0])
    assert some.signs.missing_share[0] == pytest.approx(2 / 25)
    assert not some.is_indicative.any()
    readings[:, 5:10] = np.nan
    line = _evaluated(readings)
    assert line.indicative_reasons["line_missing"].all()
    assert _verdict(line) == "high"


def test_three_points_are_indicative_without_probability() -> None:
    readings = np.full((1, 25), np.nan)
    readings[0, [0, 12, 24]] = 3.0
    result = _evaluated(readings)
    assert result.by_rule.velocity_mean_m_s[0] == pytest.approx(3.0)
    assert result.indicative_reasons["few_points"][0]
    assert not result.indicative_reasons["no_positive_estimate"][0]
    assert np.isnan(result.best_estimate.actual_m3_s[0])
    assert np.isnan(result.budget_actual.relative_u95[0])
    assert _verdict(result) == "not_judged"
    assert result.narrowing.component[0] == -1


@pytest.mark.parametrize("velocity", [0.0, -1.0])
def test_flow_that_is_not_positive_is_indicative_without_probability(velocity: float) -> None:
    result = _evaluated(velocity)
    assert result.indicative_reasons["no_positive_estimate"][0]
    assert np.isnan(result.budget_actual.relative_u95[0])
    assert _verdict(result) == "not_judged"
    assert result.by_rule.velocity_mean_m_s[0] == pytest.approx(velocity)


def test_a_missing_arm_of_two_diameters_is_indicative() -> None:
    readings = np.full((1, 12), 3.0)
    full = _evaluated(readings, plan=TWO_DIAMETERS, width_m=0.4, height_m=0.4)
    assert not full.is_indicative[0]
    readings[0, :3] = np.nan
    armless = _evaluated(readings, plan=TWO_DIAMETERS, width_m=0.4, height_m=0.4)
    assert armless.indicative_reasons["arm_missing"][0]


def test_readings_give_themselves_away() -> None:
    rng = np.random.default_rng(53)
    readings = 3.0 + 0.1 * rng.standard_normal((4, 25))
    readings[1] = 3.0
    readings[2, 0] = 9.0
    readings[3, :5] = -0.5
    result = _evaluated(readings, range_low_m_s=1.0, range_high_m_s=8.0)
    assert result.signs.are_all_equal.tolist() == [False, True, False, False]
    assert (result.signs.over_twice_mean_share > 0).tolist() == [False, False, True, False]
    np.testing.assert_allclose(result.signs.above_range_share, [0.0, 0.0, 0.04, 0.0])
    np.testing.assert_allclose(result.signs.below_range_share, [0.0, 0.0, 0.0, 0.2])
    np.testing.assert_allclose(result.signs.backflow_share, [0.0, 0.0, 0.0, 0.2])
    assert result.profile.share_under_tenth[3] == pytest.approx(0.2)


def test_backflow_is_summed_with_its_sign() -> None:
    readings = np.full((1, 25), 3.0)
    readings[0, :5] = -1.0
    assert _evaluated(readings).by_rule.velocity_mean_m_s[0] == pytest.approx(2.2)


def test_too_many_readings_in_the_dead_band_are_a_bound() -> None:
    readings = np.full((1, 25), 1.0)
    readings[0, :4] = 0.1
    meter = instruments(principle="thermal", shows="standard_velocity")
    some = _evaluated(readings, instruments=meter)
    assert some.signs.dead_band_share[0] == pytest.approx(0.16)
    assert not some.signs.is_bound[0]
    assert some.budget_actual.component("dead_band")[0] > 0.0
    readings[0, :6] = 0.1
    many = _evaluated(readings, instruments=meter)
    assert many.signs.is_bound[0]
    assert many.indicative_reasons["dead_band"][0]


def test_a_slow_vane_and_a_slow_pitot_know_their_limits() -> None:
    vane = _evaluated(0.8, pressure_pa=83500.0)
    assert vane.signs.is_slow_vane[0]
    assert 0.005 < vane.budget_actual.component("vane_drag")[0] < 0.02
    pitot = instruments(principle="pitot")
    slow = _evaluated(1.0, instruments=pitot)
    fast = _evaluated(5.0, instruments=pitot)
    assert slow.budget_actual.component("pitot_zero")[0] == pytest.approx(0.35 / 3**0.5, rel=0.02)
    assert fast.budget_actual.component("pitot_zero")[0] == pytest.approx(0.017 / 3**0.5, rel=0.05)
    stated = _evaluated(1.0, instruments=pitot, accuracy_absolute_m_s=0.1)
    assert stated.budget_actual.component("pitot_zero")[0] == 0.0


# ---- Where points were taken elsewhere.


def _moved_line(plan: Plan) -> Plan:
    lines = list(plan.lines)
    lines[1] = 0.238
    return Plan(plan.shape, plan.rule, tuple(lines), plan.depths, plan.oval_aspect)


def test_a_hole_that_moved_is_weighed_where_it_is() -> None:
    field = fields(("skewed",), 1, seed=5)[0]
    moved = _moved_line(RECTANGLE_5)
    at_moved = 3.0 * field.at(moved.xi, moved.eta)
    at_plan = 3.0 * field.at(RECTANGLE_5.xi, RECTANGLE_5.eta)
    rule = _evaluated(at_plan).by_rule.velocity_mean_m_s[0]
    weighed = _evaluated(at_moved, taken=moved)
    believed = _evaluated(at_moved)
    assert abs(weighed.by_rule.velocity_mean_m_s[0] / rule - 1.0) < 0.003
    assert abs(weighed.by_rule.velocity_mean_m_s[0] - rule) < 0.3 * abs(
        believed.by_rule.velocity_mean_m_s[0] - rule
    )
    assert weighed.weights.sum() == pytest.approx(1.0)
    assert weighed.corrections[0].step == "positions"
    assert weighed.corrections[0].factor[0] != 1.0


def test_positions_equal_to_the_plan_are_the_plan() -> None:
    readings = 3.0 + 0.3 * np.random.default_rng(54).standard_normal((1, 25))
    taken = Plan("rectangular", "log_tchebycheff", RECTANGLE_5.lines, RECTANGLE_5.depths)
    assert (
        _evaluated(readings, taken=taken).by_rule.velocity_mean_m_s[0]
        == _evaluated(readings).by_rule.velocity_mean_m_s[0]
    )


# ---- Sweeps and averages.


def test_lines_weigh_alike_whatever_time_each_took() -> None:
    lines = np.array([[2.8, 3.0, 3.2, 3.1, 2.9]])
    result = _evaluated(lines, mode="sweeps")
    assert result.by_rule.velocity_mean_m_s[0] == pytest.approx(3.0)
    assert (result.weights == 0.2).all()
    assert result.budget_actual.component("sweep_pace")[0] == 0.015
    assert not result.is_indicative[0]


def test_unswept_strips_are_corrected_by_the_wall_law() -> None:
    gap = _evaluated(3.0, mode="sweeps", near_gap_m=0.03, far_gap_m=0.02)
    factor = sweeps.gap_factor(near=0.03 / HEIGHT_M, far=0.02 / HEIGHT_M)
    assert gap.by_rule.velocity_mean_m_s[0] == pytest.approx(3.0 * float(factor))
    assert gap.budget_actual.component("sweep_gap")[0] > 0.0
    assert not gap.signs.gaps_are_wide[0]
    wide = _evaluated(3.0, mode="sweeps", near_gap_m=0.08)
    assert wide.signs.gaps_are_wide[0]
    even = _evaluated(3.0, mode="sweeps", near_gap_m=0.03, depth_skew_is_possible=False)
    skew = _evaluated(3.0, mode="sweeps", near_gap_m=0.03)
    assert even.budget_actual.component("sweep_gap")[0] < skew.budget_actual.component("sweep_gap")


def test_each_line_of_an_oval_has_gaps_of_its_own_chord() -> None:
    result = _evaluated(
        3.0, mode="sweeps", plan=WIDE_OVAL, width_m=0.6, height_m=0.3, near_gap_m=0.02
    )
    middle = 3.0 * float(sweeps.gap_factor(near=0.02 / 0.3, far=0.0))
    assert result.by_rule.velocity_mean_m_s[0] < middle


def test_stamped_sweeps_have_neither_pace_nor_gaps() -> None:
    result = _evaluated(3.0, mode="sweeps", is_depth_stamped=True, near_gap_m=0.05)
    assert result.by_rule.velocity_mean_m_s[0] == pytest.approx(3.0, rel=1e-14)
    assert result.budget_actual.component("sweep_pace")[0] == 0.0
    assert result.budget_actual.component("sweep_gap")[0] == 0.0


def test_a_sweep_of_a_round_duct_needs_stamps() -> None:
    round_ = {"plan": THREE_DIAMETERS, "width_m": 0.4, "height_m": 0.4}
    for mode in ("sweeps", "average"):
        with pytest.raises(ValueError, match="over-reads by 5 to 30 %"):
            _evaluated(3.0, mode=mode, **round_)
    stamped = _evaluated(3.0, mode="sweeps", is_depth_stamped=True, **round_)
    assert stamped.by_rule.velocity_mean_m_s[0] == pytest.approx(3.0)
    assert np.isfinite(stamped.budget_actual.relative_u95[0])


def test_a_swept_field_has_nearly_its_true_mean() -> None:
    node = (np.arange(400) + 0.5) / 200 - 1.0
    errors = []
    for field in fields(("developed", "skewed", "bend", "wake", "swirl"), 8, seed=55):
        lines = np.array(
            [
                np.mean(field.at(np.full_like(node, x), node))
                for x in 2 * np.array(RECTANGLE_5.lines) - 1
            ]
        )
        result = _evaluated(lines / field.mean, mode="sweeps")
        errors.append(
            result.best_estimate.velocity_mean_m_s[0] / result.corrections[-1].factor[0] - 1
        )
        assert result.interval_actual_m3_s.low[0] < WIDTH_M * HEIGHT_M
        assert result.interval_actual_m3_s.high[0] > WIDTH_M * HEIGHT_M
    assert np.sqrt(np.mean(np.square(errors))) < 0.012


def test_an_average_alone_is_indicative_and_wider_than_its_lines() -> None:
    alone = _evaluated(3.0, mode="average", near_gap_m=0.02)
    lines = _evaluated(3.0, mode="sweeps", near_gap_m=0.02)
    assert alone.indicative_reasons["average_only"][0]
    assert alone.by_rule.velocity_mean_m_s[0] == pytest.approx(lines.by_rule.velocity_mean_m_s[0])
    assert alone.budget_actual.relative_u95[0] > lines.budget_actual.relative_u95[0]
    assert alone.budget_actual.component("time_weighting")[0] == 0.03
    assert alone.budget_actual.component("average_only")[0] == AVERAGE_ONLY_U
    assert np.isnan(alone.profile.variation[0])
    assert np.isnan(alone.velocity_max_m_s[0])
    assert VERDICTS[alone.conformity.verdict[0]] in ("high", "undecided")


# ---- Arrays.

BATCHES: dict[str, dict[str, Any]] = {
    "points": {},
    "seven": {"plan": RECTANGLE_7},
    "equal area": {"plan": EQUAL_AREA_5},
    "three diameters": {"plan": THREE_DIAMETERS, "height_m": WIDTH_M},
    "two diameters": {"plan": TWO_DIAMETERS, "height_m": WIDTH_M},
    "oval": {"plan": WIDE_OVAL, "width_m": 0.6, "height_m": 0.3},
    "moved": {"taken": _moved_line(RECTANGLE_5)},
    "sweeps": {"mode": "sweeps", "near_gap_m": 0.02},
    "stamped": {
        "mode": "sweeps", "is_depth_stamped": True, "plan": THREE_DIAMETERS, "height_m": WIDTH_M,
    },
    "average": {"mode": "average", "near_gap_m": 0.02},
}  # fmt: skip


@pytest.mark.parametrize("changed", BATCHES.values(), ids=BATCHES)
def test_a_traverse_alone_has_the_result_it_has_in_a_batch(changed: dict[str, Any]) -> None:
    rng = np.random.default_rng(56)
    number = 150
    columns = _batch(**changed).columns
    readings = rng.uniform(1.0, 6.0, (number, 1)) * (
        1 + 0.1 * rng.standard_normal((number, columns))
    )
    if columns > 10:
        readings[:, 7] = np.nan
    per_traverse: dict[str, FloatArray] = {
        "dry_bulb_c": rng.uniform(10.0, 35.0, number),
        "pressure_pa": rng.uniform(80000.0, 102000.0, number),
        "dry_bulb_u_c": rng.uniform(0.0, 2.0, number),
        "accuracy_relative": rng.choice([0.01, 0.03, np.nan], number),
        "capacity_w": rng.uniform(2.0, 5.0, number) * TON_W,
    }

    def meters(rows: slice) -> Any:
        principle = np.array(["thermal", "vane", "pitot"])[np.arange(number) % 3][rows]
        return instruments(principle=principle, gain=np.linspace(0.97, 1.03, number)[rows])

    together = _arrays(evaluate(_batch(
        readings, instruments=meters(slice(None)), **changed, **per_traverse)))  # fmt: skip
    for row in (0, 1, 2, 77, 149):
        one = slice(row, row + 1)
        alone = _arrays(
            evaluate(
                _batch(
                    readings[one],
                    instruments=meters(one),
                    **changed,
                    **{name: values[one] for name, values in per_traverse.items()},
                )
            )
        )
        assert alone.keys() == together.keys()
        for path, values in alone.items():
            if path == ".weights":
                np.testing.assert_array_equal(values, together[path])
                continue
            np.testing.assert_allclose(
                values[..., 0], together[path][..., row], rtol=1e-11, atol=1e-14, err_msg=path
            )


def test_every_array_of_a_result_has_one_value_a_traverse() -> None:
    result = _arrays(_evaluated(np.full((6, 25), 3.0)))
    for path, values in result.items():
        if path == ".weights":
            continue
        if path.endswith(".relative"):
            assert values.shape == (len(COMPONENT_NAMES), 6), path
        else:
            assert values.shape == (6,), path


def test_scaling_velocities_and_capacity_changes_no_verdict() -> None:
    rng = np.random.default_rng(57)
    readings = 2.1 + 0.2 * rng.standard_normal((20, 25))
    one = _evaluated(readings)
    doubled = _evaluated(2.0 * readings, capacity_w=6 * TON_W)
    np.testing.assert_allclose(
        doubled.conformity.probability_in_range, one.conformity.probability_in_range, atol=1e-9
    )


def test_a_batch_that_cannot_be_is_refused_with_its_reason() -> None:
    with pytest.raises(ValueError, match=r"readings has shape \(1, 24\)"):
        _evaluated(np.zeros((1, 24)))
    holes = np.full((2, 25), 3.0)
    holes[0, 3] = np.nan
    with pytest.raises(ValueError, match="different columns"):
        _evaluated(holes)
    with pytest.raises(ValueError, match="all missing"):
        _evaluated(np.full((1, 25), np.nan))
    with pytest.raises(ValueError, match="no traverse"):
        _evaluated(np.zeros((0, 25)))
    with pytest.raises(ValueError, match=r"width_m has shape \(3,\)"):
        _evaluated(np.full((2, 25), 3.0), width_m=np.full(3, 0.4))
    with pytest.raises(ValueError, match="taken is a round plan"):
        _evaluated(taken=THREE_DIAMETERS)
    with pytest.raises(ValueError, match="mode is 'guess'"):
        replace(_batch(), mode="guess")
    with pytest.raises(ValueError, match="is_depth_stamped is true for an average"):
        _evaluated(3.0, mode="average", is_depth_stamped=True)
    with pytest.raises(ValueError, match="taken has 30 points; the plan has 25"):
        _evaluated(taken=plan_by_rule("rectangular", "log_tchebycheff", 5, 6))


# ---- The budget against chance: errors drawn as declared, pushed through the evaluation itself.


def test_the_closed_form_budget_is_what_drawn_errors_do_to_the_flow() -> None:
    rng = np.random.default_rng(58)
    number = 40000
    base = 3.0 * (1.0 + 0.1 * RECTANGLE_5.xi)
    budget = _evaluated(
        base,
        accuracy_relative=0.03,
        accuracy_absolute_m_s=0.05,
        resolution_m_s=0.1,
        dry_bulb_u_c=1.5,
        pressure_u_pa=800.0,
        relative_humidity_u=0.1,
        instruments=instruments(principle="pitot", compensates_temperature=False,
                                compensates_pressure=False, compensates_humidity=False),
    ).budget_actual  # fmt: skip

    def limits(half: float) -> FloatArray:
        return rng.uniform(-half, half, number)

    meter = 1.0 + limits(0.03)[:, None]
    shown = base * meter + limits(0.05)[:, None]
    shown = 0.1 * np.round((shown + rng.uniform(-0.05, 0.05, shown.shape)) / 0.1)
    flows = _evaluated(
        shown,
        width_m=WIDTH_M + limits(0.003),
        height_m=HEIGHT_M + limits(0.003),
        dry_bulb_c=21.0 + rng.normal(0.0, 1.5, number),
        relative_humidity=0.45 + rng.normal(0.0, 0.1, number).clip(-0.4, 0.5),
        pressure_pa=101325.0 + rng.normal(0.0, 800.0, number),
        instruments=instruments(principle="pitot", compensates_temperature=False,
                                compensates_pressure=False, compensates_humidity=False),
    ).by_rule.actual_m3_s  # fmt: skip
    drawn = ("calibration", "resolution", "area", "density")
    expected = np.sqrt(sum(budget.component(name)[0] ** 2 for name in drawn))
    # Dithering before rounding doubles the variance of the last digit; it is a thousandth here.
    assert flows.std() / flows.mean() == pytest.approx(expected, rel=0.02)
