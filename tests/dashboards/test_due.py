"""What is due: planned visits, systems that wait to be measured, calibrations."""

import csv
import datetime
import html
import io
import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from airflow_jobs.models import (
    Calibration,
    Crew,
    DuctSection,
    Equipment,
    Instrument,
    Traverse,
    Visit,
)
from dashboards import due_words
from dashboards.due_days import months_after
from dashboards.queries.attention import attention
from dashboards.queries.due import due
from dashboards.values.due import Due
from dashboards.values.filters import Filters
from tests import factories
from tests.dashboards.records import make_measured
from tests.dashboards.test_instruments import _check as check
from tests.factories import NOW, TODAY

pytestmark = pytest.mark.django_db
DAY = datetime.timedelta(days=1)
YEAR = datetime.timedelta(days=365)


def _due(filters: Filters | None = None, *, limit: int | None = None) -> Due:
    asked = filters or Filters()
    standing = attention(asked, today=TODAY)
    return due(asked, standing, today=TODAY, months=12, limit=limit)


def _planned(days: int, **fields: Any) -> Visit:
    return factories.make_visit(**{"planned_for": TODAY + days * DAY, "started_at": None, **fields})


def _falling(section: DuctSection, meter: Instrument, per_ton: tuple[float, ...]) -> None:
    for number, value in enumerate(per_ton):
        make_measured(
            per_ton=value,
            u_per_ton=4.0,
            stage="as_found",
            section=section,
            instrument=meter,
            taken_at=NOW - (len(per_ton) - 1 - number) * 180 * DAY,
        )


def test_a_planned_visit_whose_day_has_passed_without_a_measurement_is_missed() -> None:
    visit = _planned(-3)
    _planned(0)
    measured = _planned(-4)
    make_measured(
        visit=measured,
        section=factories.make_section(equipment=factories.make_equipment(site=measured.site)),
    )
    found = _due()
    assert [one.id for one in found.missed.rows] == [visit.pk]
    assert found.missed.total == 1
    assert not found.missed.rows[0].is_begun


def test_a_visit_that_was_begun_and_brought_nothing_is_missed_too() -> None:
    _planned(-3, started_at=NOW - 3 * DAY)
    _planned(-2, started_at=NOW - 2 * DAY, finished_at=NOW - 2 * DAY)
    states = [due_words.visit_state(one) for one in _due().missed.rows]
    assert states == ["Begun, nothing measured", "Finished, nothing measured"]


def test_a_flow_read_by_hood_is_a_measurement_of_a_visit() -> None:
    visit = _planned(-3)
    equipment = factories.make_equipment(site=visit.site)
    factories.make_flow_reading(visit=visit, equipment=equipment)
    assert _due().missed.total == 0


def test_a_plan_older_than_the_interval_is_no_plan_any_more() -> None:
    _planned(-364)
    _planned(-367)
    assert _due().missed.total == 1


def test_a_missed_plan_says_when_another_visit_measured_at_the_site() -> None:
    visit = _planned(-5)
    section = factories.make_section(equipment=factories.make_equipment(site=visit.site))
    make_measured(
        visit=factories.make_visit(site=visit.site), section=section, taken_at=NOW - 2 * DAY
    )
    (missed,) = _due().missed.rows
    assert missed.measured_since_on == TODAY - 2 * DAY
    assert due_words.missed_step(missed, "North").startswith("Cancel this visit")


def test_what_was_measured_before_the_planned_day_does_not_settle_it() -> None:
    visit = _planned(-5)
    section = factories.make_section(equipment=factories.make_equipment(site=visit.site))
    make_measured(
        visit=factories.make_visit(site=visit.site), section=section, taken_at=NOW - 6 * DAY
    )
    (missed,) = _due().missed.rows
    assert missed.measured_since_on is None
    assert "Agree a new day" in due_words.missed_step(missed, "North")


def test_visits_of_the_next_thirty_days_are_coming_and_today_is_one_of_them() -> None:
    days = (0, 30, 31)
    visits = [_planned(number) for number in days]
    assert [one.id for one in _due().coming.rows] == [visits[0].pk, visits[1].pk]


def test_a_system_is_late_once_the_interval_has_passed() -> None:
    section = factories.make_section()
    make_measured(section=section, taken_at=NOW - YEAR)
    assert _due().late.total == 0
    other = factories.make_section()
    make_measured(section=other, taken_at=NOW - YEAR - DAY)
    (late,) = _due().late.rows
    assert late.system.id == other.equipment_id
    assert late.last_measured_on == TODAY - YEAR - DAY
    assert late.due_on == TODAY - DAY


def test_a_check_does_not_make_a_system_measured() -> None:
    section = factories.make_section()
    make_measured(section=section, stage="check")
    found = _due()
    assert [one.system.id for one in found.never.rows] == [section.equipment_id]


def test_a_flow_set_made_of_hoods_is_a_measurement_of_its_system() -> None:
    equipment = factories.make_equipment()
    visit = factories.make_visit(site=equipment.site)
    reading = factories.make_flow_reading(visit=visit, equipment=equipment)
    assert _due().never.total == 1
    factories.make_flow_set(visit=visit, equipment=equipment, members=[reading])
    assert _due().never.total == 0


def test_what_is_retired_waits_for_nobody() -> None:
    factories.make_equipment(retired_on=TODAY)
    factories.make_equipment(site=factories.make_site(retired_on=TODAY))
    _planned(3, site=factories.make_site(retired_on=TODAY))
    found = _due()
    assert (found.never.total, found.coming.total) == (0, 0)


def test_a_waiting_system_says_which_visit_is_planned() -> None:
    planned, unplanned = factories.make_section(), factories.make_section()
    for section in (planned, unplanned):
        make_measured(section=section, taken_at=NOW - 2 * YEAR)
    _planned(9, site=planned.equipment.site)
    _planned(5, site=planned.equipment.site)
    found = _due()
    days = {one.system.id: one.planned_for for one in found.late.rows}
    assert days == {planned.equipment_id: TODAY + 5 * DAY, unplanned.equipment_id: None}
    assert found.late_unplanned == 1
    assert "for 1 of them no visit is planned" in due_words.late_sentence(found, months=12)


def test_a_trend_asks_for_a_measurement_before_the_earliest_day_of_leaving() -> None:
    meter = factories.make_instrument()
    factories.make_calibration(
        instrument=meter, performed_on=TODAY - 10 * YEAR, due_on=TODAY + 10 * YEAR
    )
    section = factories.make_section()
    _falling(section, meter, (440.0, 425.0, 409.0, 396.0, 381.0))
    (expected,) = _due().foreseen.rows
    assert expected.system.id == section.equipment_id
    assert expected.trend.leaves_earliest_on is not None
    assert expected.by == max(expected.trend.leaves_earliest_on - DAY, TODAY)
    assert expected.by < months_after(expected.last_measured_on, 12)


def test_a_trend_that_leaves_after_the_interval_asks_for_nothing() -> None:
    meter = factories.make_instrument()
    factories.make_calibration(
        instrument=meter, performed_on=TODAY - 10 * YEAR, due_on=TODAY + 10 * YEAR
    )
    _falling(factories.make_section(), meter, (449.0, 441.0, 433.0, 425.0, 417.0))
    assert _due().foreseen.total == 0


def test_calibrations_are_overdue_or_run_out_within_sixty_days() -> None:
    for label, days in (("over", -1), ("today", 0), ("soon", 60), ("later", 61)):
        meter = factories.make_instrument(label=label)
        factories.make_calibration(
            instrument=meter, performed_on=TODAY - YEAR, due_on=TODAY + days * DAY
        )
    factories.make_instrument(label="none")
    factories.make_instrument(label="retired", retired_on=TODAY)
    found = _due()
    assert [one.name for one in found.overdue.rows] == ["none", "over"]
    assert [one.name for one in found.expiring.rows] == ["today", "soon"]


def _off(meter: Instrument, results: int) -> Calibration:
    """Make a meter measure, and a calibration of the day after find it off."""
    for number in range(results):
        make_measured(instrument=meter, taken_at=NOW - number * DAY)
    day = TODAY + DAY
    return factories.make_calibration(
        instrument=meter, performed_on=day, due_on=day + YEAR, gain=1.06
    )


def test_meters_found_off_are_due_until_their_results_are_corrected(
    manager: Client, technician: Client
) -> None:
    few, many = (
        factories.make_instrument(label=label, accuracy_relative=0.02) for label in ("Few", "Many")
    )
    _off(few, 1)
    calibration = _off(many, 3)
    found = _due(limit=1)
    assert [(one.meter, one.between) for one in found.found_off.rows] == [("Many", 3), ("Few", 1)]
    said = "4 results rest on meters found off later and are not corrected"
    assert due_words.due_sentence(found, months=12).startswith(said)
    form = f'href="/office/calibrations/{calibration.pk}/correction/"'
    for address in ("/", "/due/"):
        page = manager.get(address).content.decode()
        assert said in page
        assert form in page
        assert "See what each would become, and correct them" in page
        page = technician.get(address).content.decode()
        assert form not in page
        assert f'href="/instruments/{many.pk}/#found-title"' in page
    (row, _) = _rows(manager, "/due/found-off.csv")
    assert (row["Meter"], row["Results not corrected"]) == ("Many", "3")
    assert row["It read"].replace("\N{NO-BREAK SPACE}", " ") == "6.0 % low"
    summary = _rows(manager, "/due/due.csv")
    assert [row["First of them"][:5] for row in summary][:2] == ["Many,", "Few, "]
    type(calibration).objects.filter(pk=calibration.pk).update(
        corrects_from=TODAY - YEAR, corrects_wholly=True, corrects_because="It fell."
    )
    assert [one.meter for one in _due().found_off.rows] == ["Few"]
    assert "1 result rests on a meter found off later and is not corrected" in _text(
        manager, "/due/"
    )


def test_a_meter_that_reads_high_is_due_with_what_rests_on_it(manager: Client) -> None:
    left, right, high = (
        factories.make_instrument(label=label, accuracy_relative=0.03)
        for label in ("Left", "Right", "High")
    )
    crew, today = factories.make_crew(), datetime.datetime.now(datetime.UTC)
    for number in range(6):
        scatter = 1.0 + 0.002 * (number - 2.5)
        check(left, high, ratio=1.07 * scatter, crew=crew)
        check(right, high, ratio=1.07 * scatter, crew=crew)
        check(left, right, ratio=scatter, crew=crew)
    (one,) = _due().astray
    assert (one.name, one.reads, one.results) == ("High", "high", 12)
    assert "1 meter reads high or low against the others" in due_words.due_sentence(
        _due(), months=12
    )
    for traverse in Traverse.objects.all():
        Traverse.objects.filter(pk=traverse.pk).update(taken_at=today - DAY)
    for address in ("/", "/due/"):
        text = _text(manager, address)
        assert "1 meter reads high or low against the others" in text
        assert "Have it calibrated, or check it against a calibrated meter" in text
    (row,) = _rows(manager, "/due/astray.csv")
    assert (row["Meter"], row["Results resting on it"]) == ("High", "12")
    assert 0.06 < float(row["Above the others, low end"]) < float(row["Above the others"])


def test_the_latest_calibration_counts_and_a_retired_one_does_not() -> None:
    meter = factories.make_instrument(label="one")
    for performed, on, retired in ((-400, -35, None), (-10, 355, None), (-5, 360, TODAY)):
        factories.make_calibration(
            instrument=meter,
            performed_on=TODAY + performed * DAY,
            due_on=TODAY + on * DAY,
            retired_on=retired,
        )
    found = _due()
    assert (found.overdue.total, found.expiring.total) == (0, 0)


def test_a_meter_names_the_crews_that_used_it_last() -> None:
    meter = factories.make_instrument()
    for days, name in ((9, "North"), (7, "South"), (2, "North"), (5, "East"), (8, "West")):
        make_measured(
            crew=Crew.objects.filter(name=name).first() or factories.make_crew(name=name),
            instrument=meter,
            taken_at=NOW - days * DAY,
        )
    (overdue,) = _due().overdue.rows
    assert [crew.name for crew in overdue.crews] == ["North", "East", "South"]
    assert overdue.last_used_on == TODAY - 2 * DAY


def _everything(equipment: Equipment, crew: Crew) -> None:
    """Make one of each for a system and a crew."""
    _planned(-3, site=equipment.site, crew=crew)
    _planned(3, site=equipment.site, crew=crew)
    make_measured(
        section=factories.make_section(equipment=equipment),
        visit=factories.make_visit(site=equipment.site, crew=crew),
        instrument=factories.make_instrument(),
        taken_at=NOW - 2 * YEAR,
    )


def test_filters_narrow_what_is_due() -> None:
    customer, crew = factories.make_customer(), factories.make_crew()
    equipment = factories.make_equipment(
        site=factories.make_site(customer=customer), kind="heat_pump"
    )
    _everything(equipment, crew)
    _everything(factories.make_equipment(kind="furnace_with_coil"), factories.make_crew())
    assert (_due().missed.total, _due().late.total, _due().overdue.total) == (2, 2, 2)
    for filters in (
        Filters(customer=customer.pk),
        Filters(site=equipment.site_id),
        Filters(kind="heat_pump"),
        Filters(crew=crew.pk),
    ):
        found = _due(filters)
        counts = (found.missed.total, found.coming.total, found.late.total)
        assert counts == (1, 1, 1), filters
    assert _due(Filters(crew=crew.pk)).overdue.total == 1
    assert _due(Filters(site=equipment.site_id)).overdue.total == 2


def test_an_air_path_asks_of_the_systems_that_have_it() -> None:
    section = factories.make_section(air_path="return")
    factories.make_round_section(equipment=section.equipment)
    make_measured(section=section)
    assert _due(Filters(air_path="return")).never.total == 0
    assert _due(Filters(air_path="supply")).never.total == 1
    assert _due(Filters(air_path="outdoor")).never.total == 0


def test_a_limit_shortens_the_lists_and_not_their_counts() -> None:
    for _ in range(4):
        _planned(-3)
        factories.make_equipment()
        factories.make_instrument()
    found = _due(limit=1)
    for listed in (found.missed, found.never, found.overdue):
        assert (len(listed.rows), listed.total) == (1, 4)


@pytest.mark.parametrize("size", [3, 30])
def test_six_statements_however_much_is_due(size: int) -> None:
    for _ in range(size):
        _everything(factories.make_equipment(), factories.make_crew())
        factories.make_equipment()
    standing = attention(Filters(), today=TODAY)
    with CaptureQueriesContext(connection) as statements:
        due(Filters(), standing, today=TODAY, months=12, limit=None)
    assert len(statements) == 6


def test_months_end_with_the_month() -> None:
    assert months_after(datetime.date(2026, 1, 31), 1) == datetime.date(2026, 2, 28)
    assert months_after(datetime.date(2025, 12, 5), 13) == datetime.date(2027, 1, 5)


# The page.


def _text(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200, response.content[:300]
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode())))


def _rows(client: Client, address: str) -> list[dict[str, str]]:
    response = client.get(address)
    assert response.status_code == 200
    return list(csv.DictReader(io.StringIO(response.content.decode())))


def test_the_page_says_that_nothing_is_due_list_by_list(manager: Client) -> None:
    meter = factories.make_instrument()
    today = datetime.datetime.now(datetime.UTC)
    factories.make_calibration(
        instrument=meter, performed_on=today.date() - DAY, due_on=today.date() + YEAR
    )
    make_measured(instrument=meter, taken_at=today - DAY)
    text = _text(manager, "/due/")
    assert "Nothing is overdue" in text
    assert "Every planned visit whose day has passed brought a measurement." in text
    assert "Every system on record has been measured." in text
    assert "Every meter in use is in calibration." in text
    assert "No visit is planned for the next 30 days." in text
    assert "No result that is not corrected rests on a meter that a calibration found off" in text


def test_an_empty_record_says_what_to_do_first(manager: Client) -> None:
    assert "Nothing is on record yet" in _text(manager, "/due/")


def test_every_list_has_its_file_and_nothing_else_has(manager: Client) -> None:
    today = datetime.datetime.now(datetime.UTC)
    site = factories.make_equipment().site
    for _ in range(30):
        factories.make_visit(site=site, planned_for=today.date() - 3 * DAY)
    text = _text(manager, "/due/")
    assert "30 planned visits whose day has passed brought no measurement" in text
    assert "5 more in the file" in text
    assert len(_rows(manager, "/due/missed.csv")) == 30
    for slug in (
        "coming",
        "late",
        "never",
        "foreseen",
        "found-off",
        "astray",
        "overdue",
        "expiring",
        "due",
    ):
        assert manager.get(f"/due/{slug}.csv").status_code == 200, slug
    assert manager.get("/due/else.csv").status_code == 404


def test_a_technician_sees_no_other_crew_named(technician: Client, crew: Crew) -> None:
    today = datetime.datetime.now(datetime.UTC)
    site = factories.make_equipment().site
    other = factories.make_crew(name="Secret crew")
    for one in (crew, other):
        factories.make_visit(site=site, crew=one, planned_for=today.date() - 3 * DAY)
        make_measured(crew=one, instrument=factories.make_instrument(), taken_at=today - DAY)
    text = _text(technician, "/due/")
    assert "North crew" in text
    assert "Secret crew" not in text
    assert "another crew" in text
    assert "Secret crew" not in _files(technician)


def _files(client: Client) -> str:
    return "".join(
        client.get(f"/due/{slug}.csv").content.decode() for slug in ("missed", "overdue", "due")
    )


def test_the_interval_is_the_company_s(manager: Client) -> None:
    factories.make_company(measure_every_months=3)
    taken_at = datetime.datetime.now(datetime.UTC) - 120 * DAY
    make_measured(taken_at=taken_at)
    text = _text(manager, "/due/")
    assert "1 system was not measured for over 3 months" in text
    assert "once in 3 months" in text


def test_period_and_stage_follow_though_the_page_has_none(manager: Client) -> None:
    factories.make_equipment()
    page = manager.get("/due/?period=3y&stage=as_found").content.decode()
    assert '<input type="hidden" name="period" value="3y">' in page
    assert '<input type="hidden" name="stage" value="as_found">' in page
    assert 'href="/crews/?period=3y&amp;stage=as_found"' in page
