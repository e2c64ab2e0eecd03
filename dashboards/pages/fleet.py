"""The fleet page: how the company stands, and what needs a look."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe


@require_safe
@login_required
def fleet(request: HttpRequest) -> HttpResponse:
    """Show how things stand."""
    return render(request, "dashboards/fleet.html", {})
