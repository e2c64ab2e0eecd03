"""One-time codes on one's own account: turning them on, new recovery codes, turning them off."""

from __future__ import annotations

import base64
from typing import Any, Final

import segno
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django_otp.plugins.otp_totp.models import TOTPDevice

from airflow_jobs.actions.one_time_codes import (
    CodePaused,
    CodeWrong,
    renew_recovery_codes,
    start_codes,
    started_codes,
    turn_codes_off,
    turn_codes_on,
    use_code,
)
from dashboards.pages.frame import Frame, form_page

from . import sign_in_throttle as throttle
from .account import PAUSED, WRONG_PASSWORD, acting, myself, office_page, stay_signed_in

WRONG_CODE: Final = (
    "This code is not good: mistyped, too old, or used already. Wait for the next one and type it "
    "within its half minute. If none is ever good, set the phone's clock by the network."
)
WAIT: Final = "Too many wrong codes. Nothing was changed. Wait {seconds} s and try the next one."


@sensitive_post_parameters("password")
@form_page
def start(frame: Frame) -> HttpResponse:
    """Ask for the password before a secret is shown: the computer may stand unlocked."""
    person = myself(frame)
    if person.needs_one_time_code:
        return redirect("office:account")
    if frame.request.method != "POST":
        return _form(frame, "codes_start.html")
    refused = _password_refused(frame)
    if refused:
        return _form(frame, "codes_start.html", **refused)
    start_codes(person=person)
    return redirect("office:codes-on")


@sensitive_post_parameters("code")
@form_page
def turning_on(frame: Frame) -> HttpResponse:
    """Show the secret, take a first code of it, and show the recovery codes."""
    person = myself(frame)
    if person.needs_one_time_code:
        return redirect("office:account")
    device = started_codes(person=person, now=timezone.now())
    if device is None:
        return redirect("office:codes-start")
    if frame.request.method != "POST":
        return _secret(frame, device)
    try:
        codes = turn_codes_on(
            actor=acting(frame),
            person=person,
            code=frame.request.POST.get("code", ""),
            now=timezone.now(),
        )
    except CodeWrong:
        return _secret(frame, device, status=422, problem=WRONG_CODE)
    except CodePaused as pause:
        said = WAIT.format(seconds=pause.wait_s)
        return _secret(frame, device, status=429, problem=said)
    stay_signed_in(frame.request, person)
    return _form(frame, "recovery_codes_made.html", codes=codes, is_first=True)


@sensitive_post_parameters("password", "code", "recovery_code")
@form_page
def recovery_codes(frame: Frame) -> HttpResponse:
    """Make new recovery codes and show them."""
    if not myself(frame).needs_one_time_code:
        return redirect("office:account")
    if frame.request.method != "POST":
        return _form(frame, "recovery_codes.html")
    refused = _password_refused(frame) or _code_refused(frame)
    if refused:
        return _form(frame, "recovery_codes.html", **refused)
    codes = renew_recovery_codes(actor=acting(frame), person=myself(frame))
    return _form(frame, "recovery_codes_made.html", codes=codes)


@sensitive_post_parameters("password", "code", "recovery_code")
@form_page
def off(frame: Frame) -> HttpResponse:
    """Turn codes off."""
    person = myself(frame)
    if not person.needs_one_time_code:
        return redirect("office:account")
    if frame.request.method != "POST":
        return _form(frame, "codes_off.html")
    refused = _password_refused(frame) or _code_refused(frame)
    if refused:
        return _form(frame, "codes_off.html", **refused)
    turn_codes_off(actor=acting(frame), person=person, now=timezone.now())
    stay_signed_in(frame.request, person)
    messages.success(
        frame.request,
        "One-time codes are off: your password alone signs you in. Other devices are signed out, "
        "and your tokens are revoked.",
    )
    return redirect("office:account")


def _form(frame: Frame, template: str, *, status: int = 200, **context: Any) -> HttpResponse:
    return office_page(frame, template, status=status, section="account", **context)


def _secret(frame: Frame, device: TOTPDevice, **context: Any) -> HttpResponse:
    key = base64.b32encode(device.bin_key).decode()
    drawn = segno.make(device.config_url, error="m", micro=False)
    return _form(
        frame,
        "codes_on.html",
        # As an image of its own, black on white also in the dark: cameras need it so.
        picture=drawn.svg_data_uri(border=4, dark="#000", light="#fff", omitsize=True),
        key=" ".join(key[start : start + 4] for start in range(0, len(key), 4)),
        **context,
    )


def _password_refused(frame: Frame) -> dict[str, Any]:
    """Return what to say of a wrong password; nothing where it is right."""
    person = myself(frame)
    who = throttle.who(frame.request, person.username)
    if throttle.is_paused(**who):
        return {"status": 429, "password_problem": PAUSED}
    if not person.check_password(frame.request.POST.get("password", "")):
        throttle.count_wrong(**who)
        return {"status": 422, "password_problem": WRONG_PASSWORD}
    return {}


def _code_refused(frame: Frame) -> dict[str, Any]:
    """Return what to say of a wrong code; nothing where it is right, and used up now."""
    person, sent = myself(frame), frame.request.POST
    recovery = sent.get("recovery_code", "")
    try:
        use_code(person=person, code=recovery or sent.get("code", ""))
    except CodeWrong:
        throttle.count_wrong(**throttle.who(frame.request, person.username))
        return {"status": 422, "code_problem": WRONG_CODE, "is_recovery": bool(recovery)}
    except CodePaused as pause:
        said = WAIT.format(seconds=pause.wait_s)
        return {"status": 429, "code_problem": said, "is_recovery": bool(recovery)}
    return {}
