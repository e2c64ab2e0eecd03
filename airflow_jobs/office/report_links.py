"""The form that makes a link to a visit's report for its customer, and takes it back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from airflow_jobs.actions.access import Actor, NotVisible
from airflow_jobs.actions.constraints import BrokenRule, RulesBroken
from airflow_jobs.actions.report_links import (
    LONGEST_DAYS,
    USUAL_DAYS,
    address_of,
    make_report_link,
    revoke_report_link,
)
from airflow_jobs.display import day_text
from airflow_jobs.documents.visit_report import visit_report
from airflow_jobs.models import Person, ReportLink, Visit
from dashboards.pages.frame import Frame, form_page
from dashboards.pages.visit import in_doubt_of

MOST: Final = 50
"""Links that the page lists; more of one visit are in the API's list."""
LONGEST_LABEL: Final = 100


@form_page
def report_links(frame: Frame, *, visit_id: UUID) -> HttpResponse:
    """Show and take the form; managers only."""
    if not frame.viewer.is_manager:
        raise Http404
    visit = Visit.objects.select_related("site").filter(pk=visit_id).first()
    if visit is None:
        raise Http404("There is no such visit.")
    person = frame.request.user
    assert isinstance(person, Person)
    actor = Actor.of_person(person, today=frame.today)
    sent = frame.request.POST
    made, problem = "", ""
    if frame.request.method == "POST":
        try:
            if "revoke" in sent:
                _revoke(actor, visit_id, sent["revoke"])
                messages.success(frame.request, "The link is revoked: it opens nothing any more.")
                return redirect("office:report-links", visit_id)
            made = _made(actor, visit_id, sent.get("lifetime_days", ""), sent.get("label", ""))
        except RulesBroken as error:
            problem = error.errors[0].message
    report = visit_report(visit_id)
    return render(
        frame.request,
        "office/report_links.html",
        {
            "viewer": frame.viewer,
            "house": frame.house,
            "asked": frame.asked,
            "section": "systems",
            "visit": visit,
            "day": _day(visit),
            "in_doubt": in_doubt_of(report) if report is not None else (),
            "links": _listed(visit_id, ZoneInfo(frame.house.time_zone)),
            "made": made,
            "problem": problem,
            "days": sent.get("lifetime_days", str(USUAL_DAYS)),
            "label": "" if made else sent.get("label", ""),
            "most_days": LONGEST_DAYS,
            "longest_label": LONGEST_LABEL,
        },
        status=422 if problem else 200,
    )


def _made(actor: Actor, visit_id: UUID, days: str, label: str) -> str:
    """Make a link and return its address, this once."""
    try:
        lifetime = int(days)
    except ValueError as error:
        text = f"Give the days as a whole number, from 1 to {LONGEST_DAYS}."
        raise RulesBroken([BrokenRule("/lifetime_days", "invalid", text)]) from error
    link_label = " ".join(label.replace("\x00", "").split())
    if len(link_label) > LONGEST_LABEL:
        text = f"Say for whom it is in at most {LONGEST_LABEL} characters."
        raise RulesBroken([BrokenRule("/label", "max_length", text)])
    _, secret = make_report_link(
        actor=actor,
        visit_id=visit_id,
        lifetime_days=lifetime,
        label=link_label,
        now=timezone.now(),
    )
    return address_of(secret)


def _revoke(actor: Actor, visit_id: UUID, link: str) -> None:
    try:
        revoke_report_link(actor=actor, visit_id=visit_id, link_id=UUID(link), now=timezone.now())
    except (ValueError, NotVisible) as error:
        raise Http404("There is no such link.") from error


def _listed(visit_id: UUID, zone: ZoneInfo) -> Sequence[dict[str, object]]:
    now = timezone.now()
    rows = (
        ReportLink.objects.filter(visit_id=visit_id)
        .select_related("made_by")
        .order_by("-created_at", "-pk")[:MOST]
    )
    return [
        {
            "id": row.pk,
            "label": row.label,
            "made_by": str(row.made_by) if row.made_by else "the service",
            "made": day_text(row.created_at.astimezone(zone).date()),
            "state": _state(row, zone),
            "is_live": row.is_live(now),
            "opened": f"{row.last_opened_at.astimezone(zone):%Y-%m-%d %H:%M}"
            if row.last_opened_at
            else "not yet",
        }
        for row in rows
    ]


def _state(row: ReportLink, zone: ZoneInfo) -> str:
    if row.revoked_at is not None:
        return f"revoked on {day_text(row.revoked_at.astimezone(zone).date())}"
    moment = row.expires_at.astimezone(zone)
    return f"{'good until' if row.is_live(timezone.now()) else 'ended'} {moment:%Y-%m-%d %H:%M}"


def _day(visit: Visit) -> str:
    if visit.started_at is not None:
        return day_text(visit.started_at.astimezone(ZoneInfo(visit.site.time_zone)).date())
    return day_text(visit.planned_for) if visit.planned_for else "day not on record"
