"""Which systems need a look, why, and in which order."""

import datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from airflow_jobs.models import DuctSection, Instrument
from dashboards.queries.attention import attention
from dashboards.standings import renew_standings
from dashboards.values.filters import Filters
from dashboards.values.systems import Attention
from tests import factories
from tests.dashboards.records import make_adjustment, make_job, make_measured
from tests.factories import NOW, TODAY

pytestmark = pytest.mark.django_db
YEAR = datetime.timedelta(days=365)


@pytest.fixture
def meter() -> Instrument:
    """A meter that was in calibration on every day of the tests."""
    meter = factories.make_instrument()
    factories.make_calibration(
        instrument=meter, performed_on=TODAY - 10 * YEAR, due_on=TODAY + 10 * YEAR
    )
    return meter


def _now(filters: Filters | None = None) -> Attention:
    return attention(filters or Filters(), today=TODAY)


def _codes(found: Attention) -> list[list[str]]:
    return [[reason.code for reason in one.reasons] for one in found.systems]


def test_a_system_left_in_range_needs_no_look(meter: Instrument) -> None:
    make_job(found=300.0, left=400.0, instrument=meter)
    found = _now()
    assert found.systems == ()
    assert found.looked_at == 1


def test_how_it_was_left_counts_and_not_how_it_was_found(meter: Instrument) -> None:
    make_job(found=300.0, left=520.0, instrument=meter)
    (system,) = _now().systems
    assert [reason.code for reason in system.reasons] == ["high"]
    assert system.standing is not None
    assert system.standing.stage == "as_left"


def test_a_system_found_outside_and_not_measured_after_needs_a_look(meter: Instrument) -> None:
    make_job(found=300.0, left=None, instrument=meter)
    assert _codes(_now()) == [["low"]]


def test_a_later_visit_settles_it(meter: Instrument) -> None:
    section = factories.make_section()
    make_job(found=300.0, left=None, section=section, taken_at=NOW - YEAR, instrument=meter)
    assert _codes(_now()) == [["low"]]
    make_job(found=300.0, left=400.0, section=section, instrument=meter)
    assert _now().systems == ()


def test_a_check_settles_nothing(meter: Instrument) -> None:
    section = factories.make_section()
    make_job(found=None, left=300.0, section=section, instrument=meter, taken_at=NOW - YEAR)
    make_measured(per_ton=400.0, stage="check", section=section, instrument=meter)
    assert _codes(_now()) == [["low"]]


def test_what_is_undecided_needs_a_look(meter: Instrument) -> None:
    make_job(found=None, left=445.0, instrument=meter)
    assert _codes(_now()) == [["undecided"]]


def test_the_surest_and_furthest_out_comes_first(meter: Instrument) -> None:
    for per_ton in (445.0, 330.0, 240.0):
        make_job(found=None, left=per_ton, instrument=meter)
    values = [
        round(one.standing.judged.value / factories.PER_TON)
        for one in _now().systems
        if one.standing and one.standing.judged
    ]
    assert values == [240, 330, 445]


def _falling(section: DuctSection, meter: Instrument) -> None:
    for years_ago, per_ton in ((3, 420.0), (2, 400.0), (1, 382.0), (0, 365.0)):
        make_job(
            found=per_ton,
            left=None,
            section=section,
            taken_at=NOW - years_ago * YEAR,
            instrument=meter,
            u_per_ton=5.0,
        )


def test_a_slow_fall_is_named_with_its_dates(meter: Instrument) -> None:
    _falling(factories.make_section(), meter)
    (system,) = _now().systems
    (reason,) = system.reasons
    assert reason.code == "drifting"
    assert reason.trend is not None
    assert reason.trend.per_year == pytest.approx(-0.045, abs=0.01)
    assert reason.trend.leaves_on is not None
    assert reason.trend.leaves_earliest_on is not None
    assert reason.trend.leaves_earliest_on < reason.trend.leaves_on
    assert datetime.date(2026, 9, 1) < reason.trend.leaves_on < datetime.date(2028, 1, 1)


def test_a_step_by_adjustment_is_no_fall(meter: Instrument) -> None:
    section = factories.make_section()
    for years_ago, per_ton in ((3, 420.0), (2, 420.0), (1, 380.0), (0, 380.0)):
        visit = make_job(
            found=per_ton,
            left=None,
            section=section,
            taken_at=NOW - years_ago * YEAR,
            instrument=meter,
            u_per_ton=5.0,
        )
        if years_ago == 2:
            make_adjustment(
                visit=visit,
                equipment=section.equipment,
                made_at=NOW - years_ago * YEAR + datetime.timedelta(hours=1),
            )
    assert _now().systems == ()


def test_a_system_that_slips_back_between_visits_does_not_drift(meter: Instrument) -> None:
    section = factories.make_section()
    for years_ago in (3, 2, 1):
        make_job(
            found=370.0,
            left=430.0,
            section=section,
            taken_at=NOW - years_ago * YEAR,
            instrument=meter,
            u_per_ton=5.0,
        )
    assert _now().systems == ()


def test_measurements_of_one_day_foretell_nothing(meter: Instrument) -> None:
    section = factories.make_section()
    visit = factories.make_visit(site=section.equipment.site)
    for minutes in range(5):
        make_measured(
            per_ton=420.0 - 5.0 * minutes,
            u_per_ton=5.0,
            stage="as_found",
            section=section,
            visit=visit,
            taken_at=NOW + datetime.timedelta(minutes=minutes),
            instrument=meter,
        )
    assert _now().systems == ()


def test_a_result_that_failed_needs_a_look(meter: Instrument) -> None:
    traverse = factories.make_traverse(instrument=meter)
    computation = traverse.computation
    computation.state = "failed"
    computation.failure = "There are no readings."
    computation.save()
    (system,) = _now().systems
    assert system.reasons[0].code == "failed"
    assert system.reasons[0].measurement is not None
    assert system.reasons[0].measurement.failure == "There are no readings."


def test_a_result_that_is_pending_needs_a_look(meter: Instrument) -> None:
    factories.make_traverse(instrument=meter)
    make_job(found=None, left=400.0, state="pending", instrument=meter)
    assert _codes(_now()) == [["pending"], ["pending"]]


def test_a_meter_out_of_calibration_on_the_day_is_a_reason() -> None:
    meter = factories.make_instrument()
    factories.make_calibration(
        instrument=meter, performed_on=TODAY - 3 * YEAR, due_on=TODAY - 2 * YEAR
    )
    make_job(found=None, left=400.0, instrument=meter)
    assert _codes(_now()) == [["calibration"]]


def test_a_meter_out_of_calibration_today_is_listed(meter: Instrument) -> None:
    overdue = factories.make_instrument(label="Old vane")
    factories.make_calibration(
        instrument=overdue, performed_on=TODAY - 2 * YEAR, due_on=TODAY - YEAR
    )
    never = factories.make_instrument(label="New vane")
    retired = factories.make_instrument(retired_on=TODAY - YEAR)
    found = _now().instruments_overdue
    assert [(one.id, one.due_on) for one in found] == [
        (never.pk, None),
        (overdue.pk, TODAY - YEAR),
    ]
    assert retired.pk not in {one.id for one in found}


def test_a_system_that_is_retired_needs_no_look(meter: Instrument) -> None:
    section = factories.make_section(
        equipment=factories.make_equipment(retired_on=TODAY - datetime.timedelta(days=1))
    )
    make_job(found=None, left=300.0, section=section, instrument=meter)
    assert _now().looked_at == 0


def test_systems_that_were_never_measured_are_counted() -> None:
    factories.make_equipment()
    found = _now()
    assert (found.looked_at, found.never_measured, found.systems) == (1, 1, ())


def test_filters_narrow_the_systems(meter: Instrument) -> None:
    section = factories.make_section(equipment=factories.make_equipment(kind="heat_pump"))
    make_job(found=None, left=300.0, section=section, instrument=meter)
    make_job(found=None, left=300.0, instrument=meter)
    assert len(_now(Filters(kind="heat_pump")).systems) == 1
    assert len(_now(Filters(site=section.equipment.site_id)).systems) == 1
    assert len(_now(Filters(air_path="supply")).systems) == 0


@pytest.mark.parametrize("renews", [False, True], ids=["live", "kept"])
def test_a_crew_s_systems_are_those_that_it_visited_last(meter: Instrument, renews: bool) -> None:
    first, second = factories.make_crew(), factories.make_crew()
    section = factories.make_section()
    fields = {"section": section, "instrument": meter}
    make_job(found=None, left=300.0, crew=first, taken_at=NOW - YEAR, **fields)
    factories.make_equipment()
    if renews:
        renew_standings()
    assert _codes(_now(Filters(crew=first.pk))) == [["low"]]
    assert _now(Filters(crew=second.pk)).looked_at == 0
    make_job(found=None, left=400.0, crew=second, **fields)
    if renews:
        renew_standings()
    mine, theirs = _now(Filters(crew=first.pk)), _now(Filters(crew=second.pk))
    # What the other crew has set right since is no longer as the first one left it.
    assert (mine.systems, mine.looked_at, mine.never_measured) == ((), 0, 0)
    assert (theirs.systems, theirs.looked_at) == ((), 1)


@pytest.mark.parametrize("size", [3, 30])
def test_two_statements_however_many_systems(size: int) -> None:
    meter = factories.make_instrument()
    for _ in range(size):
        make_job(found=300.0, left=500.0, instrument=meter)
    with CaptureQueriesContext(connection) as statements:
        assert len(_now().systems) == size
    assert len(statements) == 2
