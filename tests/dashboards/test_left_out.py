"""Filters that can't be followed: pages say so and show more, files are not sent."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from uuid import uuid4

import pytest
from django.test import Client

from airflow_jobs.models import Crew, Person
from tests import factories
from tests.dashboards.records import make_job

pytestmark = pytest.mark.django_db

PAGES = (
    "/",
    "/needs-a-look/",
    "/due/",
    "/crews/",
    "/over-time/",
    "/instruments/",
    "/systems/",
    "/systems/returning/",
)
FILES = (
    "/tables/months.csv",
    "/tables/flows.csv",
    "/tables/crews.csv",
    "/needs-a-look/all.csv",
    "/due/due.csv",
    "/crews/left.csv",
    "/over-time/left.csv",
    "/instruments/compared.csv",
    "/systems/returning/often.csv",
)


def _text(page: str) -> str:
    page = re.sub(r"<script.*?</script>", " ", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def _crew(name: str, *, people: int) -> Crew:
    crew = factories.make_crew(name=name)
    for number in range(people):
        person = factories.make_person(username=f"{name}{number}")
        factories.make_membership(crew=crew, person=person)
    return crew


@pytest.mark.parametrize("address", PAGES)
@pytest.mark.parametrize("name", ["customer", "site", "crew"])
def test_a_page_says_that_what_it_should_show_is_not_on_record(
    manager: Client, crew: Crew, address: str, name: str
) -> None:
    make_job(found=300.0, left=400.0, crew=crew)
    unknown = str(uuid4())
    response = manager.get(f"{address}?kind=heat_pump&{name}={unknown}")
    page = response.content.decode()
    assert f"There is no such {name}; all {name}s are shown." in _text(page)
    assert unknown not in page


@pytest.mark.parametrize("address", PAGES)
def test_a_page_says_that_a_small_crew_is_not_shown_and_forgets_it(
    manager: Client, address: str
) -> None:
    pair = _crew("Pair", people=2)
    make_job(found=300.0, left=400.0, crew=pair)
    page = manager.get(f"{address}?period=all&crew={pair.pk}").content.decode()
    assert "A crew of fewer than three people is not shown by itself" in _text(page)
    assert str(pair.pk) not in page


@pytest.mark.parametrize("address", PAGES)
def test_a_page_says_that_another_crew_is_not_shown_and_forgets_it(
    technician: Client, crew: Crew, address: str
) -> None:
    rival = _crew("Rival", people=3)
    make_job(found=300.0, left=400.0, crew=rival)
    page = technician.get(f"{address}?period=all&crew={rival.pk}").content.decode()
    assert "That crew can't be shown by itself; all crews are shown." in _text(page)
    assert str(rival.pk) not in page


@pytest.mark.parametrize("address", FILES)
def test_a_file_is_not_sent_with_other_rows_than_asked_for(
    technician: Client, manager: Client, crew: Crew, address: str
) -> None:
    rival, pair = _crew("Rival", people=3), _crew("Pair", people=2)
    make_job(found=300.0, left=400.0, crew=rival)
    for client, query, status, why in (
        (manager, f"crew={uuid4()}", 404, "There is no such crew."),
        (manager, f"site={uuid4()}", 404, "There is no such site."),
        (manager, "crew=7", 404, "The address names no crew that could exist."),
        (manager, "period=fortnight", 404, "There is no period “fortnight”."),
        (manager, f"crew={pair.pk}", 403, "A crew of fewer than three people"),
        (technician, f"crew={rival.pk}", 403, "That crew can't be shown by itself."),
    ):
        response = client.get(f"{address}?{query}")
        assert response.status_code == status, query
        assert response["Content-Type"].startswith("text/html")
        assert "Content-Disposition" not in response
        assert why in _text(response.content.decode())
    assert manager.get(f"{address}?crew={rival.pk}").status_code == 200
    assert technician.get(f"{address}?crew={crew.pk}").status_code == 200


def test_a_file_over_time_is_not_sent_where_its_day_makes_no_sense(manager: Client) -> None:
    response = manager.get("/over-time/left.csv?campaign=yesterday")
    assert response.status_code == 404
    assert "“yesterday” is no day to compare before and after" in response.content.decode()


def test_a_file_of_systems_is_not_sent_without_one_of_them(manager: Client) -> None:
    system = factories.make_equipment()
    asked = f"/systems/compare/summary.csv?system={system.pk}"
    assert manager.get(asked).status_code == 200
    response = manager.get(f"{asked}&system={uuid4()}")
    assert response.status_code == 404
    assert "1 system of the address can't be found." in _text(response.content.decode())


def test_days_that_were_exchanged_still_make_a_file(manager: Client) -> None:
    assert manager.get("/tables/months.csv?from=2026-03-01&to=2026-01-01").status_code == 200


@pytest.mark.parametrize("address", ["/", "/needs-a-look/"])
def test_where_nothing_matches_the_filters_can_be_taken_off(manager: Client, address: str) -> None:
    mine, theirs = factories.make_customer(name="Mine"), factories.make_customer(name="Theirs")
    site = factories.make_site(customer=theirs, name="Their site")
    make_job(
        found=300.0,
        left=400.0,
        section=factories.make_section(equipment=factories.make_equipment(site=site)),
    )
    page = manager.get(f"{address}?customer={mine.pk}&site={site.pk}").content.decode()
    text = _text(page)
    assert "No system matches these filters." in text
    assert "Plan a visit" not in text
    assert "Customer: Mine" in text
    assert "Site: Their site" in text
    assert f'href="{address}?customer={mine.pk}"' in page
    assert f'href="{address}?site={site.pk}"' in page


def test_the_list_of_systems_offers_the_site_of_another_customer_that_is_chosen(
    manager: Client,
) -> None:
    mine = factories.make_customer(name="Mine")
    site = factories.make_equipment().site
    page = manager.get(f"/systems/?customer={mine.pk}&site={site.pk}").content.decode()
    assert f'<option value="{site.pk}" selected>' in page
    assert "No system matches these filters." in page


def test_a_crew_of_the_viewer_is_followed(sign_in: Callable[[Person], Client], crew: Crew) -> None:
    make_job(found=300.0, left=400.0, crew=crew)
    client = sign_in(Person.objects.get(username="north0"))
    page = client.get(f"/?period=all&crew={crew.pk}").content.decode()
    assert 'class="problem"' not in page
    assert str(crew.pk) in page
