"""The way through the pages: signing in, from the fleet to a traverse, and out again."""

from __future__ import annotations

import re

from tests.browser.company import Invented
from tests.browser.conftest import Visit


def test_sign_in_leads_to_the_page_asked_for_and_sign_out_back(
    visit: Visit, record: Invented
) -> None:
    visitor = visit()
    page = visitor.page
    visitor.open("/systems/")
    assert page.url.endswith("/sign-in/?next=/systems/")
    page.get_by_label("User name").fill("manager")
    page.get_by_label("Password").fill("wrong")
    visitor.follow(page.get_by_role("button", name="Sign in"))
    assert "don't belong together" in page.get_by_role("alert").inner_text()
    page.get_by_label("Password").fill("correct horse 7 battery")
    with visitor.next_page():
        page.keyboard.press("Enter")
    page.wait_for_url("**/systems/")
    visitor.follow(page.get_by_role("button", name="Sign out"))
    page.wait_for_url("**/sign-in/")


def test_links_lead_from_the_fleet_to_a_traverse(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager)
    visitor.open("/?period=all")
    page = visitor.page
    visitor.follow(page.locator("#table-needs-a-look").get_by_role("link").first)
    page.wait_for_url(re.compile(r"/systems/[0-9a-f-]+/\?period=all$"))
    visitor.follow(page.locator("#table-timeline").get_by_role("link").first)
    page.wait_for_url(re.compile(r"/traverses/[0-9a-f-]+/\?period=all$"))
    assert page.locator(".headline").is_visible()
    assert visitor.complaints == []


def test_technicians_find_no_other_crew(visit: Visit, record: Invented) -> None:
    visitor = visit(record.technician)
    for path in ("/?period=all", "/crews/?period=all"):
        visitor.open(path)
        assert "North crew" in visitor.page.content()
        assert "South crew" not in visitor.page.content()


def test_an_empty_record_says_what_to_do_first(visit: Visit, empty_record: Invented) -> None:
    visitor = visit(empty_record.manager)
    visitor.open("/")
    assert visitor.page.get_by_role("heading", level=1).inner_text() == "Nothing is on record yet"
    assert visitor.complaints == []
