"""From indicated to actual velocity: one law, what is unknown, and what sensors can't do."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs.calc import air, humidity, sensing, sensor_limits
from airflow_jobs.calc.instruments import (
    AirState,
    Instruments,
    air_state,
    codes,
    compensation_codes,
    instruments,
)
from airflow_jobs.calc.sections import inside_section
from airflow_jobs.calc.sensing import density_factor, sensed_velocities
from tests.calc import published

INCH = 0.0254
FT_MIN = 0.00508
INCH_OF_WATER_PA = 249.08891
POUND_PER_CUBIC_FOOT = air.POUND_KG / air.FOOT_M**3

NOTHING = {
    "compensates_temperature": False,
    "compensates_pressure": False,
    "compensates_humidity": False,
}
TEMPERATURE_ONLY = NOTHING | {"compensates_temperature": True}
EVERYTHING = dict.fromkeys(NOTHING, True)

velocities = st.floats(0.3, 30.0)
air_states = st.builds(
    lambda t, p, rh: air_state(
        dry_bulb_c=t,
        pressure_pa=p,
        vapour_pressure_pa=humidity.vapour_pressure_from_relative_humidity_pa(
            relative_humidity=rh, dry_bulb_c=t
        ),
    ),
    st.floats(-20.0, 60.0),
    st.floats(65_000.0, 105_000.0),
    st.floats(0.0, 1.0),
)
answers = st.sampled_from([True, False, None])
meters = st.fixed_dictionaries(
    {
        "principle": st.sampled_from(["thermal", "vane", "pitot"]),
        "shows": st.sampled_from(["standard_velocity", "actual_velocity", "unknown"]),
        "compensates_temperature": answers,
        "compensates_pressure": answers,
        "compensates_humidity": answers,
    }
)


def _mountain_air() -> AirState:
    """13 degC, 40 %, 1600 m: where the trade's rules of thumb break down."""
    return air_state(
        dry_bulb_c=13.0,
        pressure_pa=air.pressure_from_elevation_pa(1600.0),
        vapour_pressure_pa=humidity.vapour_pressure_from_relative_humidity_pa(
            relative_humidity=0.4, dry_bulb_c=13.0
        ),
    )


def _factor(meter: Instruments, state: AirState, **keywords: Any) -> float:
    return float(density_factor(meter, state, **keywords).central)


def _with_reference_density(row: published.Row, principle: str) -> Instruments:
    """An instrument whose reference density is the row's, at some temperature."""
    celsius = 20.0
    gas = air.DRY_AIR_GAS_CONSTANT_J_KG_K * (celsius + humidity.ZERO_CELSIUS_K)
    return instruments(
        principle=principle,
        **NOTHING,
        reference_dry_bulb_c=celsius,
        reference_pressure_pa=row.inputs["rho_ref"] * gas,
    )


def _row_air(row: published.Row) -> AirState:
    return air_state(
        dry_bulb_c=row.inputs["t_C"],
        pressure_pa=row.inputs["p_Pa"],
        vapour_pressure_pa=humidity.vapour_pressure_from_relative_humidity_pa(
            relative_humidity=row.inputs["RH"], dry_bulb_c=row.inputs["t_C"]
        ),
    )


def _corrected(row: published.Row, principle: str) -> float:
    meter = _with_reference_density(row, principle)
    return float(sensed_velocities(row.inputs["v_ind_m_s"], meter, _row_air(row)).actual_m_s)


@published.each("IC-TH-MASS")
def test_a_mass_flux_reading_is_corrected_by_the_density_ratio(row: published.Row) -> None:
    row.assert_matches(_corrected(row, "thermal"))


@published.each("IC-PITOT")
def test_a_pitot_display_is_corrected_by_the_root_of_the_density_ratio(
    row: published.Row,
) -> None:
    row.assert_matches(_corrected(row, "pitot"))


@published.each("IC-VANE")
def test_a_vane_needs_no_density_correction(row: published.Row) -> None:
    row.assert_matches(_corrected(row, "vane"))


@published.each("IC-ORDER")
def test_thin_air_corrects_thermal_most_and_vane_least(row: published.Row) -> None:
    in_order = sorted(
        [(_corrected(row, "thermal"), "thermal"), (_corrected(row, "vane"), "vane"),
         (_corrected(row, "pitot"), "Pitot")]
    )  # fmt: skip
    row.assert_matches(" < ".join(name for _, name in in_order))


@published.each("IC-UNITY")
@pytest.mark.parametrize("principle", ["thermal", "vane", "pitot"])
def test_air_of_reference_density_needs_no_correction(row: published.Row, principle: str) -> None:
    meter = _with_reference_density(row, principle)
    state = air_state(
        dry_bulb_c=meter.reference_dry_bulb_c,
        pressure_pa=meter.reference_pressure_pa,
        vapour_pressure_pa=0.0,
    )
    assert float(state.density_kg_m3) == pytest.approx(row.inputs["rho"])
    row.assert_matches(density_factor(meter, state).central)


@published.each("VP-K")
def test_the_inch_of_water_constant_fits_water_at_20_degrees(row: published.Row) -> None:
    row.assert_matches(
        sensing.velocity_from_velocity_pressure_m_s(
            velocity_pressure_pa=row.inputs["in_water_Pa"], density_kg_m3=POUND_PER_CUBIC_FOOT
        )
        / FT_MIN
    )


@published.each("VP-4005", "VP-IP*")
def test_velocity_pressures_in_inches_give_the_handbooks_velocities(row: published.Row) -> None:
    # These rows follow from the constant 1096.7, which means an inch of water at 20 degC.
    inch_of_water_at_20 = published.row("VP-K").inputs["in_water_Pa"]
    velocity = sensing.velocity_from_velocity_pressure_m_s(
        velocity_pressure_pa=row.inputs["pv_inwg"] * inch_of_water_at_20,
        density_kg_m3=row.inputs["rho_lb_ft3"] * POUND_PER_CUBIC_FOOT,
    )
    row.assert_matches(velocity / FT_MIN)


@published.each("VP-SI*")
def test_velocity_pressures_in_pascals_give_their_velocities(row: published.Row) -> None:
    row.assert_matches(
        sensing.velocity_from_velocity_pressure_m_s(
            velocity_pressure_pa=row.inputs["pv_Pa"], density_kg_m3=row.inputs["rho_kg_m3"]
        )
    )


@published.each("VP-LAB1")
def test_the_wind_tunnel_worksheet_gives_its_velocity(row: published.Row) -> None:
    density = air.moist_air_density_kg_m3(
        dry_bulb_c=(row.inputs["t_F"] - 32.0) / 1.8,
        pressure_pa=row.inputs["p_psia"] * 6894.757,
        vapour_pressure_pa=0.0,
    )
    velocity = sensing.velocity_from_velocity_pressure_m_s(
        velocity_pressure_pa=row.inputs["pv_inwg"] * INCH_OF_WATER_PA, density_kg_m3=density
    )
    row.assert_matches(velocity / air.FOOT_M)


@published.each("VP-EXAM-V")
def test_the_exam_question_gives_its_velocity(row: published.Row) -> None:
    density = air.moist_air_density_kg_m3(
        dry_bulb_c=row.inputs["t_C"],
        pressure_pa=row.inputs["p_mmHg"] * 1e-3 * 13_600.0 * 9.81,
        vapour_pressure_pa=0.0,
    )
    row.assert_matches(
        sensing.velocity_from_velocity_pressure_m_s(
            velocity_pressure_pa=row.inputs["pv_Pa"], density_kg_m3=density
        )
    )


@published.each("VP-AVG-W")
def test_the_root_of_the_mean_pressure_over_reads_by_the_known_factor(row: published.Row) -> None:
    pressures = np.array(row.inputs["pv_inwg"]) * published.row("VP-K").inputs["in_water_Pa"]

    def velocity(pressure: Any) -> Any:
        return sensing.velocity_from_velocity_pressure_m_s(
            velocity_pressure_pa=pressure, density_kg_m3=0.075 * POUND_PER_CUBIC_FOOT
        )

    right = velocity(pressures)
    wrong = float(velocity(pressures.mean())) / FT_MIN
    # The row rests on 4005, the rounded velocity of one inch of water in standard air.
    one_inch = float(velocity(published.row("VP-K").inputs["in_water_Pa"])) / FT_MIN
    row.assert_matches(wrong / one_inch * published.row("VP-4005").expected)
    over_read = sensing.root_of_mean_overread(np.std(right) / np.mean(right))
    assert wrong * FT_MIN / right.mean() == pytest.approx(float(over_read), rel=1e-12)
    assert float(over_read) == pytest.approx(1.05, abs=0.001)


GAS_CONSTANT_J_MOL_K = 8.31446261815324


@published.each("VP-KP-SI")
def test_the_stack_method_constant_follows_in_metric_units(row: published.Row) -> None:
    density = 1e-3 * 133.322387 / (GAS_CONSTANT_J_MOL_K * 1.0)
    row.assert_matches(
        sensing.velocity_from_velocity_pressure_m_s(
            velocity_pressure_pa=9.80665, density_kg_m3=density
        )
    )


@published.each("VP-KP-IP")
def test_the_stack_method_constant_follows_in_inches(row: published.Row) -> None:
    density = 1e-3 * air.INCH_OF_MERCURY_PA / (GAS_CONSTANT_J_MOL_K * (5.0 / 9.0))
    velocity = sensing.velocity_from_velocity_pressure_m_s(
        velocity_pressure_pa=INCH_OF_WATER_PA, density_kg_m3=density
    )
    row.assert_matches(velocity / air.FOOT_M)


def test_the_mountain_case_holds_for_every_principle() -> None:
    """18 x 24 in, every reading 574 ft/min, 13 degC, 40 %, 1600 m; worked by hand."""
    section = inside_section("rectangular", outside_width_m=18 * INCH, outside_height_m=24 * INCH)
    assert section.area_m2 / air.FOOT_M**2 == pytest.approx(3.0, rel=1e-12)
    pressure = 101_325.0 * (1.0 - 2.25577e-5 * 1600.0) ** 5.25588
    vapour = 0.4 * 1497.8  # saturation at 13 degC: 1497.8 Pa
    density = (pressure - 0.378 * vapour) / (287.055 * 286.15)
    reference = 29.921 * 3386.389 / (287.055 * (70.0 + 459.67) / 1.8)
    state = _mountain_air()
    assert float(state.density_kg_m3) == pytest.approx(density, rel=1e-3)

    readings = np.full((5, 5), 574.0 * FT_MIN)

    def shown_to_actual(readings: Any, meter: Instruments, **keywords: Any) -> float:
        sensed = sensed_velocities(np.ravel(readings), meter, state, **keywords)
        return float(np.mean(sensed.actual_m_s)) / (574.0 * FT_MIN)

    by_hand = {
        "thermal, actual velocity, temperature only": (
            29.921 * 3386.389 / (287.055 * 286.15) / density,
            shown_to_actual(
                readings,
                instruments(principle="thermal", shows="actual_velocity", **TEMPERATURE_ONLY),
            ),
        ),
        "thermal, standard velocity": (
            reference / density,
            shown_to_actual(
                readings,
                instruments(principle="thermal", shows="standard_velocity", **TEMPERATURE_ONLY),
            ),
        ),
        "pitot, velocity, nothing compensated": (
            (reference / density) ** 0.5,
            shown_to_actual(readings, instruments(principle="pitot", **NOTHING)),
        ),
        "pitot, velocity pressure": (
            (1.2 / density) ** 0.5,
            shown_to_actual(
                0.6 * readings**2, instruments(principle="pitot"), is_velocity_pressure=True
            ),
        ),
        "vane": (1.0, shown_to_actual(readings, instruments(principle="vane"))),
    }
    for case, (expected, got) in by_hand.items():
        assert got == pytest.approx(expected, rel=1e-3), case
    assert by_hand["thermal, actual velocity, temperature only"][1] == pytest.approx(
        1.216, abs=2e-3
    )


def test_a_standard_velocity_is_already_right_for_standard_flow() -> None:
    state = _mountain_air()
    meter = instruments(principle="thermal", shows="standard_velocity")
    mass_flux = _factor(meter, state) * float(state.density_kg_m3)
    # 70 degF and 29.921 inHg, dry, is 0.15 % lighter than 0.075 lb/ft3.
    assert mass_flux / air.STANDARD_AIR_DENSITY_KG_M3 == pytest.approx(1.0, abs=0.002)


def test_correcting_twice_is_an_error_of_a_fifth_on_a_mountain() -> None:
    state = _mountain_air()
    once = _factor(instruments(principle="thermal", shows="actual_velocity", **EVERYTHING), state)
    again = _factor(
        instruments(principle="thermal", shows="actual_velocity", **TEMPERATURE_ONLY), state
    )
    assert once == pytest.approx(1.0, abs=1e-12)
    assert again / once - 1.0 == pytest.approx(0.21, abs=0.01)


def test_temperature_compensation_removes_a_heat_error_at_sea_level_but_not_on_a_mountain() -> None:
    def error(compensation: dict[str, bool], elevation_m: float, celsius: float) -> float:
        state = air_state(
            dry_bulb_c=celsius,
            pressure_pa=air.pressure_from_elevation_pa(elevation_m),
            vapour_pressure_pa=500.0,
        )
        meter = instruments(principle="thermal", shows="actual_velocity", **compensation)
        return abs(1.0 / _factor(meter, state) - 1.0)

    for celsius in (5.0, 40.0, 60.0):
        left = error(TEMPERATURE_ONLY, 0.0, celsius) / error(NOTHING, 0.0, celsius)
        assert left < 0.09
    assert error(TEMPERATURE_ONLY, 1600.0, 22.0) == pytest.approx(0.18, abs=0.01)


@given(meter=meters, state=air_states)
def test_a_vane_ignores_density_display_and_compensation(
    meter: dict[str, Any], state: AirState
) -> None:
    factor = density_factor(instruments(**meter | {"principle": "vane"}), state)
    assert float(factor.central) == float(factor.low) == float(factor.high) == 1.0


@given(meter=meters, state=air_states)
def test_what_is_unknown_widens_the_factor_to_both_ends(
    meter: dict[str, Any], state: AirState
) -> None:
    factor = density_factor(instruments(**meter), state)
    ends = []
    for shows in ("standard_velocity", "actual_velocity"):
        if meter["shows"] not in (shows, "unknown"):
            continue
        for number in range(8):
            known = {key: bool(number >> i & 1) for i, key in enumerate(NOTHING)}
            if all(meter[key] in (value, None) for key, value in known.items()):
                known_meter = instruments(principle=meter["principle"], shows=shows, **known)
                ends.append(_factor(known_meter, state))
    assert float(factor.low) == pytest.approx(min(ends), rel=1e-12)
    assert float(factor.high) == pytest.approx(max(ends), rel=1e-12)
    assert float(factor.central) == pytest.approx(0.5 * (min(ends) + max(ends)), rel=1e-12)
    assert float(factor.standard_uncertainty) == pytest.approx(
        0.5 * (max(ends) - min(ends)), abs=1e-12
    )
    relative = float(factor.standard_uncertainty) / float(factor.central)
    assert float(factor.relative_standard_uncertainty) == pytest.approx(relative)


@given(state=air_states, meter=meters)
def test_a_known_instrument_has_no_uncertainty_of_its_factor(
    state: AirState, meter: dict[str, Any]
) -> None:
    known = {key: bool(meter[key]) for key in NOTHING}
    certain = instruments(principle=meter["principle"], shows="actual_velocity", **known)
    assert float(density_factor(certain, state).standard_uncertainty) == 0.0


@given(state=air_states, pressure=st.floats(-500.0, 500.0), gain=st.floats(0.9, 1.1))
def test_a_velocity_pressure_needs_no_reference_unless_there_is_an_offset(
    state: AirState, pressure: float, gain: float
) -> None:
    meter = instruments(principle="pitot", gain=gain, reference_dry_bulb_c=5.0, **TEMPERATURE_ONLY)
    sensed = sensed_velocities(pressure, meter, state, is_velocity_pressure=True)
    direct = sensing.velocity_from_velocity_pressure_m_s(
        velocity_pressure_pa=pressure, density_kg_m3=state.density_kg_m3
    )
    assert float(sensed.actual_m_s) == pytest.approx(gain * float(direct), rel=1e-12, abs=1e-12)


@given(velocity=st.floats(-30.0, 30.0), density=st.floats(0.6, 1.5))
def test_velocity_pressure_keeps_its_sign_on_the_round_trip(
    velocity: float, density: float
) -> None:
    pressure = sensing.velocity_pressure_pa(velocity_m_s=velocity, density_kg_m3=density)
    back = sensing.velocity_from_velocity_pressure_m_s(
        velocity_pressure_pa=pressure, density_kg_m3=density
    )
    assert float(back) == pytest.approx(velocity, rel=1e-12, abs=1e-12)


@given(meter=meters, state=air_states, velocity=velocities, scale=st.floats(1.0, 3.0))
def test_actual_velocity_is_proportional_to_what_is_shown(
    meter: dict[str, Any], state: AirState, velocity: float, scale: float
) -> None:
    single = sensed_velocities(velocity, instruments(**meter), state).actual_m_s
    scaled = sensed_velocities(velocity * scale, instruments(**meter), state).actual_m_s
    assert float(scaled) == pytest.approx(float(single) * scale, rel=1e-12)


@given(state=air_states, velocity=velocities)
def test_thinner_air_means_a_higher_velocity_behind_the_same_reading(
    state: AirState, velocity: float
) -> None:
    thinner = air_state(
        dry_bulb_c=state.dry_bulb_c,
        pressure_pa=0.9 * state.pressure_pa,
        vapour_pressure_pa=0.9 * state.vapour_pressure_pa,
    )
    for principle in ("thermal", "pitot"):
        meter = instruments(principle=principle, **NOTHING)
        assert _factor(meter, thinner) > _factor(meter, state)


def test_calibration_acts_on_what_the_instrument_shows_before_density() -> None:
    state = _mountain_air()
    meter = instruments(principle="thermal", shows="standard_velocity", gain=1.05, offset_m_s=0.1)
    sensed = sensed_velocities([2.0, np.nan, 4.0], meter, state)
    assert sensed.calibrated_m_s[[0, 2]] == pytest.approx([2.2, 4.3])
    assert sensed.actual_m_s[[0, 2]] == pytest.approx(
        np.array([2.2, 4.3]) * float(sensed.factor.central)
    )
    assert np.isnan(sensed.actual_m_s[1])


def test_an_offset_on_a_velocity_pressure_is_a_velocity_at_the_reference_density() -> None:
    state = _mountain_air()
    meter = instruments(principle="pitot", offset_m_s=0.2)
    sensed = sensed_velocities([10.0, -10.0], meter, state, is_velocity_pressure=True)
    reference = float(meter.reference_density_kg_m3)
    shown = (20.0 / reference) ** 0.5
    density_step = (reference / float(state.density_kg_m3)) ** 0.5
    assert sensed.actual_m_s == pytest.approx(
        [(shown + 0.2) * density_step, (-shown + 0.2) * density_step]
    )


def test_many_traverses_at_once_give_what_each_gives_alone() -> None:
    rng = np.random.default_rng(20_260_603)
    count, points = 60, 4
    words = {
        "principle": rng.choice(["thermal", "vane", "pitot"], count),
        "shows": rng.choice(["standard_velocity", "actual_velocity", "unknown"], count),
    }
    compensates = {key: rng.choice(np.array([True, False, None]), count) for key in NOTHING}
    numbers = {
        "reference_dry_bulb_c": rng.choice([np.nan, 20.0, 25.0], count),
        "reference_pressure_pa": rng.choice([np.nan, 101_325.0], count),
        "gain": rng.uniform(0.95, 1.05, count),
        "offset_m_s": rng.normal(0.0, 0.05, count),
    }
    conditions = {
        "dry_bulb_c": rng.uniform(5.0, 45.0, count),
        "pressure_pa": rng.uniform(80_000.0, 102_000.0, count),
        "vapour_pressure_pa": rng.uniform(0.0, 800.0, count),
    }
    is_pressure = (words["principle"] == "pitot") & (rng.random(count) < 0.5)
    readings = rng.uniform(-1.0, 8.0, (count, points))
    readings[rng.random((count, points)) < 0.1] = np.nan
    together = sensed_velocities(
        readings,
        instruments(**words, **compensates, **numbers),
        air_state(**conditions),
        is_velocity_pressure=is_pressure,
    )
    share, uncertainty = (
        sensor_limits.dead_band_share(together),
        sensor_limits.dead_band_uncertainty_m_s(together),
    )
    for i in range(count):
        alone = sensed_velocities(
            readings[i],
            instruments(
                **{key: str(value[i]) for key, value in words.items()},
                **{key: value[i] for key, value in compensates.items()},
                **{key: value[i] for key, value in numbers.items()},
            ),
            air_state(**{key: value[i] for key, value in conditions.items()}),
            is_velocity_pressure=bool(is_pressure[i]),
        )
        for field in ("indicated_m_s", "calibrated_m_s", "actual_m_s", "in_dead_band"):
            np.testing.assert_array_equal(getattr(together, field)[i], getattr(alone, field))
        for field in ("central", "low", "high", "standard_uncertainty"):
            assert getattr(together.factor, field)[i] == getattr(alone.factor, field)
        np.testing.assert_array_equal(share[i], sensor_limits.dead_band_share(alone))
        np.testing.assert_array_equal(
            uncertainty[i], sensor_limits.dead_band_uncertainty_m_s(alone)
        )


def test_a_thermal_sensor_reads_nothing_under_forty_feet_a_minute() -> None:
    state = _mountain_air()
    readings = np.array([0.0, 0.1, 39.0 * FT_MIN, 41.0 * FT_MIN, np.nan])
    thermal = sensed_velocities(
        readings, instruments(principle="thermal", shows="standard_velocity"), state
    )
    vane = sensed_velocities(readings, instruments(principle="vane"), state)
    assert thermal.in_dead_band.tolist() == [True, True, True, False, False]
    assert not vane.in_dead_band.any()
    assert float(sensor_limits.dead_band_share(thermal)) == pytest.approx(0.75)
    assert float(sensor_limits.dead_band_share(vane)) == 0.0


def test_a_traverse_without_a_reading_has_no_share_in_the_dead_band() -> None:
    sensed = sensed_velocities(
        np.full((2, 3), np.nan), instruments(principle="thermal"), _mountain_air()
    )
    assert np.isnan(sensor_limits.dead_band_share(sensed)).all()


@given(reading=st.floats(0.0, 0.2), state=air_states)
def test_a_dead_band_reading_may_be_anything_from_nothing_to_its_edge(
    reading: float, state: AirState
) -> None:
    sensed = sensed_velocities(
        [reading], instruments(principle="thermal", shows="standard_velocity"), state
    )
    truths = (np.arange(4000) + 0.5) / 4000 * sensing.DEAD_BAND_M_S
    expected = np.sqrt(np.mean((truths - reading) ** 2)) * float(sensed.factor.central)
    uncertainty = sensor_limits.dead_band_uncertainty_m_s(sensed)
    assert float(uncertainty[0]) == pytest.approx(expected, rel=1e-5)


def test_vane_drag_and_pitot_zero_matter_at_low_velocities_only() -> None:
    at = {"density_kg_m3": 1.0, "reference_density_kg_m3": 1.2}
    slow = float(sensor_limits.vane_drag_drift(velocity_m_s=0.5, **at))
    fast = float(sensor_limits.vane_drag_drift(velocity_m_s=5.0, **at))
    assert slow == pytest.approx(0.15**2 * 0.2 / 0.25)
    assert fast == pytest.approx(slow / 100.0)
    drift = sensor_limits.pitot_zero_drift(velocity_m_s=np.array([1.0, 5.0]), density_kg_m3=1.2)
    assert drift == pytest.approx([0.354, 0.0165], abs=5e-4)


def test_words_and_codes_of_an_instrument_mean_the_same() -> None:
    assert codes("principle", "vane", ("thermal", "vane", "pitot")).item() == 1
    assert codes("principle", np.array([2, 0]), ("thermal", "vane", "pitot")).tolist() == [2, 0]
    assert compensation_codes("x", None).item() == -1
    assert compensation_codes("x", np.array([True, False])).tolist() == [1, 0]
    assert compensation_codes("x", [True, None, False]).tolist() == [1, -1, 0]
    assert compensation_codes("x", np.array([1, 0, -1])).tolist() == [1, 0, -1]


def test_impossible_instruments_and_readings_are_refused_by_name() -> None:
    with pytest.raises(ValueError, match="principle is 'ultrasonic'; it must be one of thermal"):
        instruments(principle="ultrasonic")
    with pytest.raises(ValueError, match="principle is '3'"):
        instruments(principle=np.array([0, 3]))
    with pytest.raises(ValueError, match="shows is 'true_velocity'"):
        instruments(principle="vane", shows="true_velocity")
    with pytest.raises(ValueError, match="gain is 0 1; it must be above 0 1"):
        instruments(principle="vane", gain=0.0)
    with pytest.raises(ValueError, match="compensates_pressure is 'maybe'"):
        instruments(principle="thermal", compensates_pressure="maybe")
    with pytest.raises(ValueError, match="is_velocity_pressure is true for a thermal"):
        sensed_velocities(
            [10.0],
            instruments(principle="thermal"),
            _mountain_air(),
            is_velocity_pressure=True,
        )
    with pytest.raises(ValueError, match="density_kg_m3 is 0 kg/m3"):
        sensing.velocity_from_velocity_pressure_m_s(velocity_pressure_pa=1.0, density_kg_m3=0.0)
    with pytest.raises(ValueError, match="readings is infinite"):
        sensed_velocities([np.inf], instruments(principle="vane"), _mountain_air())
