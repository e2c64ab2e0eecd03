"""The digest as a page: what the mail would say today."""

from __future__ import annotations

from django.http import Http404, HttpResponse

from airflow_jobs.models import DigestSubscription, Person

from ..digests import digest_of
from .frame import Frame, page


@page
def digest(frame: Frame) -> HttpResponse:
    """Show managers what the weekly mail would say today, and whether they get it."""
    if not frame.viewer.is_manager:
        raise Http404
    person = frame.request.user
    assert isinstance(person, Person)
    return frame.page(
        "digest.html",
        section="fleet",
        digest=digest_of(frame.house, today=frame.today),
        subscription=DigestSubscription.objects.filter(person=person).first(),
    )
