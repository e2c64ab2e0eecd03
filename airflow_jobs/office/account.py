"""Your account: who one is here, the password, one-time codes, tokens."""

from __future__ import annotations

from typing import Any, Final
from uuid import UUID

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters

from airflow_jobs.actions.access import Actor, NotVisible
from airflow_jobs.actions.constraints import RulesBroken
from airflow_jobs.actions.one_time_codes import recovery_codes_left
from airflow_jobs.actions.people import WrongPassword, change_own_password
from airflow_jobs.actions.tokens import revoke_own_tokens, revoke_token
from airflow_jobs.models import Person, Token
from dashboards.filters import day_text
from dashboards.pages.frame import Frame, form_page

from . import sign_in_throttle as throttle

TOKENS_SHOWN: Final = 50
WRONG_PASSWORD: Final = "That is not your present password. Nothing was changed."
PAUSED: Final = (
    f"Too many wrong tries. Nothing was changed. Wait {throttle.PAUSE_SECONDS // 60} minutes and "
    "try again."
)


def office_page(frame: Frame, template: str, *, status: int = 200, **context: Any) -> HttpResponse:
    """Return a page of the office, with what every page's head shows."""
    head = {
        "viewer": frame.viewer,
        "house": frame.house,
        "asked": frame.asked,
        "today": frame.today,
        "today_text": day_text(frame.today),
    }
    return render(frame.request, f"office/{template}", {**head, **context}, status=status)


def myself(frame: Frame) -> Person:
    """Return who is signed in, as stored."""
    person = frame.request.user
    assert isinstance(person, Person)
    return person


def acting(frame: Frame) -> Actor:
    """Return who is signed in, as an actor."""
    return Actor.of_person(myself(frame), today=frame.today)


def stay_signed_in(request: HttpRequest, person: Person) -> None:
    """Keep this session, of all a person's, after a change of how the person signs in."""
    person.refresh_from_db()
    update_session_auth_hash(request, person)


@form_page
def account(frame: Frame) -> HttpResponse:
    """Show the account."""
    person = myself(frame)
    tokens = Token.objects.live(timezone.now()).filter(person=person)
    return office_page(
        frame,
        "account.html",
        section="account",
        person=person,
        recovery_codes_left=recovery_codes_left(person=person),
        tokens=tokens.order_by("-created_at", "-id")[:TOKENS_SHOWN],
        token_count=tokens.count(),
    )


@sensitive_post_parameters("present", "password", "again")
@form_page
def password(frame: Frame) -> HttpResponse:
    """Change the password."""
    if frame.request.method != "POST":
        return _password_form(frame)
    person, sent = myself(frame), frame.request.POST
    who = throttle.who(frame.request, person.username)
    if throttle.is_paused(**who):
        return _password_form(frame, status=429, present_problem=PAUSED)
    if sent.get("password", "") != sent.get("again", ""):
        return _password_form(frame, status=422, again_problem="The two differ. Type both anew.")
    try:
        change_own_password(
            actor=acting(frame),
            person=person,
            present=sent.get("present", ""),
            password=sent.get("password", ""),
            now=timezone.now(),
        )
    except WrongPassword:
        throttle.count_wrong(**who)
        return _password_form(frame, status=422, present_problem=WRONG_PASSWORD)
    except RulesBroken as error:
        said = " ".join(rule.message for rule in error.errors)
        return _password_form(frame, status=422, password_problem=said)
    stay_signed_in(frame.request, person)
    messages.success(
        frame.request,
        "Your password is changed. Other devices are signed out, and your tokens are revoked.",
    )
    return redirect("office:account")


def _password_form(frame: Frame, *, status: int = 200, **problems: str) -> HttpResponse:
    return office_page(frame, "password.html", status=status, section="account", **problems)


@form_page
def revocation(frame: Frame) -> HttpResponse:
    """Revoke one of one's tokens, or all."""
    back = HttpResponseRedirect("/office/account/#tokens")
    if frame.request.method != "POST":
        return back
    token = frame.request.POST.get("token", "")
    if token == "all":
        count = revoke_own_tokens(actor=acting(frame), person=myself(frame), now=timezone.now())
        messages.success(frame.request, f"Revoked: {count} token{'' if count == 1 else 's'}.")
        return back
    try:
        # Of an administrator too only the own ones: those of others stand elsewhere.
        own = Token.objects.filter(person=myself(frame), pk=UUID(token)).exists()
        if not own:
            raise NotVisible
        revoke_token(actor=acting(frame), token_id=UUID(token), now=timezone.now())
    except (ValueError, NotVisible):
        messages.error(frame.request, "There is no such token of yours. Nothing was changed.")
    else:
        messages.success(frame.request, "The token is revoked.")
    return back
