"""Whether the service can do its work: the address for health checks."""

from __future__ import annotations

from django.db import OperationalError, connection
from django.http import HttpRequest, JsonResponse


def health(request: HttpRequest) -> JsonResponse:
    """Answer 200 where the database answers, else 503."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except OperationalError:
        return JsonResponse({"database": "not reached"}, status=503)
    return JsonResponse({"database": "reached"})
