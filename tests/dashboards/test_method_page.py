"""The method document as a page, and that the pages' links into it land."""

import re

import pytest
from django.test import Client

from airflow_jobs import recompute
from tests import factories

pytestmark = pytest.mark.django_db


def test_the_method_is_a_page_for_who_is_signed_in(manager: Client, client: Client) -> None:
    assert client.get("/method/").status_code == 302
    page = manager.get("/method/").content.decode()
    assert "How every number comes about" in page
    assert '<a id="density"></a>' in page
    assert "<table>" in page


def test_every_link_from_a_traverse_into_the_method_lands(manager: Client) -> None:
    traverse = factories.make_traverse(
        barometric_pressure_pa=None,
        positions={"lines": [0.034, 0.132, 0.249, 0.326, 0.423]},
    )
    recompute.drain()
    page = manager.get(f"/traverses/{traverse.pk}/").content.decode()
    anchors = set(re.findall(r'id="([^"]+)"', manager.get("/method/").content.decode()))
    links = set(re.findall(r'href="/method/#([^"]+)"', page))
    assert {"density", "positions", "wall", "budget-calibration"} <= links
    assert any(link.startswith("finding-") for link in links)
    assert links <= anchors


def test_what_scrolls_sideways_takes_the_focus_and_has_a_name_of_its_own(manager: Client) -> None:
    page = manager.get("/method/").content.decode()
    names = re.findall(r'tabindex="0" role="region" aria-label="([^"]+)"', page)
    assert len(names) == len(set(names)) == page.count("<pre") + page.count("<table")
    assert all(re.match(r"(Formulas|Table) \d+: .", name) for name in names)
