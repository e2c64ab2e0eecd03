"""Filters live in the address: they follow through links and navigation, and back goes back."""

from __future__ import annotations

import pytest

from tests.browser.company import Invented
from tests.browser.conftest import Visit


def test_filters_are_taken_off_one_by_one(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager)
    visitor.open("/?period=all")
    page = visitor.page
    everything = page.locator("#stands").inner_text()
    page.locator(".filters summary").click()
    page.get_by_label("Crew", exact=True).select_option(label="South crew")
    visitor.follow(page.get_by_role("button", name="Show"))
    page.wait_for_url("**crew=*")
    assert page.locator("#stands").inner_text() != everything
    visitor.follow(page.get_by_role("link", name="Crew: South crew"))
    page.wait_for_url(lambda url: "crew=" not in url)
    assert "period=all" in page.url
    assert page.locator("#stands").inner_text() == everything


@pytest.mark.parametrize("to", ["Systems", "Crews", "Instruments"])
def test_filters_follow_through_the_navigation(visit: Visit, record: Invented, to: str) -> None:
    visitor = visit(record.manager)
    visitor.open("/?period=3y&kind=split_system")
    page = visitor.page
    visitor.follow(page.get_by_role("navigation", name="Pages").get_by_role("link", name=to))
    page.wait_for_url(f"**/{to.lower()}/?*")
    assert "period=3y" in page.url
    assert "kind=split_system" in page.url
    visitor.follow(page.get_by_role("navigation", name="Pages").get_by_role("link", name="Fleet"))
    page.wait_for_url(lambda url: to.lower() not in url)
    assert "period=3y" in page.url
    assert "kind=split_system" in page.url


def test_filters_follow_through_links_in_tables(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager)
    visitor.open("/crews/?period=all")
    page = visitor.page
    visitor.follow(page.locator("#table-left").get_by_role("link", name="North crew"))
    page.wait_for_url("**crew=*")
    assert "period=all" in page.url
    assert page.locator(".filters summary strong").inner_text() == "Everything"


def test_filters_follow_through_a_search(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager)
    visitor.open("/systems/?period=3y&stage=as_found")
    page = visitor.page
    page.get_by_role("searchbox").fill("no such system")
    visitor.follow(page.get_by_role("button", name="Search", exact=True))
    page.wait_for_url("**q=no*")
    visitor.follow(page.get_by_role("navigation", name="Pages").get_by_role("link", name="Fleet"))
    page.wait_for_url("**period=3y*")
    assert "stage=as_found" in page.url


def test_back_goes_back_to_the_filters_before(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager)
    visitor.open("/?period=all")
    page = visitor.page
    before = page.locator("#stands").inner_text()
    page.locator(".filters summary").click()
    page.get_by_label("Period").select_option("3m")
    visitor.follow(page.get_by_role("button", name="Show"))
    page.wait_for_url("**period=3m*")
    page.go_back()
    page.wait_for_url("**period=all*")
    assert page.locator("#stands").inner_text() == before
    assert page.get_by_label("Period").input_value() == "all"
    page.go_forward()
    page.wait_for_url("**period=3m*")
    assert page.get_by_label("Period").input_value() == "3m"


def test_a_day_and_a_period_don_t_contradict_each_other(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager)
    visitor.open("/")
    page = visitor.page
    page.locator(".filters summary").click()
    page.get_by_label("From").fill("2026-05-01")
    assert page.get_by_label("Period").input_value() == "dates"
    visitor.follow(page.get_by_role("button", name="Show"))
    page.wait_for_url("**from=2026-05-01*")
    assert "Since 1 May 2026" in page.locator(".filters summary").inner_text()
    page.locator(".filters summary").click()
    page.get_by_label("Period").select_option("all")
    assert page.get_by_label("From").input_value() == ""


def test_an_address_that_makes_no_sense_says_so_and_shows_the_rest(
    visit: Visit, record: Invented
) -> None:
    visitor = visit(record.manager)
    visitor.open("/?period=yesterday&from=soon")
    said = visitor.page.get_by_role("status").all_inner_texts()
    assert any("yesterday" in one for one in said)
    assert any("soon" in one for one in said)
