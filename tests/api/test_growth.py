"""v1 only grows: what a client of the last release relies on is still there.

`docs/openapi-released.yaml` is the document of the last release. It is replaced by a copy of
`docs/openapi.yaml` when a release is made, and at no other time; until the first release it is
the present document.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.conf import settings

Document = dict[str, Any]

DOCUMENTS = Path(settings.BASE_DIR) / "docs"
METHODS = frozenset({"get", "post", "patch", "put", "delete"})
LOWEST = ("minimum", "exclusiveMinimum", "minLength", "minItems", "minProperties")
HIGHEST = ("maximum", "exclusiveMaximum", "maxLength", "maxItems", "maxProperties")


@lru_cache
def read(name: str) -> Document:
    """Return one of the documents."""
    document: Document = yaml.safe_load((DOCUMENTS / name).read_text("utf-8"))
    return document


def losses(old: Document, new: Document) -> list[str]:
    """Return what a client of the old document would miss, or be refused for, in the new one."""
    return list(_losses(old, new))


def _losses(old: Document, new: Document) -> Iterator[str]:
    for path, operations in old["paths"].items():
        for method in METHODS & operations.keys():
            place = f"{method.upper()} {path}"
            there = new["paths"].get(path, {}).get(method)
            if there is None:
                yield f"{place} is gone"
                continue
            yield from _Comparison(old, new).of_operations(place, operations[method], there)


class _Comparison:
    """Compares two operations, following references each in its own document."""

    def __init__(self, old: Document, new: Document) -> None:
        self.old = old
        self.new = new
        self.seen: set[tuple[str, str, bool]] = set()

    def of_operations(self, place: str, old: Document, new: Document) -> Iterator[str]:
        yield from self._of_parameters(place, old, new)
        body = _resolved(self.new, new.get("requestBody"))
        was = _resolved(self.old, old.get("requestBody"))
        if body.get("required") and not was.get("required"):
            yield f"{place}: a body is required now"
        yield from self._of_contents(f"{place} body", was, body, is_request=True)
        for status, answer in old["responses"].items():
            if status not in new["responses"]:
                yield f"{place}: the answer {status} is gone"
                continue
            there = _resolved(self.new, new["responses"][status])
            answer = _resolved(self.old, answer)
            for header in answer.get("headers", {}).keys() - there.get("headers", {}).keys():
                yield f"{place} {status}: the header {header} is gone"
            yield from self._of_contents(f"{place} {status}", answer, there, is_request=False)

    def _of_parameters(self, place: str, old: Document, new: Document) -> Iterator[str]:
        was = {(item["in"], item["name"]): item for item in old.get("parameters", [])}
        now = {(item["in"], item["name"]): item for item in new.get("parameters", [])}
        for key, item in now.items():
            if item.get("required") and not was.get(key, {}).get("required"):
                yield f"{place}: the parameter {key[1]} is required now"
        for key, item in was.items():
            if key not in now:
                yield f"{place}: the parameter {key[1]} is gone"
                continue
            inner = f"{place} ?{key[1]}"
            yield from self._of_schemas(inner, item["schema"], now[key]["schema"], is_request=True)

    def _of_contents(
        self, place: str, old: Document, new: Document, *, is_request: bool
    ) -> Iterator[str]:
        for kind, content in old.get("content", {}).items():
            there = new.get("content", {}).get(kind)
            if there is None:
                yield f"{place}: {kind} is gone"
            else:
                yield from self._of_schemas(
                    place, content["schema"], there["schema"], is_request=is_request
                )

    def _of_schemas(
        self, place: str, old: Document, new: Document, *, is_request: bool
    ) -> Iterator[str]:
        pair = (str(old.get("$ref")), str(new.get("$ref")), is_request)
        if "$ref" in old and "$ref" in new:
            if pair in self.seen:
                return
            self.seen.add(pair)
        was, now = _resolved(self.old, old), _resolved(self.new, new)
        yield from _of_values(place, was, now, is_request=is_request)
        yield from _of_keys(place, was, now, is_request=is_request)
        for name, item in was.get("properties", {}).items():
            there = now.get("properties", {}).get(name)
            if there is not None:
                yield from self._of_schemas(f"{place}/{name}", item, there, is_request=is_request)
        for key in ("items", "additionalProperties"):
            if isinstance(was.get(key), dict) and isinstance(now.get(key), dict):
                yield from self._of_schemas(f"{place}/*", was[key], now[key], is_request=is_request)
        for key in ("oneOf", "anyOf", "allOf"):
            forms, there = was.get(key, []), now.get(key, [])
            if len(there) < len(forms) or (len(there) > len(forms) and key == "allOf"):
                yield f"{place}: {key} had {len(forms)} forms and has {len(there)}"
            for number, (form, other) in enumerate(zip(forms, there, strict=False)):
                inner = f"{place}({number})"
                yield from self._of_schemas(inner, form, other, is_request=is_request)


def _of_values(place: str, old: Document, new: Document, *, is_request: bool) -> Iterator[str]:
    was, now = _types(old), _types(new)
    if is_request and now and (not was or was - now):
        yield f"{place}: took {sorted(was) or 'anything'} and takes {sorted(now)}"
    if not is_request and was and (not now or now - was):
        yield f"{place}: was {sorted(was)} and may be {sorted(now) or 'anything'}"
    missing = [item for item in old.get("enum", []) if "enum" in new and item not in new["enum"]]
    if missing:
        yield f"{place}: the values {missing} are gone"
    if not is_request:
        return
    if "enum" in new and "enum" not in old:
        yield f"{place}: only {new['enum']} may be sent now"
    for key in LOWEST:
        if key in new and new[key] > old.get(key, float("-inf")):
            yield f"{place}: {key} is tighter, {new[key]}"
    for key in HIGHEST:
        if key in new and new[key] < old.get(key, float("inf")):
            yield f"{place}: {key} is tighter, {new[key]}"
    for key in ("pattern", "format"):
        if key in new and new[key] != old.get(key):
            yield f"{place}: {key} is now {new[key]}"


def _of_keys(place: str, old: Document, new: Document, *, is_request: bool) -> Iterator[str]:
    for name in old.get("properties", {}).keys() - new.get("properties", {}).keys():
        yield f"{place}/{name} is gone"
    was, now = set(old.get("required", ())), set(new.get("required", ()))
    if is_request:
        for name in now - was:
            yield f"{place}/{name} is required now"
        if new.get("additionalProperties") is False and old.get("additionalProperties", True):
            yield f"{place}: other keys are refused now"
    else:
        for name in was - now:
            yield f"{place}/{name} may be missing now"


def _types(schema: Document) -> set[str]:
    kind = schema.get("type")
    if kind is None:
        return set()
    kinds = {kind} if isinstance(kind, str) else set(kind)
    # Every integer is a number.
    return kinds | {"integer"} if "number" in kinds else kinds


def _resolved(document: Document, part: Any) -> Document:
    found: Document = part or {}
    while "$ref" in found:
        place: Any = document
        for key in found["$ref"].removeprefix("#/").split("/"):
            place = place[key]
        found = place
    return found


def test_what_clients_of_the_last_release_rely_on_is_still_there() -> None:
    assert losses(read("openapi-released.yaml"), read("openapi.yaml")) == []


def _schema(document: Document, name: str) -> Document:
    found: Document = document["components"]["schemas"][name]
    return found


def _drop_path(document: Document) -> None:
    del document["paths"]["/api/v1/sites/"]


def _drop_method(document: Document) -> None:
    del document["paths"]["/api/v1/sites/{id}/"]["patch"]


def _drop_status(document: Document) -> None:
    del document["paths"]["/api/v1/sites/"]["post"]["responses"]["200"]


def _drop_filter(document: Document) -> None:
    document["paths"]["/api/v1/sites/"]["get"]["parameters"].pop(0)


def _require_field(document: Document) -> None:
    _schema(document, "SiteRequest")["required"].append("notes")


def _drop_sent_field(document: Document) -> None:
    del _schema(document, "SiteRequest")["properties"]["notes"]


def _drop_answered_field(document: Document) -> None:
    del _schema(document, "Site")["properties"]["notes"]


def _let_answered_field_miss(document: Document) -> None:
    _schema(document, "Site")["required"].remove("notes")


def _drop_value(document: Document) -> None:
    _schema(document, "LengthQuantity")["properties"]["unit"]["enum"].remove("ft")


def _shorten(document: Document) -> None:
    _schema(document, "SiteRequest")["properties"]["name"]["maxLength"] = 3


def _let_answer_be_null(document: Document) -> None:
    _schema(document, "Site")["properties"]["name"]["type"] = ["string", "null"]


@pytest.mark.parametrize(
    "change",
    [
        _drop_path,
        _drop_method,
        _drop_status,
        _drop_filter,
        _require_field,
        _drop_sent_field,
        _drop_answered_field,
        _let_answered_field_miss,
        _drop_value,
        _shorten,
        _let_answer_be_null,
    ],
)
def test_a_change_that_breaks_a_client_is_seen(change: Callable[[Document], None]) -> None:
    changed = copy.deepcopy(read("openapi.yaml"))
    change(changed)
    assert losses(read("openapi.yaml"), changed)


def test_what_is_added_breaks_nobody() -> None:
    grown = copy.deepcopy(read("openapi.yaml"))
    grown["paths"]["/api/v1/new/"] = grown["paths"]["/api/v1/sites/"]
    _schema(grown, "SiteRequest")["properties"]["colour"] = {"type": "string"}
    _schema(grown, "Site")["properties"]["colour"] = {"type": "string"}
    _schema(grown, "Site")["required"].append("colour")
    _schema(grown, "LengthQuantity")["properties"]["unit"]["enum"].append("yd")
    assert losses(read("openapi.yaml"), grown) == []
