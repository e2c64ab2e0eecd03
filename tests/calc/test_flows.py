"""Volume, standard and mass flow, and flow per capacity."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs.calc import air, flows
from tests.calc import published

FT_MIN = 0.00508
FT3_MIN = air.FOOT_M**3 / 60.0
BTU_J = 1055.05585262
TON_W = 12_000.0 * BTU_J / 3600.0

densities = st.floats(0.6, 1.5)
volume_flows = st.floats(-5.0, 5.0)


def _per_ton(flow_ft3_min: float, tons: float) -> float:
    per_watt = flows.flow_per_capacity_m3_s_w(
        volume_flow_m3_s=flow_ft3_min * FT3_MIN, capacity_w=tons * TON_W
    )
    return float(per_watt) * TON_W / FT3_MIN


def _litres_a_second_and_kilowatt(ft3_min_a_ton: float) -> float:
    per_watt = flows.flow_per_capacity_m3_s_w(
        volume_flow_m3_s=ft3_min_a_ton * FT3_MIN, capacity_w=TON_W
    )
    return float(per_watt) * 1e6


@published.each("FT-EX")
def test_the_published_example_of_flow_per_ton_holds(row: published.Row) -> None:
    row.assert_matches(_per_ton(row.inputs["cfm"], row.inputs["tons"]))


@published.each("FT-UNIT")
def test_one_cubic_foot_a_minute_and_ton_converts(row: published.Row) -> None:
    row.assert_matches(_litres_a_second_and_kilowatt(1.0))


@published.each("FT-FSEC-SI")
def test_the_usual_range_converts_as_printed(row: published.Row) -> None:
    row.assert_matches([_litres_a_second_and_kilowatt(x) for x in row.inputs["cfm_per_ton"]])


@published.each("FT-400")
def test_the_nominal_flow_converts(row: published.Row) -> None:
    row.assert_matches(_litres_a_second_and_kilowatt(400.0))


@published.each("FT-EP")
def test_the_simulation_engines_limits_are_300_to_450_a_ton(row: published.Row) -> None:
    row.assert_matches([_litres_a_second_and_kilowatt(x) / 1e6 for x in (300.0, 450.0)])


@published.each("FT-DOE")
def test_the_test_procedures_ceiling_is_450_a_ton(row: published.Row) -> None:
    row.assert_matches(_per_ton(row.inputs["scfm_per_kBtu_h"] * 12.0, 1.0))


@published.each("SH-45")
def test_one_cubic_foot_a_minute_of_standard_air_is_4_5_pounds_an_hour(
    row: published.Row,
) -> None:
    mass = flows.mass_flow_kg_s(
        volume_flow_m3_s=FT3_MIN, density_kg_m3=air.STANDARD_AIR_DENSITY_KG_M3
    )
    row.assert_matches(mass * 3600.0 / air.POUND_KG)


def test_574_feet_a_minute_through_three_square_feet_is_1722_and_574_a_ton() -> None:
    flow = flows.volume_flow_m3_s(mean_velocity_m_s=574 * FT_MIN, area_m2=3.0 * air.FOOT_M**2)
    assert float(flow) / FT3_MIN == pytest.approx(1722.0)
    assert _per_ton(1722.0, 3.0) == pytest.approx(574.0)
    assert pytest.approx(0.435) == 1722.0 / 1200.0 - 1.0


def test_a_rated_capacity_of_34600_moves_the_result_by_four_percent() -> None:
    assert _per_ton(1200.0, 34_600 / 12_000) / _per_ton(1200.0, 3.0) == pytest.approx(
        1.04, abs=0.001
    )


def test_1200_actual_on_three_tons_on_a_mountain_is_330_in_standard_air() -> None:
    density = air.moist_air_density_kg_m3(
        dry_bulb_c=18.0, pressure_pa=air.pressure_from_elevation_pa(1600.0), relative_humidity=0.4
    )
    standard = flows.standard_flow_m3_s(volume_flow_m3_s=1200 * FT3_MIN, density_kg_m3=density)
    assert _per_ton(float(standard) / FT3_MIN, 3.0) == pytest.approx(330, abs=4)


@given(flow=volume_flows, density=densities, standard=densities)
def test_standard_flow_survives_the_round_trip(
    flow: float, density: float, standard: float
) -> None:
    there = flows.standard_flow_m3_s(
        volume_flow_m3_s=flow, density_kg_m3=density, standard_density_kg_m3=standard
    )
    back = flows.actual_flow_m3_s(
        standard_flow_m3_s=there, density_kg_m3=density, standard_density_kg_m3=standard
    )
    assert float(back) == pytest.approx(flow, rel=1e-12, abs=1e-15)


@given(flow=volume_flows, density=densities)
def test_standard_and_actual_flow_carry_the_same_mass(flow: float, density: float) -> None:
    standard = flows.standard_flow_m3_s(volume_flow_m3_s=flow, density_kg_m3=density)
    mass = flows.mass_flow_kg_s(volume_flow_m3_s=flow, density_kg_m3=density)
    same = flows.mass_flow_kg_s(
        volume_flow_m3_s=standard, density_kg_m3=air.STANDARD_AIR_DENSITY_KG_M3
    )
    assert float(same) == pytest.approx(float(mass), rel=1e-12, abs=1e-15)


def test_arrays_broadcast_and_what_is_missing_stays_missing() -> None:
    result = flows.volume_flow_m3_s(
        mean_velocity_m_s=np.array([[1.0], [np.nan]]), area_m2=np.array([0.1, 0.2, 0.3])
    )
    assert result.shape == (2, 3)
    assert result[0].tolist() == [0.1, 0.2, 0.3]
    assert np.isnan(result[1]).all()


def test_impossible_areas_and_capacities_are_refused() -> None:
    with pytest.raises(ValueError, match="area_m2 is 0 m2; it must be above 0 m2"):
        flows.volume_flow_m3_s(mean_velocity_m_s=1.0, area_m2=0.0)
    with pytest.raises(ValueError, match="capacity_w is -1 W"):
        flows.flow_per_capacity_m3_s_w(volume_flow_m3_s=1.0, capacity_w=-1.0)
