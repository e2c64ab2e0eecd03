"""The method document as a page: how every number comes about."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.http import Http404, HttpResponse
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from markdown_it import MarkdownIt

from .frame import Frame, page


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
    # What is wide scrolls in a frame of its own, so that the page does not on a phone; who has no
    # mouse scrolls it with the arrow keys once it has the focus.
    html = html.replace("<pre>", '<pre tabindex="0">')
    html = html.replace("<table>", '<div class="table-holder" tabindex="0"><table>')
    text: SafeString = mark_safe(html.replace("</table>", "</table></div>"))
    return text


def method_link(anchor: str) -> str:
    """Return the address of a section of the method page."""
    return f"{reverse('method')}#{anchor}"
