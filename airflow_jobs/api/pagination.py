"""Pages of a list by cursor: ordered by time and id, so that none is repeated or lost."""

from __future__ import annotations

import base64
import binascii
import datetime
import json
from dataclasses import dataclass
from functools import reduce
from typing import Any, Final
from uuid import UUID

from django.db import models
from django.db.models import Q
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param

from .problems import BadQuery

PAGE: Final = 50
LARGEST_PAGE: Final = 200


@dataclass(frozen=True)
class Place:
    """A place between two rows of a list."""

    time: datetime.datetime
    identifier: UUID
    is_before: bool
    """Whether the page is what comes before it, not after."""
    field: str

    def written(self) -> str:
        """Write it as a cursor."""
        parts = [self.time.isoformat(), str(self.identifier), int(self.is_before), self.field]
        return base64.urlsafe_b64encode(json.dumps(parts).encode()).decode().rstrip("=")

    @classmethod
    def read(cls, cursor: str, field: str) -> Place:
        """Read a cursor that this list handed out."""
        try:
            padded = cursor + "=" * (-len(cursor) % 4)
            time, identifier, is_before, of = json.loads(base64.urlsafe_b64decode(padded))
            place = cls(
                datetime.datetime.fromisoformat(time), UUID(identifier), bool(is_before), str(of)
            )
        except (ValueError, TypeError, AttributeError, binascii.Error, RecursionError) as error:
            raise BadQuery({"cursor": "is not one that a list here handed out"}) from error
        if place.field != field or place.time.tzinfo is None:
            raise BadQuery({"cursor": "belongs to a list in another order"})
        return place


class TimeCursorPagination(BasePagination):
    """Pages ordered by a time and the id; the field is the view's or `updated_at` for syncing."""

    parameters = ("cursor", "page_size", "order")

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        """Return the rows of one page."""
        self.request = request
        self.field = str(getattr(view, "ordered_by", "created_at"))
        self.is_newest_first = _order(request) == "newest"
        size = _page_size(request)
        cursor = request.query_params.get("cursor")
        place = Place.read(cursor, self.field) if cursor is not None else None
        is_backwards = place is not None and place.is_before
        is_descending = self.is_newest_first != is_backwards
        rows: models.QuerySet[Any] = queryset
        if place is not None:
            rows = rows.filter(_beyond(place, is_descending))
        sign = "-" if is_descending else ""
        found = list(rows.order_by(f"{sign}{self.field}", f"{sign}id")[: size + 1])
        has_more = len(found) > size
        page = found[:size]
        if is_backwards:
            page.reverse()
        self.next_place = self._place(page[-1:], False) if has_more or is_backwards else None
        has_previous = has_more if is_backwards else place is not None
        self.previous_place = self._place(page[:1], True) if has_previous else None
        return page

    def _place(self, rows: list[Any], is_before: bool) -> Place | None:
        if not rows:
            return None
        (row,) = rows
        time = reduce(getattr, self.field.split("__"), row)
        return Place(time, row.pk, is_before, self.field)

    def get_paginated_response(self, data: Any) -> Response:
        """Answer a page with the addresses of its neighbours."""
        return Response(
            {
                "next": self._address(self.next_place),
                "previous": self._address(self.previous_place),
                "results": data,
            }
        )

    def _address(self, place: Place | None) -> str | None:
        if place is None:
            return None
        address = self.request.build_absolute_uri()
        return replace_query_param(address, "cursor", place.written())

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        """Describe a page in OpenAPI."""
        link = {"type": ["string", "null"], "format": "uri"}
        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": {
                "next": {**link, "description": "Address of the next page; null on the last."},
                "previous": {
                    **link,
                    "description": "Address of the previous page; null on the first.",
                },
                "results": schema,
            },
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        """Describe the query parameters in OpenAPI."""
        return [
            _parameter(
                "cursor",
                {"type": "string"},
                "The place to go on from, taken from `next` or `previous`.",
            ),
            _parameter(
                "page_size",
                {"type": "integer", "minimum": 1, "maximum": LARGEST_PAGE, "default": PAGE},
                f"How many at once, {LARGEST_PAGE} at most.",
            ),
            _parameter(
                "order",
                {"type": "string", "enum": ["oldest", "newest"], "default": "oldest"},
                "Oldest or newest first, by time and id.",
            ),
        ]


def _parameter(name: str, schema: dict[str, Any], description: str) -> dict[str, Any]:
    return {
        "name": name,
        "in": "query",
        "required": False,
        "description": description,
        "schema": schema,
    }


def _beyond(place: Place, is_descending: bool) -> Q:
    way = "lt" if is_descending else "gt"
    field = place.field
    # The first condition alone lets the index be entered at the right place.
    return Q(**{f"{field}__{way}e": place.time}) & (
        Q(**{f"{field}__{way}": place.time}) | Q(**{f"id__{way}": place.identifier})
    )


def _order(request: Request) -> str:
    order = request.query_params.get("order", "oldest")
    if order not in {"oldest", "newest"}:
        raise BadQuery({"order": "must be oldest or newest"})
    return order


def _page_size(request: Request) -> int:
    raw = request.query_params.get("page_size", str(PAGE))
    if not (raw.isascii() and raw.isdigit() and 1 <= int(raw[:9]) <= LARGEST_PAGE):
        raise BadQuery({"page_size": f"must be a whole number from 1 to {LARGEST_PAGE}"})
    return int(raw)
