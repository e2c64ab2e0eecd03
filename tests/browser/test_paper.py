"""Pages on paper: reports without what only a screen can do, light even from a dark screen."""

from __future__ import annotations

import pytest

from tests.browser.company import Invented
from tests.browser.conftest import Visit
from tests.browser.pixels import picture
from tests.browser.survey import ROUTES, address

# What A4 and Letter have room for between the margins of the styles for paper.
ON_PAPER = (680, 900)

_PRINTED = """() => {
  const shown = selector => [...document.querySelectorAll(selector)]
    .filter(one => one.checkVisibility()).map(one => one.outerHTML.slice(0, 120));
  const main = document.querySelector("main").getBoundingClientRect();
  return {
    width: document.documentElement.scrollWidth,
    cut: [...document.querySelectorAll("main table, main .drawing, main pre, main svg")]
      .filter(one => one.getBoundingClientRect().right > main.right + 1)
      .map(one => one.outerHTML.slice(0, 120)),
    left: shown("nav, .filters, .skip, button"),
    saysNothing: [...document.querySelectorAll(".after-table")]
      .filter(one => one.checkVisibility() && one.innerText.trim().length < 2)
      .map(one => one.outerHTML),
    closed: [...document.querySelectorAll("main details > :not(summary, .after-table)")]
      .filter(one => !one.closest(".filters") && !one.checkVisibility()).length,
    head: document.querySelector(".paper-head")?.innerText ?? "",
    foot: document.querySelector(".paper-foot")?.innerText ?? "",
    title: shown("h1").length,
    heads: [...document.querySelectorAll("thead")]
      .every(one => getComputedStyle(one).display === "table-header-group"),
    charts: [...document.querySelectorAll("[data-chart]")]
      .map(one => [one._fullLayout.width, one._fullLayout.font.color]),
  };
}"""


@pytest.mark.parametrize(
    ("name", "scheme"), [("fleet", "light"), *((name, "dark") for name in ROUTES)]
)
def test_pages_are_reports_on_paper(visit: Visit, record: Invented, name: str, scheme: str) -> None:
    visitor = visit(record.manager, size=ON_PAPER, scheme=scheme, only_looks=True)
    visitor.open(address(name, record))
    page = visitor.page
    page.emulate_media(media="print", color_scheme=scheme)  # type: ignore[arg-type]
    page.wait_for_function(
        "() => [...document.querySelectorAll('[data-chart]')]"
        ".every(one => one.dataset.drawn === 'on paper')"
    )
    printed = page.evaluate(_PRINTED)
    assert printed["width"] <= ON_PAPER[0]
    assert printed["cut"] == []
    assert printed["left"] == []
    assert printed["saysNothing"] == []
    assert printed["closed"] == 0
    assert "Test Air Services" in printed["head"]
    assert printed["title"] == 1
    assert printed["heads"]
    assert all(chart == [680, "#000"] for chart in printed["charts"])
    assert picture(page, page.screenshot()).commonest == (255, 255, 255)
    assert visitor.complaints == []


def test_the_head_says_the_filters_in_words_and_the_foot_how_to_see_them_again(
    visit: Visit, record: Invented
) -> None:
    visitor = visit(record.manager, size=ON_PAPER, only_looks=True)
    visitor.open("/?period=12m&kind=split_system")
    page = visitor.page
    page.emulate_media(media="print")
    printed = page.evaluate(_PRINTED)
    assert "Last 12 months, 1 " in printed["head"]
    assert "as left" in printed["head"]
    assert page.evaluate("document.body.dataset.today") in printed["head"]
    assert "period=dates&from=" in printed["foot"]


def test_charts_come_back_from_paper_as_they_were(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager)
    visitor.open(address("fleet", record))
    page = visitor.page
    chart = "document.querySelector('#chart-months')._fullLayout"
    state = f"[{chart}.width, {chart}.font.color]"
    before = page.evaluate(state)
    # The first is what a print dialog sees at once; nothing may be left for later.
    assert page.evaluate(f"(dispatchEvent(new Event('beforeprint')), {state})") == [680, "#000"]
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    page.wait_for_function(f"before => String({state}) === String(before)", arg=before)


def test_a_page_becomes_a_document(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager, scheme="dark")
    visitor.open(address("fleet", record))
    document = visitor.page.pdf(prefer_css_page_size=True)
    assert document.startswith(b"%PDF-")
    assert document.count(b"/Type /Page\n") >= 2
    assert visitor.complaints == []
