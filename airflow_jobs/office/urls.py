"""Addresses of the office's forms."""

from __future__ import annotations

from django.urls import URLPattern

app_name = "office"
urlpatterns: list[URLPattern] = []
