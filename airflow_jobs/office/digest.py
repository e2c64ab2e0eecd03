"""The form for the weekly digest: have it sent, send it once now, stop it."""

from __future__ import annotations

from typing import Final
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib import messages
from django.core.mail import EmailMultiAlternatives
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from airflow_jobs.actions.access import Actor
from airflow_jobs.actions.constraints import RulesBroken
from airflow_jobs.actions.digests import (
    send_waiting_digests,
    subscribe_to_digest,
    unsubscribe_from_digest,
)
from airflow_jobs.models import DigestSubscription, Person
from dashboards.digests import as_mail, digest_at
from dashboards.pages.frame import Frame, form_page
from dashboards.queries.frame import house

NOT_SENT: Final = (
    "The mail server did not take it; nothing else was lost. Ask whoever runs this service to "
    "look at EMAIL_URL and the log."
)


@form_page
def digest(frame: Frame) -> HttpResponse:
    """Show and take the form; managers only."""
    if not frame.viewer.is_manager:
        raise Http404
    person = frame.request.user
    assert isinstance(person, Person)
    actor = Actor.of_person(person, today=frame.today)
    sent = frame.request.POST
    problem = ""
    if frame.request.method == "POST":
        try:
            if sent.get("act") == "stop":
                unsubscribe_from_digest(actor=actor)
                messages.success(frame.request, "The digest is sent to you no longer.")
            else:
                one = subscribe_to_digest(
                    actor=actor, address=sent.get("address", ""), today=frame.today
                )
                if sent.get("act") == "now":
                    send_digest(one.address)
                    messages.success(frame.request, f"Sent to {one.address}.")
                else:
                    messages.success(
                        frame.request, f"From Monday on the digest goes to {one.address}."
                    )
            return redirect("office:digest")
        except RulesBroken as error:
            problem = error.errors[0].message
        except OSError:
            problem = NOT_SENT
    subscription = DigestSubscription.objects.filter(person=person).first()
    return render(
        frame.request,
        "office/digest.html",
        {
            "viewer": frame.viewer,
            "house": frame.house,
            "asked": frame.asked,
            "section": "fleet",
            "subscription": subscription,
            "address": sent.get("address", subscription.address if subscription else ""),
            "problem": problem,
            "mail_is_set": settings.MAIL_IS_SET,
        },
        status=422 if problem else 200,
    )


def send_digest(address: str) -> None:
    """Send the digest as it stands now to one address.

    Raises
    ------
    OSError
        Where the mail server does not take it.
    """
    found = digest_at(timezone.now())
    text, page = as_mail(found, site_url=settings.SITE_URL)
    mail = EmailMultiAlternatives(
        subject=found.subject,
        body=text,
        to=[address],
        headers={"Auto-Submitted": "auto-generated"},
    )
    mail.attach_alternative(page, "text/html")
    mail.send()


def send_weekly_digests() -> int:
    """Send this week's digest to whoever waits for it; return how many were sent."""
    now = timezone.now().astimezone(ZoneInfo(house().time_zone))
    return send_waiting_digests(send=send_digest, now=now)
