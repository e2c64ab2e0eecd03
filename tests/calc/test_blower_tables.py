"""The maker's table against the ducts as they are: meetings, doubts, ends of the table."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from airflow_jobs.calc.blower_curves import (
    SINGLE_ROW_SLOPE,
    SINGLE_ROW_SLOPE_U,
    SettingCurve,
    crossing,
    flow_at_static_m3_s,
    setting_curves,
    stacked_knots,
)
from airflow_jobs.calc.blower_tables import (
    BEYOND_RELATIVE_U,
    SYSTEM_EXPONENT_U,
    TABLE_RELATIVE_U,
    SettingForecast,
    TableForecast,
    table_forecast,
)
from airflow_jobs.calc.fans import PRIOR, FanBelief
from airflow_jobs.calc.speed_outcomes import outcome_at_speed, response_interval

STATICS_PA = (25.0, 75.0, 125.0, 175.0, 225.0)
SETTINGS = {"tap 1": 0.46, "tap 2": 0.54, "tap 3": 0.62, "tap 4": 0.70, "tap 5": 0.78}


def printed(free_flow_m3_s: float, static_pa: float) -> float:
    """A curve of the usual shape: falling, faster at high statics."""
    return free_flow_m3_s * (1.0 - 0.0004 * static_pa - 3e-6 * static_pa**2)


def rows(factor: float = 1.0) -> list[tuple[str, float, float]]:
    return [
        (name, static, factor * printed(free, static))
        for name, free in SETTINGS.items()
        for static in STATICS_PA
    ]


CURVES = setting_curves(rows())


def of(forecast: TableForecast, setting: str) -> SettingForecast:
    return next(item for item in forecast.settings if item.setting == setting)


def forecast(**more: float) -> TableForecast:
    given = {"flow_m3_s": 0.6, "flow_relative_u": 0.03, "external_static_pa": 125.0, **more}
    return table_forecast(CURVES, current="tap 4", **given)  # type: ignore[arg-type]


def test_rows_in_any_order_make_the_same_curves() -> None:
    assert {curve.setting: curve for curve in setting_curves(rows()[::-1])} == {
        curve.setting: curve for curve in CURVES
    }


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        ([("low", 50.0, 0.5), ("low", 50.0, 0.6)], "twice"),
        ([("low", -1.0, 0.5)], "static_pa"),
        ([("low", 50.0, 0.0)], "flow_m3_s"),
    ],
)
def test_impossible_rows_are_refused(bad: list[tuple[str, float, float]], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        setting_curves(bad)


@pytest.mark.parametrize("setting", SETTINGS)
@pytest.mark.parametrize("static_pa", [60.0, 125.0, 190.0])
def test_the_meeting_is_that_of_a_general_solver(setting: str, static_pa: float) -> None:
    # The printed curve itself by Brent's method; straight lines between rows stay within 0.3 %.
    scale = 0.6 / printed(SETTINGS["tap 4"], static_pa)
    static = brentq(
        lambda p: scale * printed(SETTINGS[setting], p) - 0.6 * (p / static_pa) ** 0.5, 1.0, 300.0
    )
    met = of(forecast(external_static_pa=static_pa), setting)
    expected = scale * printed(SETTINGS[setting], static)
    assert met.flow_m3_s == pytest.approx(expected, rel=0.003)
    assert met.external_static_pa == pytest.approx(static, rel=0.01)


def test_the_current_setting_gives_back_what_was_measured() -> None:
    now = of(forecast(), "tap 4")
    assert now.flow_m3_s == pytest.approx(0.6, rel=1e-9)
    assert now.external_static_pa == pytest.approx(125.0, rel=1e-9)
    assert now.relative_u == pytest.approx(0.03, rel=1e-9)


def test_higher_settings_move_more_air_against_more_static() -> None:
    found = forecast().settings
    assert np.all(np.diff([item.flow_m3_s for item in found]) > 0.0)
    assert np.all(np.diff([item.external_static_pa for item in found]) > 0.0)


@given(factor=st.floats(0.3, 3.0), setting=st.sampled_from(sorted(SETTINGS)))
def test_a_table_that_is_off_by_a_factor_changes_nothing(factor: float, setting: str) -> None:
    off = table_forecast(
        setting_curves(rows(factor)),
        current="tap 4",
        flow_m3_s=0.6,
        flow_relative_u=0.03,
        external_static_pa=125.0,
    )
    assert of(off, setting).flow_m3_s == pytest.approx(of(forecast(), setting).flow_m3_s, rel=1e-9)
    assert off.measured_over_table == pytest.approx(
        forecast().measured_over_table / factor, rel=1e-9
    )


@given(factor=st.floats(0.5, 2.0), setting=st.sampled_from(sorted(SETTINGS)))
def test_where_the_static_is_measured_the_flow_scales_with_the_measured_one(
    factor: float, setting: str
) -> None:
    scaled = of(forecast(flow_m3_s=0.6 * factor), setting)
    assert scaled.flow_m3_s == pytest.approx(factor * of(forecast(), setting).flow_m3_s, rel=1e-9)


@pytest.mark.parametrize("setting", ["tap 1", "tap 2", "tap 5"])
def test_the_uncertainty_is_that_of_many_draws(setting: str) -> None:
    generator = np.random.default_rng(20260603)
    count = 2000
    flow = 0.6 * np.exp(generator.normal(0.0, 0.03, count))
    static = 125.0 + generator.normal(0.0, 5.0, count)
    exponent = 2.0 + generator.normal(0.0, SYSTEM_EXPONENT_U, count)
    between = generator.normal(0.0, TABLE_RELATIVE_U, count)
    free = SETTINGS[setting]
    drawn = []
    for q1, p1, n, doubt in zip(flow, static, exponent, between, strict=True):
        scale = q1 / printed(SETTINGS["tap 4"], p1)

        def excess(p: float, q1=q1, p1=p1, n=n, scale=scale) -> float:  # type: ignore[no-untyped-def]
            return float(scale * printed(free, p) - q1 * (p / p1) ** (1.0 / n))

        drawn.append(np.log(scale * printed(free, brentq(excess, 0.5, 400.0))) + doubt)
    # 2,000 draws know a standard deviation to 1.6 %, and half a percent is left by curvature.
    assert of(forecast(), setting).relative_u == pytest.approx(np.std(drawn), rel=0.05)


def test_without_a_static_the_table_says_where_the_system_stands() -> None:
    measured = printed(SETTINGS["tap 4"], 125.0)
    found = table_forecast(CURVES, current="tap 4", flow_m3_s=measured, flow_relative_u=0.03)
    assert found.external_static_pa == pytest.approx(125.0, rel=1e-9)
    assert not found.is_static_measured
    assert found.measured_over_table == 1.0
    known = table_forecast(
        CURVES,
        current="tap 4",
        flow_m3_s=measured,
        flow_relative_u=0.03,
        external_static_pa=125.0,
    )
    for setting in SETTINGS:
        assert of(found, setting).flow_m3_s == pytest.approx(of(known, setting).flow_m3_s)
        # At the current setting there is nothing to model; at others the static is less known.
        least = 0.0 if setting == "tap 4" else 0.99 * of(known, setting).model_relative_u
        assert of(found, setting).model_relative_u >= least


@pytest.mark.parametrize(("flow_m3_s", "end_pa"), [(0.9, 25.0), (0.3, 225.0)])
def test_a_flow_off_the_table_starts_at_its_nearest_end(flow_m3_s: float, end_pa: float) -> None:
    found = table_forecast(CURVES, current="tap 4", flow_m3_s=flow_m3_s, flow_relative_u=0.03)
    assert found.external_static_pa == end_pa
    assert found.measured_over_table == pytest.approx(
        flow_m3_s / printed(SETTINGS["tap 4"], end_pa)
    )


def test_a_little_beyond_the_table_is_read_on_and_said_and_further_is_refused() -> None:
    beyond = of(forecast(external_static_pa=240.0), "tap 5")
    assert beyond.is_beyond
    assert beyond.relative_u > np.hypot(0.03, BEYOND_RELATIVE_U)
    assert not of(forecast(external_static_pa=200.0), "tap 3").is_beyond
    with pytest.raises(ValueError, match="ends at 225 Pa"):
        forecast(external_static_pa=300.0)


def test_a_setting_with_one_row_is_given_the_slope_of_its_kind_and_a_wider_interval() -> None:
    single = setting_curves([("low", 125.0, 0.5), ("high", 125.0, 0.75)])
    found = table_forecast(
        single, current="high", flow_m3_s=0.72, flow_relative_u=0.03, external_static_pa=150.0
    )
    low = of(found, "low")
    # p = p0 (Q/Q0)^s against p = p1 (Q/Q1)^2, in closed form.
    scale = 0.72 / (0.75 * (150.0 / 125.0) ** (1.0 / SINGLE_ROW_SLOPE))
    s = SINGLE_ROW_SLOPE
    expected = (150.0 / 0.72**2 / 125.0 * (scale * 0.5) ** s) ** (1.0 / (s - 2.0))
    assert low.flow_m3_s == pytest.approx(expected, rel=0.002)
    assert low.relative_u > 0.05
    assert SINGLE_ROW_SLOPE_U > 1.0


def test_a_hump_is_read_on_its_stable_side() -> None:
    hump = SettingCurve("only", (50.0, 100.0, 150.0), (0.50, 0.60, 0.40))
    found = table_forecast((hump,), current="only", flow_m3_s=0.55, flow_relative_u=0.0)
    assert found.external_static_pa == pytest.approx(112.5)
    assert float(flow_at_static_m3_s(hump, 112.5)) == pytest.approx(0.55)


@pytest.mark.parametrize(
    "wrong",
    [
        {"flow_m3_s": 0.0},
        {"flow_relative_u": -0.1},
        {"external_static_pa": 0.0},
        {"static_u_pa": -1.0},
    ],
)
def test_impossible_quantities_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=next(iter(wrong))):
        forecast(**wrong)


def test_a_setting_that_is_not_in_the_table_is_refused() -> None:
    with pytest.raises(ValueError, match="current is 'tap 9'"):
        table_forecast(CURVES, current="tap 9", flow_m3_s=0.6, flow_relative_u=0.03)


@given(speed=st.floats(0.75, 1.3), slope=st.floats(-4.0, 0.0))
def test_on_a_plain_system_pressure_and_power_follow_the_fan_laws(
    speed: float, slope: float
) -> None:
    plain = FanBelief(
        fixed_share=np.zeros(1),
        fan_slope=np.array([slope]),
        exponent=np.array([2.0]),
        weight=np.ones(1),
    )
    outcome = outcome_at_speed(plain, speed)
    assert outcome.pressure_ratio.middle == pytest.approx(speed**2, rel=1e-9)
    assert outcome.power_ratio.middle == pytest.approx(speed**3, rel=1e-9)


@given(speed=st.floats(0.75, 1.3))
def test_fixed_pressure_and_softer_systems_answer_less_than_the_square(speed: float) -> None:
    pressure = outcome_at_speed(PRIOR, speed).pressure_ratio
    for ratio in (pressure.low, pressure.middle, pressure.high):
        assert abs(np.log(ratio)) <= abs(2.0 * np.log(speed)) + 1e-9
    assert pressure.low <= pressure.middle <= pressure.high


def test_no_change_of_speed_changes_nothing() -> None:
    outcome = outcome_at_speed(PRIOR, 1.0)
    for expected in (outcome.pressure_ratio, outcome.power_ratio):
        assert (expected.low, expected.high) == pytest.approx((1.0, 1.0))


def test_the_response_is_never_under_the_plain_law() -> None:
    believed = response_interval(PRIOR)
    assert 1.0 <= believed.low < believed.middle < believed.high < 2.5


@given(
    statics=st.lists(st.floats(0.0, 300.0), min_size=2, max_size=6, unique_by=lambda p: round(p)),
    flows=st.lists(st.floats(0.05, 1.0), min_size=6, max_size=6),
    coefficient=st.floats(0.001, 1.0),
    inverse_exponent=st.sampled_from([0.0, 0.4, 0.5, 0.625]),
)
def test_where_two_curves_meet_they_have_one_flow(
    statics: list[float], flows: list[float], coefficient: float, inverse_exponent: float
) -> None:
    curve = SettingCurve("any", tuple(sorted(statics)), tuple(flows[: len(statics)]))
    one = np.ones(1)
    knots, of_knots = stacked_knots((curve,), SINGLE_ROW_SLOPE)
    static, flow = crossing(
        knots,
        of_knots,
        scale=one,
        coefficient=coefficient * one,
        inverse_exponent=inverse_exponent * one,
    )
    let_through = coefficient * knots[0] ** inverse_exponent
    falls = np.any((of_knots[0][:-1] > let_through[:-1]) & (of_knots[0][1:] < let_through[1:]))
    assert np.isfinite(static[0, 0]) or not falls
    if np.isfinite(static[0, 0]):
        assert flow[0, 0] == pytest.approx(
            coefficient * static[0, 0] ** inverse_exponent, rel=1e-9, abs=1e-6
        )
        assert flow[0, 0] == pytest.approx(
            float(flow_at_static_m3_s(curve, static[0, 0])), rel=1e-9, abs=1e-9
        )


def test_a_table_from_no_static_on_serves_a_system_without_resistance() -> None:
    free = setting_curves(
        [("low", 0.0, 0.5), ("low", 100.0, 0.4), ("high", 0.0, 0.8), ("high", 100.0, 0.7)]
    )
    found = table_forecast(free, current="high", flow_m3_s=0.9, flow_relative_u=0.02)
    # Nothing holds the air back, so each setting moves its free flow, an eighth more than printed.
    assert of(found, "low").flow_m3_s == pytest.approx(0.5 * 0.9 / 0.8, rel=1e-4)
    assert of(found, "high").flow_m3_s == pytest.approx(0.9, rel=1e-4)


@pytest.mark.parametrize("is_static_measured", [True, False])
def test_the_interval_holds_the_flow_in_systems_of_another_kind(is_static_measured: bool) -> None:
    # Invented systems: exponent 1.6 to 2, each setting off its table by its own share and all by
    # a common one, of 2.5 % each, a static read to 5 Pa, a flow to 2.5 %; seeds fresh to this test.
    generator = np.random.default_rng(20261125)
    held = []
    for _ in range(1500):
        n = generator.uniform(1.6, 2.0)
        common = np.exp(generator.normal(0.0, TABLE_RELATIVE_U))
        frees = {
            name: common * free * np.exp(generator.normal(0.0, TABLE_RELATIVE_U / 2.0**0.5))
            for name, free in SETTINGS.items()
        }
        before, after = generator.choice(list(SETTINGS), 2, replace=False)
        static = generator.uniform(70.0, 170.0)
        flow = printed(frees[before], static)
        met = brentq(
            lambda p, free=frees[after], q=flow, p1=static, n=n: (
                printed(free, p) - q * (p / p1) ** (1.0 / n)
            ),
            1.0,
            500.0,
        )
        try:
            found = table_forecast(
                CURVES,
                current=str(before),
                flow_m3_s=flow * np.exp(generator.normal(0.0, 0.025)),
                flow_relative_u=0.025,
                external_static_pa=(
                    static + generator.normal(0.0, 5.0) if is_static_measured else None
                ),
            )
        except ValueError:
            continue
        item = of(found, str(after))
        if np.isfinite(item.flow_m3_s):
            off = np.log(printed(frees[after], met) / item.flow_m3_s)
            held.append(abs(off) <= 1.96 * item.relative_u)
    assert len(held) > 1400
    # 1,500 draws know a share of 0.95 to 0.006.
    assert np.mean(held) > 0.935
