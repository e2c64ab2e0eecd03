"""What was read beside a traverse: pressures against the maker's largest, and temperature rise."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from django.test import Client

from airflow_jobs.models import PressureReading, TemperatureRise, Traverse
from tests import factories
from tests.dashboards.test_pages import _rows, _text
from tests.factories import NOW

pytestmark = pytest.mark.django_db


def _traverse(**fields: Any) -> Traverse:
    equipment = factories.make_equipment(**fields)
    return factories.make_traverse(duct_section=factories.make_section(equipment=equipment))


def _pressures(traverse: Traverse, **fields: Any) -> None:
    PressureReading.objects.create(
        visit=traverse.visit,
        equipment=traverse.duct_section.equipment,
        stage="as_found",
        taken_at=NOW,
        **fields,
    )


def test_external_static_and_drops_are_worked_out_and_held_against_the_makers_largest(
    manager: Client,
) -> None:
    factories.make_company(default_units="si")
    traverse = _traverse(max_external_static_pa=125.0)
    _pressures(
        traverse,
        return_static_pa=-75.0,
        supply_static_pa=65.0,
        before_filter_pa=-20.0,
        after_filter_pa=-62.0,
        before_coil_pa=110.0,
        after_coil_pa=65.0,
    )
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "The maker allows 125 Pa of external static pressure." in text
    assert "140 more than the maker allows" in text
    (row,) = _rows(manager, f"/traverses/{traverse.pk}/pressures.csv")
    assert float(row["External static"]) == 140.0
    assert float(row["Drop over the filter"]) == 42.0
    assert float(row["Drop over the coil"]) == 45.0


def test_without_the_makers_largest_nothing_is_said_to_be_within_it(manager: Client) -> None:
    traverse = _traverse()
    _pressures(traverse, return_static_pa=-75.0, supply_static_pa=65.0)
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "largest external static pressure is not on record" in text
    assert "within what the maker allows" not in text


def test_the_temperature_rise_stands_with_the_heat_between(manager: Client) -> None:
    factories.make_company(default_units="si")
    traverse = _traverse()
    TemperatureRise.objects.create(
        visit=traverse.visit,
        equipment=traverse.duct_section.equipment,
        stage="as_found",
        taken_at=NOW,
        heat_input_w=23000.0,
        efficiency=0.8,
        entering_c=20.0,
        leaving_c=45.5,
    )
    (row,) = _rows(manager, f"/traverses/{traverse.pk}/rises.csv")
    assert float(row["Rise, K"]) == pytest.approx(25.5)
    assert "of fuel at an efficiency of 80 %" in row["Heat"]


def test_another_visit_or_system_is_left_out(manager: Client) -> None:
    traverse, other = _traverse(), _traverse()
    _pressures(other, return_static_pa=-75.0, supply_static_pa=65.0)
    later = factories.make_visit(
        site=traverse.visit.site, started_at=NOW + datetime.timedelta(days=1)
    )
    PressureReading.objects.create(
        visit=later,
        equipment=traverse.duct_section.equipment,
        stage="as_found",
        taken_at=NOW,
        return_static_pa=-1.0,
    )
    assert "Pressures and temperature rise" not in _text(manager, f"/traverses/{traverse.pk}/")
    assert manager.get(f"/traverses/{traverse.pk}/pressures.csv").status_code == 404
