"""Systems found outside again: moved back out, never set right in between, beyond chance."""

from __future__ import annotations

import csv
import datetime
import html
import io
import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from airflow_jobs.models import Company, DuctSection, Instrument
from dashboards import returning_words
from dashboards.queries.returning import returning
from dashboards.values.filters import Filters
from tests import factories
from tests.dashboards.records import make_adjustment, make_job, make_measured, make_result
from tests.factories import NOW, TODAY

pytestmark = pytest.mark.django_db

ALL = Filters()
EVERYTHING = "/systems/returning/?period=all"
MONTH = datetime.timedelta(days=30)
HOUR = datetime.timedelta(hours=1)
# Statements that the page takes, sign-in and company included; a change here is a decision.
STATEMENTS = 7
# What needs a look, planned visits and what the next steps rest on, where there are any.
NEXT_STEPS = 5


@pytest.fixture
def meter() -> Instrument:
    return factories.make_instrument(label="Vane 1")


@pytest.fixture
def section() -> DuctSection:
    return factories.make_section()


def _text(client: Client, address: str = EVERYTHING) -> str:
    response = client.get(address)
    assert response.status_code == 200, response.content[:300]
    page = re.sub(r"<script.*?</script>", " ", response.content.decode(), flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def _rows(client: Client, slug: str, query: str = "period=all") -> list[dict[str, str]]:
    response = client.get(f"/systems/returning/{slug}.csv?{query}")
    assert response.status_code == 200
    assert "attachment" in response["Content-Disposition"]
    return list(csv.DictReader(io.StringIO(response.content.decode())))


def test_left_in_range_and_found_outside_at_the_next_visit_has_moved_back_out(
    section: DuctSection, meter: Instrument
) -> None:
    make_job(found=300.0, left=400.0, section=section, taken_at=NOW - 4 * MONTH, instrument=meter)
    make_job(found=310.0, left=405.0, section=section, instrument=meter)
    found = returning(ALL)
    (one,) = found.returns
    assert one.system.id == section.equipment_id
    assert one.days == 120
    assert one.is_below
    assert one.is_sure
    assert not one.has_another_meter
    assert (found.set_right.total, found.set_right.outside) == (1, 1)
    assert found.returned_surely == 1
    assert found.never_right == ()
    assert returning_words.return_text(one).startswith("Same meter, nothing on record in between")


def test_found_in_range_the_next_time_has_not_moved_back_out(
    section: DuctSection, meter: Instrument
) -> None:
    make_job(found=300.0, left=400.0, section=section, taken_at=NOW - 4 * MONTH, instrument=meter)
    make_job(found=390.0, left=None, section=section, instrument=meter)
    found = returning(ALL)
    assert found.returns == ()
    assert (found.set_right.total, found.set_right.outside) == (1, 0)


def test_another_call_and_another_target_are_not_held_against_it(section: DuctSection) -> None:
    make_job(found=300.0, left=400.0, section=section, taken_at=NOW - 4 * MONTH, call="cooling")
    make_job(found=300.0, left=None, section=section, taken_at=NOW - 3 * MONTH, call="heating")
    assert returning(ALL).set_right.total == 0
    later = factories.make_visit(site=section.equipment.site, started_at=NOW)
    traverse = factories.make_traverse(
        visit=later, duct_section=section, stage="as_found", taken_at=NOW, call="cooling"
    )
    traverse.computation.result = make_result(
        traverse.computation, per_ton=300.0, target_low=360.0 * factories.PER_TON
    )
    traverse.computation.state = "computed"
    traverse.computation.save()
    found = returning(ALL)
    assert found.returns == ()
    assert found.target_changed == 1
    assert "has another target since" in returning_words.target_note(found)


def test_a_setting_that_was_put_back_is_said_to_be(section: DuctSection, meter: Instrument) -> None:
    first = make_job(
        found=500.0, left=400.0, section=section, taken_at=NOW - 4 * MONTH, instrument=meter
    )
    make_adjustment(visit=first, equipment=section.equipment, made_at=NOW - 4 * MONTH)
    second = make_job(found=500.0, left=400.0, section=section, instrument=meter)
    make_adjustment(visit=second, equipment=section.equipment, made_at=NOW)
    (one,) = returning(ALL).returns
    assert [(change.from_value, change.to_value) for change in one.made] == [("tap 4", "tap 3")]
    assert "blower setting put back to “tap 4”, was left at “tap 3”" in returning_words.return_text(
        one
    )


def test_a_filter_that_is_loaded_again_was_not_undone(
    section: DuctSection, meter: Instrument
) -> None:
    for at in (NOW - 4 * MONTH, NOW):
        visit = make_job(found=300.0, left=400.0, section=section, taken_at=at, instrument=meter)
        make_adjustment(
            visit=visit,
            equipment=section.equipment,
            kind="filter",
            from_value="loaded",
            to_value="new",
            made_at=at,
        )
    (one,) = returning(ALL).returns
    assert one.undone == ()


def test_another_meter_and_changes_in_between_are_named(
    section: DuctSection, meter: Instrument
) -> None:
    make_job(found=300.0, left=400.0, section=section, taken_at=NOW - 4 * MONTH, instrument=meter)
    between = factories.make_visit(site=section.equipment.site, started_at=NOW - 2 * MONTH)
    make_adjustment(visit=between, equipment=section.equipment, made_at=NOW - 2 * MONTH)
    other = factories.make_instrument(label="Pitot 2")
    make_job(found=345.0, left=None, section=section, instrument=other)
    found = returning(ALL)
    (one,) = found.returns
    text = returning_words.return_text(one)
    assert "Measured with another meter, Pitot 2 after Vane 1: meters seldom differ by as" in text
    assert "Changed in between: blower setting from “tap 4” to “tap 3” on 4 Apr 2026" in text
    assert "too near to the limit to be sure" in text
    assert (found.set_right_other_meter.total, found.set_right_same_meter.total) == (1, 0)


def test_found_outside_again_without_being_right_in_between_was_never_set_right(
    section: DuctSection,
) -> None:
    make_job(found=300.0, left=None, section=section, taken_at=NOW - 4 * MONTH)
    visit = make_job(found=290.0, left=320.0, section=section, taken_at=NOW - 2 * MONTH)
    make_adjustment(visit=visit, equipment=section.equipment, made_at=NOW - 2 * MONTH)
    make_job(found=310.0, left=None, section=section)
    found = returning(ALL)
    (one,) = found.never_right
    assert (one.times, one.left_outside, one.not_measured_as_left, one.changes) == (3, 1, 2, 1)
    assert not one.is_changed_since
    assert one.since_on == (NOW - 4 * MONTH).date()
    assert found.returns == ()
    assert [system.never_between for system in found.systems] == [2]
    make_job(found=310.0, left=400.0, section=section, taken_at=NOW + MONTH)
    assert returning(ALL).never_right == ()


def test_overlapping_visits_of_one_day_are_one_occasion(section: DuctSection) -> None:
    minutes = datetime.timedelta(minutes=38)
    make_job(found=300.0, left=None, section=section)
    make_job(found=310.0, left=None, section=section, taken_at=NOW + minutes)
    found = returning(ALL)
    assert found.never_right == ()
    assert [system.never_between for system in found.systems] == [0]
    make_job(found=305.0, left=None, section=section, taken_at=NOW + MONTH)
    (one,) = returning(ALL).never_right
    assert one.times == 2
    assert [system.never_between for system in returning(ALL).systems] == [1]


def test_found_outside_by_a_visit_that_overlaps_has_not_moved_back_out(
    section: DuctSection, meter: Instrument
) -> None:
    minutes = datetime.timedelta(minutes=38)
    make_job(found=300.0, left=400.0, section=section, instrument=meter)
    make_job(found=310.0, left=None, section=section, taken_at=NOW + minutes, instrument=meter)
    found = returning(ALL)
    assert found.returns == ()
    assert found.set_right.total == 0
    # It was left in range after all: the one that ended last says how the day ended.
    make_job(found=310.0, left=None, section=section, taken_at=NOW + MONTH, instrument=meter)
    found = returning(ALL)
    assert (found.set_right.total, found.set_right.outside) == (1, 1)
    assert found.never_right == ()


def test_what_was_never_set_right_says_what_was_done(section: DuctSection) -> None:
    def said() -> str:
        (one,) = returning(ALL).never_right
        return returning_words.never_right_text(one)

    first = make_job(found=300.0, left=None, section=section, taken_at=NOW - 4 * MONTH)
    second = make_job(found=290.0, left=None, section=section, taken_at=NOW - 2 * MONTH)
    assert said() == "Nothing on record was changed."
    make_adjustment(visit=first, equipment=section.equipment, made_at=NOW - 4 * MONTH + HOUR)
    assert said() == "Changed, but never measured as left; found outside again after the change."
    make_adjustment(visit=second, equipment=section.equipment, made_at=NOW - 2 * MONTH + HOUR)
    assert said() == "Changed after the last measurement, and not measured since."
    make_job(found=290.0, left=310.0, section=section)
    assert said() == "Changed, but left outside or not measured as left."


def test_what_was_never_set_right_has_the_next_step_of_the_list(
    manager: Client, section: DuctSection
) -> None:
    for at in (NOW - 4 * MONTH, NOW):
        make_job(found=300.0, left=None, section=section, taken_at=at)
    (listed,) = list(
        csv.DictReader(
            io.StringIO(manager.get("/needs-a-look/all.csv?period=all").content.decode())
        )
    )
    (row,) = _rows(manager, "never-right")
    assert row["Next step"] == listed["Next step"]
    assert "Plan a visit:" in row["Next step"]
    assert row["Days found outside"] == "2"


def test_the_next_step_names_the_call_where_another_one_comes_first(
    manager: Client, section: DuctSection
) -> None:
    for at in (NOW - 4 * MONTH, NOW):
        make_job(found=345.0, left=None, section=section, taken_at=at)
    make_job(found=200.0, left=None, section=section, taken_at=NOW + HOUR, call="heating")
    (row,) = _rows(manager, "never-right")
    assert row["Call"] == "Cooling"
    assert row["Next step"].startswith("Heating: Plan a visit:")


def test_a_system_that_was_set_right_after_the_period_has_no_next_step(
    manager: Client, section: DuctSection
) -> None:
    for at in (NOW - 4 * MONTH, NOW - 2 * MONTH):
        make_job(found=300.0, left=None, section=section, taken_at=at)
    calibrated = factories.make_instrument()
    factories.make_calibration(instrument=calibrated)
    make_job(found=300.0, left=400.0, section=section, instrument=calibrated)
    until = (NOW - MONTH).date().isoformat()
    (row,) = _rows(manager, "never-right", f"period=dates&to={until}")
    assert row["Next step"] == returning_words.NO_STEP


def test_once_outside_is_not_again(section: DuctSection) -> None:
    make_job(found=300.0, left=None, section=section)
    assert returning(ALL).never_right == ()


def test_a_period_counts_its_visits_and_looks_back_for_what_was_left(
    section: DuctSection,
) -> None:
    make_job(found=300.0, left=400.0, section=section, taken_at=NOW - 9 * MONTH)
    make_job(found=310.0, left=400.0, section=section)
    period = Filters(from_on=TODAY - MONTH, to_on=TODAY)
    found = returning(period)
    assert [one.found.total for one in found.systems] == [1]
    assert len(found.returns) == 1
    assert returning(Filters(from_on=TODAY - 20 * MONTH, to_on=TODAY - MONTH)).returns == ()


def _fleet(meter: Instrument) -> DuctSection:
    """Twelve systems found in range, and one that is found outside each time."""
    for _ in range(12):
        section = factories.make_section()
        for number in range(4):
            make_job(
                found=400.0,
                left=None,
                section=section,
                instrument=meter,
                taken_at=NOW - number * 4 * MONTH,
            )
    bad = factories.make_section(equipment=factories.make_equipment(tag="BAD-1"))
    for number in range(4):
        make_job(
            found=280.0,
            left=400.0,
            section=bad,
            instrument=meter,
            taken_at=NOW - number * 4 * MONTH,
        )
    return bad


def test_the_page_names_who_is_found_outside_beyond_chance(
    manager: Client, meter: Instrument
) -> None:
    bad = _fleet(meter)
    text = _text(manager)
    assert f"BAD-1 at {bad.equipment.site.name} is found outside more often than chance" in text
    assert "Found outside in 4 of 4 jobs; others of its kind in" in text
    assert "More than chance and its kind explain." in text
    assert (
        "3 jobs found a system again that the job before, in this period or earlier, had left in"
        in text
    )
    rows = _rows(manager, "often")
    assert len(rows) == 13
    assert rows[0]["System"] == "BAD-1"
    assert float(rows[0]["Share outside"]) == 1.0
    assert rows[1]["What it says"].endswith("No more often than the others.")
    assert [row["Days between"] for row in _rows(manager, "returns")] == ["120"] * 3


def test_a_filter_narrows_what_is_shown_and_not_what_it_is_held_against(
    manager: Client, meter: Instrument
) -> None:
    bad = _fleet(meter)
    found = returning(Filters(site=bad.equipment.site_id))
    assert [one.is_marked for one in found.systems] == [True]
    assert found.compared == 13
    text = _text(manager, f"{EVERYTHING}&site={bad.equipment.site_id}")
    assert "In 4 of 4 jobs" in text
    assert "BAD-1" in text


def test_the_page_without_anything_says_so(manager: Client) -> None:
    assert "Nothing is on record yet" in _text(manager)
    factories.make_equipment()
    text = _text(manager)
    assert "Nothing was measured and judged as found in this view." in text
    assert "No system here that was left in range has been found again since" in text
    assert "No system in use was found outside on two days or more" in text


def test_an_unknown_table_is_not_there(manager: Client) -> None:
    assert manager.get("/systems/returning/secrets.csv").status_code == 404


@pytest.mark.parametrize("size", [3, 30])
def test_as_many_statements_however_many_systems(manager: Client, size: int) -> None:
    for _ in range(size):
        section = factories.make_section()
        for at in (NOW - 4 * MONTH, NOW):
            visit = make_job(found=300.0, left=400.0, section=section, taken_at=at)
            make_adjustment(visit=visit, equipment=section.equipment, made_at=at)
    with CaptureQueriesContext(connection) as statements:
        assert manager.get(EVERYTHING).status_code == 200
    assert len(statements) == STATEMENTS


@pytest.mark.parametrize("size", [3, 30])
def test_next_steps_take_as_many_statements_however_many_systems(
    manager: Client, size: int
) -> None:
    for _ in range(size):
        section = factories.make_section()
        for at in (NOW - 4 * MONTH, NOW):
            make_job(found=300.0, left=None, section=section, taken_at=at)
    with CaptureQueriesContext(connection) as statements:
        assert manager.get(EVERYTHING).status_code == 200
    assert len(statements) == STATEMENTS + NEXT_STEPS


def test_the_page_needs_a_sign_in(ip_company: Company) -> None:
    assert Client().get(EVERYTHING).status_code == 302
    assert Client().get("/systems/returning/often.csv").status_code == 302


def test_a_technician_sees_no_crew_s_name_there(technician: Client, meter: Instrument) -> None:
    rival = factories.make_crew(name="Rival crew")
    section = factories.make_section()
    for at in (NOW - 4 * MONTH, NOW):
        make_job(found=300.0, left=400.0, section=section, taken_at=at, crew=rival)
    for address in (EVERYTHING, f"/sites/{section.equipment.site_id}/?period=all"):
        assert "Rival crew" not in technician.get(address).content.decode()
    make_measured(section=section, crew=rival)
