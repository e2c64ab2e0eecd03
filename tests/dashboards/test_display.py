"""Numbers are written in the company's units and rounded by their uncertainty."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs import units
from dashboards.display import (
    Shown,
    Units,
    decimals_for,
    percent,
    unbroken,
    write,
    write_significant,
)
from tests.factories import PER_TON
from tests.spaces import loose

FT3_MIN = 0.3048**3 / 60.0
IP, SI = Units("ip"), Units("si")


def test_a_flow_is_rounded_to_two_digits_of_its_half_width() -> None:
    shown = IP.show(1722.4 * FT3_MIN, units.FLOW, low_si=1639.4 * FT3_MIN, high_si=1805.4 * FT3_MIN)
    assert shown is not None
    assert loose(shown.plain) == "1,722 ± 83 ft³/min"
    assert (shown.low, shown.high) == ("1,639", "1,805")


def test_a_number_its_interval_and_its_unit_stay_on_one_line() -> None:
    shown = IP.show(400.0 * PER_TON, units.FLOW_PER_CAPACITY, low_si=0.9, high_si=1.1)
    assert shown is not None
    flow = IP.show(1722.4 * FT3_MIN, units.FLOW, low_si=1639.4 * FT3_MIN, high_si=1805.4 * FT3_MIN)
    assert flow is not None
    assert " " not in flow.plain + flow.spread + percent(0.844)
    assert flow.spread == unbroken("±", "83", "ft³/min")
    # A unit of several words may break within.
    assert shown.unit == "ft³/min per ton"
    assert shown.spread.endswith(f"\N{NO-BREAK SPACE}{shown.unit}")
    assert Shown("3", "m").spread == ""


def test_a_wide_interval_rounds_to_tens() -> None:
    shown = IP.show(1722.4 * FT3_MIN, units.FLOW, low_si=1522 * FT3_MIN, high_si=1922 * FT3_MIN)
    assert shown is not None
    assert loose(shown.plain) == "1,720 ± 200 ft³/min"


def test_si_speaks_si() -> None:
    shown = SI.show(0.8128, units.FLOW, low_si=0.7736, high_si=0.8520)
    assert shown is not None
    assert loose(shown.plain) == "0.813 ± 0.039 m³/s"


def test_a_number_without_an_interval_keeps_three_digits() -> None:
    shown = IP.show(0.27871, units.AREA)
    assert shown is not None
    assert loose(shown.plain) == "3.00 ft²"
    assert SI.show(None, units.AREA) is None


def test_a_number_beside_another_is_rounded_like_it() -> None:
    written = IP.write_alike(1722.4 * FT3_MIN, units.FLOW, half_width_si=200 * FT3_MIN)
    assert written == "1,720"
    assert IP.write_alike(None, units.FLOW, half_width_si=None) == "–"


@given(st.floats(1e-6, 1e6))
def test_two_digits_of_any_uncertainty_are_kept(uncertainty: float) -> None:
    places = decimals_for(uncertainty)
    written = round(uncertainty * 10.0**places)
    assert 10 <= written <= 100


def test_a_half_width_that_rounds_up_keeps_two_digits() -> None:
    assert decimals_for(0.0996) == 2
    assert decimals_for(99.6) == -1


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.0, "0 %"), (0.001, "<1 %"), (0.844, "84 %"), (0.999, ">99 %"), (1.0, "100 %")],
)
def test_only_all_is_called_all(share: float, text: str) -> None:
    assert loose(percent(share)) == text


def test_what_is_not_known_is_a_dash() -> None:
    assert percent(None) == percent(float("nan")) == write(float("inf"), 1) == "–"


def test_a_minus_is_a_minus_sign() -> None:
    assert write(-3.25, 1) == "−3.2"
    assert write_significant(0.0) == "0"
