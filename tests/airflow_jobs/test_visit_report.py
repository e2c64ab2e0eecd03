"""A visit's report: what it says of before, after and what was done, and what it leaves out."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from airflow_jobs import recompute
from airflow_jobs.documents import report_words
from airflow_jobs.documents.values import VisitReport
from airflow_jobs.documents.visit_report import visit_report
from airflow_jobs.findings import BY_CODE
from airflow_jobs.models import (
    Computation,
    DuctSection,
    FlowSet,
    FlowSetMember,
    PressureReading,
    State,
    TemperatureRise,
    TraverseRevision,
    Visit,
    new_id,
)
from tests import factories
from tests.dashboards.records import make_adjustment, make_job, make_measured, make_result
from tests.factories import NOW
from tests.spaces import loose

pytestmark = pytest.mark.django_db
STATEMENTS = 12
BESIDE = ("External static", "Filter drop", "Temperature rise", "Capture hood")


@pytest.fixture(autouse=True)
def company() -> None:
    """The company, speaking inch-pound."""
    factories.make_company(name="Test Air Services", default_units="ip", report_mark="Licence 7")


def _report(visit: Visit) -> VisitReport:
    report = visit_report(visit.pk)
    assert report is not None
    return report


def _visit(section: DuctSection, **fields: Any) -> Visit:
    return factories.make_visit(site=section.equipment.site, **fields)


def test_a_visit_that_does_not_exist_has_no_report() -> None:
    assert visit_report(new_id()) is None


def test_it_says_before_after_and_what_was_done() -> None:
    customer = factories.make_customer(name="Mill Bakery")
    site = factories.make_site(name="Mill", customer=customer, address="1 Mill Lane\nMillford")
    section = factories.make_section(equipment=factories.make_equipment(site=site, tag="AH-1"))
    visit = make_job(found=300.0, left=400.0, section=section)
    make_adjustment(visit=visit, equipment=section.equipment)
    report = _report(visit)
    assert (report.company, report.mark) == ("Test Air Services", "Licence 7")
    assert (report.customer, report.site) == ("Mill Bakery", "Mill")
    assert (report.day_text, report.purpose) == ("3 Jun 2026", "Maintenance")
    (system,) = report.systems
    assert system.tag == "AH-1"
    assert loose(system.about) == "Split system, 3.00 ton nominal"
    assert system.done == ("Blower setting from tap 4 to tap 3 (14:12)",)
    (pair,) = system.pairs
    assert pair.summary == "AH-1 was found low and left in range."
    assert pair.before is not None
    assert pair.after is not None
    assert (pair.before.taken_at, pair.after.taken_at) == ("14:12", "15:12")
    assert pair.before.shown is not None
    assert loose(pair.before.shown.plain) == "300 ± 20 ft³/min per ton"
    assert pair.before.verdict_text == "Low"
    assert pair.after.between == "The true value lies between 380 and 420 with 95 % confidence."
    assert pair.after.strip is not None
    assert (pair.after.strip.low_label, pair.after.strip.high_label) == ("350", "450")
    rows = {row.name: row for row in pair.rows}
    assert rows["Target"].is_same
    assert loose(rows["Target"].after) == (
        "350 to 450 ft³/min per ton, nominal 400; the company's word, standard air"
    )
    assert loose(rows["By the rule's average"].after) == "404 ft³/min per ton"
    assert loose(rows["Duct"].after).endswith(", return, 18.0 × 24.0 in, 3.00 ft² inside")
    assert "density 0.0743 lb/ft³" in loose(rows["Air"].after)


def test_it_speaks_the_company_s_units() -> None:
    factories.make_company(default_units="si")
    visit = make_job(found=None, left=400.0)
    (system,) = _report(visit).systems
    after = system.pairs[0].after
    assert after is not None
    assert after.shown is not None
    assert after.shown.unit == "L/s per kW"


def test_the_meter_is_named_with_its_calibration_on_that_day() -> None:
    meter = factories.make_instrument(label="Vane 1", serial="V-1")
    visit = make_job(found=None, left=400.0, instrument=meter)

    def said() -> str:
        return {row.name: row.after for row in _report(visit).systems[0].pairs[0].rows}["Meter"]

    assert said() == "Vane 1, V-1 (rotating vane), no calibration on record by that day"
    days = datetime.timedelta(days=400)
    factories.make_calibration(
        instrument=meter, performed_on=NOW.date() - days, due_on=datetime.date(2026, 5, 1)
    )
    assert "out of calibration that day: calibrated 29 Apr 2025, was due 1 May 2026" in said()
    factories.make_calibration(instrument=meter, certificate="C-9")
    assert "in calibration that day: calibrated 23 Feb 2026, due 23 Feb 2027" in said()
    assert said().endswith("certificate C-9")
    # What was done after the visit says nothing of that day.
    factories.make_calibration(
        instrument=meter, performed_on=NOW.date() + days, due_on=NOW.date() + 2 * days
    )
    assert "certificate C-9" in said()


def test_a_meter_that_was_found_off_later_is_said_of_every_number_that_rests_on_it() -> None:
    meter = factories.make_instrument(label="Vane 1", accuracy_relative=0.02)
    factories.make_calibration(instrument=meter)
    visit = make_job(found=300.0, left=400.0, instrument=meter)
    make_measured(
        stage="check",
        visit=visit,
        section=visit.traverses.all()[0].duct_section,
        instrument=meter,
    )
    assert _report(visit).in_doubt == {}
    year = datetime.timedelta(days=365)
    day = NOW.date() + datetime.timedelta(days=90)
    off = factories.make_calibration(
        instrument=meter, performed_on=day, due_on=day + year, gain=1.06
    )
    report = _report(visit)
    (pair,) = report.systems[0].pairs
    for standing in (pair.before, pair.after):
        assert standing is not None
        assert loose(standing.remarks[0]) == (
            "In doubt: the calibration of 1 Sep 2026 found that the meter, Vane 1, read 6.0 % "
            "low. It may have done so on this day already; this number is not corrected."
        )
    assert report.summaries[0].endswith(
        "That is in doubt: the meter was found off later, and nothing is corrected."
    )
    assert pair.others[0].endswith("in doubt: the meter was found off later")
    assert [(one.name, tags) for one, tags in report.in_doubt.items()] == [
        ("Vane 1", (report.systems[0].tag,))
    ]
    type(off).objects.filter(pk=off.pk).update(
        corrects_from=day - year, corrects_wholly=True, corrects_because="It fell."
    )
    report = _report(visit)
    assert report.in_doubt == {}
    assert "doubt" not in " ".join(report.summaries)


def test_a_meter_found_off_after_one_of_the_two_numbers_is_said_of_that_one() -> None:
    off, good = (
        factories.make_instrument(label=label, accuracy_relative=0.02) for label in ("Off", "Good")
    )
    day = NOW.date() + datetime.timedelta(days=90)
    factories.make_calibration(instrument=off, performed_on=day, due_on=day, gain=0.94)
    visit = make_job(found=300.0, left=None, instrument=off)
    section = visit.traverses.all()[0].duct_section
    make_measured(stage="as_left", visit=visit, section=section, instrument=good)
    report = _report(visit)
    assert "That is in doubt: the meter before was found off later" in report.summaries[0]
    after = report.systems[0].pairs[0].after
    assert after is not None
    assert not after.in_doubt


def test_a_flow_set_is_in_doubt_with_any_of_its_meters() -> None:
    good, off = (
        factories.make_instrument(label=label, accuracy_relative=0.02) for label in ("Good", "Off")
    )
    day = NOW.date() + datetime.timedelta(days=90)
    factories.make_calibration(instrument=off, performed_on=day, due_on=day, gain=0.94)
    visit = factories.make_visit(started_at=NOW)
    equipment = factories.make_equipment(site=visit.site)
    members = [
        factories.make_traverse(
            visit=visit,
            duct_section=factories.make_section(equipment=equipment),
            instrument=meter,
            taken_at=NOW,
        )
        for meter in (good, off)
    ]
    flow_set = factories.make_flow_set(visit=visit, equipment=equipment, members=members)
    computation = flow_set.computation
    computation.result = make_result(computation, per_ton=400.0)
    computation.state = State.COMPUTED
    computation.save()
    assert [one.name for one in _report(visit).in_doubt] == ["Off"]


def test_what_was_measured_once_says_what_is_missing() -> None:
    left = _report(make_job(found=None, left=400.0)).systems[0].pairs[0]
    assert left.before is None
    assert left.missing_before == "Not measured as found."
    assert left.summary.endswith("was left in range; it was not measured as found.")
    assert not left.has_both
    assert all(row.either == row.after for row in left.rows)
    found = _report(make_job(found=300.0, left=None)).systems[0].pairs[0]
    assert found.after is None
    assert found.summary.endswith("was found low; it was not measured as left.")


def test_a_visit_on_which_nothing_was_measured_shows_what_was_done() -> None:
    section = factories.make_section()
    visit = _visit(section)
    assert _report(visit).systems == ()
    make_adjustment(visit=visit, equipment=section.equipment, kind="filter", to_value="new")
    (system,) = _report(visit).systems
    assert system.pairs == ()
    assert system.done == ("Filter from tap 4 to new (14:12)",)
    factories.make_flow_reading(visit=visit, equipment=section.equipment)
    assert [row.name for row in _report(visit).systems[0].beside] == ["Capture hood"]


def test_an_undecided_verdict_names_the_likelier_side_with_its_probability() -> None:
    after = _report(make_job(found=None, left=440.0)).systems[0].pairs[0].after
    assert after is not None
    assert loose(after.verdict_text) == "Too close to call, probably in range (84 %)"


def test_what_is_too_close_to_call_is_summed_up_with_the_likelier_side_and_explained() -> None:
    report = _report(make_job(found=345.0, left=440.0))
    (summary,) = report.summaries
    assert summary.endswith(
        "was found probably low (too close to call) and left probably in range (too close to call)."
    )
    assert "“Too close to call” means that the interval reaches over a limit" in report.how_to_read
    assert "basis" not in report.how_to_read


def test_what_hangs_on_the_target_s_basis_is_summed_up_and_explained_as_that() -> None:
    visit = make_job(found=300.0, left=None)
    computation = visit.traverses.get().computation
    computation.result = make_result(
        computation, per_ton=300.0, verdict="undecided", leaning="low", content_revision=2
    )
    computation.save()
    report = _report(visit)
    (summary,) = report.summaries
    assert summary.endswith(
        "was found low as the target stands (its basis decides); it was not measured as left."
    )
    assert "“The target's basis decides” means" in report.how_to_read
    assert "oo close to call" not in repr(report)


def test_a_report_without_open_verdicts_explains_none() -> None:
    assert _report(make_job(found=300.0, left=400.0)).how_to_read == report_words.HOW_TO_READ


def test_a_check_after_it_is_no_measurement_as_left() -> None:
    section = factories.make_section()
    visit = make_job(found=300.0, left=None, section=section)
    make_measured(
        per_ton=330.0,
        stage="check",
        taken_at=NOW + datetime.timedelta(minutes=18),
        visit=visit,
        section=section,
    )
    (pair,) = _report(visit).systems[0].pairs
    assert pair.summary.endswith("it was not measured as left.")
    assert pair.missing_after == "Not measured as left."
    assert pair.others[0].startswith("Check at 14:30")


def test_the_first_as_found_and_the_last_as_left_stand_large_the_rest_small() -> None:
    section = factories.make_section()
    visit = _visit(section)
    for minutes, stage, per_ton in (
        (0, "as_found", 300.0),
        (10, "as_found", 310.0),
        (40, "as_left", 380.0),
        (60, "as_left", 400.0),
        (70, "check", 405.0),
    ):
        taken_at = NOW + datetime.timedelta(minutes=minutes)
        make_measured(per_ton=per_ton, stage=stage, taken_at=taken_at, visit=visit, section=section)
    pair = _report(visit).systems[0].pairs[0]
    assert pair.before is not None
    assert pair.after is not None
    assert (pair.before.taken_at, pair.after.taken_at) == ("14:12", "15:12")
    assert [text.partition(",")[0] for text in pair.others] == [
        "As found at 14:22",
        "As left at 14:52",
        "Check at 15:22",
    ]
    assert loose(pair.others[2]).endswith(": 405 ± 20 ft³/min per ton, in range")


def test_each_call_of_a_system_has_its_own_before_and_after() -> None:
    section = factories.make_section(equipment=factories.make_equipment(tag="HP-1"))
    visit = _visit(section)
    make_measured(per_ton=300.0, stage="as_found", visit=visit, section=section)
    make_measured(per_ton=400.0, visit=visit, section=section, call="heating")
    pairs = _report(visit).systems[0].pairs
    assert [pair.call for pair in pairs] == ["Cooling", "Heating"]
    assert [(pair.before is None, pair.after is None) for pair in pairs] == [
        (False, True),
        (True, False),
    ]
    assert pairs[0].summary.startswith("HP-1, cooling, was found low")


def test_what_is_still_computed_is_marked_and_not_replaced_by_what_was_before() -> None:
    section = factories.make_section()
    visit = make_job(found=300.0, left=400.0, section=section)
    later = NOW + datetime.timedelta(hours=3)
    factories.make_traverse(visit=visit, duct_section=section, stage="as_left", taken_at=later)
    pair = _report(visit).systems[0].pairs[0]
    assert pair.after is not None
    assert pair.after.notice == report_words.BEING_COMPUTED
    assert pair.after.shown is None
    assert pair.summary.endswith("and measured after it, which is still being computed.")


def test_values_that_are_computed_again_are_marked() -> None:
    traverse = make_measured(state="pending")
    after = _report(traverse.visit).systems[0].pairs[0].after
    assert after is not None
    assert after.notice == report_words.COMPUTED_AGAIN
    assert after.shown is not None


def test_what_could_not_be_computed_is_said_without_the_old_number() -> None:
    traverse = make_measured(state="failed")
    Computation.objects.filter(traverse=traverse).update(failure="The grid has no lines.")
    pair = _report(traverse.visit).systems[0].pairs[0]
    assert pair.after is not None
    assert pair.after.notice == report_words.NOT_COMPUTED
    assert pair.after.shown is None
    assert "could not be computed" in pair.summary


def test_an_indicative_and_a_corrected_result_say_so() -> None:
    traverse = make_measured()
    computation = traverse.computation
    values = computation.result.values | {"indicative_because": ["a line is missing"]}
    computation.result = make_result(
        computation,
        per_ton=400.0,
        indicative=True,
        values=values,
        content_revision=2,
    )
    computation.save()
    type(traverse).objects.filter(pk=traverse.pk).update(notes="slip mended")
    TraverseRevision.objects.create(
        traverse=traverse,
        number=2,
        content={},
        content_digest="sha256:2",
        reason="the technician mistyped",
        actor="Robin",
        recorded_at=NOW + datetime.timedelta(days=2),
    )
    after = _report(traverse.visit).systems[0].pairs[0].after
    assert after is not None
    assert after.remarks == (
        "Indicative only: a line is missing.",
        "Corrected on 5 Jun 2026; this is revision 2.",
    )
    assert "mistyped" not in repr(_report(traverse.visit))


def test_a_flow_that_is_not_judged_says_why() -> None:
    traverse = make_measured()
    computation = traverse.computation
    values = computation.result.values | {
        "target": None,
        "findings": [{"code": "no_target", "severity": "note", "message": "m", "advice": "a"}],
    }
    computation.result = make_result(
        computation,
        per_ton=400.0,
        verdict="not_judged",
        judged_value=None,
        target_low=None,
        values=values,
        content_revision=2,
    )
    computation.save()
    pair = _report(traverse.visit).systems[0].pairs[0]
    assert pair.after is not None
    assert pair.after.strip is None
    assert pair.after.remarks == ("Not judged, because there is no target for it.",)
    assert pair.summary.startswith(f"{traverse.duct_section.equipment.tag} was measured after it")


def test_a_part_of_a_system_s_flow_is_a_flow_and_never_one_per_ton() -> None:
    traverse = make_measured(stage="check")
    computation = traverse.computation
    part = {"code": "part_of_system", "severity": "note", "message": "m", "advice": "a"}
    computation.result = make_result(
        computation,
        per_ton=200.0,
        verdict="not_judged",
        values=computation.result.values | {"findings": [part]},
        content_revision=2,
    )
    computation.save()
    (pair,) = _report(traverse.visit).systems[0].pairs
    assert pair.summary.endswith("was measured for a check only.")
    (line,) = pair.others
    assert loose(line).endswith(": 1,200 ± 60 ft³/min, not judged")


def test_several_ducts_are_added_up_and_each_is_named() -> None:
    equipment = factories.make_equipment()
    meter = factories.make_instrument(label="Vane 3")
    visit = factories.make_visit(site=equipment.site)
    parts = [
        make_measured(
            per_ton=200.0,
            stage="as_left",
            visit=visit,
            instrument=meter,
            section=factories.make_section(equipment=equipment, name=name),
        )
        for name in ("North return", "South return")
    ]
    flow_set = FlowSet.objects.create(visit=visit, equipment=equipment, stage="as_left")
    for part in parts:
        FlowSetMember.objects.create(flow_set=flow_set, traverse=part)
    computation = Computation.objects.create(flow_set=flow_set)
    computation.result = make_result(computation, per_ton=400.0)
    computation.state = State.COMPUTED
    computation.save()
    (pair,) = _report(visit).systems[0].pairs
    assert pair.after is not None
    assert pair.after.shown is not None
    assert pair.after.shown.number == "400"
    assert pair.after.traverse_id is None
    assert pair.others == ()
    rows = {row.name: row.after for row in pair.rows}
    assert loose(rows["Ducts added up"]).startswith(
        "North return 600 ± 60 ft³/min; South return 600"
    )
    assert rows["Meter"].startswith("Vane 3")


def test_pressures_and_temperature_rises_stand_beside_before_and_after() -> None:
    section = factories.make_section(
        equipment=factories.make_equipment(max_external_static_pa=124.54)
    )
    visit = make_job(found=300.0, left=400.0, section=section)
    of_visit = {"visit": visit, "equipment": section.equipment, "taken_at": NOW}
    PressureReading.objects.create(
        **of_visit, stage="as_found", return_static_pa=-49.8, supply_static_pa=99.6
    )
    PressureReading.objects.create(
        **of_visit, stage="as_left", before_filter_pa=-10.0, after_filter_pa=-35.0
    )
    TemperatureRise.objects.create(
        **of_visit, stage="as_left", electric_power_w=9000.0, entering_c=20.0, leaving_c=30.0
    )
    factories.make_flow_reading(visit=visit, equipment=section.equipment, stage="as_left")
    rows = {
        row.name: (loose(row.before), loose(row.after))
        for row in _report(visit).systems[0].pairs[0].rows
    }
    assert {name: rows[name] for name in BESIDE} == {
        "External static": ("0.60 inH₂O (nameplate allows 0.50 inH₂O)", ""),
        "Filter drop": ("", "0.10 inH₂O"),
        "Temperature rise": ("", "18.0 °F (68.0 to 86.0 °F)"),
        "Capture hood": ("", "1,270 ft³/min, indicative only"),
    }


def test_findings_are_those_that_matter_to_a_customer() -> None:
    assert set(BY_CODE) >= report_words.FOR_CUSTOMERS
    kept = report_words.for_customers(
        [
            {"code": "copying_slip", "severity": "warning", "message": "A slip."},
            {"code": "unit_suspect", "severity": "serious", "message": "A unit."},
            {"code": "external_static_high", "severity": "warning", "message": "Static."},
        ]
    )
    assert kept == ("A unit.", "Static.")


def test_a_finding_of_one_stage_alone_says_of_which() -> None:
    section = factories.make_section()
    visit = make_job(found=300.0, left=400.0, section=section, has_serious=True)
    assert _report(visit).systems[0].findings == ("Message 2.",)
    for traverse in visit.traverses.filter(stage="as_left"):
        computation = traverse.computation
        values = computation.result.values | {"findings": []}
        computation.result = make_result(
            computation, per_ton=400.0, values=values, content_revision=2
        )
        computation.save()
    assert _report(visit).systems[0].findings == ("As found: Message 2.",)


@pytest.mark.parametrize(
    ("left", "kind", "is_said"),
    [(500.0, "split_system", True), (400.0, "split_system", False), (500.0, "ventilation", False)],
)
def test_the_refrigerant_is_mentioned_where_cooling_was_not_left_in_range(
    left: float, kind: str, is_said: bool
) -> None:
    section = factories.make_section(equipment=factories.make_equipment(kind=kind))
    system = _report(make_job(found=None, left=left, section=section)).systems[0]
    assert bool(system.caution) is is_said


def test_how_the_site_was_left_is_said_and_what_of_it_is_not_known() -> None:
    visit = factories.make_visit(
        closing={"holes_plugged": True, "panels_closed": False, "notes": "Change the filter soon."}
    )
    report = _report(visit)
    assert report.closing == ("Holes plugged", "Panels not closed", "Guards on: not on record")
    assert report.notes == "Change the filter soon."


def test_notes_of_the_record_and_names_of_people_are_not_in_it() -> None:
    customer = factories.make_customer(name="Mill Bakery", contact="INTERNAL", notes="INTERNAL")
    site = factories.make_site(customer=customer, notes="INTERNAL")
    section = factories.make_section(equipment=factories.make_equipment(site=site))
    crew = factories.make_crew(name="North crew")
    person = factories.make_person(name="INTERNAL person")
    factories.make_membership(crew=crew, person=person)
    visit = make_job(found=300.0, left=400.0, section=section, crew=crew, notes="INTERNAL")
    make_adjustment(visit=visit, equipment=section.equipment, notes="INTERNAL")
    report = _report(visit)
    assert report.crew == "North crew"
    assert "INTERNAL" not in repr(report)


def test_the_reference_names_visit_results_and_engine() -> None:
    visit = make_job(found=300.0, left=400.0)
    report = _report(visit)
    digests = [
        one.computation.result.inputs_digest.removeprefix("sha256:")[:8]
        for one in visit.traverses.order_by("taken_at").select_related("computation__result")
    ]
    assert report.reference == (
        f"Visit {visit.pk}",
        f"Results {', '.join(digests)}",
        "Engine 1",
    )


def test_a_day_is_the_day_where_the_site_is() -> None:
    site = factories.make_site(time_zone="Pacific/Auckland")
    assert _report(factories.make_visit(site=site)).day_text == "4 Jun 2026"
    planned = factories.make_visit(started_at=None, planned_for=datetime.date(2026, 7, 1))
    assert _report(planned).day_text == "1 Jul 2026"
    assert _report(factories.make_visit(started_at=None)).day is None


def test_it_takes_as_many_statements_for_twelve_systems_as_for_one() -> None:
    visit = factories.make_visit()
    counts = []
    for systems in (1, 11):
        for _ in range(systems):
            section = factories.make_section(equipment=factories.make_equipment(site=visit.site))
            for stage in ("as_found", "as_left"):
                make_measured(stage=stage, visit=visit, section=section)
            make_adjustment(visit=visit, equipment=section.equipment)
            reading = factories.make_flow_reading(visit=visit, equipment=section.equipment)
            factories.make_flow_set(visit=visit, equipment=section.equipment, members=[reading])
        with CaptureQueriesContext(connection) as statements:
            report = _report(visit)
        counts.append(len(statements))
    assert len(report.systems) == 12
    assert counts == [STATEMENTS, STATEMENTS]


def test_it_reads_what_the_worker_writes() -> None:
    section = factories.make_section()
    visit = _visit(section)
    factories.make_traverse(visit=visit, duct_section=section, stage="as_found")
    recompute.drain()
    before = _report(visit).systems[0].pairs[0].before
    assert before is not None
    assert before.verdict_text == "High"
    assert before.shown is not None
    assert before.shown.unit == "ft³/min per ton"
    assert before.result
