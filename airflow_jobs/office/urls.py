"""Addresses of the office's forms."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import path
from django.views.generic import RedirectView

from .account import account, password, revocation
from .digest import digest
from .meter_corrections import meter_correction, meter_correction_file
from .one_time_codes import off, recovery_codes, start, turning_on
from .report_links import report_links
from .sign_in import CodePage, SignInPage, to_sign_in

app_name = "office"
urlpatterns = [
    path("account/", account, name="account"),
    path("account/password/", password, name="password"),
    path("account/tokens/revocation/", revocation, name="token-revocation"),
    path("account/codes/start/", start, name="codes-start"),
    path("account/codes/on/", turning_on, name="codes-on"),
    path("account/codes/recovery/", recovery_codes, name="recovery-codes"),
    path("account/codes/off/", off, name="codes-off"),
    path("digest/", digest, name="digest"),
    path(
        "calibrations/<uuid:calibration_id>/correction/",
        meter_correction,
        name="meter-correction",
    ),
    path(
        "calibrations/<uuid:calibration_id>/correction.csv",
        meter_correction_file,
        name="meter-correction-file",
    ),
    path("visits/<uuid:visit_id>/report-links/", report_links, name="report-links"),
]

# By short names, and before those of the administration, whose own doors would lead around.
sign_in_urlpatterns = [
    path("sign-in/", SignInPage.as_view(), name="sign-in"),
    path("sign-in/code/", CodePage.as_view(), name="sign-in-code"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("administration/login/", to_sign_in),
    path("administration/password_change/", RedirectView.as_view(pattern_name="office:password")),
]
