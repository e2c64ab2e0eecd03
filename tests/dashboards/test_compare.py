"""Systems beside each other: what differs, what can't be said, how the choice is made."""

from __future__ import annotations

import csv
import datetime
import html
import io
import re
from urllib.parse import urlencode
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from airflow_jobs.models import Company, DuctSection, Instrument
from dashboards.queries.compare import comparison
from dashboards.values.filters import Filters
from tests import factories
from tests.dashboards.records import make_job
from tests.factories import NOW

pytestmark = pytest.mark.django_db
MONTH = datetime.timedelta(days=30)
STATEMENTS = 4


@pytest.fixture
def meter() -> Instrument:
    return factories.make_instrument()


def _system(
    tag: str,
    found: tuple[float, ...],
    meter: Instrument,
    *,
    left: float | None = 400.0,
    call: str = "cooling",
) -> DuctSection:
    section = factories.make_section(equipment=factories.make_equipment(tag=tag))
    for number, value in enumerate(found):
        make_job(
            found=value,
            left=left,
            section=section,
            instrument=meter,
            call=call,
            taken_at=NOW - number * 4 * MONTH,
        )
    return section


def _address(*sections: DuctSection, **more: str) -> str:
    chosen = [("system", str(section.equipment_id)) for section in sections]
    return f"/systems/compare/?{urlencode([*chosen, ('period', 'all'), *more.items()])}"


def _text(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200, response.content[:300]
    page = re.sub(r"<script.*?</script>", " ", response.content.decode(), flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def test_what_differs_is_said_with_its_interval(manager: Client, meter: Instrument) -> None:
    low = _system("LOW-1", (300.0, 310.0, 305.0, 298.0), meter)
    fine = _system("OK-1", (400.0, 405.0, 395.0, 410.0), meter)
    text = _text(manager, _address(low, fine))
    assert "As found: OK-1 at" in text
    assert "lies 99 % of the target's width (" in text
    assert "above LOW-1 at" in text
    assert "As left: no evidence that they differ." in text
    assert "Differs more than chance explains" in text


def test_flows_per_ton_can_be_compared_instead(manager: Client, meter: Instrument) -> None:
    low = _system("LOW-1", (300.0, 310.0, 305.0, 298.0), meter)
    fine = _system("OK-1", (400.0, 405.0, 395.0, 410.0), meter)
    text = _text(manager, _address(low, fine, scale="flow"))
    assert "lies 99 ft³/min per ton (" in text


def test_systems_that_are_alike_are_not_told_apart(manager: Client, meter: Instrument) -> None:
    one = _system("A-1", (380.0, 420.0, 390.0), meter)
    other = _system("B-1", (385.0, 410.0, 400.0), meter)
    text = _text(manager, _address(one, other))
    assert "As found: no evidence that they differ." in text


def test_what_was_measured_once_can_t_be_compared(manager: Client, meter: Instrument) -> None:
    one = _system("A-1", (300.0,), meter, left=None)
    other = _system("B-1", (400.0, 410.0), meter, left=None)
    text = _text(manager, _address(one, other))
    assert "As found: too few measurements to say; it takes two of each." in text
    assert "As left: nothing to hold against each other." in text
    assert "Too few measurements" in text


def test_calls_are_never_mixed_and_the_commonest_is_taken(
    manager: Client, meter: Instrument
) -> None:
    one = _system("A-1", (400.0, 410.0), meter)
    other = _system("B-1", (400.0, 410.0), meter)
    third = _system("C-1", (300.0, 310.0), meter, call="heating")
    text = _text(manager, _address(one, other, third))
    assert "Judged measurements under cooling" in text
    assert "Nothing was judged under cooling of C-1 at" in text
    text = _text(manager, _address(one, other, third, call="heating"))
    assert "Judged measurements under heating" in text
    assert "Nothing was judged under heating of A-1 at" in text


def test_the_order_of_the_address_is_the_order_of_the_page(meter: Instrument) -> None:
    sections = [_system(tag, (400.0, 410.0), meter) for tag in ("A-1", "B-1", "C-1")]
    wanted = [section.equipment_id for section in reversed(sections)]
    found = comparison(wanted, Filters(), call="", is_relative=True)
    assert [one.system.id for one in found.systems] == wanted


def test_a_choice_that_makes_no_sense_is_named(manager: Client, meter: Instrument) -> None:
    one = _system("A-1", (400.0,), meter)
    assert "Choose two to six systems" in _text(manager, "/systems/compare/")
    text = _text(manager, f"/systems/compare/?system={one.equipment_id}&system=x&system={uuid4()}")
    assert "names a system that can't exist" in text
    assert "1 system of the address can't be found." in text
    assert "Choose two to six systems" in text
    many = [_system(f"M-{number}", (400.0,), meter) for number in range(7)]
    text = _text(manager, _address(*many))
    assert "the first 6 are shown" in text
    assert "M-5" in text
    assert "M-6" not in text


def test_nothing_judged_is_said(manager: Client) -> None:
    sections = [factories.make_section() for _ in range(2)]
    text = _text(manager, _address(*sections))
    assert "Nothing was judged of these systems in this period" in text


def test_the_tables_come_as_files(manager: Client, meter: Instrument, ip_company: Company) -> None:
    address = _address(*[_system(tag, (400.0, 410.0), meter) for tag in ("A-1", "B-1")])
    query = address.split("?")[1]
    for slug, rows in (("summary", 2), ("differences", 2), ("points", 8)):
        response = manager.get(f"/systems/compare/{slug}.csv?{query}")
        assert response.status_code == 200
        assert len(list(csv.DictReader(io.StringIO(response.content.decode())))) == rows
    assert manager.get(f"/systems/compare/secrets.csv?{query}").status_code == 404
    assert Client().get(address).status_code == 302


def test_systems_are_ticked_in_the_list_and_stay_ticked(manager: Client, meter: Instrument) -> None:
    one = _system("A-1", (400.0,), meter)
    page = manager.get("/systems/").content.decode()
    assert 'action="/systems/compare/"' in page
    assert f'name="system" value="{one.equipment_id}"' in page
    assert f"Compare A-1, {one.equipment.site.name}" in html.unescape(page)
    page = manager.get(f"/systems/?system={one.equipment_id}&q=nothing-like-it").content.decode()
    assert f'<input type="hidden" name="system" value="{one.equipment_id}">' in page


@pytest.mark.parametrize("size", [2, 6])
def test_as_many_statements_however_many_are_compared(
    manager: Client, meter: Instrument, size: int
) -> None:
    sections = [_system(f"S-{number}", (400.0, 410.0, 390.0), meter) for number in range(size)]
    with CaptureQueriesContext(connection) as statements:
        assert manager.get(_address(*sections)).status_code == 200
    assert len(statements) == STATEMENTS
