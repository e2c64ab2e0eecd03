"""Filters follow from page to page: every link of every page takes them along."""

import datetime
import html
import re
from urllib.parse import parse_qsl, urlsplit

import pytest
from django.test import Client

from airflow_jobs.models import Crew, Traverse
from dashboards.filters import read_filters
from dashboards.templatetags.following import following, together
from tests import factories
from tests.dashboards.records import make_adjustment, make_job
from tests.factories import NOW, TODAY

pytestmark = pytest.mark.django_db
DAY = datetime.timedelta(days=1)

# Where filters mean nothing, and the page that has all crews on purpose.
ELSEWHERE = (
    "/sign-out/",
    "/method/",
    "/administration/",
    "/office/",
    "/digest/",
    "/systems/returning/",
)
# All that is on record of one thing, whatever the filters.
WHOLE_FILES = re.compile(r"/(?:systems|sites|traverses)/[0-9a-f-]{36}/[a-z/-]+\.csv")


@pytest.fixture
def traverse(crew: Crew) -> Traverse:
    """A traverse of the crew, with something in every list of every page."""
    now = datetime.datetime.now(datetime.UTC)
    site = factories.make_site(customer=factories.make_customer())
    section = factories.make_section(
        equipment=factories.make_equipment(site=site, kind="heat_pump")
    )
    for days in (700, 400, 40):
        visit = make_job(
            found=300.0, left=520.0, section=section, crew=crew, taken_at=now - days * DAY
        )
        make_adjustment(
            visit=visit, equipment=section.equipment, made_at=now - days * DAY + DAY / 100
        )
    factories.make_equipment(site=site, kind="heat_pump")
    for days in (-3, 3):
        factories.make_visit(
            site=site, crew=crew, planned_for=now.date() + days * DAY, started_at=None
        )
    return Traverse.objects.filter(duct_section=section).order_by("-taken_at", "pk")[0]


def _addresses(traverse: Traverse) -> list[str]:
    equipment = traverse.duct_section.equipment
    return [
        "/",
        "/needs-a-look/",
        "/due/",
        "/crews/",
        "/over-time/",
        "/instruments/",
        f"/instruments/{traverse.instrument_id}/",
        "/systems/",
        f"/systems/{equipment.pk}/",
        f"/sites/{equipment.site_id}/",
        f"/traverses/{traverse.pk}/",
        f"/traverses/{traverse.pk}/revisions/",
    ]


def _links(page: str) -> list[str]:
    """Return the links of a page but for those that set or take off a filter on purpose."""
    body = re.sub(r'<ul class="chips".*?</ul>', "", page, flags=re.DOTALL)
    body = re.sub(r"<a [^>]*>(?:Start over|start over)</a>", "", body)
    found = [html.unescape(one) for one in re.findall(r'<a [^>]*?href="([^"]*)"', body)]
    return [
        one
        for one in found
        if one.startswith("/") and not one.startswith(ELSEWHERE) and not WHOLE_FILES.match(one)
    ]


def test_every_link_takes_period_crew_kind_and_the_rest_along(
    manager: Client, crew: Crew, traverse: Traverse
) -> None:
    site = traverse.duct_section.equipment.site
    asked = {
        "period": "3y",
        "customer": str(site.customer_id),
        "crew": str(crew.pk),
        "kind": "heat_pump",
        "stage": "as_found",
        "air_path": "return",
    }
    query = "&".join(f"{name}={value}" for name, value in asked.items())
    wrong = []
    for address in _addresses(traverse):
        response = manager.get(f"{address}?{query}")
        assert response.status_code == 200, address
        links = _links(response.content.decode())
        assert len(links) > 5, address
        for link in links:
            carried = dict(parse_qsl(urlsplit(link).query))
            # A file's link writes the days out; another shows everything on record on purpose.
            lasting = carried.get("period") in ("dates", "all")
            missing = {
                name
                for name, value in asked.items()
                if carried.get(name) != value and not (lasting and name == "period")
            }
            # A customer's name leads to that customer, whatever else is on.
            if missing and not link.startswith("/systems/?customer="):
                wrong.append((address, link, missing))
    assert not wrong, wrong[:5]


def test_the_search_of_systems_takes_along_what_it_does_not_ask_for(
    manager: Client, crew: Crew
) -> None:
    for number in range(60):
        factories.make_equipment(site=factories.make_site(), tag=f"A-{number}")
    page = manager.get(f"/systems/?q=a&period=3y&crew={crew.pk}&stage=as_found").content.decode()
    for name, value in (("period", "3y"), ("crew", crew.pk), ("stage", "as_found")):
        assert f'<input type="hidden" name="{name}" value="{value}">' in page
    (further,) = re.findall(r'href="([^"]*)" rel="next"', page)
    carried = dict(parse_qsl(urlsplit(html.unescape(further)).query))
    assert carried == {
        "q": "a",
        "page": "2",
        "period": "3y",
        "crew": str(crew.pk),
        "stage": "as_found",
    }


def test_an_address_with_a_query_of_its_own_says_what_it_wants() -> None:
    asked = read_filters({"period": "3y"}, today=TODAY)
    assert following("/systems/", asked) == "/systems/?period=3y"
    assert following("/?site=1", asked) == "/?site=1"
    assert following("/tables/x.csv", asked) == "/tables/x.csv"
    assert following("#due", asked) == "#due"
    assert following("/systems/", read_filters({}, today=NOW.date())) == "/systems/"
    assert following("/systems/", None) == "/systems/"


def test_no_line_breaks_between_a_number_and_its_sign() -> None:
    assert " " not in together("957 ± 58")
    assert together("by 9 % in 2 years") == "by 9\N{NO-BREAK SPACE}% in 2 years"
