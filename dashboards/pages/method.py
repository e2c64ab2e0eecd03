"""The method document as a page: how every number comes about."""

from __future__ import annotations

import re
from collections import Counter
from functools import lru_cache
from html import escape, unescape
from pathlib import Path
from typing import Final

from django.conf import settings
from django.http import Http404, HttpResponse
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from markdown_it import MarkdownIt

from .frame import Frame, page

_BOX: Final = re.compile(r"<h[1-6][^>]*>(?P<title>.*?)</h[1-6]>|<pre>|<table>", re.DOTALL)


@page
def method(frame: Frame) -> HttpResponse:
    """Show the method document that came with this release."""
    path = Path(settings.BASE_DIR) / "docs" / "method.md"
    if not path.is_file():
        raise Http404("The method document is not part of this installation.")
    return frame.page("method.html", text=rendered(path))


@lru_cache(maxsize=1)
def rendered(path: Path) -> SafeString:
    """Return the document as HTML; it is our own file, so its anchors are kept as they are."""
    renderer = MarkdownIt("commonmark", {"html": True}).enable("table")
    html = renderer.render(path.read_text("utf-8"))
    text: SafeString = mark_safe(_BOX.sub(_Scrolling(), html).replace("</table>", "</table></div>"))
    return text


class _Scrolling:
    """Lets what is wide scroll in a frame of its own, so that the page does not on a phone.

    Who has no mouse scrolls it with the arrow keys once it has the focus, which says what it is:
    a box of formulas or a table, counted under its title.
    """

    def __init__(self) -> None:
        self._title = ""
        self._counts: Counter[str] = Counter()

    def __call__(self, found: re.Match[str]) -> str:
        if found["title"] is not None:
            self._title = unescape(re.sub(r"<[^>]+>", "", found["title"])).strip()
            return found[0]
        what = "Formulas" if found[0] == "<pre>" else "Table"
        self._counts[f"{what} {self._title}"] += 1
        number = self._counts[f"{what} {self._title}"]
        label = escape(f"{what} {number}: {self._title}")
        frame = f'tabindex="0" role="region" aria-label="{label}"'
        if found[0] == "<pre>":
            return f"<pre {frame}>"
        return f'<div class="table-holder" {frame}><table>'


def method_link(anchor: str) -> str:
    """Return the address of a section of the method page."""
    return f"{reverse('method')}#{anchor}"
