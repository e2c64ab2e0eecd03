"""Lists that are part of the program: findings and kinds of problem."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from airflow_jobs.findings import CATALOGUE

from .filters import UNITS, refuse_unknown
from .permissions import Anybody
from .problems import KINDS
from .records import METHODS


class FindingKindSerializer(serializers.Serializer[Any]):
    """One kind of finding."""

    code = serializers.CharField(help_text="Its name in results.")
    meaning = serializers.CharField(help_text="What it says.")
    severity = serializers.ChoiceField(
        choices=["note", "warning", "serious"], help_text="How much it weighs."
    )
    advice = serializers.CharField(help_text="What to do about it.")


class FindingKindsSerializer(serializers.Serializer[Any]):
    """All kinds of finding; there are no further pages."""

    next = serializers.CharField(allow_null=True, help_text="Always null.")
    previous = serializers.CharField(allow_null=True, help_text="Always null.")
    results = FindingKindSerializer(many=True, help_text="The kinds.")


class FindingsView(APIView):
    """Every finding that a result may carry."""

    http_method_names = METHODS

    @extend_schema(responses={200: FindingKindsSerializer})
    def get(self, request: Request) -> Response:
        """List the findings."""
        refuse_unknown(request, {UNITS})
        results = [
            {
                "code": item.code,
                "meaning": item.meaning,
                "severity": item.severity,
                "advice": item.advice,
            }
            for item in CATALOGUE
        ]
        return Response({"next": None, "previous": None, "results": results})


class ProblemKindSerializer(serializers.Serializer[Any]):
    """One kind of problem."""

    type = serializers.CharField(help_text="The `type` of such problems.")
    status = serializers.IntegerField(help_text="Their HTTP status.")
    title = serializers.CharField(help_text="Their title.")
    advice = serializers.CharField(help_text="What to do about them.")


class ProblemKindView(APIView):
    """What a problem's `type` leads to: its meaning and what to do."""

    http_method_names = METHODS
    permission_classes = (Anybody,)
    authentication_classes = ()

    @extend_schema(responses={200: ProblemKindSerializer})
    def get(self, request: Request, slug: str) -> Response:
        """Explain one kind of problem."""
        for kind in KINDS:
            if kind.slug == slug:
                return Response(
                    {
                        "type": f"/api/v1/problems/{kind.slug}/",
                        "status": kind.status,
                        "title": kind.title,
                        "advice": kind.advice,
                    }
                )
        raise NotFound("There is no such kind of problem.")


class NothingHereView(APIView):
    """Any address below /api/ that leads nowhere."""

    permission_classes = (Anybody,)
    authentication_classes = ()
    schema = None

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Answer before anything else is looked at."""
        path = request.path
        if path.rstrip("/") in {"/api", "/api/v1"}:
            hint = " What there is stands at /api/v1/docs/, for programs in /api/v1/openapi.json."
        else:
            hint = "" if path.endswith("/") else f" Addresses end with a slash: try {path}/."
        raise NotFound(f"There is nothing at {path[:200]}.{hint}")
