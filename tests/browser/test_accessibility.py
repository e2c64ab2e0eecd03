"""What an automatic checker of accessibility says of each page (axe-core, WCAG 2.2 A and AA)."""

from __future__ import annotations

import pytest
from django.utils import timezone

from airflow_jobs.actions.access import Actor
from airflow_jobs.actions.report_links import make_report_link
from tests.browser.company import Invented
from tests.browser.conftest import NARROW, TWICE_THE_SIZE, WIDE, Visit
from tests.browser.survey import ROUTES, WITHOUT_PARTS, address, complaints, look, seen

__all__ = ["complaints"]

SCREENS = [
    pytest.param(size, scheme, id=f"{size[0]}-{scheme}")
    for size in (WIDE, NARROW)
    for scheme in ("light", "dark")
]


@pytest.mark.parametrize(("size", "scheme"), SCREENS)
@pytest.mark.parametrize("name", list(ROUTES))
def test_managers_pages_fit_are_drawn_and_keep_the_rules(
    visit: Visit, record: Invented, name: str, size: tuple[int, int], scheme: str
) -> None:
    found = seen(visit, record, name, record.manager, size, scheme)
    assert found.status == 200
    assert found.width <= size[0]
    assert found.complaints == []
    assert found.against_the_rules == []
    assert all(chart["width"] <= chart["room"] for chart in found.charts.values())  # type: ignore[operator]


@pytest.mark.parametrize("name", list(ROUTES))
def test_technicians_pages_fit_are_drawn_and_keep_the_rules(
    visit: Visit, record: Invented, name: str
) -> None:
    found = seen(visit, record, name, record.technician, NARROW, "dark")
    # Some pages are for managers alone: what a technician gets then is a page as well.
    assert found.status in (200, 403, 404)
    assert found.width <= NARROW[0]
    assert found.complaints == []
    assert found.against_the_rules == []


@pytest.mark.parametrize("name", list(ROUTES))
def test_pages_work_at_twice_the_size(visit: Visit, record: Invented, name: str) -> None:
    visitor = visit(record.manager, size=TWICE_THE_SIZE, only_looks=True)
    visitor.open(address(name, record))
    assert visitor.width <= TWICE_THE_SIZE[0]


@pytest.mark.parametrize(("size", "scheme"), SCREENS)
def test_the_page_to_sign_in_keeps_the_rules(
    visit: Visit, record: Invented, size: tuple[int, int], scheme: str
) -> None:
    found = look(visit(size=size, scheme=scheme, only_looks=True), "/sign-in/")
    assert found.width <= size[0]
    assert found.complaints == []
    assert found.against_the_rules == []


@pytest.mark.parametrize(("size", "scheme"), [(WIDE, "light"), (NARROW, "dark")])
def test_a_customer_s_report_keeps_the_rules_and_an_ended_link_too(
    visit: Visit, record: Invented, size: tuple[int, int], scheme: str
) -> None:
    assert record.traverse is not None
    _, secret = make_report_link(
        actor=Actor.service(), visit_id=record.traverse.visit_id, now=timezone.now()
    )
    for path in (f"/reports/{secret}/", "/reports/unknown/"):
        found = look(visit(size=size, scheme=scheme, only_looks=True), path)
        assert found.width <= size[0], path
        assert found.complaints == [], path
        assert found.against_the_rules == [], path


@pytest.mark.parametrize("name", list(ROUTES))
def test_every_field_and_chart_has_a_name_and_headings_keep_their_order(
    visit: Visit, record: Invented, name: str
) -> None:
    found = seen(visit, record, name, record.manager, WIDE, "light")
    assert found.unnamed == []
    assert found.levels[0] == 1
    assert found.levels.count(1) == 1
    steps = [after - before for before, after in zip(found.levels, found.levels[1:], strict=False)]
    assert all(step <= 1 for step in steps)
    for chart in found.charts.values():
        assert chart["role"] == "img"
        assert len(str(chart["name"])) > 20


@pytest.mark.parametrize("name", list(ROUTES))
def test_targets_are_large_enough_for_a_thumb(visit: Visit, record: Invented, name: str) -> None:
    # WCAG 2.2, 2.5.8: 24 by 24 CSS pixels; links inside sentences and tables are excepted.
    assert seen(visit, record, name, record.manager, NARROW, "light").small == []


@pytest.mark.parametrize("name", list(ROUTES))
def test_every_chart_has_a_sentence_two_pictures_and_a_link(
    visit: Visit, record: Invented, name: str
) -> None:
    for key, chart in seen(visit, record, name, record.manager, WIDE, "light").charts.items():
        assert len(str(chart["sentence"])) > 20, key
        assert chart["pictures"] == 2, key
        assert str(chart["link"]).endswith(f"#{key}-figure"), key
        assert set(chart["types"]) <= {"scatter", "bar", "heatmap"}, key  # type: ignore[call-overload]


@pytest.mark.parametrize(
    ("who", "size", "scheme"), [("manager", WIDE, "light"), ("technician", NARROW, "dark")]
)
@pytest.mark.parametrize("name", WITHOUT_PARTS)
def test_pages_of_an_empty_record_fit_and_keep_the_rules(
    visit: Visit,
    empty_record: Invented,
    name: str,
    who: str,
    size: tuple[int, int],
    scheme: str,
) -> None:
    found = seen(visit, empty_record, name, getattr(empty_record, who), size, scheme)
    assert found.status in (200, 404 if who == "technician" else 200)
    assert found.width <= size[0]
    assert found.complaints == []
    assert found.against_the_rules == []
