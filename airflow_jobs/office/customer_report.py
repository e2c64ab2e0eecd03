"""What a customer opens with a link: the report of one visit and nothing else, without a sign-in.

Whoever holds a good secret sees that report. A secret that is unknown, has ended or was revoked
shows one and the same page; its status says no more than the holder knows already.
"""

from __future__ import annotations

import hashlib
import math
import time
from collections.abc import Callable
from typing import Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from airflow_jobs.actions.report_links import link_of, note_opening
from airflow_jobs.buckets import Bucket
from airflow_jobs.documents.values import VisitReport
from airflow_jobs.documents.visit_report import visit_report
from airflow_jobs.models import ReportLink
from dashboards.pages.visit import file_of_report

GOOD_BURST, GOOD_PER_SECOND = 60, 1.0
"""How often one link may be opened: as often as people do, not as programs would."""
WRONG_BURST, WRONG_PER_SECOND = 30, 0.5
"""How often one address may come with secrets that open nothing."""
HEADERS: Final = {
    # The address is the secret: it goes to no other site, into no search engine, into no cache.
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex, nofollow, noarchive",
}


@require_safe
@never_cache
def customer_report(request: HttpRequest, *, secret: str) -> HttpResponse:
    """Show the report of the link's visit."""

    def shown(report: VisitReport) -> HttpResponse:
        return render(
            request,
            "office/customer_report.html",
            {
                "report": report,
                "house": {"name": report.company},
                "crew": report.crew,
                "secret": secret,
            },
        )

    return _answered(request, secret, shown)


@require_safe
@never_cache
def customer_report_file(request: HttpRequest, *, secret: str) -> HttpResponse:
    """Send the report of the link's visit as PDF."""
    return _answered(request, secret, file_of_report)


def _answered(
    request: HttpRequest, secret: str, answer: Callable[[VisitReport], HttpResponse]
) -> HttpResponse:
    response = _opened(request, secret, answer)
    for name, value in HEADERS.items():
        response[name] = value
    return response


def _opened(
    request: HttpRequest, secret: str, answer: Callable[[VisitReport], HttpResponse]
) -> HttpResponse:
    now = timezone.now()
    link = link_of(secret)
    wait = _wait(request, link)
    if wait:
        response = render(request, "office/no_report.html", {"is_busy": True}, status=429)
        response["Retry-After"] = str(math.ceil(wait))
        return response
    report = visit_report(link.visit_id) if link is not None and link.is_live(now) else None
    if link is None or report is None:
        # Only who had the secret learns that there was something.
        return render(request, "office/no_report.html", status=404 if link is None else 410)
    if request.method == "GET":
        note_opening(link, now)
    return answer(report)


def _wait(request: HttpRequest, link: ReportLink | None) -> float:
    """Return how long to wait, in seconds; guessing elsewhere never slows a good link down."""
    if link is not None:
        bucket = Bucket(f"report-link-{link.pk}", burst=GOOD_BURST, per_second=GOOD_PER_SECOND)
    else:
        address = request.META.get("REMOTE_ADDR") or ""
        name = hashlib.sha256(address.encode("utf-8", "surrogatepass")).hexdigest()[:32]
        bucket = Bucket(f"report-address-{name}", burst=WRONG_BURST, per_second=WRONG_PER_SECOND)
    return bucket.take(time.time())
