"""Days are days where the equipment stands, whatever the day is elsewhere by then."""

from __future__ import annotations

import csv
import datetime
import io

import pytest
from django.test import Client

from dashboards.queries.attention import attention
from dashboards.queries.returning import returning
from dashboards.values.filters import Filters
from tests import factories
from tests.dashboards.records import make_adjustment, make_job, make_measured
from tests.factories import NOW

pytestmark = pytest.mark.django_db

# Eleven at night at the sites, five in the morning in UTC.
LATE = datetime.datetime(2026, 6, 2, 4, 3, tzinfo=datetime.UTC)
ITS_DAY = datetime.date(2026, 6, 1)


@pytest.mark.parametrize("address", ["/instruments/register.csv", "/due/overdue.csv"])
def test_a_meter_was_last_used_on_the_day_of_the_site(manager: Client, address: str) -> None:
    make_measured(taken_at=LATE)
    response = manager.get(address)
    (row,) = csv.DictReader(io.StringIO(response.content.decode()))
    assert row["Last used"] == ITS_DAY.isoformat()


def test_an_overdue_meter_was_last_used_on_the_day_of_the_site() -> None:
    make_measured(taken_at=LATE)
    (meter,) = attention(Filters(), today=NOW.date()).instruments_overdue
    assert meter.last_used_on == ITS_DAY


def test_a_change_in_between_was_made_on_the_day_of_the_site() -> None:
    section = factories.make_section()
    make_job(found=300.0, left=400.0, section=section, taken_at=LATE - datetime.timedelta(days=60))
    between = factories.make_visit(site=section.equipment.site, started_at=LATE)
    make_adjustment(visit=between, equipment=section.equipment, made_at=LATE)
    make_job(found=300.0, left=400.0, section=section, taken_at=LATE + datetime.timedelta(days=30))
    (one,) = returning(Filters()).returns
    assert [change.at.date() for change in one.between] == [ITS_DAY]


def test_revisions_show_when_they_were_computed_by_the_clock_of_the_site(manager: Client) -> None:
    traverse = make_measured()
    page = manager.get(f"/traverses/{traverse.pk}/revisions/").content.decode()
    local = NOW - datetime.timedelta(hours=5)
    assert f"{local:%Y-%m-%d %H:%M}" in page
    assert f"{NOW:%Y-%m-%d %H:%M}" not in page
