"""Moist air and station pressure, held against published tables and two independent judges."""

import numpy as np
import psychrolib
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs.calc import air, humidity
from tests.calc import published

PSI_PA = 6894.757293168361
psychrolib.SetUnitSystem(psychrolib.SI)

temperatures = st.floats(-40.0, 60.0)
humidities = st.floats(0.0, 1.0)
pressures = st.floats(60_000.0, 110_000.0)


def _celsius(row: published.Row, key: str = "t") -> float:
    fahrenheit = row.inputs.get(f"{key}_F")
    return row.inputs[f"{key}_C"] if fahrenheit is None else (fahrenheit - 32.0) / 1.8


def _pressure(row: published.Row) -> float:
    psi = row.inputs.get("p_psia")
    return row.inputs["p_Pa"] if psi is None else psi * PSI_PA


def _judge_density(temperature_c: float, pressure_pa: float, relative_humidity: float) -> float:
    kelvin = temperature_c + 273.15
    return 1.0 / float(HAPropsSI("Vha", "T", kelvin, "P", pressure_pa, "R", relative_humidity))


def _vapour_from_wet_bulb(row: published.Row) -> float:
    return float(
        humidity.vapour_pressure_from_wet_bulb_pa(
            wet_bulb_c=_celsius(row, "wb"), dry_bulb_c=_celsius(row), pressure_pa=_pressure(row)
        )
    )


def _dry_air_volume(row: published.Row, vapour_pressure_pa: float) -> float:
    """Volume of moist air that holds a kilogram of dry air, m3."""
    density = air.moist_air_density_kg_m3(
        dry_bulb_c=_celsius(row),
        pressure_pa=_pressure(row),
        vapour_pressure_pa=vapour_pressure_pa,
    )
    ratio = humidity.humidity_ratio(
        vapour_pressure_pa=vapour_pressure_pa, pressure_pa=_pressure(row)
    )
    return float((1.0 + ratio) / density)


@published.each("AD-PWS-20", "AD-PWS+*", "AD-PWSI*")
def test_saturation_pressure_meets_the_published_tables(row: published.Row) -> None:
    row.assert_matches(humidity.saturation_pressure_pa(row.inputs["t_C"]))


@published.each("AD-PWS77F")
def test_saturation_pressure_meets_the_table_in_psi(row: published.Row) -> None:
    row.assert_matches(humidity.saturation_pressure_pa(_celsius(row)) / PSI_PA)


@published.each("AD-WS-*", "AD-WS+*")
def test_saturated_humidity_ratio_is_within_the_ideal_gas_tolerance(row: published.Row) -> None:
    row.assert_matches(
        humidity.humidity_ratio(
            vapour_pressure_pa=humidity.saturation_pressure_pa(row.inputs["t_C"]),
            pressure_pa=row.inputs["p_Pa"],
        )
    )


@published.each("AD-WSR*")
def test_the_judge_meets_the_real_gas_humidity_ratios(row: published.Row) -> None:
    kelvin = row.inputs["t_C"] + 273.15
    row.assert_matches(HAPropsSI("W", "T", kelvin, "P", row.inputs["p_Pa"], "R", 1.0))


@published.each("AD-HW-DRY20")
def test_the_judge_meets_the_real_gas_density_of_dry_air(row: published.Row) -> None:
    row.assert_matches(_judge_density(row.inputs["t_C"], row.inputs["p_Pa"], 0.0))


@published.each("AD-VDA25")
def test_dry_air_has_the_published_specific_volume(row: published.Row) -> None:
    row.assert_matches(_dry_air_volume(row, 0.0))


@published.each("AD-EX1IP-W", "AD-EX1SI-W")
def test_the_handbooks_example_gives_its_humidity_ratio(row: published.Row) -> None:
    row.assert_matches(
        humidity.humidity_ratio(
            vapour_pressure_pa=_vapour_from_wet_bulb(row), pressure_pa=_pressure(row)
        )
    )


@published.each("AD-EX1IP-V")
def test_the_handbooks_example_gives_its_specific_volume(row: published.Row) -> None:
    volume = _dry_air_volume(row, _vapour_from_wet_bulb(row))
    row.assert_matches(volume / (air.FOOT_M**3 / air.POUND_KG))


@published.each("AD-EX1SI-RH")
def test_the_handbooks_example_gives_its_relative_humidity(row: published.Row) -> None:
    row.assert_matches(
        humidity.relative_humidity(
            vapour_pressure_pa=_vapour_from_wet_bulb(row), dry_bulb_c=_celsius(row)
        )
    )


@published.each("AD-MOIST-V", "AD-MOIST-D")
def test_moist_air_by_humidity_ratio_has_the_published_volume_and_density(
    row: published.Row,
) -> None:
    vapour = humidity.vapour_pressure_from_humidity_ratio_pa(
        humidity_ratio=row.inputs["W"], pressure_pa=row.inputs["p_Pa"]
    )
    density = air.moist_air_density_kg_m3(
        dry_bulb_c=row.inputs["t_C"], pressure_pa=row.inputs["p_Pa"], vapour_pressure_pa=vapour
    )
    by_volume = row.unit.startswith("m3")
    row.assert_matches(_dry_air_volume(row, float(vapour)) if by_volume else density)


@published.each("AD-STD-IP")
def test_standard_air_is_0_075_pounds_a_cubic_foot(row: published.Row) -> None:
    assert row.inputs["rho_lb_ft3"] == 0.075
    row.assert_matches(air.STANDARD_AIR_DENSITY_KG_M3)


@published.each("AD-STD-20", "AD-S[0-9]*", "AD-CIPM*")
def test_density_agrees_with_the_other_formulations(row: published.Row) -> None:
    row.assert_matches(
        air.moist_air_density_kg_m3(
            dry_bulb_c=row.inputs["t_C"],
            pressure_pa=row.inputs["p_Pa"],
            relative_humidity=row.inputs["RH"],
        )
    )


@published.each("AD-STD-70F")
def test_dry_air_at_70_degrees_weighs_nearly_standard(row: published.Row) -> None:
    density = air.moist_air_density_kg_m3(
        dry_bulb_c=_celsius(row), pressure_pa=_pressure(row), vapour_pressure_pa=0.0
    )
    row.assert_matches(density / (air.POUND_KG / air.FOOT_M**3))


def _atmosphere_1976(geometric_altitude_m: float) -> tuple[float, float, float]:
    """Pressure, temperature and density of the US Standard Atmosphere 1976 under 11 km."""
    geopotential = 6_356_766.0 * geometric_altitude_m / (6_356_766.0 + geometric_altitude_m)
    temperature = 288.15 - 0.0065 * geopotential
    gas_constant = 8314.32 / 28.9644
    pressure = 101_325.0 * (temperature / 288.15) ** (9.80665 / (gas_constant * 0.0065))
    return pressure, temperature, pressure / (gas_constant * temperature)


@published.each("PA-P[0-9]*")
def test_the_judge_meets_the_standard_atmospheres_pressures(row: published.Row) -> None:
    row.assert_matches(_atmosphere_1976(row.inputs["Z_m"])[0])


@published.each("PA-T*")
def test_the_judge_meets_the_standard_atmospheres_temperatures(row: published.Row) -> None:
    row.assert_matches(_atmosphere_1976(row.inputs["Z_m"])[1])


@published.each("PA-R*")
def test_the_judge_meets_the_standard_atmospheres_densities(row: published.Row) -> None:
    row.assert_matches(_atmosphere_1976(row.inputs["Z_m"])[2])


@published.each("PA-GEO")
def test_the_handbook_formula_stays_within_its_known_distance_of_the_atmosphere(
    row: published.Row,
) -> None:
    altitudes = np.linspace(0.0, row.inputs["Z_m"], 71)
    atmosphere = np.array([_atmosphere_1976(z)[0] for z in altitudes])
    distance = np.abs(air.pressure_from_elevation_pa(altitudes) / atmosphere - 1.0)
    row.assert_matches(100.0 * distance.max())


@published.each("PA-ASH*")
def test_pressure_from_elevation_meets_the_handbooks_table(row: published.Row) -> None:
    row.assert_matches(air.pressure_from_elevation_pa(row.inputs["Z_m"]))


@published.each("PA-FT*")
def test_pressure_from_elevation_in_feet_meets_the_handbooks_table(row: published.Row) -> None:
    elevation = row.inputs["Z_ft"] * air.FOOT_M
    row.assert_matches(air.pressure_from_elevation_pa(elevation) / PSI_PA)


def test_density_is_within_0_075_percent_of_the_real_gas() -> None:
    worst = 0.0
    for elevation in (0.0, 1500.0, 3000.0):
        pressure = float(air.pressure_from_elevation_pa(elevation))
        for temperature in range(-10, 51, 5):
            for relative_humidity in (0.0, 0.3, 0.6, 1.0):
                judge = _judge_density(temperature, pressure, relative_humidity)
                ours = air.moist_air_density_kg_m3(
                    dry_bulb_c=temperature,
                    pressure_pa=pressure,
                    relative_humidity=relative_humidity,
                )
                worst = max(worst, abs(float(ours) / judge - 1.0))
    assert worst < 0.00075


@given(temperature=temperatures, relative_humidity=humidities, pressure=pressures)
def test_density_agrees_with_the_handbook_library(
    temperature: float, relative_humidity: float, pressure: float
) -> None:
    ratio = psychrolib.GetHumRatioFromRelHum(temperature, relative_humidity, pressure)
    judge = psychrolib.GetMoistAirDensity(temperature, ratio, pressure)
    ours = air.moist_air_density_kg_m3(
        dry_bulb_c=temperature, pressure_pa=pressure, relative_humidity=relative_humidity
    )
    assert float(ours) == pytest.approx(judge, rel=0.0003)


@given(temperature=st.floats(-99.0, 199.0).filter(lambda t: not 0.0 <= t < 0.02))
def test_saturation_pressure_agrees_with_the_handbook_library(temperature: float) -> None:
    judge = psychrolib.GetSatVapPres(temperature)
    assert float(humidity.saturation_pressure_pa(temperature)) == pytest.approx(judge, rel=1e-9)


@given(dry=st.floats(-20.0, 50.0), relative_humidity=st.floats(0.02, 1.0), pressure=pressures)
def test_wet_bulb_agrees_with_the_handbook_library(
    dry: float, relative_humidity: float, pressure: float
) -> None:
    wet = min(psychrolib.GetTWetBulbFromRelHum(dry, relative_humidity, pressure), dry)
    vapour = float(
        humidity.vapour_pressure_from_wet_bulb_pa(
            wet_bulb_c=wet, dry_bulb_c=dry, pressure_pa=pressure
        )
    )
    judge = psychrolib.GetVapPresFromHumRatio(
        psychrolib.GetHumRatioFromTWetBulb(dry, wet, pressure), pressure
    )
    assert vapour == pytest.approx(judge, rel=1e-4, abs=0.1)


@given(temperature=temperatures, relative_humidity=humidities)
def test_relative_humidity_survives_the_round_trip(
    temperature: float, relative_humidity: float
) -> None:
    vapour = humidity.vapour_pressure_from_relative_humidity_pa(
        relative_humidity=relative_humidity, dry_bulb_c=temperature
    )
    back = humidity.relative_humidity(vapour_pressure_pa=vapour, dry_bulb_c=temperature)
    assert float(back) == pytest.approx(relative_humidity, abs=1e-12)


@given(vapour=st.floats(0.0, 20_000.0), pressure=pressures)
def test_humidity_ratio_survives_the_round_trip(vapour: float, pressure: float) -> None:
    ratio = humidity.humidity_ratio(vapour_pressure_pa=vapour, pressure_pa=pressure)
    back = humidity.vapour_pressure_from_humidity_ratio_pa(
        humidity_ratio=ratio, pressure_pa=pressure
    )
    assert float(back) == pytest.approx(vapour, abs=1e-6)


@given(elevation=st.floats(-4000.0, 10_000.0))
def test_elevation_survives_the_round_trip(elevation: float) -> None:
    pressure = air.pressure_from_elevation_pa(elevation)
    assert float(air.elevation_from_pressure_m(pressure)) == pytest.approx(elevation, abs=1e-6)


@given(temperature=temperatures, pressure=pressures)
def test_saturated_air_shows_its_own_temperature_on_every_thermometer(
    temperature: float, pressure: float
) -> None:
    saturated = float(humidity.saturation_pressure_pa(temperature))
    by_dew_point = humidity.vapour_pressure_from_dew_point_pa(
        dew_point_c=temperature, dry_bulb_c=temperature
    )
    by_wet_bulb = humidity.vapour_pressure_from_wet_bulb_pa(
        wet_bulb_c=temperature, dry_bulb_c=temperature, pressure_pa=pressure
    )
    assert float(by_dew_point) == pytest.approx(saturated)
    assert float(by_wet_bulb) == pytest.approx(saturated)


@given(
    temperature=temperatures,
    step=st.floats(0.01, 10.0),
    relative_humidity=humidities,
    pressure=pressures,
)
def test_air_gets_lighter_with_heat_and_moisture_and_heavier_with_pressure(
    temperature: float, step: float, relative_humidity: float, pressure: float
) -> None:
    def density(**changed: float) -> float:
        state = {
            "dry_bulb_c": temperature,
            "pressure_pa": pressure,
            "relative_humidity": relative_humidity,
        } | changed
        return float(air.moist_air_density_kg_m3(**state))

    assert density(dry_bulb_c=temperature + step) < density()
    assert density(pressure_pa=pressure + step) > density()
    assert density(relative_humidity=0.0) >= density() >= density(relative_humidity=1.0)


def test_density_doubles_with_all_pressures() -> None:
    single = air.moist_air_density_kg_m3(
        dry_bulb_c=20.0, pressure_pa=80_000.0, vapour_pressure_pa=1000.0
    )
    double = air.moist_air_density_kg_m3(
        dry_bulb_c=20.0, pressure_pa=160_000.0, vapour_pressure_pa=2000.0
    )
    assert float(double) == pytest.approx(2.0 * float(single), rel=1e-12)


def test_moist_air_holds_more_heat_than_dry_air() -> None:
    assert float(air.specific_heat_j_kg_k(0.0)) == 1006.0
    # 1 kg of dry air and 10 g of vapour: 1.006 + 0.0186 kJ/K in 1.01 kg.
    assert float(air.specific_heat_j_kg_k(0.01)) == pytest.approx(1024.6 / 1.01)


def test_arrays_give_what_scalars_give_and_what_is_missing_stays_missing() -> None:
    temperature = np.array([[-20.0], [0.0], [25.0], [np.nan]])
    relative_humidity = np.array([0.0, 0.4, 1.0])
    density = air.moist_air_density_kg_m3(
        dry_bulb_c=temperature, pressure_pa=95_000.0, relative_humidity=relative_humidity
    )
    assert density.shape == (4, 3)
    assert np.isnan(density[3]).all()
    for i in range(3):
        for j in range(3):
            assert density[i, j] == air.moist_air_density_kg_m3(
                dry_bulb_c=temperature[i, 0],
                pressure_pa=95_000.0,
                relative_humidity=relative_humidity[j],
            )


def test_a_missing_dry_bulb_leaves_the_vapour_pressure_missing() -> None:
    assert np.isnan(humidity.vapour_pressure_from_dew_point_pa(dew_point_c=5.0, dry_bulb_c=np.nan))


def test_impossible_air_is_refused_by_name_value_and_limit() -> None:
    with pytest.raises(ValueError, match=r"relative_humidity is 1.2 1; it must be at most 1 1"):
        humidity.vapour_pressure_from_relative_humidity_pa(
            relative_humidity=[0.5, 1.2], dry_bulb_c=20.0
        )
    with pytest.raises(ValueError, match="pressure_pa is -5 Pa; it must be above 0 Pa"):
        air.moist_air_density_kg_m3(dry_bulb_c=20.0, pressure_pa=-5.0, vapour_pressure_pa=0.0)
    with pytest.raises(ValueError, match="dry_bulb_c is 300 degC; it must be at most 200 degC"):
        air.moist_air_density_kg_m3(dry_bulb_c=300.0, pressure_pa=1e5, vapour_pressure_pa=0.0)
    with pytest.raises(ValueError, match=r"vapour_pressure_pa is 2000 Pa; .* 1000 Pa"):
        humidity.humidity_ratio(vapour_pressure_pa=2000.0, pressure_pa=1000.0)
    with pytest.raises(ValueError, match=r"wet_bulb_c is 21 degC; .* dry bulb, 20 degC"):
        humidity.vapour_pressure_from_wet_bulb_pa(
            wet_bulb_c=21.0, dry_bulb_c=20.0, pressure_pa=101_325.0
        )
    with pytest.raises(ValueError, match=r"wet_bulb_c is 2 degC; .* 40 degC even dry air"):
        humidity.vapour_pressure_from_wet_bulb_pa(
            wet_bulb_c=2.0, dry_bulb_c=40.0, pressure_pa=101_325.0
        )
    with pytest.raises(ValueError, match="dew_point_c is 21 degC"):
        humidity.vapour_pressure_from_dew_point_pa(dew_point_c=21.0, dry_bulb_c=20.0)
    with pytest.raises(ValueError, match="elevation_m is 20000 m; it must be at most 11000 m"):
        air.pressure_from_elevation_pa(20_000.0)
    with pytest.raises(ValueError, match="one of the two"):
        air.moist_air_density_kg_m3(dry_bulb_c=20.0, pressure_pa=1e5)
    with pytest.raises(ValueError, match="pressure_pa is infinite"):
        air.moist_air_density_kg_m3(dry_bulb_c=20.0, pressure_pa=np.inf, vapour_pressure_pa=0.0)
