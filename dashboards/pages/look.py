"""The page of all systems that need a look."""

from __future__ import annotations

from typing import Final

from django.http import HttpResponse

from .. import words
from ..queries.attention import attention
from ..queries.beside_standing import beside_standings
from ..queries.due import next_visits
from .due import crew_named
from .filtering import filter_form, link_to, offered_choices
from .frame import Frame, file_of, file_page, page
from .look_table import look_table

PAGE_SIZE: Final = 50


@page
def look(frame: Frame) -> HttpResponse:
    """List all systems that need a look, in pages."""
    offered = offered_choices(frame)
    asked = frame.asked
    if offered.is_empty:
        return frame.page("fleet_empty.html", section="fleet", page_name="Needs a look")
    standing = attention(asked.filters, today=frame.today)
    pages = max(-(-len(standing.systems) // PAGE_SIZE), 1)
    number = frame.request.GET.get("page", "1")
    at = min(max(int(number) if number.isdecimal() and len(number) < 7 else 1, 1), pages)
    shown = standing.systems[(at - 1) * PAGE_SIZE : at * PAGE_SIZE]
    visits = next_visits([one.system.site_id for one in shown], today=frame.today)

    named = crew_named(frame, unnamed=offered.small_crew_ids)

    def link(to_page: int) -> str:
        return link_to(asked, "needs-a-look", page=str(to_page) if to_page > 1 else None)

    return frame.page(
        "needs_a_look.html",
        section="fleet",
        asked=asked,
        filters=filter_form(asked, offered, page_name="needs-a-look", as_of_today=True),
        attention=standing,
        table=look_table(
            shown,
            asked,
            frame,
            visits=visits,
            named=named,
            beside=beside_standings(shown, today=frame.today),
            total=len(shown),
        ),
        page_number=at,
        pages=pages,
        earlier=link(at - 1) if at > 1 else "",
        later=link(at + 1) if at < pages else "",
        advice_line=words.ADVICE_LINE,
        back=link_to(asked, "fleet"),
    )


@file_page
def look_file(frame: Frame) -> HttpResponse:
    """Send all systems that need a look as CSV."""
    offered = offered_choices(frame)
    asked = frame.asked
    standing = attention(asked.filters, today=frame.today)
    sites = list({one.system.site_id for one in standing.systems})
    table = look_table(
        standing.systems,
        asked,
        frame,
        visits=next_visits(sites, today=frame.today),
        named=crew_named(frame, unnamed=offered.small_crew_ids),
        beside=beside_standings(standing.systems, today=frame.today),
        total=len(standing.systems),
    )
    return file_of(table, "fleet")
