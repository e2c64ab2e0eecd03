"""A visit's page: the report that its customer gets, with the way to everything behind it."""

from __future__ import annotations

import re
from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from django.utils import timezone

from airflow_jobs.documents.values import VisitReport
from airflow_jobs.documents.visit_pdf import visit_pdf
from airflow_jobs.documents.visit_report import visit_report

from .. import words
from .frame import Frame, page


@page
def visit(frame: Frame, *, visit_id: UUID) -> HttpResponse:
    """Show one visit: each system before and after, and what was done."""
    report = _report(visit_id)
    return frame.page(
        "visit.html",
        section="systems",
        report=report,
        in_doubt=in_doubt_of(report),
        crew=report.crew if frame.viewer.sees_crew(report.crew_id) else "another crew",
    )


def in_doubt_of(report: VisitReport) -> list[dict[str, Any]]:
    """Return what to say of meters that were found off later, before a report goes out."""
    return [
        {
            "id": meter.instrument_id,
            "text": (
                f"{words.listed(tags)} {'was' if len(tags) == 1 else 'were'} measured with "
                f"{meter.name}, which was found off later; nothing of that is corrected. Decide on "
                "it before this report goes to the customer."
            ),
        }
        for meter, tags in report.in_doubt.items()
    ]


@page
def visit_report_file(frame: Frame, *, visit_id: UUID) -> HttpResponse:
    """Send the visit's report as PDF."""
    report = _report(visit_id)
    return file_of_report(report, names_crew=frame.viewer.sees_crew(report.crew_id))


def file_of_report(report: VisitReport, *, names_crew: bool = True) -> HttpResponse:
    """Return a report as a file that browsers show, and save under a name that says what it is."""
    printed = visit_pdf(report, printed_at=timezone.now(), names_crew=names_crew)
    response = HttpResponse(printed, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{_file_name(report)}"'
    return response


def _file_name(report: VisitReport) -> str:
    site = re.sub(r"[^a-z0-9]+", "-", report.site.lower()).strip("-")[:60]
    day = report.day.isoformat() if report.day else ""
    return f"{'-'.join(part for part in ('airflow', site, day) if part)}.pdf"


def _report(visit_id: UUID) -> VisitReport:
    report = visit_report(visit_id)
    if report is None:
        raise Http404("There is no such visit.")
    return report
