"""Every answer carries an identifier that the log lines of its request carry too."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable
from contextvars import ContextVar
from uuid import uuid4

from django.http import HttpRequest, HttpResponse

_REQUEST_ID: ContextVar[str] = ContextVar("request_id", default="-")
_ACCEPTABLE = re.compile(r"^[A-Za-z0-9._-]{8,64}$")


class RequestIdMiddleware:
    """Take the caller's `X-Request-ID` where it is plain, else make one; answer with it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer one request under its identifier."""
        given = request.headers.get("X-Request-ID", "")
        identifier = given if _ACCEPTABLE.match(given) else uuid4().hex
        mark = _REQUEST_ID.set(identifier)
        try:
            response = self.get_response(request)
        finally:
            _REQUEST_ID.reset(mark)
        response["X-Request-ID"] = identifier
        return response


class RequestIdFilter(logging.Filter):
    """Put the identifier of the running request into each log record."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Add `request_id`; keep every record."""
        record.request_id = _REQUEST_ID.get()
        return True
