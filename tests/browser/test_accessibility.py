"""What an automatic checker of accessibility says of each page (axe-core, WCAG 2.2 A and AA)."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

from airflow_jobs.actions.access import Actor
from airflow_jobs.actions.report_links import make_report_link
from airflow_jobs.models import Person, Traverse
from tests.browser.conftest import NARROW, WIDE, Visit, Visitor
from tests.browser.test_pages import EVERYTHING, compared_address, record

__all__ = ["record"]

pytestmark = pytest.mark.django_db(transaction=True)

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
OPTIONS = {"runOnly": {"type": "tag", "values": RULES}, "resultTypes": ["violations"]}


def complaints(visitor: Visitor) -> list[str]:
    """Return what axe finds wrong on the page that is open, everything behind a summary open."""
    visitor.page.evaluate(
        "document.querySelectorAll('details').forEach(one => { one.open = true })"
    )
    found = Axe().run(visitor.page, options=OPTIONS).response
    assert found["passes"], "axe looked at nothing"
    return [
        f"{violation['id']}: {node['html'][:200]} {node['failureSummary']}"
        for violation in found["violations"]
        for node in violation["nodes"]
    ]


def _addresses(traverse: Traverse) -> dict[str, str]:
    return {
        "fleet": EVERYTHING,
        "due": "/due/",
        "needs a look": "/needs-a-look/",
        "crews": "/crews/?period=all",
        "over time": "/over-time/?period=all&campaign=2026-01-01",
        "instruments": "/instruments/?period=all",
        "instrument": f"/instruments/{traverse.instrument_id}/?period=all",
        "systems": "/systems/",
        "system": f"/systems/{traverse.duct_section.equipment_id}/",
        "returning": "/systems/returning/?period=all",
        "site": f"/sites/{traverse.visit.site_id}/?period=all",
        "compared": compared_address(traverse),
        "traverse": f"/traverses/{traverse.pk}/",
        "revisions": f"/traverses/{traverse.pk}/revisions/",
        "visit": f"/visits/{traverse.visit_id}/",
        "links": f"/office/visits/{traverse.visit_id}/report-links/",
        "method": "/method/",
    }


@pytest.mark.parametrize(("size", "scheme"), [(WIDE, "light"), (NARROW, "dark")])
def test_the_checker_has_nothing_to_say_of_any_page(
    visit: Visit, manager: Person, record: Traverse, size: tuple[int, int], scheme: str
) -> None:
    wrong = {}
    visitor = visit(size=size, scheme=scheme)
    visitor.open("/sign-in/")
    wrong["sign-in"] = complaints(visitor)
    _, secret = make_report_link(
        actor=Actor.service(), visit_id=record.visit_id, now=timezone.now()
    )
    for name, address in (("report", f"/reports/{secret}/"), ("no report", "/reports/unknown/")):
        visitor.open(address)
        wrong[name] = complaints(visitor)
    visitor = visit(manager, size=size, scheme=scheme)
    for name, address in _addresses(record).items():
        visitor.open(address)
        wrong[name] = complaints(visitor)
    assert {name: found for name, found in wrong.items() if found} == {}
