"""What each setting of a maker's blower table would give."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs.calc.blower_tables import TablePoint, nearest_setting, setting_forecasts

SPEEDS = {"tap 1": 0.7, "tap 2": 0.8, "tap 3": 0.9, "tap 4": 1.0}


def _fan_static(flow: float, speed: float) -> float:
    """A fan of 300 Pa at no flow and full speed, falling with the square."""
    return 300.0 * speed**2 - 500.0 * flow**2


def _table(bias: float = 1.0) -> list[TablePoint]:
    points = []
    for setting, speed in SPEEDS.items():
        for static in np.arange(25.0, 300.0 * speed**2 - 20.0, 12.5):
            flow = ((300.0 * speed**2 - static) / 500.0) ** 0.5
            points.append(TablePoint(setting, float(static), bias * flow))
    return points


def _system_flow(speed: float, friction: float, exponent: float, fixed: float) -> float:
    """Where that fan meets static = fixed + friction Q^n, by bisection."""
    low, high = 0.0, 1.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        if _fan_static(middle, speed) > fixed + friction * middle**exponent:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@given(
    exponent=st.floats(1.6, 2.0),
    fixed_share=st.floats(0.0, 0.2),
    bias=st.floats(0.9, 1.1),
    friction=st.floats(450.0, 1100.0),
)
def test_the_interval_holds_what_the_other_taps_really_give(
    exponent: float, fixed_share: float, bias: float, friction: float
) -> None:
    flow = _system_flow(1.0, friction, exponent, fixed_share * 150.0)
    static = _fan_static(flow, 1.0)
    forecasts = setting_forecasts(
        _table(bias),
        flow_m3_s=flow,
        external_static_pa=static,
        relative_standard_uncertainty=0.01,
        current_setting="tap 4",
    )
    assert forecasts
    for forecast in forecasts:
        truth = _system_flow(SPEEDS[forecast.setting], friction, exponent, fixed_share * 150.0)
        assert forecast.low_m3_s < truth < forecast.high_m3_s


def test_back_at_its_own_setting_a_blower_gives_what_was_measured() -> None:
    forecasts = setting_forecasts(
        _table(bias=0.93),
        flow_m3_s=0.45,
        external_static_pa=180.0,
        relative_standard_uncertainty=0.02,
        current_setting="tap 4",
    )
    current = next(forecast for forecast in forecasts if forecast.setting == "tap 4")
    assert current.flow_m3_s == pytest.approx(0.45, rel=1e-9)
    assert current.external_static_pa == pytest.approx(180.0, rel=1e-9)
    assert np.log(current.high_m3_s / current.flow_m3_s) == pytest.approx(1.96 * 0.02, rel=1e-3)


def test_forecasts_rise_and_the_nearest_is_chosen() -> None:
    forecasts = setting_forecasts(
        _table(),
        flow_m3_s=0.45,
        external_static_pa=180.0,
        relative_standard_uncertainty=0.02,
        current_setting="tap 4",
    )
    flows = [forecast.flow_m3_s for forecast in forecasts]
    assert flows == sorted(flows)
    statics = [forecast.external_static_pa for forecast in forecasts]
    assert statics == sorted(statics)
    chosen = nearest_setting(forecasts, flows[1] * 1.01)
    assert chosen == forecasts[1]


def test_an_unknown_present_setting_makes_the_forecast_wider() -> None:
    keywords = {
        "flow_m3_s": 0.48, "external_static_pa": 180.0, "relative_standard_uncertainty": 0.02
    }  # fmt: skip
    known = setting_forecasts(_table(), current_setting="tap 4", **keywords)
    unknown = setting_forecasts(_table(), **keywords)
    for one, other in zip(known[:-1], unknown[:-1], strict=True):
        assert one.setting == other.setting
        assert one.high_m3_s / one.low_m3_s < other.high_m3_s / other.low_m3_s


def test_settings_that_the_table_does_not_carry_far_enough_are_left_out() -> None:
    table = [
        TablePoint("low", 10.0, 0.20),
        TablePoint("low", 20.0, 0.19),
        TablePoint("alone", 100.0, 0.4),
        TablePoint("high", 100.0, 0.55),
        TablePoint("high", 250.0, 0.40),
    ]
    forecasts = setting_forecasts(
        table, flow_m3_s=0.48, external_static_pa=180.0, relative_standard_uncertainty=0.02
    )
    assert [forecast.setting for forecast in forecasts] == ["high"]
    assert nearest_setting((), 0.5) is None


def test_impossible_tables_are_refused_by_name_value_and_limit() -> None:
    with pytest.raises(ValueError, match="external_static_pa is 0 Pa; it must be above 0 Pa"):
        setting_forecasts(
            _table(), flow_m3_s=0.5, external_static_pa=0.0, relative_standard_uncertainty=0.02
        )
    with pytest.raises(ValueError, match="flow_m3_s is -1 m3/s"):
        setting_forecasts(
            [TablePoint("a", 10.0, -1.0), TablePoint("a", 20.0, 1.0)],
            flow_m3_s=0.5,
            external_static_pa=10.0,
            relative_standard_uncertainty=0.02,
        )
