"""From rows to results: what comes out, what is computed again, and that nothing is lost."""

from __future__ import annotations

import datetime
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from airflow_jobs import recompute
from airflow_jobs.models import Computation, DuctSection, Result, State, Traverse, Verdict
from airflow_jobs.models.company import PER_TON_M3_S_PER_W
from airflow_jobs.recompute.dependents import last_moved_at
from tests import factories

FT_MIN = 0.00508
FT3_MIN = 0.3048**3 / 60


def computed(traverse: Traverse) -> Result:
    """Drain the work list and return the traverse's result."""
    recompute.drain()
    computation = Computation.objects.select_related("result").get(traverse=traverse)
    assert computation.state == State.COMPUTED, computation.failure
    assert computation.result is not None
    return computation.result


@pytest.mark.django_db
def test_the_common_example_gives_the_common_numbers() -> None:
    # Common practice: 18 x 24 in at 574 ft/min is 1722 ft3/min, 574 a ton on three tons.
    result = computed(factories.make_traverse())
    values = result.values
    assert values["inside_area"] == pytest.approx(0.27871, abs=5e-6)
    assert values["flow_actual"] / FT3_MIN == pytest.approx(1722.0, rel=5e-4)
    assert values["flow_per_capacity"] / PER_TON_M3_S_PER_W == pytest.approx(573.1, rel=1e-3)
    assert result.verdict == Verdict.HIGH
    assert values["probability"]["high"] > 0.95
    best = values["best_estimate"]["flow_actual"]
    assert 0.97 < best / values["flow_actual"] < 1.0
    interval = values["interval95"]["flow_actual"]
    assert interval["low"] < best < interval["high"]
    assert sum(line["share"] for line in values["budget"]) == pytest.approx(1.0)
    assert next(step["step"] for step in values["corrections"]) in ("positions", "calibration")


@pytest.mark.django_db
def test_computing_again_changes_nothing() -> None:
    traverse = factories.make_traverse()
    first = computed(traverse)
    recompute.mark_pending(Traverse.objects.all())
    assert Computation.objects.get().state == State.PENDING
    assert computed(traverse).pk == first.pk
    assert Result.objects.count() == 1


@pytest.mark.django_db
def test_going_back_to_earlier_inputs_goes_back_to_the_earlier_result() -> None:
    traverse = factories.make_traverse()
    first = computed(traverse)
    section = traverse.duct_section
    for lining, expected in ((0.0254, False), (0.0, True)):
        section.lining_thickness_m = lining
        section.save(update_fields=["lining_thickness_m"])
        recompute.mark_affected_by(section)
        assert (computed(traverse).pk == first.pk) is expected
    assert Result.objects.count() == 2


def _change_lining(traverse: Traverse) -> Any:
    traverse.duct_section.lining_thickness_m = 0.0254
    traverse.duct_section.save(update_fields=["lining_thickness_m"])
    return traverse.duct_section


def _change_elevation(traverse: Traverse) -> Any:
    site = traverse.duct_section.equipment.site
    site.elevation_m = 1600.0
    site.save(update_fields=["elevation_m"])
    return site


def _change_capacity(traverse: Traverse) -> Any:
    equipment = traverse.duct_section.equipment
    equipment.rated_capacity_w = 34600 * 1055.05585262 / 3600
    equipment.save(update_fields=["rated_capacity_w"])
    return equipment


def _add_calibration(traverse: Traverse) -> Any:
    return factories.make_calibration(instrument=traverse.instrument, gain=0.95)


def _add_target(traverse: Traverse) -> Any:
    return factories.make_target(
        equipment=traverse.duct_section.equipment,
        low_m3_s_per_w=500 * PER_TON_M3_S_PER_W,
        nominal_m3_s_per_w=560 * PER_TON_M3_S_PER_W,
        high_m3_s_per_w=650 * PER_TON_M3_S_PER_W,
        source="maker",
    )


def _change_company(traverse: Traverse) -> Any:
    return factories.make_company(standard_density_kg_m3=1.225)


def _change_instrument(traverse: Traverse) -> Any:
    traverse.instrument.principle = "thermal"
    traverse.instrument.shows = "standard_velocity"
    traverse.instrument.save(update_fields=["principle", "shows"])
    return traverse.instrument


@pytest.mark.django_db
@pytest.mark.parametrize(
    "change",
    [
        _change_lining,
        _change_elevation,
        _change_capacity,
        _add_calibration,
        _add_target,
        _change_company,
        _change_instrument,
    ],
)
@pytest.mark.parametrize("told", [True, False], ids=["marked", "found by the sweep"])
def test_what_a_result_depends_on_computes_it_again(change: Any, told: bool) -> None:
    traverse = factories.make_traverse(barometric_pressure_pa=None)
    other = factories.make_traverse(barometric_pressure_pa=None)
    first = computed(traverse)
    untouched = Computation.objects.get(traverse=other).result_id
    record = change(traverse)
    if told:
        assert recompute.mark_affected_by(record) >= 1
        assert Computation.objects.get(traverse=traverse).state == State.PENDING
        recompute.drain()
    else:
        recompute.sweep()
    again = Computation.objects.select_related("result").get(traverse=traverse).result
    assert again is not None
    assert again.pk != first.pk
    assert again.inputs_digest != first.inputs_digest
    if change is not _change_company:
        assert Computation.objects.get(traverse=other).result_id == untouched


@pytest.mark.django_db(transaction=True)
def test_a_change_of_the_company_that_moves_no_result_computes_nothing_again() -> None:
    company = factories.make_company()
    traverse = factories.make_traverse()
    computed(traverse)
    company.standard_density_kg_m3 = 1.225
    company.save()
    assert recompute.mark_affected_by(company) == 1
    recompute.drain()
    moved_at = last_moved_at(company)
    company.name, company.measure_every_months = "Renamed", 6
    company.save()
    assert recompute.mark_affected_by(company) == 0
    assert last_moved_at(company) == moved_at
    company.default_low_m3_s_per_w *= 0.9
    company.save()
    assert recompute.mark_affected_by(company) == 1
    assert last_moved_at(company) > moved_at


@pytest.mark.django_db
def test_the_sweep_finds_a_traverse_that_nobody_announced() -> None:
    traverse = factories.make_traverse()
    Computation.objects.all().delete()
    assert recompute.drain().computed == 0
    recompute.sweep()
    assert Computation.objects.get(traverse=traverse).state == State.COMPUTED


@pytest.mark.django_db
def test_what_cannot_be_computed_says_why_and_holds_up_nobody() -> None:
    bad = factories.make_traverse(readings={"values": [[1.0] * 5, [1.0] * 4]})
    good = factories.make_traverse()
    recompute.drain()
    assert Computation.objects.get(traverse=good).state == State.COMPUTED
    failed = Computation.objects.get(traverse=bad)
    assert failed.state == State.FAILED
    assert "can't be computed as it was recorded" in failed.failure


@pytest.mark.django_db(transaction=True)
def test_a_row_that_breaks_the_computation_is_set_back_and_then_given_up() -> None:
    broken = factories.make_traverse(readings={"nothing": "of use"})
    good = [factories.make_traverse() for _ in range(3)]
    recompute.drain()
    assert {Computation.objects.get(traverse=row).state for row in good} == {State.COMPUTED}
    row = Computation.objects.get(traverse=broken)
    assert (row.state, row.attempts) == (State.PENDING, 1)
    assert row.due_at > timezone.now()
    for _ in range(4):
        Computation.objects.update(due_at=timezone.now() - datetime.timedelta(seconds=1))
        recompute.drain()
    row.refresh_from_db()
    assert row.state == State.FAILED
    assert "record itself is safe" in row.failure


@pytest.mark.django_db(transaction=True)
def test_two_workers_share_the_list_and_do_nothing_twice() -> None:
    section = factories.make_section()
    visit = factories.make_visit(site=section.equipment.site)
    meter = factories.make_instrument()
    for number in range(40):
        factories.make_traverse(
            visit=visit, duct_section=section, instrument=meter, velocity_m_s=2.0 + number / 100
        )

    def work() -> int:
        try:
            return recompute.drain().computed
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        done = list(pool.map(lambda _: work(), range(2)))
    assert sum(done) == 40
    assert Result.objects.count() == 40
    assert not Computation.objects.pending().exists()


@pytest.mark.django_db
def test_two_returns_add_up_to_one_system_and_a_lone_one_is_not_judged() -> None:
    equipment = factories.make_equipment()
    visit = factories.make_visit(site=equipment.site)
    meter = factories.make_instrument()
    returns = [
        factories.make_traverse(
            visit=visit,
            duct_section=factories.make_section(equipment=equipment),
            instrument=meter,
            velocity_m_s=200 * FT_MIN,
        )
        for _ in range(2)
    ]
    flow_set = factories.make_flow_set(visit=visit, equipment=equipment, members=returns)
    recompute.drain()
    parts = [Computation.objects.get(traverse=row).result for row in returns]
    whole = Computation.objects.get(flow_set=flow_set).result
    assert whole is not None
    for part in parts:
        assert part is not None
        assert part.verdict == Verdict.NOT_JUDGED
        assert "part_of_system" in {item["code"] for item in part.values["findings"]}
    assert whole.values["flow_standard"] == pytest.approx(
        sum(part.values["flow_standard"] for part in parts if part)
    )
    # 2 x 600 ft3/min on three tons: 400 a ton, and the interval is not that of two meters.
    assert whole.verdict in (Verdict.IN_RANGE, Verdict.UNDECIDED)
    assert whole.flow_relative_u is not None
    assert parts[0] is not None
    assert parts[0].flow_relative_u is not None
    assert whole.flow_relative_u > parts[0].flow_relative_u / 2**0.5


@pytest.mark.django_db
def test_a_flow_set_on_a_mountain_asks_for_the_basis_as_a_traverse_does() -> None:
    equipment = factories.make_equipment(site=factories.make_site(elevation_m=1600.0))
    visit = factories.make_visit(site=equipment.site)
    meter = factories.make_instrument(accuracy_relative=0.01)
    returns = [
        factories.make_traverse(
            visit=visit,
            duct_section=factories.make_section(equipment=equipment),
            instrument=meter,
            barometric_pressure_pa=83436.5,
            velocity_m_s=204 * FT_MIN,
        )
        for _ in range(2)
    ]
    flow_set = factories.make_flow_set(visit=visit, equipment=equipment, members=returns)
    recompute.drain()
    whole = Computation.objects.get(flow_set=flow_set).result
    assert whole is not None
    assert whole.verdict == Verdict.UNDECIDED
    assert "target_basis_needed" in {item["code"] for item in whole.values["findings"]}


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("call", "code"), [("heating", "no_target"), ("fan_only", "fan_only_not_judged")]
)
def test_a_flow_set_without_a_target_says_why(call: str, code: str) -> None:
    equipment = factories.make_equipment()
    visit = factories.make_visit(site=equipment.site)
    section = factories.make_section(equipment=equipment)
    traverse = factories.make_traverse(visit=visit, duct_section=section, call=call)
    flow_set = factories.make_flow_set(visit=visit, equipment=equipment, members=[traverse])
    recompute.drain()
    whole = Computation.objects.get(flow_set=flow_set).result
    assert whole is not None
    codes = {item["code"] for item in whole.values["findings"]}
    assert code in codes
    assert "no_capacity" not in codes


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("code", "fields", "section_fields", "meter_fields"),
    [
        ("call_unknown", {"call": "unknown"}, {}, {}),
        ("fan_only_not_judged", {"call": "fan_only"}, {}, {}),
        ("no_target", {"call": "heating"}, {}, {}),
        ("dry_bulb_assumed", {"dry_bulb_c": None}, {}, {}),
        ("humidity_assumed", {"relative_humidity": None}, {}, {}),
        ("pressure_from_elevation", {"barometric_pressure_pa": None}, {}, {}),
        ("dry_bulb_unlikely", {"dry_bulb_c": 44.0}, {}, {}),
        ("accuracy_unknown", {}, {}, {"accuracy_relative": None}),
        ("calibration_missing", {}, {}, {}),
        ("below_instrument_range", {}, {}, {"range_low_m_s": 5.0}),
        ("above_instrument_range", {}, {}, {"range_high_m_s": 2.0}),
        ("pitot_too_slow", {}, {}, {"principle": "pitot"}),
        ("readings_all_equal", {}, {}, {}),
        ("velocity_low", {"readings": {"values": [[0.9, 0.91, 0.9, 0.92, 0.9]] * 5}}, {}, {}),
        ("velocity_high", {"readings": {"values": [[13.0, 13.1, 13, 13.1, 13]] * 5}}, {}, {}),
        (
            "velocity_high_for_residence",
            {"readings": {"values": [[7.0, 7.1, 7, 7.1, 7]] * 5}},
            {},
            {},
        ),
        ("backflow", {"readings": {"values": [[-0.5, 3, 3, 3, 3]] * 5}}, {}, {}),
        ("reading_over_twice_mean", {"readings": {"values": [[3, 3, 3, 3, 9]] * 5}}, {}, {}),
        ("profile_uneven", {"readings": {"values": [[0.4, 0.4, 3, 3, 3]] * 5}}, {}, {}),
        ("readings_missing", {"readings": {"values": [[None, 3, 3, 3, 3]] * 5}}, {}, {}),
        (
            "line_missing",
            {"readings": {"values": [[None] * 5, *[[3, 3, 3, 3, 3]] * 4]}},
            {},
            {},
        ),
        ("disturbance_near", {}, {"straight_upstream_m": 0.3}, {}),
        ("blades_near", {}, {"nearest_blades_m": 0.5}, {}),
        ("flexible_duct", {}, {"material": "flexible"}, {}),
        (
            "holes_off_plan",
            {"positions": {"lines": [0.034, 0.132, 0.249, 0.326, 0.423]}},
            {},
            {},
        ),
        (
            "copying_slip",
            {"positions": {"lines": [0.034, 0.109, 0.229, 0.326, 0.423]}},
            {},
            {},
        ),
        (
            "lining_forgotten",
            {"positions": {"lines": [0.008, 0.106, 0.203, 0.300, 0.398]}},
            {"lining_thickness_m": 0.0254, "holes": None},
            {},
        ),
        (
            "holes_disagree",
            {"positions": {"lines": [0.034, 0.132, 0.249, 0.326, 0.423]}},
            {"holes": {"lines": [0.034, 0.132, 0.229, 0.326, 0.423]}},
            {},
        ),
        (
            "pressures_averaged",
            {
                "mode": "average",
                "reading_kind": "velocity_pressure",
                "readings": {"mean": 12.0, "seconds": 60, "lines": 5},
            },
            {},
            {"principle": "pitot"},
        ),
        ("flow_per_capacity_unlikely", {"readings": {"values": [[5.0, 5.1, 5, 5, 5]] * 5}}, {}, {}),
        (
            "unit_suspect",
            {"readings": {"values": [[0.0103, 0.0104, 0.01, 0.01, 0.01]] * 5}},
            {},
            {},
        ),
        (
            "swirl_not_correctable",
            {},
            {"swirl": "likely"},
            {"direction_response": "omnidirectional"},
        ),
        ("compensation_unknown", {}, {}, {"principle": "thermal", "shows": "unknown"}),
    ],
)
def test_what_is_worth_saying_is_said(
    code: str,
    fields: dict[str, Any],
    section_fields: dict[str, Any],
    meter_fields: dict[str, Any],
) -> None:
    section = factories.make_section(**section_fields)
    plain = factories.make_traverse(
        duct_section=factories.make_section(),
        instrument=factories.make_instrument(range_low_m_s=0.1),
        readings={"values": [[2.0, 2.1, 2.05, 2.1, 2.0]] * 5},
    )
    factories.make_calibration(instrument=plain.instrument)
    traverse = factories.make_traverse(
        duct_section=section, instrument=factories.make_instrument(**meter_fields), **fields
    )
    assert code in {item["code"] for item in computed(traverse).values["findings"]}
    assert code not in {item["code"] for item in computed(plain).values["findings"]}


@pytest.mark.django_db
def test_a_sea_level_barometer_on_a_mountain_is_caught() -> None:
    site = factories.make_site(elevation_m=1600.0)
    section = factories.make_section(equipment=factories.make_equipment(site=site))
    reduced = factories.make_traverse(duct_section=section, barometric_pressure_pa=101325.0)
    station = factories.make_traverse(duct_section=section, barometric_pressure_pa=83500.0)
    recompute.drain()

    def said(traverse: Traverse) -> dict[str, str]:
        result = Computation.objects.get(traverse=traverse).result
        assert result is not None
        return {item["code"]: item["message"] for item in result.values["findings"]}

    assert said(reduced)["barometer_reduced_to_sea_level"] == (
        "The barometer was entered as 101.3 kPa (29.92 inHg), which is sea level; at 1,600 m "
        "(5,249 ft) the air has about 83.5 kPa (24.66 inHg)."
    )
    assert "barometer_reduced_to_sea_level" not in said(station)


@pytest.mark.django_db(transaction=True)
def test_a_changed_area_and_a_slip_against_history_are_said() -> None:
    section = factories.make_section()
    day = datetime.timedelta(days=1)
    for back in (400, 300, 200):
        factories.make_traverse(duct_section=section, taken_at=factories.NOW - back * day)
    DuctSection.objects.filter(pk=section.pk).update(width_m=0.6)
    section.refresh_from_db()
    slip = factories.make_traverse(duct_section=section, velocity_m_s=574.0 * FT_MIN / 196.85)
    found = {item["code"]: item for item in computed(slip).values["findings"]}
    assert "area_jumped" in found
    assert "m/s for ft/min" in found["unit_suspect"]["message"]


@pytest.mark.django_db
def test_fan_only_counts_as_cooling_at_the_same_blower_setting() -> None:
    section = factories.make_section()
    factories.make_traverse(duct_section=section, operating_state={"blower_setting": "Tap 4"})
    same = factories.make_traverse(
        duct_section=section, call="fan_only", operating_state={"blower_setting": "tap 4"}
    )
    other = factories.make_traverse(
        duct_section=section, call="fan_only", operating_state={"blower_setting": "tap 2"}
    )
    assert computed(same).verdict == Verdict.HIGH
    assert computed(other).verdict == Verdict.NOT_JUDGED


@pytest.mark.django_db
def test_heating_is_judged_by_design_flow_never_by_cooling_capacity() -> None:
    section = factories.make_section()
    factories.make_target(
        equipment=section.equipment,
        call="heating",
        low_m3_s_per_w=None,
        nominal_m3_s_per_w=None,
        high_m3_s_per_w=None,
        design_flow_m3_s=1700 * FT3_MIN,
        design_tolerance=0.15,
        source="design",
    )
    result = computed(factories.make_traverse(duct_section=section, call="heating"))
    assert result.verdict == Verdict.IN_RANGE
    assert result.flow_per_capacity_m3_s_per_w is None
    assert result.values["target"]["quantity"] == "flow"


@pytest.mark.django_db
def test_where_the_basis_decides_the_verdict_it_is_asked_for() -> None:
    # 1,200 actual ft3/min on three tons at 1,600 m: 400 a ton, or 330 in standard air.
    site = factories.make_site(elevation_m=1600.0)
    equipment = factories.make_equipment(site=site)
    section = factories.make_section(equipment=equipment)
    meter = factories.make_instrument(accuracy_relative=0.01)
    traverse = factories.make_traverse(
        duct_section=section,
        instrument=meter,
        barometric_pressure_pa=83436.5,
        velocity_m_s=408 * FT_MIN,
    )
    unclear = computed(traverse)
    assert unclear.verdict == Verdict.UNDECIDED
    assert "target_basis_needed" in {item["code"] for item in unclear.values["findings"]}
    target = factories.make_target(equipment=equipment, basis="actual", source="maker")
    recompute.mark_affected_by(target)
    assert computed(traverse).verdict == Verdict.IN_RANGE


@pytest.mark.django_db
def test_the_database_refuses_to_change_a_result_or_a_record_as_sent() -> None:
    result = computed(factories.make_traverse())
    with pytest.raises(Exception, match="Cannot update"):
        Result.objects.filter(pk=result.pk).update(verdict=Verdict.LOW)
