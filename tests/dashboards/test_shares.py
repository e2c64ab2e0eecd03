"""How jobs were found and left: what counts, where, and that it is counted in one statement."""

import datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from airflow_jobs.models import Computation, Crew
from dashboards.queries.shares import fleet_shares
from dashboards.values.filters import Filters
from tests import factories
from tests.dashboards.records import make_job, make_measured, make_result
from tests.factories import NOW

pytestmark = pytest.mark.django_db
ALL = Filters()


def test_found_and_left_are_two_series() -> None:
    make_job(found=500.0, left=400.0)
    make_job(found=300.0, left=390.0)
    shares = fleet_shares(ALL)
    assert (shares.found.total, shares.found.inside) == (2, 0)
    assert (shares.left.total, shares.left.inside) == (2, 2)
    assert (shares.found.below, shares.found.above) == (1, 1)


def test_a_job_counts_where_its_estimate_lies_and_says_that_it_is_undecided() -> None:
    make_job(found=None, left=445.0)
    make_job(found=None, left=455.0)
    left = fleet_shares(ALL).left
    assert (left.inside, left.above, left.undecided) == (1, 1, 2)
    assert (left.inside_undecided, left.above_undecided) == (1, 1)
    assert 0.0 < left.low_end < 0.5 < left.high_end < 1.0


def test_the_first_as_found_and_the_last_as_left_count() -> None:
    section = factories.make_section()
    visit = factories.make_visit(site=section.equipment.site)
    for minutes, stage, per_ton in (
        (0, "as_found", 520.0),
        (10, "as_found", 400.0),
        (60, "as_left", 480.0),
        (90, "as_left", 405.0),
    ):
        make_measured(
            per_ton=per_ton,
            stage=stage,
            section=section,
            visit=visit,
            taken_at=NOW + datetime.timedelta(minutes=minutes),
        )
    shares = fleet_shares(ALL)
    assert (shares.found.total, shares.found.inside) == (1, 0)
    assert (shares.left.total, shares.left.inside) == (1, 1)


def test_checks_and_what_is_not_judged_count_nowhere() -> None:
    make_measured(stage="check")
    traverse = factories.make_traverse(stage="as_left")
    computation = Computation.objects.get(traverse=traverse)
    computation.result = make_result(computation, per_ton=400.0, verdict="not_judged")
    computation.state = "computed"
    computation.save()
    shares = fleet_shares(ALL)
    assert shares.left.total == shares.found.total == 0
    assert shares.left.share is None


def test_an_indicative_result_counts_and_one_without_uncertainty_does_not() -> None:
    for fields in ({"indicative": True}, {"indicative": True, "judged_u": None}):
        traverse = factories.make_traverse(stage="as_left")
        computation = traverse.computation
        computation.result = make_result(computation, per_ton=400.0, **fields)
        computation.state = "computed"
        computation.save()
    assert fleet_shares(ALL).left.total == 1


def test_a_flow_set_is_one_job_and_its_members_none() -> None:
    equipment = factories.make_equipment()
    visit = factories.make_visit(site=equipment.site)
    members = []
    for _ in range(2):
        traverse = factories.make_traverse(
            visit=visit, duct_section=factories.make_section(equipment=equipment)
        )
        computation = traverse.computation
        computation.result = make_result(computation, per_ton=200.0, verdict="not_judged")
        computation.state = "computed"
        computation.save()
        members.append(traverse)
    flow_set = factories.make_flow_set(visit=visit, equipment=equipment, members=members)
    computation = flow_set.computation
    computation.result = make_result(computation, per_ton=400.0)
    computation.state = "computed"
    computation.save()
    shares = fleet_shares(ALL)
    assert (shares.found.total, shares.found.inside) == (1, 1)
    assert fleet_shares(Filters(air_path="return")).found.total == 1
    assert fleet_shares(Filters(air_path="supply")).found.total == 0


def test_jobs_found_outside_and_not_measured_as_left_are_counted() -> None:
    make_job(found=300.0, left=None)
    make_job(found=300.0, left=400.0)
    make_job(found=400.0, left=None)
    assert fleet_shares(ALL).found_outside_without_as_left == 1


def test_the_last_values_of_what_is_computed_again_are_used_and_counted() -> None:
    make_measured(state="pending")
    shares = fleet_shares(ALL)
    assert (shares.left.total, shares.pending) == (1, 1)


@pytest.mark.parametrize(
    ("utc", "month"),
    [
        # The end of June in Chicago, five hours behind UTC in summer.
        (datetime.datetime(2026, 7, 1, 4, 30, tzinfo=datetime.UTC), datetime.date(2026, 6, 1)),
        (datetime.datetime(2026, 7, 1, 5, 30, tzinfo=datetime.UTC), datetime.date(2026, 7, 1)),
        # The end of October, on the night before the clocks go back.
        (datetime.datetime(2026, 11, 1, 4, 59, tzinfo=datetime.UTC), datetime.date(2026, 10, 1)),
        # The end of November, six hours behind.
        (datetime.datetime(2026, 12, 1, 5, 30, tzinfo=datetime.UTC), datetime.date(2026, 11, 1)),
    ],
)
def test_a_month_is_the_site_s_own(utc: datetime.datetime, month: datetime.date) -> None:
    make_measured(taken_at=utc)
    year = Filters(from_on=datetime.date(2026, 1, 1), to_on=datetime.date(2026, 12, 31))
    shares = fleet_shares(year)
    assert shares.step == "month"
    assert [one.month for one in shares.left_by_month] == [month]


def test_the_first_and_the_last_day_are_in_the_period() -> None:
    for hour in (5, 12):
        make_measured(taken_at=datetime.datetime(2026, 6, 3, hour, tzinfo=datetime.UTC))
    make_measured(taken_at=datetime.datetime(2026, 6, 4, 4, 59, tzinfo=datetime.UTC))
    make_measured(taken_at=datetime.datetime(2026, 6, 4, 5, 0, tzinfo=datetime.UTC))
    day = datetime.date(2026, 6, 3)
    assert fleet_shares(Filters(from_on=day, to_on=day)).left.total == 3


def test_a_long_period_goes_by_quarters() -> None:
    make_measured(taken_at=datetime.datetime(2026, 6, 3, 12, tzinfo=datetime.UTC))
    shares = fleet_shares(ALL)
    assert shares.step == "quarter"
    assert [one.month for one in shares.left_by_month] == [datetime.date(2026, 4, 1)]


def test_filters_narrow_what_is_counted() -> None:
    site = factories.make_site(customer=factories.make_customer())
    crew = factories.make_crew()
    equipment = factories.make_equipment(site=site, kind="heat_pump")
    make_job(
        found=None,
        left=400.0,
        crew=crew,
        section=factories.make_section(equipment=equipment, air_path="supply"),
    )
    make_job(found=None, left=500.0)
    for filters in (
        Filters(customer=site.customer_id),
        Filters(site=site.pk),
        Filters(crew=crew.pk),
        Filters(kind="heat_pump"),
        Filters(air_path="supply"),
    ):
        left = fleet_shares(filters).left
        assert (left.total, left.inside) == (1, 1), filters
    assert fleet_shares(Filters(crew=crew.pk, kind="packaged_unit")).left.total == 0


def test_crews_and_sites_have_their_own_shares() -> None:
    crew = factories.make_crew(name="North")
    make_job(found=300.0, left=400.0, crew=crew)
    make_job(found=None, left=500.0, crew=crew)
    make_job(found=None, left=400.0, crew=factories.make_crew(name="South"))
    shares = fleet_shares(ALL)
    assert [(one.name, one.left.inside, one.left.total) for one in shares.by_crew] == [
        ("North", 1, 2),
        ("South", 1, 1),
    ]
    assert len(shares.by_site) == 3
    assert shares.by_crew[0].found.total == 1


def _crew_with_jobs(name: str, outside: int, inside: int) -> Crew:
    crew = factories.make_crew(name=name)
    section = factories.make_section()
    visit = None
    for number in range(outside + inside):
        visit = factories.make_visit(site=section.equipment.site, crew=crew)
        make_measured(per_ton=300.0 if number < outside else 400.0, visit=visit, section=section)
    return crew


def test_a_crew_that_leaves_far_too_many_outside_differs_and_the_others_do_not() -> None:
    _crew_with_jobs("Lax", 14, 10)
    for name in ("North", "South", "East"):
        _crew_with_jobs(name, 2, 22)
    compared = {one.name: one.left_compared for one in fleet_shares(ALL).by_crew}
    assert {name for name, one in compared.items() if one and one.differs} == {"Lax"}
    assert compared["Lax"] is not None
    assert compared["Lax"].expected_outside == pytest.approx(2.0, abs=0.5)


def test_a_crew_with_few_jobs_is_not_compared() -> None:
    _crew_with_jobs("Few", 9, 1)
    _crew_with_jobs("Many", 1, 24)
    few = next(one for one in fleet_shares(ALL).by_crew if one.name == "Few").left_compared
    assert few is not None
    assert not few.is_comparable
    assert not few.differs


@pytest.mark.parametrize("size", [3, 30])
def test_one_statement_however_many_jobs(size: int) -> None:
    for number in range(size):
        make_job(found=300.0, left=400.0 + number)
    with CaptureQueriesContext(
        connection,
    ) as statements:
        fleet_shares(ALL)
    assert len(statements) == 1
