"""Addresses of the reading side."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from .pages.fleet import fleet
from .pages.sign_in import SignInPage

urlpatterns = [
    path("", fleet, name="fleet"),
    path("sign-in/", SignInPage.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
]
