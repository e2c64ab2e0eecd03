"""What templates ask for: links that take the filters along, numbers that lines don't break."""

from __future__ import annotations

import re
from typing import Any, Final

from django import template

register = template.Library()

# Between a number and its sign of percent, and around plus or minus.
_BOUND: Final = re.compile(r"(?<=\d) (?=%|±)|(?<=±) (?=\d)")


@register.filter
def following(address: str, asked: Any) -> str:
    """Return an address of the pages with the filters that are on.

    An address that has a query of its own says what it wants; one that leads elsewhere, to a file
    or to a place on the same page stays as it is.
    """
    query = asked.query() if asked else ""
    is_page = address.startswith("/") and "?" not in address and address.endswith("/")
    return f"{address}?{query}" if query and is_page else address


@register.filter
def together(text: str) -> str:
    """Return a sentence kept with a result so that no line breaks between a number and its sign."""
    return _BOUND.sub("\N{NO-BREAK SPACE}", text)
