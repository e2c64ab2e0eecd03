"""A site's page: its systems and how they stand, how hard it is, its visits, what is due."""

from __future__ import annotations

import csv
import datetime
import html
import io
import re
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from airflow_jobs.models import Company, Site
from dashboards import system_words
from tests import factories
from tests.dashboards.records import make_job
from tests.factories import NOW

pytestmark = pytest.mark.django_db

STATEMENTS = 14


def _text(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200, response.content[:300]
    page = re.sub(r"<script.*?</script>", " ", response.content.decode(), flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def _address(site: Site) -> str:
    return f"/sites/{site.pk}/?period=all"


def _jobs(site: Site, *, systems: int, visits: int, found: float, left: float = 400.0) -> None:
    for number in range(systems):
        section = factories.make_section(
            equipment=factories.make_equipment(site=site, tag=f"AC-{number}")
        )
        for visit in range(visits):
            at = NOW - datetime.timedelta(days=120 * visit)
            make_job(found=found, left=left, section=section, taken_at=at)


def test_a_site_says_how_its_systems_stand(manager: Client) -> None:
    site = factories.make_site(name="Elm Street school", customer=factories.make_customer())
    _jobs(site, systems=2, visits=1, found=300.0)
    factories.make_equipment(site=site, tag="NEW-1")
    low = factories.make_section(equipment=factories.make_equipment(site=site, tag="LOW-1"))
    make_job(found=300.0, left=310.0, section=low)
    text = _text(manager, _address(site))
    assert "4 systems stand here: 2 in range, 1 low and 1 not judged or never measured." in text
    assert "Plan a visit: raise the airflow by some 29 %, to nominal, then measure as left." in text
    assert "Never measured." in text
    assert "Now: it was never measured." in text


def test_a_site_that_is_harder_than_the_others_is_called_so(manager: Client) -> None:
    hard = factories.make_site(name="Hard place")
    _jobs(hard, systems=3, visits=8, found=300.0)
    for _ in range(4):
        _jobs(factories.make_site(), systems=3, visits=8, found=400.0)
    assert "Hard place is harder than other sites by more than chance explains" in _text(
        manager, _address(hard)
    )
    other = Site.objects.exclude(pk=hard.pk).order_by("pk").first()
    assert other is not None
    assert "No evidence that it is harder or easier" in _text(manager, _address(other))


def test_a_site_with_few_jobs_is_not_compared(manager: Client) -> None:
    site = factories.make_site()
    _jobs(site, systems=1, visits=2, found=300.0)
    assert "Too few jobs to compare with other sites." in _text(manager, _address(site))


def test_visits_and_what_is_planned_are_listed(manager: Client) -> None:
    site = factories.make_site()
    _jobs(site, systems=2, visits=1, found=300.0, left=500.0)
    soon = timezone.now().date() + datetime.timedelta(days=3)
    factories.make_visit(site=site, started_at=None, planned_for=soon)
    text = _text(manager, _address(site))
    assert f"{soon.isoformat()} planned" in text
    assert "visit is planned." in text
    assert "1 of 1 1 of 1" in text


def test_an_empty_site_says_what_to_do(manager: Client) -> None:
    text = _text(manager, _address(factories.make_site()))
    assert "No system in use stands here." in text
    assert "Enter its systems with their capacity" in text
    assert "Nobody was here yet, and no visit is planned." in text


def test_a_site_that_is_not_there_says_so(manager: Client, ip_company: Company) -> None:
    assert manager.get(f"/sites/{uuid4()}/").status_code == 404
    assert manager.get(f"/sites/{uuid4()}/systems.csv").status_code == 404
    site = factories.make_site()
    assert manager.get(f"/sites/{site.pk}/secrets.csv").status_code == 404
    assert Client().get(f"/sites/{site.pk}/").status_code == 302


@pytest.mark.parametrize("slug", ["systems", "shares", "visits", "due"])
def test_the_tables_come_as_files(manager: Client, slug: str) -> None:
    site = factories.make_site()
    _jobs(site, systems=2, visits=30, found=300.0, left=500.0)
    response = manager.get(f"/sites/{site.pk}/{slug}.csv?period=all")
    rows = list(csv.DictReader(io.StringIO(response.content.decode())))
    assert len(rows) == {"systems": 2, "shares": 2, "visits": 60, "due": 2}[slug]


@pytest.mark.parametrize("size", [3, 30])
def test_as_many_statements_however_many_systems(manager: Client, size: int) -> None:
    site = factories.make_site()
    _jobs(site, systems=size, visits=2, found=300.0)
    with CaptureQueriesContext(connection) as statements:
        assert manager.get(_address(site)).status_code == 200
    assert len(statements) == STATEMENTS


@pytest.mark.parametrize(
    ("day", "months", "later"),
    [
        ("2026-01-31", 1, "2026-02-28"),
        ("2026-12-15", 12, "2027-12-15"),
        ("2026-11-30", 1, "2026-12-30"),
    ],
)
def test_months_later_is_the_same_day_or_the_last(day: str, months: int, later: str) -> None:
    found = system_words.months_after(datetime.date.fromisoformat(day), months)
    assert found.isoformat() == later
