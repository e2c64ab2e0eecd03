"""The same flow by another way, static pressure, and what recording one of them sets going."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from airflow_jobs import recompute
from airflow_jobs.api.results import render_values
from airflow_jobs.calc.air import specific_heat_j_kg_k
from airflow_jobs.calc.conformity import GUARD_FACTOR
from airflow_jobs.models import Computation, Record, Result, State, Traverse
from tests import factories
from tests.airflow_jobs.beside import (
    HOUR,
    codes,
    computed,
    make_adjustment,
    make_pressures,
    make_rise,
    make_table,
    result_of,
)


def heating_traverse(**fields: Any) -> Traverse:
    return factories.make_traverse(**{"call": "heating", **fields})


def only(checks: list[dict[str, Any]], kind: str) -> dict[str, Any]:
    (found,) = [item for item in checks if item["kind"] == kind]
    return found


def rise_for(values: dict[str, Any], heat_w: float, factor: float = 1.0) -> float:
    """The rise at which a heat balance gives `factor` times the standard flow, in dry air."""
    flow = factor * values["best_estimate"]["flow_standard"] * values["standard_density"]
    return float(heat_w / (flow * float(specific_heat_j_kg_k(0.0))))


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("heat", "method"),
    [
        ({"electric_power_w": 15000.0}, "electric_heat"),
        ({"electric_power_w": None, "heat_input_w": 18750.0, "efficiency": 0.8}, "fuel_heat"),
    ],
)
@pytest.mark.parametrize(("factor", "agrees"), [(1.0, True), (0.97, True), (0.7, False)])
def test_a_temperature_rise_is_a_second_way_to_the_flow(
    heat: dict[str, Any], method: str, factor: float, agrees: bool
) -> None:
    traverse = heating_traverse()
    values = computed(traverse)
    assert values["cross_checks"] == []
    rise = make_rise(
        traverse.visit,
        traverse.duct_section.equipment,
        leaving_c=20.0 + rise_for(values, 15000.0, factor),
        **heat,
    )
    recompute.mark_affected_by(rise)
    values = computed(traverse)
    check = only(values["cross_checks"], "heat_balance")
    best = values["best_estimate"]["flow_standard"]
    assert check["method"] == method
    assert check["other_flow"] == pytest.approx(factor * best, rel=1e-6)
    assert check["measured_flow"] == best
    assert check["relative_difference"] == pytest.approx(factor - 1.0, abs=1e-6)
    assert check["other_flow_low"] < check["other_flow"] < check["other_flow_high"]
    assert check["agrees"] is agrees
    assert ("methods_disagree" in codes(values)) is not agrees


@pytest.mark.django_db
def test_heat_on_does_not_speak_of_the_flow_in_cooling() -> None:
    traverse = factories.make_traverse()
    make_rise(traverse.visit, traverse.duct_section.equipment)
    values = computed(traverse)
    check = only(values["cross_checks"], "heat_balance")
    assert check["agrees"] is None
    assert "wasn't taken in heating" in check["note"]
    assert "methods_disagree" not in codes(values)


@pytest.mark.django_db
@pytest.mark.parametrize("leaving_c", [20.0, 12.0])
def test_heat_that_warms_nothing_is_said_and_not_computed(leaving_c: float) -> None:
    traverse = heating_traverse()
    make_rise(traverse.visit, traverse.duct_section.equipment, leaving_c=leaving_c)
    values = computed(traverse)
    assert values["cross_checks"] == []
    assert "temperature_rise_unlikely" in codes(values)


@pytest.mark.django_db
@pytest.mark.parametrize(("factor", "agrees"), [(1.02, True), (1.3, False)])
def test_a_hood_is_held_against_the_traverse_in_actual_air(factor: float, agrees: bool) -> None:
    traverse = factories.make_traverse()
    best = computed(traverse)["best_estimate"]["flow_actual"]
    reading = factories.make_flow_reading(
        visit=traverse.visit,
        equipment=traverse.duct_section.equipment,
        flow_m3_s=factor * best,
        relative_uncertainty=0.08,
    )
    recompute.mark_affected_by(reading)
    values = computed(traverse)
    check = only(values["cross_checks"], "flow_reading")
    assert check["agrees"] is agrees
    assert check["other_flow_high"] == pytest.approx(1.08 * factor * best, rel=1e-4)
    assert ("methods_disagree" in codes(values)) is not agrees
    rendered = only(render_values(values, "ip")["cross_checks"], "flow_reading")
    assert rendered["other_flow"]["unit"] == "ft3/min"


@pytest.mark.django_db
def test_what_one_meter_reads_twice_has_its_error_in_common() -> None:
    traverse = factories.make_traverse(instrument=factories.make_instrument(accuracy_relative=0.1))
    for instrument in (traverse.instrument, factories.make_instrument()):
        factories.make_flow_reading(
            visit=traverse.visit,
            equipment=traverse.duct_section.equipment,
            instrument=instrument,
            relative_uncertainty=0.15,
            taken_at=factories.NOW + (HOUR if instrument == traverse.instrument else 2 * HOUR),
        )
    same, other = computed(traverse)["cross_checks"]
    assert same["relative_half_width"] < other["relative_half_width"]


@pytest.mark.django_db
def test_a_flow_without_an_uncertainty_is_given_a_wide_one_and_says_so() -> None:
    traverse = factories.make_traverse()
    factories.make_flow_reading(visit=traverse.visit, equipment=traverse.duct_section.equipment)
    check = only(computed(traverse)["cross_checks"], "flow_reading")
    assert "±15 %" in check["note"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("supply_pa", "is_high", "agrees"),
    [
        (70.0, False, True),
        (71.0, False, None),
        (85.0, False, None),
        (89.0, False, None),
        (90.0, True, False),
    ],
)
def test_external_static_is_held_against_what_the_unit_may_have(
    supply_pa: float, is_high: bool, agrees: bool | None
) -> None:
    equipment = factories.make_equipment(max_external_static_pa=130.0)
    traverse = factories.make_traverse(duct_section=factories.make_section(equipment=equipment))
    make_pressures(traverse.visit, equipment, supply_static_pa=supply_pa)
    values = computed(traverse)
    check = only(values["cross_checks"], "external_static")
    assert check["external_static"] == 50.0 + supply_pa
    assert check["agrees"] is agrees
    assert ("external_static_high" in codes(values)) is is_high
    rendered = only(render_values(values, "ip")["cross_checks"], "external_static")
    assert rendered["max_external_static"]["unit"] == "inH2O"


@pytest.mark.django_db
def test_only_what_stands_beside_a_flow_is_held_against_it() -> None:
    equipment = factories.make_equipment(max_external_static_pa=100.0)
    traverse = factories.make_traverse(duct_section=factories.make_section(equipment=equipment))
    other_system = factories.make_equipment(site=equipment.site)
    make_pressures(traverse.visit, equipment, stage="as_left")
    make_pressures(traverse.visit, other_system)
    make_pressures(traverse.visit, equipment, operating_state={"call": "heating"})
    make_pressures(traverse.visit, equipment, supply_static_pa=None)
    make_pressures(factories.make_visit(site=equipment.site), equipment)
    factories.make_flow_reading(visit=traverse.visit, equipment=other_system)
    part = factories.make_flow_reading(visit=traverse.visit, equipment=equipment)
    factories.make_flow_set(visit=traverse.visit, equipment=equipment, members=[part])
    assert computed(traverse)["cross_checks"] == []


@pytest.mark.django_db
def test_a_flow_set_is_checked_as_one_system() -> None:
    equipment = factories.make_equipment(max_external_static_pa=100.0)
    visit = factories.make_visit(site=equipment.site)
    parts = [
        factories.make_traverse(
            visit=visit,
            duct_section=factories.make_section(equipment=equipment),
            velocity_m_s=1.0,
        )
        for _ in range(2)
    ]
    whole = factories.make_flow_set(visit=visit, equipment=equipment, members=[*parts])
    make_pressures(visit, equipment)
    reading = factories.make_flow_reading(visit=visit, equipment=equipment, flow_m3_s=0.9)
    values = computed(whole)
    assert {item["kind"] for item in values["cross_checks"]} == {"flow_reading", "external_static"}
    assert {"methods_disagree", "external_static_high"} <= codes(values)
    reading.flow_m3_s = values["best_estimate"]["flow_actual"]
    reading.save(update_fields=["flow_m3_s"])
    assert recompute.mark_affected_by(reading) == 3
    assert "methods_disagree" not in codes(computed(whole))
    # A lone part is not the system's flow: nothing is held against it.
    assert computed(parts[0])["cross_checks"] == []


@pytest.mark.django_db
def test_the_guard_band_says_how_far_inside_a_limit_a_pass_begins() -> None:
    result = result_of_drained(factories.make_traverse())
    band = result.values["guard_band"]
    assert result.judged_u is not None
    assert result.judged_value is not None
    assert band["inside"] == pytest.approx(GUARD_FACTOR * result.judged_u)
    relative = band["inside"] / result.judged_value
    assert band["accepted_low"] == pytest.approx(350.0 * factories.PER_TON / (1.0 - relative))
    assert band["accepted_high"] == pytest.approx(450.0 * factories.PER_TON / (1.0 + relative))
    rendered = render_values(result.values, "ip")["guard_band"]
    assert 350.0 < rendered["accepted_low"]["value"] < rendered["accepted_high"]["value"] < 450.0
    assert rendered["inside"]["unit"] == "(ft3/min)/ton"
    unjudged = result_of_drained(factories.make_traverse(call="unknown"))
    assert unjudged.values["guard_band"] is None


def result_of_drained(traverse: Traverse) -> Result:
    recompute.drain()
    return result_of(traverse)


def _pressures(traverse: Traverse) -> Record:
    return make_pressures(traverse.visit, traverse.duct_section.equipment)


def _table(traverse: Traverse) -> Record:
    return make_table(traverse.duct_section.equipment)


def _rise(traverse: Traverse) -> Record:
    return make_rise(traverse.visit, traverse.duct_section.equipment)


def _reading(traverse: Traverse) -> Record:
    return factories.make_flow_reading(
        visit=traverse.visit, equipment=traverse.duct_section.equipment
    )


@pytest.mark.django_db
@pytest.mark.parametrize("add", [_pressures, _table, _rise, _reading])
@pytest.mark.parametrize("told", [True, False], ids=["marked", "found by the sweep"])
def test_what_is_recorded_later_beside_a_traverse_computes_it_again(add: Any, told: bool) -> None:
    traverse = factories.make_traverse()
    other = factories.make_traverse(
        visit=traverse.visit,
        duct_section=factories.make_section(
            equipment=factories.make_equipment(site=traverse.visit.site)
        ),
    )
    recompute.drain()
    first, untouched = result_of(traverse), result_of(other)
    record = add(traverse)
    if told:
        assert recompute.mark_affected_by(record) == 1
        assert Computation.objects.get(traverse=traverse).state == State.PENDING
        recompute.drain()
    else:
        recompute.sweep()
    assert result_of(traverse).inputs_digest != first.inputs_digest
    assert result_of(other).pk == untouched.pk


@pytest.mark.django_db
def test_what_moves_to_another_stage_or_system_leaves_where_it_was() -> None:
    traverse = factories.make_traverse()
    equipment = traverse.duct_section.equipment
    recompute.drain()
    bare = result_of(traverse)
    pressures = make_pressures(traverse.visit, equipment)
    recompute.mark_affected_by(pressures)
    computed(traverse)
    assert result_of(traverse).pk != bare.pk
    pressures.equipment = factories.make_equipment(site=traverse.visit.site)
    pressures.save(update_fields=["equipment"])
    assert recompute.mark_affected_by(pressures) == 1
    computed(traverse)
    assert result_of(traverse).pk == bare.pk


@pytest.mark.django_db
def test_the_number_of_statements_does_not_grow_with_the_traverses() -> None:
    counts = []
    for number in (3, 30):
        for _ in range(number):
            _whole_visit()
        with CaptureQueriesContext(
            connection,
        ) as queries:
            recompute.drain()
        counts.append(len(queries))
        assert not Computation.objects.pending().exists()
    assert counts[0] == counts[1]
    # Claim, rows, companions, surroundings, what stands beside, results, states, what rests on it.
    assert counts[0] <= 40


def _whole_visit() -> None:
    """A visit with everything beside: found and left, return and supply."""
    equipment = factories.make_equipment(max_external_static_pa=100.0)
    section = factories.make_section(equipment=equipment)
    supply = factories.make_section(equipment=equipment, air_path="supply")
    visit = factories.make_visit(site=equipment.site)
    make_table(equipment)
    make_pressures(visit, equipment)
    make_rise(visit, equipment)
    make_adjustment(visit, equipment)
    factories.make_flow_reading(visit=visit, equipment=equipment)
    for stage, where, hours in (
        ("as_found", section, 0),
        ("as_found", supply, 0.25),
        ("as_left", section, 1),
    ):
        factories.make_traverse(
            visit=visit,
            duct_section=where,
            stage=stage,
            taken_at=factories.NOW + datetime.timedelta(hours=hours),
            operating_state={"blower_setting": "tap 4" if stage == "as_found" else "tap 2"},
        )
