"""Addresses of the office's forms."""

from __future__ import annotations

from django.urls import path

from .digest import digest

app_name = "office"
urlpatterns = [
    path("digest/", digest, name="digest"),
]
