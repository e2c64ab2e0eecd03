"""Links that take the filters along, so that a page shows the same part of the record."""

from __future__ import annotations

from typing import Any

from django import template

register = template.Library()


@register.filter
def following(address: str, asked: Any) -> str:
    """Return an address of the pages with the filters that are on.

    An address that has a query of its own says what it wants; one that leads elsewhere, to a file
    or to a place on the same page stays as it is.
    """
    query = asked.query() if asked else ""
    is_page = address.startswith("/") and "?" not in address and address.endswith("/")
    return f"{address}?{query}" if query and is_page else address
