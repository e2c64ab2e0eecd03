"""Charts in a real browser: drawn, in the page's ink, unsmeared, and to be saved as pictures."""

from __future__ import annotations

import datetime
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from playwright.sync_api import Page

from airflow_jobs.models import Person
from tests import factories
from tests.browser.company import Invented
from tests.browser.conftest import NARROW, Visit, Visitor
from tests.browser.pixels import picture, variable
from tests.browser.survey import ROUTES, address
from tests.dashboards.records import make_measured

NAMESPACE = {"svg": "http://www.w3.org/2000/svg"}
CHECKERS = [[3.0 if (line + point) % 2 else 1.0 for point in range(5)] for line in range(5)]


def _charts(page: Page) -> list[str]:
    found: list[str] = page.evaluate(
        "[...document.querySelectorAll('[data-chart]')].map(one => one.id)"
    )
    return found


@pytest.mark.parametrize(
    ("name", "scheme"), [("fleet", "light"), *((name, "dark") for name in ROUTES)]
)
def test_charts_are_not_empty(visit: Visit, record: Invented, name: str, scheme: str) -> None:
    visitor = visit(record.manager, scheme=scheme, only_looks=True)
    visitor.open(address(name, record))
    for chart in _charts(visitor.page):
        seen = picture(visitor.page, visitor.page.locator(f"#{chart}").screenshot())
        # Most of it is paper, unless a band or the cells of a heat map fill it.
        assert len(seen.counts) > 10, chart
        assert max(seen.counts.values()) < 0.999 * seen.total, chart
        assert seen.share_of(variable(visitor.page, "--ink")) > 0.0005, chart


def test_charts_change_with_light_and_dark(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager)
    visitor.open(address("fleet", record))
    colour = "document.querySelector('#chart-months')._fullLayout.font.color"
    assert visitor.page.evaluate(colour) == "#1c2530"
    visitor.page.emulate_media(color_scheme="dark")
    visitor.page.wait_for_function(f"() => {colour} === '#ece9e2'")


def test_charts_don_t_move_for_who_wants_it_still(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager, reduced_motion="reduce")
    visitor.open(address("fleet", record))
    page = visitor.page
    moving = page.evaluate(
        "[...document.querySelectorAll('a, button')].filter(one => "
        "getComputedStyle(one).transitionDuration !== '0s').length"
    )
    assert moving == 0
    assert page.evaluate("document.querySelector('#chart-months').layout.transition.duration") == 0


@pytest.fixture
def checkers(record: Invented) -> str:
    """The page of a traverse whose readings alternate, like the squares of a board."""
    assert record.traverse is not None
    made = make_measured(section=factories.make_section(), readings={"values": CHECKERS})
    return f"/traverses/{made.pk}/"


def test_cells_of_the_profile_do_not_smear(visit: Visit, record: Invented, checkers: str) -> None:
    visitor = visit(record.manager)
    visitor.open(checkers)
    page = visitor.page
    map_ = page.locator("#chart-profile .heatmaplayer")
    assert (
        map_.locator("image").evaluate("one => getComputedStyle(one).imageRendering") == "pixelated"
    )
    seen = picture(page, map_.screenshot())
    # Slow and fast cells have one colour each; a smeared map has hundreds in between.
    assert seen.share_of(variable(page, "--heat-0"), variable(page, "--heat-1")) > 0.85


def test_cells_do_not_smear_in_a_picture_either(
    visit: Visit, record: Invented, checkers: str, tmp_path: Path
) -> None:
    visitor = visit(record.manager, scheme="dark")
    visitor.open(checkers)
    page = visitor.page
    saved = _save(page, "chart-profile", "png", tmp_path)
    slow, fast = variable(page, "--print-heat-0"), variable(page, "--print-heat-1")
    seen = picture(page, saved.read_bytes())
    assert seen.share_of(slow) > 0.2
    assert seen.share_of(fast) > 0.2
    between = [
        count
        for colour, count in seen.counts.items()
        if slow[0] > colour[0] > fast[0] and colour[0] == colour[1] == colour[2]
    ]
    assert sum(between) < 0.02 * seen.total
    assert visitor.complaints == []


def test_a_round_section_shows_its_points_in_place(visit: Visit, record: Invented) -> None:
    depths = [0.013, 0.055, 0.13, 0.276, 0.352, 0.393]
    traverse = make_measured(
        section=factories.make_round_section(),
        readings={"values": [[2.0, 2.6, 3.0, 3.0, 2.6, 2.0]] * 3},
        positions={"angles": [0.0, 60.0, 120.0], "depths": [depths] * 3},
    )
    visitor = visit(record.manager, size=NARROW)
    visitor.open(f"/traverses/{traverse.pk}/")
    assert visitor.page.locator("#chart-profile .scatterlayer .point").count() == 18
    box = visitor.page.locator("#chart-profile").bounding_box()
    assert box is not None
    assert box["height"] == pytest.approx(box["width"], abs=2)
    assert visitor.complaints == []


def _save(page: Page, chart: str, kind: str, folder: Path) -> Path:
    with page.expect_download() as download:
        page.locator(f"[data-picture={chart}]").get_by_role(
            "button", name=f"Picture to save, {kind.upper()}"
        ).click()
    path = folder / download.value.suggested_filename
    download.value.save_as(path)
    return path


def _opened(visit: Visit, person: Person, path: str) -> Visitor:
    visitor = visit(person, scheme="dark")
    visitor.open(path)
    return visitor


def test_a_picture_is_ink_on_white_from_a_dark_page_too(
    visit: Visit, record: Invented, tmp_path: Path
) -> None:
    visitor = _opened(visit, record.manager, address("fleet", record))
    saved = _save(visitor.page, "chart-months", "png", tmp_path)
    seen = picture(visitor.page, saved.read_bytes())
    assert seen.width == 1920
    assert seen.commonest == (255, 255, 255)
    assert seen.share_of((0, 0, 0)) > 0.002
    assert visitor.complaints == []


def test_a_picture_says_what_it_shows_of_whom_and_when(
    visit: Visit, record: Invented, tmp_path: Path
) -> None:
    path = "/?from=2026-01-01&to=2026-06-30&kind=split_system"
    visitor = _opened(visit, record.manager, path)
    saved = _save(visitor.page, "chart-months", "svg", tmp_path)
    tree = ElementTree.parse(saved).getroot()
    written = " ".join("".join(one.itertext()) for one in tree.findall("svg:text", NAMESPACE))
    assert "Fleet: Over time" in written
    assert "1 Jan 2026 to 30 Jun 2026" in written
    sentence = visitor.page.locator("#chart-months-figure figcaption").inner_text()
    assert re.sub(r"\s+", " ", sentence) in written
    assert "Test Air Services" in written
    day = visitor.page.evaluate("document.body.dataset.today")
    assert written.endswith(f"Test Air Services, {day}")
    iso = visitor.page.evaluate("document.body.dataset.day")
    assert datetime.date.fromisoformat(iso)
    assert saved.name == f"fleet-over-time-{iso}.svg"


def test_a_link_shows_a_chart_again_and_the_same_days(visit: Visit, record: Invented) -> None:
    visitor = visit(record.manager)
    visitor.open("/?period=3y")
    page = visitor.page
    link = page.locator("#chart-sites-figure").get_by_role("link", name="shows this again")
    target = link.get_attribute("href") or ""
    assert re.fullmatch(
        r"/\?period=dates&from=\d{4}-\d\d-\d\d&to=\d{4}-\d\d-\d\d#chart-sites-figure", target
    )
    visitor.open(target)
    assert page.locator("#chart-sites-figure").evaluate(
        "one => one.getBoundingClientRect().top < innerHeight"
    )


def test_without_script_there_is_the_table_and_no_button(visit: Visit, record: Invented) -> None:
    page = visit(record.manager, java_script_enabled=False).page
    page.goto(address("fleet", record))
    assert page.get_by_role("button", name="PNG").count() == 0
    assert not page.locator("#chart-months").is_visible()
    page.locator("#chart-months-figure ~ details summary").click()
    assert page.locator("#table-months tbody tr").first.is_visible()
    page.goto(address("traverse", record))
    assert page.locator(".headline").is_visible()
    assert page.locator("#table-readings tbody tr").count() == 5
