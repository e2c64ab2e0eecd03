"""The pages in a real browser: they are drawn, they fit, they can be used, nothing complains."""

from __future__ import annotations

import datetime
import re
import struct
import zlib
from itertools import pairwise

import pytest

from airflow_jobs.models import Person, Traverse
from tests import factories
from tests.browser.conftest import NARROW, WIDE, Visit, Visitor
from tests.dashboards.records import make_adjustment, make_job, make_measured
from tests.factories import NOW

pytestmark = pytest.mark.django_db(transaction=True)

EVERYTHING = "/?period=all"


@pytest.fixture
def record(manager: Person) -> Traverse:
    """A few months of two crews at two systems, one of them left high."""
    crews = []
    for name in ("North crew", "South crew"):
        crew = factories.make_crew(name=name)
        for _ in range(3):
            factories.make_membership(crew=crew, person=factories.make_person())
        crews.append(crew)
    section = factories.make_section()
    for number in range(6):
        taken_at = NOW - datetime.timedelta(days=70 * number)
        visit = make_job(
            found=300.0 + 40.0 * number,
            left=400.0,
            section=section,
            crew=crews[number % 2],
            taken_at=taken_at,
        )
        make_adjustment(
            visit=visit,
            equipment=section.equipment,
            made_at=taken_at + datetime.timedelta(minutes=20),
        )
    make_job(found=300.0, left=520.0, crew=crews[1])
    make_job(found=None, left=446.0, crew=crews[0])
    traverse = Traverse.objects.filter(duct_section=section).order_by("pk").first()
    assert traverse is not None
    return traverse


def _pages(traverse: Traverse) -> list[str]:
    return [
        EVERYTHING,
        "/crews/?period=all",
        "/over-time/?period=all&campaign=2026-01-01",
        "/instruments/?period=all",
        f"/instruments/{traverse.instrument_id}/?period=all",
        "/systems/",
        f"/systems/{traverse.duct_section.equipment_id}/",
        "/systems/returning/?period=all",
        f"/sites/{traverse.visit.site_id}/?period=all",
        compared_address(traverse),
        f"/traverses/{traverse.pk}/",
    ]


def compared_address(traverse: Traverse) -> str:
    """The address that sets two systems beside each other."""
    other = Traverse.objects.exclude(duct_section=traverse.duct_section).order_by("pk").first()
    assert other is not None
    systems = [one.duct_section.equipment_id for one in (traverse, other)]
    return f"/systems/compare/?period=all&system={systems[0]}&system={systems[1]}"


def _pixels(visitor: Visitor, selector: str) -> list[tuple[int, int, int]]:
    """Return the pixels of one element as the screen shows it (8-bit PNG, not interlaced)."""
    data = visitor.page.locator(selector).screenshot()
    place, size, compressed = 8, (0, 0, 0), b""
    while place < len(data):
        length, kind = struct.unpack(">I4s", data[place : place + 8])
        body = data[place + 8 : place + 8 + length]
        if kind == b"IHDR":
            width, height, depth, colour = struct.unpack(">IIBB", body[:10])
            assert depth == 8
            size = (width, height, {2: 3, 6: 4}[colour])
        elif kind == b"IDAT":
            compressed += body
        place += 12 + length
    return _unfiltered(zlib.decompress(compressed), *size)


def _unfiltered(raw: bytes, width: int, height: int, step: int) -> list[tuple[int, int, int]]:
    """Undo the filters of PNG (ISO/IEC 15948, section 9)."""
    stride = width * step
    above = bytearray(stride)
    pixels = []
    for row in range(height):
        start = row * (stride + 1)
        kind, line = raw[start], bytearray(raw[start + 1 : start + 1 + stride])
        for index in range(stride):
            left = line[index - step] if index >= step else 0
            up = above[index]
            corner = above[index - step] if index >= step else 0
            line[index] = (line[index] + _predicted(kind, left, up, corner)) & 0xFF
        pixels += [(line[at], line[at + 1], line[at + 2]) for at in range(0, stride, step)]
        above = line
    return pixels


def _predicted(kind: int, left: int, up: int, corner: int) -> int:
    if kind == 4:
        guess = left + up - corner
        nearest = min((abs(guess - one), rank) for rank, one in enumerate((left, up, corner)))
        return (left, up, corner)[nearest[1]]
    return (0, left, up, (left + up) // 2)[kind]


def _traces(visitor: Visitor) -> dict[str, list[str]]:
    found: dict[str, list[str]] = visitor.page.evaluate(
        "Object.fromEntries([...document.querySelectorAll('[data-chart]')]"
        ".map(one => [one.id, one._fullData.map(trace => trace.type)]))"
    )
    return found


def test_sign_in_leads_to_the_fleet_and_sign_out_back(visit: Visit, manager: Person) -> None:
    visitor = visit()
    page = visitor.page
    page.goto("/systems/")
    assert page.url.endswith("/sign-in/?next=/systems/")
    page.get_by_label("User name").fill("manager")
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Sign in").click()
    assert "don't belong together" in page.get_by_role("alert").inner_text()
    page.get_by_label("Password").fill("correct horse 7 battery")
    page.keyboard.press("Enter")
    page.wait_for_url("**/systems/")
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in/")


def test_an_empty_record_says_what_to_do_first(visit: Visit, manager: Person) -> None:
    visitor = visit(manager)
    visitor.open("/")
    assert visitor.page.get_by_role("heading", level=1).inner_text() == "Nothing is on record yet"
    assert visitor.complaints == []


def test_links_lead_from_the_fleet_to_a_traverse(
    visit: Visit, manager: Person, record: Traverse
) -> None:
    visitor = visit(manager)
    visitor.open(EVERYTHING)
    page = visitor.page
    table = page.locator("#table-needs-a-look")
    table.get_by_role("link").first.click()
    page.wait_for_url(re.compile(r"/systems/[0-9a-f-]+/\?period=all$"))
    page.locator("#table-timeline").get_by_role("link").first.click()
    page.wait_for_url(re.compile(r"/traverses/[0-9a-f-]+/\?period=all$"))
    assert "520" in page.locator(".headline").inner_text()


def test_filters_are_set_by_keyboard_and_stay_in_the_address(
    visit: Visit, manager: Person, record: Traverse
) -> None:
    visitor = visit(manager)
    visitor.open("/")
    page = visitor.page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.locator(".filters summary").focus()
    page.keyboard.press("Enter")
    page.get_by_label("Period").select_option("all")
    page.get_by_label("Crew", exact=True).select_option(label="South crew")
    page.get_by_role("button", name="Show").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**crew=*")
    assert "3 of 4 jobs" in " ".join(page.locator("#stands").inner_text().split())
    assert page.get_by_label("Crew", exact=True).locator("option:checked").text_content() == (
        "South crew"
    )
    page.get_by_role("link", name="Crew: South crew").click()
    page.wait_for_url(lambda url: "crew=" not in url)
    assert "7 of 8 jobs" in " ".join(page.locator("#stands").inner_text().split())


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_pages_fit_are_drawn_and_nothing_complains(
    visit: Visit, manager: Person, record: Traverse, size: tuple[int, int], scheme: str
) -> None:
    visitor = visit(manager, size=size, scheme=scheme)
    drawn: dict[str, list[str]] = {}
    for path in _pages(record):
        visitor.open(path)
        assert visitor.width <= size[0], path
        drawn |= _traces(visitor)
    assert visitor.complaints == []
    assert set(drawn) == {
        "chart-months",
        "chart-flows",
        "chart-crews",
        "chart-found",
        "chart-months-left",
        "chart-months-found",
        "chart-place",
        "chart-calendar",
        "chart-kinds",
        "chart-sites",
        "chart-history",
        "chart-compared",
        "chart-profile",
    }
    assert drawn["chart-profile"] == ["heatmap"]
    assert set(drawn["chart-flows"]) == {"bar"}
    others = drawn.keys() - {"chart-profile", "chart-flows"}
    assert all(set(drawn[key]) == {"scatter"} for key in others)


def test_pages_work_at_twice_the_size(visit: Visit, manager: Person, record: Traverse) -> None:
    # A window of 1280 at 200 % has as much room as one of 640 (WCAG 2.2, 1.4.4 and 1.4.10).
    visitor = visit(manager, size=(640, 450), device_scale_factor=2)
    for path in _pages(record):
        visitor.open(path)
        assert visitor.width <= 640, path


def test_a_day_and_a_period_don_t_contradict_each_other(
    visit: Visit, manager: Person, record: Traverse
) -> None:
    visitor = visit(manager)
    visitor.open("/")
    page = visitor.page
    page.locator(".filters summary").click()
    page.get_by_label("From").fill("2026-05-01")
    assert page.get_by_label("Period").input_value() == "dates"
    page.get_by_role("button", name="Show").click()
    page.wait_for_url("**from=2026-05-01*")
    assert "Since 1 May 2026" in page.locator(".filters summary").inner_text()
    page.locator(".filters summary").click()
    page.get_by_label("Period").select_option("all")
    assert page.get_by_label("From").input_value() == ""


def test_charts_are_drawn_in_the_page_s_ink(
    visit: Visit, manager: Person, record: Traverse
) -> None:
    for scheme, ink in (("light", (28, 37, 48)), ("dark", (236, 233, 226))):
        visitor = visit(manager, scheme=scheme)
        visitor.open(EVERYTHING)
        pixels = _pixels(visitor, "#chart-months")
        assert sum(pixel == ink for pixel in pixels) > 200, scheme


def test_charts_change_with_light_and_dark(visit: Visit, manager: Person, record: Traverse) -> None:
    visitor = visit(manager)
    visitor.open(EVERYTHING)
    colour = "document.querySelector('#chart-months')._fullLayout.font.color"
    assert visitor.page.evaluate(colour) == "#1c2530"
    visitor.page.emulate_media(color_scheme="dark")
    visitor.page.wait_for_function(f"() => {colour} === '#ece9e2'")


def test_cells_of_the_profile_do_not_smear(visit: Visit, manager: Person, record: Traverse) -> None:
    rows = [[3.0 if (line + point) % 2 else 1.0 for point in range(5)] for line in range(5)]
    traverse = make_measured(section=record.duct_section, readings={"values": rows})
    visitor = visit(manager)
    visitor.open(f"/traverses/{traverse.pk}/")
    assert (
        visitor.page.evaluate(
            "getComputedStyle(document.querySelector('.heatmaplayer image')).imageRendering"
        )
        == "pixelated"
    )
    pixels = _pixels(visitor, "#chart-profile .heatmaplayer")
    # Slow and fast cells have one colour each; a smeared map has hundreds in between.
    slow, fast = (243, 241, 235), (143, 154, 166)
    plain = sum(pixel in (slow, fast) for pixel in pixels)
    assert plain > 0.85 * len(pixels)


def test_a_round_section_shows_its_points_in_place(visit: Visit, manager: Person) -> None:
    section = factories.make_round_section()
    depths = [0.013, 0.055, 0.13, 0.276, 0.352, 0.393]
    traverse = make_measured(
        section=section,
        readings={"values": [[2.0, 2.6, 3.0, 3.0, 2.6, 2.0]] * 3},
        positions={"angles": [0.0, 60.0, 120.0], "depths": [depths] * 3},
    )
    visitor = visit(manager, size=NARROW)
    visitor.open(f"/traverses/{traverse.pk}/")
    assert visitor.page.locator("#chart-profile .scatterlayer .point").count() == 18
    box = visitor.page.locator("#chart-profile").bounding_box()
    assert box is not None
    assert box["height"] == pytest.approx(box["width"], abs=2)
    assert visitor.complaints == []


def test_every_field_and_chart_has_a_name_and_headings_keep_their_order(
    visit: Visit, manager: Person, record: Traverse
) -> None:
    visitor = visit(manager)
    for path in _pages(record):
        visitor.open(path)
        unnamed = visitor.page.evaluate(
            "[...document.querySelectorAll('input:not([type=hidden]), select')]"
            ".filter(one => !one.labels.length).length"
        )
        assert unnamed == 0, path
        levels = visitor.page.evaluate(
            "[...document.querySelectorAll('h1, h2, h3')].map(one => Number(one.tagName[1]))"
        )
        assert levels[0] == 1, path
        assert levels.count(1) == 1, path
        assert all(after - before <= 1 for before, after in pairwise(levels))
        for chart in visitor.page.locator("[data-chart]").all():
            assert chart.get_attribute("role") == "img"
            assert len(chart.get_attribute("aria-label") or "") > 20


def test_targets_are_large_enough_for_a_thumb(
    visit: Visit, manager: Person, record: Traverse
) -> None:
    visitor = visit(manager, size=NARROW)
    visitor.open(EVERYTHING)
    # WCAG 2.2, 2.5.8: 24 by 24 CSS pixels; links inside sentences and tables are excepted.
    small = visitor.page.evaluate(
        "[...document.querySelectorAll('button, input:not([type=hidden]), select, summary, nav a')]"
        ".filter(one => one.offsetParent && (one.getBoundingClientRect().height < 24"
        " || one.getBoundingClientRect().width < 24)).map(one => one.outerHTML)"
    )
    assert small == []


def test_a_page_is_complete_without_script(visit: Visit, manager: Person, record: Traverse) -> None:
    visitor = visit(manager, java_script_enabled=False)
    visitor.page.goto(f"/traverses/{record.pk}/")
    assert "300" in visitor.page.locator(".headline").inner_text()
    assert visitor.page.locator("#table-readings tbody tr").count() == 5
