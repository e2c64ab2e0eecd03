"""What every page has: who looks, the company, the day, the filters that follow along."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import wraps
from typing import Any, Concatenate, ParamSpec
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from airflow_jobs.models import Person

from ..access import Viewer, viewer_of
from ..filters import PERIOD_PARAMETERS, Asked, Problem, allowed, day_text, read_filters
from ..queries.frame import House, choices, house
from ..tables import Table
from ..values.filters import Choices

Parts = ParamSpec("Parts")


@dataclass(frozen=True, slots=True)
class Frame:
    """One request as the pages see it."""

    request: HttpRequest
    viewer: Viewer
    house: House
    today: datetime.date
    """The day in the company's time zone."""
    asked: Asked
    """What the address asks for, without what isn't on record or not for the viewer to see."""
    offered: Choices | None
    """What the filters offer, where what was asked for had to be held against it."""

    def page(self, template: str, *, status: int = 200, **context: Any) -> HttpResponse:
        """Return a page."""
        # Who hands over what was asked for shows a period; the others show all there is.
        lasting_link = context.get("lasting_link") or self._lasting_link(context.get("asked"))
        return render(
            self.request,
            f"dashboards/{template}",
            {
                "viewer": self.viewer,
                "house": self.house,
                "asked": self.asked,
                "today": self.today,
                "today_text": day_text(self.today),
                "lasting_link": lasting_link,
                "lasting_url": self.request.build_absolute_uri(lasting_link),
                **context,
            },
            status=status,
        )

    def _lasting_link(self, asked: Asked | None) -> str:
        """Return the address of this view, the days of its period written out so that it lasts.

        What was left out of the view is left out of its address.
        """
        kept = self.request.GET.copy()
        for problem in (asked or self.asked).left_out:
            kept.pop(problem.parameter, None)
        if asked is not None and asked.lasting_period:
            for name in PERIOD_PARAMETERS:
                kept.pop(name, None)
            kept.update(asked.lasting_period)
        query = kept.urlencode()
        return f"{self.request.path}?{query}" if query else self.request.path


def page(
    view: Callable[Concatenate[Frame, Parts], HttpResponse],
) -> Callable[Concatenate[HttpRequest, Parts], HttpResponse]:
    """Make a view of a function: signed-in people only, reading only, never kept by a proxy."""

    @require_safe
    @login_required
    @never_cache
    @wraps(view)
    def answer(request: HttpRequest, *args: Parts.args, **parts: Parts.kwargs) -> HttpResponse:
        return view(_frame(request), *args, **parts)

    return answer


def file_page(
    view: Callable[Concatenate[Frame, Parts], HttpResponse],
) -> Callable[Concatenate[HttpRequest, Parts], HttpResponse]:
    """Make a view of a function that sends a file by the filters: all of them or no file.

    Nothing in a file says that a filter was left out, so it would hold other rows than asked for.
    """

    @wraps(view)
    def answer(frame: Frame, *args: Parts.args, **parts: Parts.kwargs) -> HttpResponse:
        return refused(frame, frame.asked.left_out) or view(frame, *args, **parts)

    return page(answer)


def refused(frame: Frame, left_out: Sequence[Problem]) -> HttpResponse | None:
    """Return the page that says why there is no file; nothing where there is no reason."""
    if not left_out:
        return None
    is_forbidden = all(problem.is_forbidden for problem in left_out)
    return frame.page("no_file.html", status=403 if is_forbidden else 404, left_out=left_out)


def form_page(
    view: Callable[Concatenate[Frame, Parts], HttpResponse],
) -> Callable[Concatenate[HttpRequest, Parts], HttpResponse]:
    """Make a view of a function that also takes what a form sends: signed-in people only."""

    @require_http_methods(["GET", "HEAD", "POST"])
    @login_required
    @never_cache
    @wraps(view)
    def answer(request: HttpRequest, *args: Parts.args, **parts: Parts.kwargs) -> HttpResponse:
        return view(_frame(request), *args, **parts)

    return answer


def _frame(request: HttpRequest) -> Frame:
    person = request.user
    assert isinstance(person, Person)
    company = house()
    today = timezone.now().astimezone(ZoneInfo(company.time_zone)).date()
    viewer = viewer_of(person, today=today)
    asked, offered = read_filters(request.GET.dict(), today=today), None
    if asked.filters.names_record:
        offered = choices(asked.filters, viewer, shows_small_crews=company.shows_small_crews)
        asked = allowed(asked, offered)
    return Frame(
        request=request,
        viewer=viewer,
        house=company,
        today=today,
        asked=asked,
        offered=offered,
    )


def file_of(table: Table, name: str) -> HttpResponse:
    """Return a table as a file to save."""
    response = HttpResponse(table.as_csv(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}-{table.slug}.csv"'
    return response
