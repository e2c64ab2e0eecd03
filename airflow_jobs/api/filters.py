"""Query parameters: declared, checked, described; an unknown one is refused."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from django.db import models
from rest_framework import serializers
from rest_framework.request import Request

from .fields import DayField, IdField, InstantField, shown
from .problems import BadQuery

UNITS: Final = "units"


@dataclass(frozen=True)
class Filter:
    """One query parameter that narrows a list."""

    name: str
    lookup: str
    kind: str
    """`id`, `word`, `day`, `instant`, `text` or `flag`."""
    description: str
    words: tuple[str, ...] = ()

    def parsed(self, raw: str) -> Any:
        """Check what came and return the value to look for."""
        match self.kind:
            case "id":
                return IdField().run_validation(raw)
            case "day":
                return DayField().run_validation(raw)
            case "instant":
                # A plus sign in an address means a blank.
                return InstantField().run_validation(raw.replace(" ", "+"))
            case "word":
                if raw not in self.words:
                    listed = ", ".join(f"'{word}'" for word in self.words)
                    raise serializers.ValidationError(f"{shown(raw)} is not one of {listed}.")
                return raw
            case "flag":
                if raw not in {"true", "false"}:
                    raise serializers.ValidationError(f"true or false is due; {shown(raw)} came.")
                return raw == "true"
            case _:
                if "\x00" in raw or len(raw) > 200:
                    raise serializers.ValidationError("Text of at most 200 characters is due.")
                return raw

    def schema(self) -> dict[str, Any]:
        """Describe the parameter in OpenAPI."""
        kinds: dict[str, dict[str, Any]] = {
            "id": {"type": "string", "format": "uuid"},
            "day": {"type": "string", "format": "date"},
            "instant": {"type": "string", "format": "date-time"},
            "word": {"type": "string", "enum": list(self.words)},
            "flag": {"type": "boolean"},
            "text": {"type": "string", "maxLength": 200},
        }
        return {
            "name": self.name,
            "in": "query",
            "required": False,
            "description": self.description,
            "schema": kinds[self.kind],
        }


def by_id(name: str, lookup: str, description: str) -> Filter:
    """Narrow a list to one related row."""
    return Filter(name, lookup, "id", description)


def by_word(name: str, lookup: str, words: type[models.TextChoices], description: str) -> Filter:
    """Narrow a list to one word of a closed list."""
    return Filter(name, lookup, "word", description, tuple(str(word) for word in words.values))


def retired() -> Filter:
    """Narrow a list to what is retired or what is not."""
    return Filter(
        "retired",
        "retired_on__isnull",
        "flag",
        "`true`: only what has a day of retirement; `false`: only what has none.",
    )


def between(start: str, end: str, field: str, what: str) -> tuple[Filter, Filter]:
    """Narrow a list to a span of time, its start included and its end not."""
    return (
        Filter(start, f"{field}__gte", "instant", f"Only what was {what} then or later."),
        Filter(end, f"{field}__lt", "instant", f"Only what was {what} before then."),
    )


def apply(
    rows: models.QuerySet[Any], filters: Iterable[Filter], request: Request
) -> models.QuerySet[Any]:
    """Narrow rows by the filters that the request names."""
    reasons: dict[str, str] = {}
    for item in filters:
        raw = request.query_params.get(item.name)
        if raw is None:
            continue
        try:
            value = item.parsed(raw)
        except serializers.ValidationError as error:
            detail: Any = error.detail
            reasons[item.name] = str(detail[0])
            continue
        if item.lookup.endswith("__isnull"):
            value = not value
        rows = rows.filter(**{item.lookup: value})
    if reasons:
        raise BadQuery(reasons)
    return rows


def refuse_unknown(request: Request, known: Iterable[str]) -> None:
    """Refuse query parameters that nothing reads: a misspelt filter would let everything pass."""
    names = set(known)
    reasons = {}
    for name in request.query_params:
        if name not in names:
            near = difflib.get_close_matches(name, names, n=1)
            hint = f"; did you mean {near[0]}?" if near else ""
            listed = ", ".join(sorted(names)) or "none"
            reasons[name[:60]] = f"is not known here{hint} (known: {listed})"
        elif len(request.query_params.getlist(name)) > 1:
            reasons[name] = "is given more than once"
    if reasons:
        raise BadQuery(reasons)
