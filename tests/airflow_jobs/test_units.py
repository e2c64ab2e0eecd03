"""Units against published factors, and what is refused."""

from __future__ import annotations

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs import units
from airflow_jobs.units import DIMENSIONS, UnitError, from_si, quantity, to_si
from tests.calc import published

# Ours, and how many of the published unit one of the SI unit inside is.
OURS = {
    "U-CFM": ("ft3/min", units.FLOW, 1000.0),
    "U-FPM": ("ft/min", units.VELOCITY, 1.0),
    "U-INW": ("inH2O", units.PRESSURE, 1.0),
    "U-INHG": ("inHg", units.BAROMETRIC_PRESSURE, 1.0),
    "U-LBFT3": ("lb/ft3", units.DENSITY, 1.0),
}


@published.each("U-*")
def test_factors_agree_with_the_published_ones(row: published.Row) -> None:
    if row.id in OURS:
        unit, dimension, scale = OURS[row.id]
        row.assert_matches(to_si(1.0, unit, dimension) * scale)
    else:
        # Not accepted here; they show that the library behind the factors is right.
        name = {"U-INW39": "inch_H2O_4C", "U-PSI": "psi"}[row.id]
        row.assert_matches(pint.UnitRegistry().Quantity(1.0, name).to("Pa").magnitude)


@pytest.mark.parametrize(
    ("value", "unit", "dimension", "expected"),
    [
        (70.0, "degF", units.TEMPERATURE, 190.0 / 9.0),
        (-40.0, "degF", units.TEMPERATURE, -40.0),
        (0.0, "K", units.TEMPERATURE, -273.15),
        (18.0, "degF", units.TEMPERATURE_DIFFERENCE, 10.0),
        (1.0, "ton", units.CAPACITY, 3516.852842067),
        (1.0, "(ft3/min)/ton", units.FLOW_PER_CAPACITY, 0.134196e-6),
        (45.0, "%", units.RATIO, 0.45),
        (3600.0, "m3/h", units.FLOW, 1.0),
        (1.0, "hp", units.ELECTRIC_POWER, 745.6998715823),
    ],
)
def test_conversions_follow_the_definitions(
    value: float, unit: str, dimension: units.Dimension, expected: float
) -> None:
    assert to_si(value, unit, dimension) == pytest.approx(expected, rel=2e-6, abs=1e-9)


@given(st.floats(-1e6, 1e6), st.sampled_from(DIMENSIONS), st.data())
def test_there_and_back_is_where_it_was(
    value: float, dimension: units.Dimension, data: st.DataObject
) -> None:
    unit = data.draw(st.sampled_from(sorted(dimension.units)))
    back = from_si(to_si(value, unit, dimension), unit, dimension)
    assert math.isclose(back, value, rel_tol=1e-12, abs_tol=1e-9)


def test_a_unit_of_another_dimension_is_refused_by_name() -> None:
    with pytest.raises(UnitError, match="'ft2' is a unit of area, but a flow is due here"):
        to_si(3.0, "ft2", units.FLOW)


def test_another_spelling_is_refused_with_those_that_are_known() -> None:
    with pytest.raises(UnitError, match="'fpm' is not a unit of velocity.*'m/s', 'ft/min'"):
        to_si(574.0, "fpm", units.VELOCITY)


def test_answers_speak_the_asked_system() -> None:
    assert quantity(0.00508, units.VELOCITY, "ip") == {
        "value": pytest.approx(1.0, rel=1e-12),
        "unit": "ft/min",
    }
    assert quantity(2.5, units.VELOCITY, "si") == {"value": 2.5, "unit": "m/s"}
    assert quantity(None, units.VELOCITY, "si") is None


@pytest.mark.parametrize("dimension", DIMENSIONS, ids=lambda item: item.name)
def test_both_answer_units_are_accepted_units(dimension: units.Dimension) -> None:
    assert dimension.si in dimension.units
    assert dimension.ip in dimension.units
