"""One look at a page: everything that the tests of all pages ask about it, asked at once."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Final

from axe_playwright_python.sync_playwright import Axe
from django.urls import URLPattern
from django.urls.resolvers import RoutePattern

from airflow_jobs.models import Person
from airflow_jobs.office.urls import urlpatterns as office
from dashboards.urls import urlpatterns as dashboards
from tests.browser.company import Invented
from tests.browser.conftest import Visit, Visitor

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
OPTIONS = {"runOnly": {"type": "tag", "values": RULES}, "resultTypes": ["violations"]}

# Files, and what only takes a form.
NO_PAGES: Final = re.compile(r"\.(csv|pdf|png|svg|json)$|revocation/$")


def _routes() -> dict[str, str]:
    found = {}
    for prefix, patterns in (("", dashboards), ("office/", office)):
        for pattern in patterns:
            assert isinstance(pattern, URLPattern)
            assert isinstance(pattern.pattern, RoutePattern)
            route = str(pattern.pattern)
            if not NO_PAGES.search(route):
                found[f"{prefix}{pattern.name}"] = f"/{prefix}{route}"
    return found


ROUTES: Final = _routes()
"""The route of every page, by its name; a new page is looked at without being listed here."""

# What a page shows only when its address asks for it.
MORE: Final = {
    "over-time": "&campaign=2026-01-01",
    "systems-compared": "&system={system_id}&system={other_system_id}",
}

WITHOUT_PARTS: Final = [name for name, route in ROUTES.items() if "<" not in route]

_LOOK = """() => {
  const shown = one => one.offsetParent !== null;
  const all = (selector) => [...document.querySelectorAll(selector)];
  return {
    width: document.documentElement.scrollWidth,
    unnamed: all("input:not([type=hidden]), select, textarea")
      .filter(one => !one.labels.length).map(one => one.outerHTML),
    levels: all("h1, h2, h3, h4").map(one => Number(one.tagName[1])),
    small: all("button, input:not([type=hidden]), select, summary, nav a, .after-chart a")
      .filter(shown).filter(one => {
        const box = (one.closest("label") ?? one).getBoundingClientRect();
        return box.height < 24 || box.width < 24;
      }).map(one => one.outerHTML),
    charts: Object.fromEntries(all("[data-chart]").map(one => [one.id, {
      types: one._fullData.map(trace => trace.type),
      name: one.getAttribute("aria-label"),
      role: one.getAttribute("role"),
      sentence: one.closest("figure").querySelector("figcaption").textContent.trim(),
      pictures: all(`[data-picture="${one.id}"] button`).filter(shown).length,
      link: one.closest("figure").querySelector(".after-chart a").getAttribute("href"),
      width: one.querySelector(".main-svg").getBoundingClientRect().width,
      room: one.clientWidth,
    }])),
  };
}"""


@dataclass(frozen=True, slots=True)
class Seen:
    """What one look at a page found."""

    status: int
    width: int
    unnamed: list[str]
    levels: list[int]
    small: list[str]
    charts: dict[str, dict[str, object]]
    complaints: list[str]
    against_the_rules: list[str] = field(default_factory=list)


def address(name: str, record: Invented) -> str:
    """Return the address of a page, everything in view."""

    def part(found: re.Match[str]) -> str:
        if found[1] not in record.ids:
            raise LookupError(f"Say in company.py which row the pages of {found[1]} show.")
        return record.ids[found[1]]

    path = re.sub(r"<[a-z]+:([a-z_]+)>", part, ROUTES[name])
    more = MORE.get(name, "").format(**record.ids) if record.ids else ""
    return f"{path}?period=all{more}"


def look(visitor: Visitor, path: str) -> Seen:
    """Open a page, look at it, and ask the checker of accessibility about it."""
    visitor.open(path)
    seen = visitor.page.evaluate(_LOOK)
    # What the service refuses is told to the console too; pages of refusal are looked at as well.
    said = [one for one in visitor.complaints if "Failed to load resource" not in one]
    return Seen(
        status=visitor.status,
        complaints=said if visitor.status >= 400 else visitor.complaints,
        against_the_rules=complaints(visitor),
        **seen,
    )


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


_seen: dict[tuple[object, ...], Seen] = {}


def seen(
    visit: Visit,
    record: Invented,
    name: str,
    person: Person | None,
    size: tuple[int, int],
    scheme: str,
) -> Seen:
    """Return what one look found; asked for again, the same look is not taken twice."""
    key = (record.manager.pk, name, person and person.pk, size, scheme)
    if key not in _seen:
        visitor = visit(person, size=size, scheme=scheme, only_looks=True)
        _seen[key] = look(visitor, address(name, record))
    return _seen[key]
