"""Whether the benchmark of the pages knows all of them."""

from __future__ import annotations

from benchmarks.pages import NOT_MEASURED, PAGES
from dashboards.urls import urlpatterns


def test_every_page_is_measured() -> None:
    addresses = {pattern.name for pattern in urlpatterns}
    forgotten = addresses - set(PAGES) - NOT_MEASURED
    assert not forgotten, f"say in benchmarks/pages.py how to ask for {', '.join(forgotten)}"
    assert not (set(PAGES) | NOT_MEASURED) - addresses
