"""Every page by keyboard alone: all is reached, in reading order, and one sees where one is."""

from __future__ import annotations

from itertools import groupby

import pytest
from playwright.sync_api import Page

from tests.browser.company import Invented
from tests.browser.conftest import NARROW, Visit
from tests.browser.survey import ROUTES, address

MOST_STEPS = 400

_FOCUSABLE = """() => {
  const all = [...document.querySelectorAll(
    "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']")]
    .filter(one => !one.disabled && one.checkVisibility({ checkVisibilityCSS: true }))
    // Of radio buttons that belong together the chosen one is the stop; arrows lead to the others.
    .filter(one => one.type !== "radio" || one.checked);
  window.stops = all;
  return all.length;
}"""

_STEP = """() => {
  const one = document.activeElement;
  const style = getComputedStyle(one);
  const box = one.getBoundingClientRect();
  return {
    place: window.stops.indexOf(one),
    what: one.outerHTML.slice(0, 120),
    isOutlined: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
    isInView: box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth,
  };
}"""


def _walk(page: Page) -> list[dict[str, object]]:
    """Press Tab from the top of the page to its end."""
    steps = []
    for _ in range(MOST_STEPS):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement === document.body"):
            break
        steps.append(page.evaluate(_STEP))
        if steps[-1]["place"] == page.evaluate("window.stops.length - 1"):
            break
    return steps


@pytest.mark.parametrize("name", list(ROUTES))
def test_every_page_is_walked_in_order(visit: Visit, record: Invented, name: str) -> None:
    visitor = visit(record.manager, only_looks=True)
    visitor.open(address(name, record))
    page = visitor.page
    total = page.evaluate(_FOCUSABLE)
    steps = _walk(page)
    # A field for a day is entered in parts, each a stop of its own.
    places = [place for place, _ in groupby(step["place"] for step in steps) if place != -1]
    assert "skip" in str(steps[0]["what"])
    assert places == sorted(set(places), key=int)  # type: ignore[call-overload]
    assert len(set(places)) == min(total, MOST_STEPS), [
        step["what"] for step in steps if step["place"] == -1
    ]
    assert [step["what"] for step in steps if not step["isOutlined"]] == []
    assert [step["what"] for step in steps if not step["isInView"]] == []


def test_one_signs_in_by_keyboard(visit: Visit, record: Invented) -> None:
    visitor = visit()
    visitor.open("/sign-in/")
    page = visitor.page
    # Whoever comes here wants to type a name; the field has the focus.
    assert page.evaluate("document.activeElement.name") == "username"
    page.keyboard.type("manager")
    page.keyboard.press("Tab")
    page.keyboard.type("correct horse 7 battery")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Sign in"
    with visitor.next_page():
        page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)


def test_the_skip_link_leads_to_the_content(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager)
    visitor.open("/")
    page = visitor.page
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('main') !== null")


def test_filters_are_set_by_keyboard_and_stay_in_the_address(
    visit: Visit, record: Invented
) -> None:
    visitor = visit(record.manager)
    visitor.open("/")
    page = visitor.page
    page.locator(".filters summary").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "f-period"
    page.keyboard.type("Every")
    page.locator("#f-crew").focus()
    page.keyboard.type("South")
    page.get_by_role("button", name="Show").focus()
    with visitor.next_page():
        page.keyboard.press("Enter")
    page.wait_for_url("**crew=*")
    assert "period=all" in page.url
    assert page.locator("#f-crew option:checked").text_content() == "South crew"


def test_a_closed_table_is_opened_by_keyboard(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager)
    visitor.open(address("fleet", record))
    page = visitor.page
    page.locator("#chart-months-figure ~ details summary").focus()
    page.keyboard.press("Space")
    assert page.locator("#table-months").is_visible()


def test_what_scrolls_sideways_takes_the_focus(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager, size=NARROW, only_looks=True)
    for name in ROUTES:
        visitor.open(address(name, record))
        stuck = visitor.page.evaluate(
            "[...document.querySelectorAll('main *')].filter(one => one.scrollWidth > "
            "one.clientWidth + 1 && ['auto', 'scroll'].includes(getComputedStyle(one).overflowX)"
            " && one.tabIndex < 0 && !one.querySelector('a, button'))"
            ".map(one => one.outerHTML.slice(0, 120))"
        )
        assert stuck == [], name
