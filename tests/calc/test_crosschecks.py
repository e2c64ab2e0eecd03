"""Flow by heat balance, agreement of two ways, pressures around the fan."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs import units
from airflow_jobs.calc import air
from airflow_jobs.calc.crosschecks import (
    agreement,
    flow_from_heat_m3_s,
    heat_balance_flow,
    pressure_drop_pa,
    sensible_heat_w,
    total_external_static_pa,
    useful_heat_w,
)
from tests.calc import published

BTU_J = 1055.05585262
BTU_H_W = BTU_J / 3600.0
FT3_MIN = air.FOOT_M**3 / 60.0
FAHRENHEIT_K = 5.0 / 9.0
POUND_PER_CUBIC_FOOT = air.POUND_KG / air.FOOT_M**3
BTU_PER_POUND_F = BTU_J / (air.POUND_KG * FAHRENHEIT_K)

STANDARD_IP = {
    "density_kg_m3": 0.075 * POUND_PER_CUBIC_FOOT,
    "specific_heat_j_kg_k": 0.24 * BTU_PER_POUND_F,
}


def _heat_of_one_cubic_foot_a_minute_and_degree(**properties: float) -> float:
    heat = sensible_heat_w(flow_m3_s=FT3_MIN, temperature_change_k=FAHRENHEIT_K, **properties)
    return float(heat) / BTU_H_W


@published.each("SH-108")
def test_the_sensible_constant_is_1_08(row: published.Row) -> None:
    row.assert_matches(
        _heat_of_one_cubic_foot_a_minute_and_degree(
            density_kg_m3=row.inputs["rho"] * POUND_PER_CUBIC_FOOT,
            specific_heat_j_kg_k=row.inputs["cp"] * BTU_PER_POUND_F,
        )
    )


@published.each("SH-110")
def test_moist_air_makes_the_sensible_constant_1_10(row: published.Row) -> None:
    ratio = row.inputs["W"]
    # 0.075 lb/ft3 counts the dry air here, so the heat of both goes with a pound of dry air.
    of_dry_air = float(air.specific_heat_j_kg_k(ratio)) * (1.0 + ratio)
    handbook = (0.24 + 0.45 * ratio) * BTU_PER_POUND_F
    assert of_dry_air == pytest.approx(handbook, rel=0.002)
    row.assert_matches(
        _heat_of_one_cubic_foot_a_minute_and_degree(
            density_kg_m3=0.075 * POUND_PER_CUBIC_FOOT, specific_heat_j_kg_k=handbook
        )
    )


@published.each("SH-3412")
def test_a_watt_is_the_published_number_of_btu_an_hour(row: published.Row) -> None:
    row.assert_matches(
        units.from_si(units.to_si(1.0, "W", units.ELECTRIC_POWER), "Btu/h", units.HEAT)
    )


@published.each("SH-EX1")
def test_one_cubic_foot_a_minute_over_twenty_degrees_carries_the_published_heat(
    row: published.Row,
) -> None:
    heat = sensible_heat_w(
        flow_m3_s=row.inputs["cfm"] * FT3_MIN,
        temperature_change_k=row.inputs["dT_F"] * FAHRENHEIT_K,
        **STANDARD_IP,
    )
    row.assert_matches(heat / BTU_H_W)


@published.each("SH-SI")
def test_sensible_heat_in_metric_units_is_the_published_one(row: published.Row) -> None:
    heat = sensible_heat_w(
        flow_m3_s=row.inputs["Q_m3_s"],
        temperature_change_k=row.inputs["dT_K"],
        density_kg_m3=1.202,
        specific_heat_j_kg_k=1006.0,
    )
    row.assert_matches(heat / 1000.0)


@published.each("SH-ELEC1")
def test_electric_heat_gives_the_published_flow(row: published.Row) -> None:
    flow = flow_from_heat_m3_s(
        heat_w=row.inputs["kW"] * 1000.0,
        temperature_change_k=row.inputs["dT_F"] * FAHRENHEIT_K,
        **STANDARD_IP,
    )
    row.assert_matches(flow / FT3_MIN)


@published.each("SH-2TON")
def test_a_sensible_capacity_gives_the_published_flow(row: published.Row) -> None:
    flow = flow_from_heat_m3_s(
        heat_w=row.inputs["Btu_h"] * BTU_H_W,
        temperature_change_k=row.inputs["dT_F"] * FAHRENHEIT_K,
        **STANDARD_IP,
    )
    row.assert_matches(flow / FT3_MIN)


@given(
    flow=st.floats(0.05, 5.0),
    change=st.floats(2.0, 60.0),
    density=st.floats(0.8, 1.3),
    ratio=st.floats(0.0, 0.03),
)
def test_flow_survives_the_round_trip_through_heat(
    flow: float, change: float, density: float, ratio: float
) -> None:
    properties = {
        "density_kg_m3": density,
        "specific_heat_j_kg_k": float(air.specific_heat_j_kg_k(ratio)),
    }
    heat = sensible_heat_w(flow_m3_s=flow, temperature_change_k=change, **properties)
    back = flow_from_heat_m3_s(heat_w=heat, temperature_change_k=change, **properties)
    assert float(back) == pytest.approx(flow, rel=1e-12)


def test_a_burners_useful_heat_is_its_input_times_its_efficiency() -> None:
    heat = useful_heat_w(heat_input_w=80_000 * BTU_H_W, efficiency=0.8)
    flow = flow_from_heat_m3_s(heat_w=heat, temperature_change_k=50 * FAHRENHEIT_K, **STANDARD_IP)
    assert float(flow) / FT3_MIN == pytest.approx(64_000 / (1.08 * 50), rel=1e-6)


def test_cooling_and_heating_give_the_same_flow_and_the_smaller_change_the_larger_doubt() -> None:
    heating = heat_balance_flow(heat_w=10_000.0, entering_c=20.0, leaving_c=30.0, density_kg_m3=1.2)
    cooling = heat_balance_flow(heat_w=10_000.0, entering_c=30.0, leaving_c=20.0, density_kg_m3=1.2)
    wide = heat_balance_flow(heat_w=30_000.0, entering_c=20.0, leaving_c=50.0, density_kg_m3=1.2)
    assert float(heating.flow_m3_s) == float(cooling.flow_m3_s) == float(wide.flow_m3_s)
    expected = (0.03**2 + 2 * (0.5 / 10.0) ** 2) ** 0.5
    assert float(heating.relative_standard_uncertainty) == pytest.approx(expected)
    assert float(wide.relative_standard_uncertainty) < expected


def test_heat_balance_uncertainty_is_what_a_simulation_finds() -> None:
    rng = np.random.default_rng(3)
    count = 200_000
    flows = flow_from_heat_m3_s(
        heat_w=10_000.0 * (1.0 + 0.02 * rng.normal(size=count)),
        temperature_change_k=20.0 + 0.4 * rng.normal(size=count) - 0.4 * rng.normal(size=count),
        density_kg_m3=1.2 * (1.0 + 0.01 * rng.normal(size=count)),
    )
    closed = heat_balance_flow(
        heat_w=10_000.0,
        entering_c=15.0,
        leaving_c=35.0,
        density_kg_m3=1.2,
        heat_relative_uncertainty=0.02,
        temperature_uncertainty_k=0.4,
        density_relative_uncertainty=0.01,
    )
    simulated = float(np.std(flows) / np.mean(flows))
    assert float(closed.relative_standard_uncertainty) == pytest.approx(simulated, rel=0.01)


@given(
    first=st.floats(0.1, 2.0),
    second=st.floats(0.1, 2.0),
    u_first=st.floats(0.01, 0.1),
    u_second=st.floats(0.01, 0.1),
)
def test_agreement_does_not_depend_on_the_order(
    first: float, second: float, u_first: float, u_second: float
) -> None:
    one = agreement(
        first_flow_m3_s=first,
        second_flow_m3_s=second,
        first_relative_uncertainty=u_first,
        second_relative_uncertainty=u_second,
    )
    other = agreement(
        first_flow_m3_s=second,
        second_flow_m3_s=first,
        first_relative_uncertainty=u_second,
        second_relative_uncertainty=u_first,
    )
    assert bool(one.agree) == bool(other.agree)
    assert float(one.log_ratio) == pytest.approx(-float(other.log_ratio), abs=1e-12)


def test_two_right_methods_agree_in_95_of_100_cases_shared_errors_or_not() -> None:
    rng = np.random.default_rng(19)
    count = 40_000
    shared = 0.03 * rng.normal(size=count)
    first = np.exp(shared + 0.02 * rng.normal(size=count))
    second = np.exp(shared + 0.04 * rng.normal(size=count))
    result = agreement(
        first_flow_m3_s=first,
        second_flow_m3_s=second,
        first_relative_uncertainty=np.hypot(0.03, 0.02),
        second_relative_uncertainty=np.hypot(0.03, 0.04),
        shared_relative_uncertainty=0.03,
    )
    assert float(np.mean(result.agree)) == pytest.approx(0.95, abs=0.005)


def test_external_static_is_supply_less_return() -> None:
    inch_of_water = 249.08891
    total = total_external_static_pa(
        supply_static_pa=0.3 * inch_of_water, return_static_pa=-0.2 * inch_of_water
    )
    assert float(total) / inch_of_water == pytest.approx(0.5)
    assert float(pressure_drop_pa(before_pa=-20.0, after_pa=-70.0)) == 50.0


def test_arrays_give_what_scalars_give_and_what_is_missing_stays_missing() -> None:
    heats = np.array([5000.0, 10_000.0, np.nan])
    balance = heat_balance_flow(
        heat_w=heats, entering_c=20.0, leaving_c=[30.0, 40.0, 50.0], density_kg_m3=1.2
    )
    for i, leaving in enumerate((30.0, 40.0)):
        alone = heat_balance_flow(
            heat_w=heats[i], entering_c=20.0, leaving_c=leaving, density_kg_m3=1.2
        )
        assert balance.flow_m3_s[i] == alone.flow_m3_s
        assert balance.relative_standard_uncertainty[i] == alone.relative_standard_uncertainty
    assert np.isnan(balance.flow_m3_s[2])


def test_impossible_balances_are_refused_by_name_value_and_limit() -> None:
    with pytest.raises(ValueError, match="leaving_c is 20 degC, as entering_c is"):
        heat_balance_flow(heat_w=1000.0, entering_c=20.0, leaving_c=20.0, density_kg_m3=1.2)
    with pytest.raises(ValueError, match="efficiency is 1.2 1; it must be at most 1 1"):
        useful_heat_w(heat_input_w=1000.0, efficiency=1.2)
    with pytest.raises(ValueError, match="heat_w is -5 W; it must be above 0 W"):
        flow_from_heat_m3_s(heat_w=-5.0, temperature_change_k=10.0, density_kg_m3=1.2)
    with pytest.raises(ValueError, match="shared_relative_uncertainty is 0.05; .* smaller"):
        agreement(
            first_flow_m3_s=1.0,
            second_flow_m3_s=1.0,
            first_relative_uncertainty=0.04,
            second_relative_uncertainty=0.06,
            shared_relative_uncertainty=0.05,
        )
