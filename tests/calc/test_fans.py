"""Fan laws, predictions with their coverage, and advice with its limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from airflow_jobs.calc import fans
from airflow_jobs.calc.fan_advice import COIL_FREEZING_M3_S_W, fan_advice
from airflow_jobs.calc.fan_laws import (
    fan_law_ratios,
    flow_ratio_at_speed,
    measured_response,
    response_exponent,
    speed_ratio_for_same_pressure,
)
from airflow_jobs.calc.fans import PRIOR, belief_after, predicted_flow, speed_step
from tests.calc import published

FT3_MIN = 0.3048**3 / 60.0
TON_W = 12_000.0 * 1055.05585262 / 3600.0

speeds = st.floats(0.7, 1.4)
shares = st.floats(0.0, 0.4)
slopes = st.floats(-4.0, 0.0)
exponents = st.floats(1.6, 2.0)


def _speed_ratio(row: published.Row) -> float:
    return float(row.inputs["N2"] / row.inputs["N1"])


@published.each("FL-Q")
def test_flow_goes_with_speed(row: published.Row) -> None:
    ratios = fan_law_ratios(speed_ratio=_speed_ratio(row))
    row.assert_matches(row.inputs["Q1"] * ratios.flow)


@published.each("FL-P")
def test_pressure_goes_with_the_square_of_speed(row: published.Row) -> None:
    ratios = fan_law_ratios(speed_ratio=_speed_ratio(row))
    row.assert_matches(row.inputs["p1"] * ratios.pressure)


@published.each("FL-W")
def test_power_goes_with_the_cube_of_speed(row: published.Row) -> None:
    ratios = fan_law_ratios(speed_ratio=_speed_ratio(row))
    row.assert_matches(row.inputs["P1"] * ratios.power)


@published.each("FL-10")
def test_ten_percent_more_speed_is_a_third_more_power(row: published.Row) -> None:
    ratios = fan_law_ratios(speed_ratio=row.inputs["ratio"])
    row.assert_matches([ratios.flow, ratios.pressure, ratios.power])


@published.each("FL-M10")
def test_ten_percent_less_speed_saves_a_quarter_of_the_power(row: published.Row) -> None:
    row.assert_matches(100.0 * (1.0 - fan_law_ratios(speed_ratio=row.inputs["ratio"]).power))


@published.each("FL-RHO1")
def test_thin_air_takes_pressure_and_power_but_no_flow(row: published.Row) -> None:
    density_ratio = row.inputs["rho2"] / row.inputs["rho1"]
    ratios = fan_law_ratios(speed_ratio=1.0, density_ratio=density_ratio)
    row.assert_matches([ratios.flow, ratios.pressure, ratios.power])


@published.each("FL-RHO2")
def test_the_same_pressure_in_thin_air_asks_for_more_speed(row: published.Row) -> None:
    density_ratio = row.inputs["ratio"]
    speed_ratio = speed_ratio_for_same_pressure(density_ratio)
    ratios = fan_law_ratios(speed_ratio=speed_ratio, density_ratio=density_ratio)
    assert float(ratios.pressure) == pytest.approx(1.0, rel=1e-12)
    row.assert_matches([speed_ratio, ratios.flow, ratios.power])


@given(slope=slopes)
def test_the_plain_law_holds_where_the_system_follows_the_square(slope: float) -> None:
    assert float(response_exponent(fan_slope=slope, system_exponent=2.0)) == 1.0


@given(slope=slopes, exponent=st.floats(0.8, 2.0), step=st.floats(0.01, 0.5))
def test_flow_answers_speed_more_the_flatter_the_system(
    slope: float, exponent: float, step: float
) -> None:
    flatter = response_exponent(fan_slope=slope, system_exponent=exponent)
    steeper = response_exponent(fan_slope=slope, system_exponent=exponent + step)
    assert float(flatter) > float(steeper)


@given(speed=speeds, share=shares, slope=slopes, exponent=exponents)
def test_the_new_flow_lies_on_fan_and_system_curve(
    speed: float, share: float, slope: float, exponent: float
) -> None:
    flow = float(
        flow_ratio_at_speed(
            speed_ratio=speed, fixed_share=share, fan_slope=slope, exponent=exponent
        )
    )
    fan = (1.0 - slope / 2.0) * speed**2 + slope / 2.0 * flow**2
    system = share + (1.0 - share) * flow**exponent
    assert fan == pytest.approx(system, rel=1e-10)


@given(share=shares, slope=slopes, exponent=exponents)
def test_a_small_step_follows_the_response_exponent(
    share: float, slope: float, exponent: float
) -> None:
    step = 1.0001
    flow = flow_ratio_at_speed(
        speed_ratio=step, fixed_share=share, fan_slope=slope, exponent=exponent
    )
    g = response_exponent(fan_slope=slope, system_exponent=exponent * (1.0 - share))
    assert float(measured_response(speed_ratio=step, flow_ratio=flow)) == pytest.approx(
        float(g), rel=1e-3
    )


@given(speed=speeds, share=shares, slope=slopes, exponent=exponents, more=st.floats(0.001, 0.1))
def test_more_speed_always_means_more_flow(
    speed: float, share: float, slope: float, exponent: float, more: float
) -> None:
    curve = {"fixed_share": share, "fan_slope": slope, "exponent": exponent}
    faster = min(speed + more, 1.4)
    first = flow_ratio_at_speed(speed_ratio=speed, **curve)
    assert float(flow_ratio_at_speed(speed_ratio=faster, **curve)) >= float(first)
    assert float(flow_ratio_at_speed(speed_ratio=1.0, **curve)) == pytest.approx(1.0, rel=1e-12)


def _cubic_fan_flow(rng: np.random.Generator, speed: float) -> float:
    """Flow ratio of a fan of another kind than the prior's: a cubic curve, its slope drawn too."""
    share = 0.0 if rng.random() < 0.5 else rng.uniform(0.0, 0.4)
    exponent = rng.uniform(1.6, 2.0)
    while True:
        rise, third = rng.uniform(-0.3, 0.6), rng.uniform(0.2, 1.0)
        second = 1.0 + rise - third
        at = rng.uniform(0.45, 0.85)

        def pressure(q: float, rise=rise, second=second, third=third) -> float:  # type: ignore[no-untyped-def]
            return float(1.0 + rise * q - second * q**2 - third * q**3)

        slope = at * (rise - 2.0 * second * at - 3.0 * third * at**2) / pressure(at)
        if pressure(at) > 0.05 and -6.0 < slope < -0.02:
            break

    def excess(x: float) -> float:
        system = pressure(at) * (share + (1.0 - share) * x**exponent)
        return speed**2 * pressure(at * x / speed) - system

    return float(brentq(excess, 0.05, 3.0))


@pytest.mark.parametrize("speed", [0.8, 0.9, 1.15])
def test_the_prediction_interval_covers_fans_of_another_kind_where_the_plain_law_fails(
    speed: float,
) -> None:
    rng = np.random.default_rng(int(1000 * speed))
    count, uncertainty = 1200, 0.02
    truth = np.array([_cubic_fan_flow(rng, speed) for _ in range(count)])
    measured = np.exp(uncertainty * rng.normal(size=count))
    prediction = predicted_flow(
        flow_m3_s=measured, speed_ratio=speed, relative_standard_uncertainty=uncertainty
    )
    covered = np.mean((prediction.low_m3_s <= truth) & (truth <= prediction.high_m3_s))
    # 95 % less three standard errors of 1200 trials.
    assert covered >= 0.93
    plain = np.mean(np.abs(np.log(truth / (measured * speed))) < 1.96 * uncertainty)
    assert plain < covered - (0.25 if speed == 0.8 else 0.05)


def test_the_prediction_covers_its_own_prior_at_the_nominal_rate() -> None:
    rng = np.random.default_rng(11)
    count, uncertainty, speed = 4000, 0.02, 0.8
    truth = flow_ratio_at_speed(
        speed_ratio=speed,
        fixed_share=np.where(rng.random(count) < 0.5, 0.0, rng.uniform(0.0, 0.4, count)),
        fan_slope=-4.0 * rng.random(count) ** 1.5,
        exponent=rng.uniform(1.6, 2.0, count),
    )
    one = predicted_flow(
        flow_m3_s=1.0, speed_ratio=speed, relative_standard_uncertainty=uncertainty
    )
    measured = np.exp(uncertainty * rng.normal(size=count))
    covered = np.mean((measured * one.low_m3_s <= truth) & (truth <= measured * one.high_m3_s))
    assert covered == pytest.approx(0.95, abs=0.012)


def test_predictions_for_many_systems_are_the_predictions_for_each() -> None:
    flows, ratios = np.array([0.3, 0.5, 0.9]), np.array([0.85, 1.0, 1.15])
    together = predicted_flow(
        flow_m3_s=flows, speed_ratio=ratios, relative_standard_uncertainty=0.03
    )
    for i in range(3):
        alone = predicted_flow(
            flow_m3_s=flows[i], speed_ratio=ratios[i], relative_standard_uncertainty=0.03
        )
        for field in ("flow_m3_s", "low_m3_s", "high_m3_s", "model_standard_uncertainty"):
            assert getattr(together, field)[i] == pytest.approx(getattr(alone, field), rel=1e-12)
    assert together.model_standard_uncertainty[1] == pytest.approx(0.0, abs=1e-9)


def test_a_measured_step_sharpens_the_next_prediction() -> None:
    true = {"fixed_share": 0.3, "fan_slope": -0.5, "exponent": 1.8}
    first = float(flow_ratio_at_speed(speed_ratio=0.9, **true))
    learned = belief_after(
        PRIOR, speed_ratio=0.9, flow_ratio=first, relative_standard_uncertainty=0.005
    )
    g = float(response_exponent(fan_slope=-0.5, system_exponent=1.8 * 0.7))
    assert abs(learned.mean_response - g) < abs(PRIOR.mean_response - g)
    before = predicted_flow(flow_m3_s=1.0, speed_ratio=0.8, relative_standard_uncertainty=0.0)
    after = predicted_flow(
        flow_m3_s=1.0, speed_ratio=0.8, relative_standard_uncertainty=0.0, belief=learned
    )
    assert float(after.model_standard_uncertainty) < 0.5 * float(before.model_standard_uncertainty)
    truth = float(flow_ratio_at_speed(speed_ratio=0.8, **true))
    assert float(after.low_m3_s) < truth < float(after.high_m3_s)


@given(flow=st.floats(0.05, 5.0), target=st.floats(0.05, 5.0))
def test_a_step_goes_towards_the_target_and_never_over_fifteen_percent(
    flow: float, target: float
) -> None:
    step = speed_step(flow_m3_s=flow, target_flow_m3_s=target)
    assert 0.85 <= float(step.step_ratio) <= 1.15
    assert (float(step.step_ratio) - 1.0) * (target - flow) >= 0.0
    assert bool(step.is_limited) == (not 0.85 <= float(step.wanted_ratio) <= 1.15)
    assert float(step.power_ratio) == pytest.approx(float(step.step_ratio) ** 3)


def test_an_as_left_flow_is_compared_with_what_the_step_should_have_done() -> None:
    prediction = predicted_flow(flow_m3_s=0.5, speed_ratio=0.9, relative_standard_uncertainty=0.02)
    keywords = {
        "prediction": prediction,
        "first_independent_uncertainty": 0.01,
        "second_independent_uncertainty": 0.01,
    }
    as_predicted = fans.as_left_score(flow_m3_s=prediction.flow_m3_s, **keywords)
    assert float(as_predicted) == pytest.approx(0.0, abs=1e-12)
    spread = (0.01**2 + 0.01**2 + float(prediction.model_standard_uncertainty) ** 2) ** 0.5
    two_more = float(prediction.flow_m3_s) * np.exp(2.0 * spread)
    assert float(fans.as_left_score(flow_m3_s=two_more, **keywords)) == pytest.approx(2.0)


def test_what_holds_its_own_flow_gets_that_set_and_what_moves_by_itself_no_advice() -> None:
    common = {
        "flow_m3_s": 0.8, "target_flow_m3_s": 0.55, "relative_standard_uncertainty": 0.03
    }  # fmt: skip
    programmed = fan_advice(drive="constant_airflow", **common)
    assert (programmed.kind, programmed.step) == ("set_programmed_flow", None)
    moving = fan_advice(drive="belt", variable_volume=True, **common)
    assert (moving.kind, moving.cautions) == ("none", ("variable_volume",))
    stalled = fan_advice(drive="variable_frequency", on_stall_side=True, **common)
    assert (stalled.kind, stalled.cautions) == ("none", ("stall_side",))
    torque = fan_advice(drive="constant_torque", **common)
    assert (torque.kind, "constant_torque" in torque.cautions) == ("change_setting", True)
    taps = fan_advice(drive="permanent_split_capacitor", **common)
    assert (taps.kind, "settings_not_speeds" in taps.cautions) == ("change_setting", True)


def test_raising_minds_the_motor_and_the_coil() -> None:
    raised = fan_advice(
        flow_m3_s=0.50,
        target_flow_m3_s=0.57,
        relative_standard_uncertainty=0.03,
        drive="variable_frequency",
        coil_face_area_m2=0.19,
    )
    assert raised.cautions == ("motor_current", "coil_carry_over")
    assert raised.step is not None
    assert float(raised.step.power_ratio) > 1.0


def test_lowering_minds_the_coil_the_heater_and_the_furnace() -> None:
    assert pytest.approx(300 * FT3_MIN / TON_W, rel=1e-9) == COIL_FREEZING_M3_S_W
    lowered = fan_advice(
        flow_m3_s=320 * 3 * FT3_MIN,
        target_flow_m3_s=290 * 3 * FT3_MIN,
        relative_standard_uncertainty=0.03,
        drive="belt",
        cooling_capacity_w=3 * TON_W,
        needs_minimum_airflow=True,
        burns_fuel=True,
    )
    assert lowered.cautions == ("coil_freezing", "minimum_airflow", "temperature_rise")
    mild = fan_advice(
        flow_m3_s=480 * 3 * FT3_MIN,
        target_flow_m3_s=400 * 3 * FT3_MIN,
        relative_standard_uncertainty=0.03,
        drive="belt",
        cooling_capacity_w=3 * TON_W,
    )
    assert "coil_freezing" not in mild.cautions


def test_impossible_fans_are_refused_by_name_value_and_limit() -> None:
    with pytest.raises(ValueError, match="fan_slope is 0.5 1; it must be at most 0 1"):
        response_exponent(fan_slope=0.5, system_exponent=2.0)
    with pytest.raises(ValueError, match="speed_ratio is 0.5 1; it must be at least 0.7 1"):
        predicted_flow(flow_m3_s=1.0, speed_ratio=0.5, relative_standard_uncertainty=0.02)
    with pytest.raises(ValueError, match="flow_m3_s is 0 m3/s"):
        speed_step(flow_m3_s=0.0, target_flow_m3_s=1.0)
    with pytest.raises(ValueError, match="speed_ratio is 1; two different speeds"):
        measured_response(speed_ratio=1.0, flow_ratio=1.0)
    with pytest.raises(ValueError, match="drive is 'steam'"):
        fan_advice(
            flow_m3_s=1.0,
            target_flow_m3_s=1.0,
            relative_standard_uncertainty=0.02,
            drive="steam",  # type: ignore[arg-type]
        )


def test_what_is_missing_stays_missing() -> None:
    prediction = predicted_flow(
        flow_m3_s=[np.nan, 0.5], speed_ratio=0.9, relative_standard_uncertainty=0.02
    )
    assert np.isnan(prediction.flow_m3_s[0])
    assert not np.isnan(prediction.flow_m3_s[1])
