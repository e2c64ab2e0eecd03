"""What went wrong, as RFC 9457 problem documents with RFC 6901 pointers."""

from __future__ import annotations

import logging
import math
from collections.abc import Iterator
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Final

from django.core.exceptions import PermissionDenied
from django.db import InterfaceError, OperationalError
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from airflow_jobs.actions.access import NotAllowed, NotVisible
from airflow_jobs.actions.constraints import RulesBroken
from airflow_jobs.actions.one_time_codes import CodePaused, CodeRequired, CodeWrong
from airflow_jobs.actions.records import AlreadyTaken, DifferentContent, StaleRevision
from airflow_jobs.actions.tokens import SignInRefused

from .authentication import CHALLENGE

LOG = logging.getLogger(__name__)

MEDIA_TYPE: Final = "application/problem+json"

NO_TOKEN: Final = (
    "No token came. Send `Authorization: Bearer <token>`; POST /api/v1/tokens/ with username and "
    "password answers a token, and an administrator has tokens for field apps."
)


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of problem: its name in the type's address, its status and what to do."""

    slug: str
    status: int
    title: str
    advice: str


KINDS: Final[tuple[Kind, ...]] = (
    Kind(
        "malformed",
        400,
        "Malformed request",
        "Mend the request; the same one will fail again. Only what `errors` call broken_off may "
        "be sent again as it is: the connection lost a part of it.",
    ),
    Kind("not-signed-in", 401, "Not signed in", "Send a good token, or sign in for a new one."),
    Kind("not-allowed", 403, "Not allowed", "Ask somebody whose role may do this."),
    Kind("not-found", 404, "Not found", "Check the address; it may also be hidden from you."),
    Kind("method-not-allowed", 405, "Method not allowed", "Use one of the methods in Allow."),
    Kind("not-acceptable", 406, "Not acceptable", "Accept application/json."),
    Kind(
        "different-content",
        409,
        "The id is taken by other content",
        "Compare with `stored`: drop yours, send a change to what is stored, or make a new id.",
    ),
    Kind("length-required", 411, "Length required", "Send Content-Length, not chunks."),
    Kind(
        "stale-revision",
        412,
        "Changed since it was read",
        "Apply the change to `current` and send its revision in If-Match.",
    ),
    Kind("too-large", 413, "Body too large", "Send it in parts."),
    Kind(
        "unsupported-media-type",
        415,
        "Unsupported media type",
        "Send Content-Type: application/json.",
    ),
    Kind("not-acceptable-content", 422, "Not acceptable", "Mend what `errors` point at."),
    Kind(
        "revision-required",
        428,
        "Revision required",
        "Read it first, and send its ETag in If-Match.",
    ),
    Kind("too-many-requests", 429, "Too many requests", "Wait as long as Retry-After says."),
    Kind(
        "internal-error",
        500,
        "Internal error",
        "It is in the service's log under this answer's X-Request-ID; tell the administrator.",
    ),
    Kind("unavailable", 503, "Not available", "Send it again as Retry-After says; it is safe to."),
)
BY_STATUS: Final[dict[int, Kind]] = {kind.status: kind for kind in KINDS}


class MissingRevision(exceptions.APIException):
    """A change came without saying which revision it is a change of."""

    status_code = 428
    default_code = "revision_required"
    default_detail = (
        'A change needs If-Match with the revision that was read (its ETag), such as If-Match: "3".'
    )


class BadQuery(exceptions.APIException):
    """A query parameter that can't be used; carries each with its reason."""

    status_code = 400
    default_code = "bad_query"

    def __init__(self, reasons: dict[str, str]) -> None:
        self.reasons = reasons
        listed = "; ".join(f"{name}: {reason}" for name, reason in reasons.items())
        super().__init__(f"The query can't be used. {listed}")


def problem_response(error: Exception, context: dict[str, Any]) -> Response:
    """Turn any exception of a view into a problem document."""
    set_rollback()
    view = context.get("view")
    request = context.get("request")
    headers: dict[str, str] = {}
    extra: dict[str, Any] = {}
    errors: list[dict[str, str]] = []
    detail = str(error)
    match error:
        case NotAllowed() | PermissionDenied():
            status = 403
        case NotVisible() | Http404():
            status = 404
            detail = detail or "There is nothing at this address."
        case SignInRefused():
            status = 401
            headers["WWW-Authenticate"] = CHALLENGE
        case CodeRequired() | CodeWrong():
            status = 401
            headers["WWW-Authenticate"] = CHALLENGE
            is_due = isinstance(error, CodeRequired)
            errors = [
                _of_code("one_time_code_required" if is_due else "one_time_code_wrong", detail)
            ]
        case CodePaused():
            status = 429
            headers["Retry-After"] = str(error.wait_s)
            errors = [_of_code("one_time_code_paused", detail)]
        case StaleRevision():
            status = 412
            extra["current"] = view.represented(error.row) if view is not None else None
            headers["ETag"] = f'"{error.row.revision}"'
        case DifferentContent():
            status = 409
            extra["stored"] = view.represented(error.row) if view is not None else None
        case AlreadyTaken():
            status = 409
        case RulesBroken():
            status = 422
            errors = broken_rules(error)
            detail = _summary(errors)
        case exceptions.ValidationError():
            status = 422
            errors = list(flattened(error.detail))
            detail = _summary(errors)
        case BadQuery():
            status = 400
            errors = [
                {"pointer": "", "parameter": name, "code": "bad_query", "message": reason}
                for name, reason in error.reasons.items()
            ]
        case exceptions.ParseError():
            status = error.status_code
            detail = str(error.detail)
            errors = list(flattened(error.detail))
        case exceptions.UnsupportedMediaType():
            status = error.status_code
            detail = f"{error.detail} Send `Content-Type: application/json`."
        case exceptions.NotAuthenticated():
            status = error.status_code
            detail = NO_TOKEN
            headers = _headers(error)
        case exceptions.APIException():
            status = error.status_code
            detail = str(error.detail)
            headers = _headers(error)
        case OperationalError() | InterfaceError():
            LOG.error("The database could not do it: %s", error)
            status = 503
            # Where the connection broke while committing, nobody can tell here.
            detail = (
                "The database can't be used at the moment, and it is not certain whether "
                "anything was stored: send it again with the same id, which is safe."
            )
            headers["Retry-After"] = "5"
        case _:
            LOG.exception("An error that no rule foresaw", exc_info=error)
            status = 500
            detail = "The service met an error that is not of your making; nothing was stored."
    document = problem(status, detail, request.path if request is not None else "", errors, extra)
    return Response(document, status=status, headers=headers, content_type=MEDIA_TYPE)


def problem(
    status: int,
    detail: str,
    instance: str,
    errors: list[dict[str, str]] | None = None,
    extra: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """Return a problem document."""
    kind = BY_STATUS.get(status)
    return {
        "type": f"/api/v1/problems/{kind.slug}/" if kind else "about:blank",
        "title": kind.title if kind else HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "instance": instance,
        "errors": errors or [],
        **(extra or {}),
    }


def broken_rules(error: RulesBroken) -> list[dict[str, str]]:
    """Return broken rules as a problem's errors."""
    return [
        {"pointer": rule.pointer, "code": rule.code, "message": rule.message}
        for rule in error.errors
    ]


def flattened(detail: Any, pointer: str = "") -> Iterator[dict[str, str]]:
    """Turn nested validation messages into a flat list with pointers."""
    if isinstance(detail, dict):
        for key, value in detail.items():
            is_here = key in {"non_field_errors", ""}
            yield from flattened(value, pointer if is_here else f"{pointer}/{_escaped(str(key))}")
    elif isinstance(detail, list):
        for number, value in enumerate(detail):
            deeper = isinstance(value, dict | list)
            yield from flattened(value, f"{pointer}/{number}" if deeper else pointer)
    else:
        yield {
            "pointer": pointer,
            "code": str(getattr(detail, "code", "invalid")),
            "message": str(detail),
        }


def _of_code(code: str, message: str) -> dict[str, str]:
    return {"pointer": "/one_time_code", "code": code, "message": message}


def _escaped(key: str) -> str:
    return key.replace("~", "~0").replace("/", "~1")


def _summary(errors: list[dict[str, str]]) -> str:
    if len(errors) == 1:
        pointer, message = errors[0]["pointer"], errors[0]["message"]
        return f"{pointer}: {message}" if pointer else message
    return f"{len(errors)} things are not acceptable; see errors."


def _headers(error: exceptions.APIException) -> dict[str, str]:
    headers = {}
    challenge = getattr(error, "auth_header", None)
    if challenge:
        headers["WWW-Authenticate"] = str(challenge)
    wait = getattr(error, "wait", None)
    if wait is not None:
        headers["Retry-After"] = str(max(1, math.ceil(float(wait))))
    return headers
