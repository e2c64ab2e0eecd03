"""The OpenAPI document: what the views can't say themselves is said here, once for all."""

from __future__ import annotations

from typing import Any, Final

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ResolvedComponent
from drf_spectacular.utils import OpenApiExample

from . import openapi_fields
from .examples import EXAMPLES
from .filters import UNITS
from .problems import KINDS, MEDIA_TYPE, Kind
from .records import RecordViewSet, StrictSerializer

Schema = dict[str, Any]

# The import registers how fields are described.
QUANTITY_FIELDS: Final = openapi_fields

DESCRIPTION: Final = """\
The airflow record of a service company. Everything that the pages show can be read and written
here.

**First steps,** in this order: a token (`POST /api/v1/tokens/`), then a site, its equipment, a
duct section, an instrument (a manager or an administrator adds it), a crew (likewise), a visit of
the crew to the site, a traverse. Each needs the ids of those before it, and each has an example
that works. Ask `GET /api/v1/traverses/{id}/` for the result.

**Signing in.** `POST /api/v1/tokens/` with user name and password answers a token; send it as
`Authorization: Bearer <token>`. Somebody who has one-time codes on sends `one_time_code` too; the
answer says when it is due. Field apps have tokens of their own, bound to a crew.

**Quantities** are written `{"value": number, "unit": "…"}`; a bare number is refused. They are
stored in SI and kept as typed (`as_sent`). Answers are in `?units=si` or `ip`, full precision.

**Sending twice is safe.** Make the id yourself (a UUID of any version): the same id and content
again answers 200 with what is stored, other content under the same id 409 with `stored`.

**Changes** are `PATCH` with `If-Match` and the revision that was read (the `ETag`). A stale one
answers 412 with `current`. Null takes a value away. Nothing is deleted: things are retired.

**Lists** come in pages ordered by time and id; follow `next`. To sync, ask with `updated_since`:
the `updated_at` of the last one seen, less a minute. Results of traverses and flow-sets come with
`computed_since`: the `result.settled_at` of the last one seen. Visits that a field app is no longer
shown come with `GET /api/v1/visits/given-away/`.

**Problems** are RFC 9457 documents whose `errors` point (RFC 6901) at what to mend.

**Throttle:** bursts of 1,000 requests and 100 a second for each token; then 429 with
`Retry-After`. Each answer carries `X-Request-ID`, which is in the service's log.
"""

PROBLEM: Final[Schema] = {
    "type": "object",
    "description": "What went wrong, as RFC 9457 has it.",
    "required": ["type", "title", "status", "detail", "instance", "errors"],
    "properties": {
        "type": {
            "type": "string",
            "format": "uri-reference",
            "description": "Address that explains this kind of problem.",
        },
        "title": {"type": "string", "description": "The kind of problem, in words."},
        "status": {"type": "integer", "description": "The HTTP status."},
        "detail": {"type": "string", "description": "What came, what was expected, the fix."},
        "instance": {"type": "string", "description": "The address that was asked."},
        "errors": {
            "type": "array",
            "description": "Each thing that is not acceptable.",
            "items": {
                "type": "object",
                "required": ["pointer", "code", "message"],
                "properties": {
                    "pointer": {
                        "type": "string",
                        "description": "Where in the body, as RFC 6901 has it; empty for all.",
                    },
                    "parameter": {
                        "type": "string",
                        "description": "Which query parameter or header, in place of a pointer.",
                    },
                    "code": {"type": "string", "description": "Stable name of the rule."},
                    "message": {"type": "string", "description": "The rule in words."},
                },
            },
        },
        "stored": {
            "type": ["object", "null"],
            "description": "With 409: what is stored under the id.",
        },
        "current": {
            "type": ["object", "null"],
            "description": "With 412: the current state, with its revision.",
        },
    },
}

TAGS: Final[dict[str, str]] = {
    "tokens": "Signing in, and tokens for field apps.",
    "traverses": "What was read where, and what it means.",
    "flow-sets": "Several sections adding up to one system's flow.",
    "flow-readings": "Flows known without a traverse.",
    "pressures": "Static pressures about a system.",
    "temperature-rises": "A second way to the flow.",
    "visits": "A crew at a site.",
    "report-links": "Links that open one visit's report for its customer, without a sign-in.",
    "adjustments": "What was changed between as found and as left.",
    "customers": "Whoever the work is done for.",
    "sites": "Places with equipment.",
    "equipment": "The systems whose airflow is measured.",
    "duct-sections": "Where traverses are made, and where to drill.",
    "layout": "Where to drill, from sizes alone.",
    "targets": "What the airflow should be.",
    "blower-tables": "The maker's data.",
    "instruments": "Meters with their probes.",
    "calibrations": "What calibrations found.",
    "crews": "Who goes out together.",
    "people": "Who signs in.",
    "company": "The company's settings.",
    "findings": "Everything that may be worth saying of a measurement.",
    "problems": "Every kind of problem.",
}

LISTS: Final = frozenset({"list", "given_away"})

_IF_MATCH: Final[Schema] = {
    "name": "If-Match",
    "in": "header",
    "required": True,
    "description": 'The revision that was read, such as "3"; * for any.',
    "schema": {"type": "string"},
    "example": '"1"',
}
_UNITS: Final[Schema] = {
    "name": UNITS,
    "in": "query",
    "required": False,
    "description": "Units of quantities in the answer; the company's where nothing is given.",
    "schema": {"type": "string", "enum": ["si", "ip"]},
}
_ETAG: Final[Schema] = {
    "description": "The revision, quoted: what If-Match takes.",
    "schema": {"type": "string"},
}
_LOCATION: Final[Schema] = {
    "description": "Address of what was stored.",
    "schema": {"type": "string"},
}
_WITH_A_SECRET: Final = frozenset({"tokens", "report-links"})
"""What is made with a secret has no id of the client's."""
_IDS: Final = {"id": "The id.", "visit_id": "The id of the visit."}
_RETRY_AFTER: Final[Schema] = {
    "description": "How long to wait, in seconds.",
    "schema": {"type": "integer"},
}
_WORDS: Final[dict[str, tuple[str, str]]] = {
    "list": ("List {tag}", "Answers a page of those that the caller may know of."),
    "retrieve": ("Read {noun}", "Answers one with its revision as ETag."),
    "create": (
        "Add {noun}",
        "Answers 201; the same id and content again 200 with what is stored; other content under "
        "the same id 409. Send a client-made id wherever the request may have to be repeated.",
    ),
    "partial_update": (
        "Change {noun}",
        "Changes the keys that are sent; null takes a value away. Needs If-Match.",
    ),
}


class RecordSchema(AutoSchema):
    """Describes problems, units, revisions and filters of every operation."""

    @property
    def action(self) -> str:
        """What the view does in this operation."""
        return str(getattr(self.view, "action", None) or self.method.lower())

    @property
    def is_open(self) -> bool:
        """Whether a caller needs no token."""
        return not self.get_auth()

    def get_tags(self) -> list[str]:
        """Group operations by resource."""
        own: str | None = getattr(self.view, "tag", None)
        return [own or self.path.removeprefix("/api/v1/").partition("/")[0]]

    def get_summary(self) -> str | None:
        """Name the operation."""
        if isinstance(self.view, RecordViewSet) and self._is_common():
            words = _WORDS[self.action][0]
            return words.format(tag=self.get_tags()[0].replace("-", " "), noun=self.view.noun)
        return super().get_description().split("\n", 1)[0].rstrip(".") or None

    def get_description(self) -> str:  # type: ignore[override]
        """Say what the operation does."""
        if isinstance(self.view, RecordViewSet) and self._is_common():
            about = (type(self.view).__doc__ or "").strip()
            return f"{about}\n\n{_WORDS[self.action][1]}"
        return str(super().get_description())

    def _is_common(self) -> bool:
        return self.action in _WORDS

    def _get_parameters(self) -> list[Schema]:
        parameters: list[Schema] = super()._get_parameters()
        if getattr(self.view, "answers_in_units", isinstance(self.view, RecordViewSet)):
            parameters.append(_UNITS)
        if self.action in {"partial_update", "corrections"}:
            parameters.append(_IF_MATCH)
        for item in parameters:
            if item["in"] == "path" and item["name"] in _IDS:
                item["description"] = _IDS[item["name"]]
                item["schema"] = {"type": "string", "format": "uuid"}
        return parameters

    def _get_filter_parameters(self) -> list[Schema]:
        if self.action not in LISTS or not isinstance(self.view, RecordViewSet):
            return []
        return [item.schema() for item in self.view.all_filters()]

    def get_examples(self) -> list[OpenApiExample]:
        """Give a body that works."""
        bodies = EXAMPLES.get((self.get_tags()[0], self.action))
        return [
            OpenApiExample(name, value=body, request_only=True)
            for name, body in (bodies or {}).items()
        ]

    def get_response_serializers(self) -> Any:
        """Say that adding answers 201, or 200 where it was stored already."""
        serializers = super().get_response_serializers()
        if self.action == "create" and not isinstance(serializers, dict):
            return {201: serializers, 200: serializers}
        return serializers

    def _get_response_bodies(self, direction: Any = "response") -> Schema:
        bodies: Schema = super()._get_response_bodies(direction)
        is_item = self.action in {
            "retrieve",
            "create",
            "partial_update",
            "corrections",
            "redaction",
        }
        for code, body in bodies.items():
            if is_item and code in {"200", "201"}:
                body.setdefault("headers", {})["ETag"] = _ETAG
            if code == "201" and self.action == "create":
                body["headers"]["Location"] = _LOCATION
        if self.action == "preview" and direction == "response":
            body = {"schema": {"$ref": "#/components/schemas/Result"}}
            bodies["200"]["content"]["application/json"] = body
        if direction == "response":
            reference = self._problem()
            for kind in KINDS:
                if self._may_answer(kind):
                    bodies[str(kind.status)] = _problem_body(kind, reference)
        return dict(sorted(bodies.items()))

    def _may_answer(self, kind: Kind) -> bool:
        has_body = self.method in {"POST", "PATCH"}
        match kind.status:
            case 401:
                return not self.is_open or self.path == "/api/v1/tokens/"
            case 403:
                return not self.is_open
            case 404:
                return "{" in self.path
            case 409:
                return self.action == "create" and self.get_tags()[0] not in _WITH_A_SECRET
            case 412 | 428:
                return self.action in {"partial_update", "corrections"}
            case 411 | 413 | 415 | 422:
                return has_body
            case 405 | 500:
                return False
            case _:
                return True

    def _problem(self) -> Schema:
        component = ResolvedComponent(
            name="Problem", type=ResolvedComponent.SCHEMA, object="Problem", schema=PROBLEM
        )
        self.registry.register_on_missing(component)
        reference: Schema = component.ref
        return reference

    def _postprocess_serializer_schema(
        self, schema: Schema, serializer: Any, direction: Any
    ) -> Schema:
        result: Schema = super()._postprocess_serializer_schema(schema, serializer, direction)
        if not isinstance(serializer, StrictSerializer) or "properties" not in result:
            return result
        if direction == "request":
            result["additionalProperties"] = False
            for name, item in result["properties"].items():
                if name not in result.get("required", ()) and serializer.takes_null(name):
                    result["properties"][name] = _nullable(item)
        elif serializer.answers_every_key:
            result["required"] = sorted(result["properties"])
        return result


def _problem_body(kind: Kind, reference: Schema) -> Schema:
    body: Schema = {
        "description": f"{kind.title}. {kind.advice}",
        "content": {MEDIA_TYPE: {"schema": reference}},
    }
    if kind.status in {429, 503}:
        body["headers"] = {"Retry-After": _RETRY_AFTER}
    return body


def complete(result: Schema, generator: Any, request: Any, public: bool) -> Schema:
    """Add what belongs to the whole document."""
    result["info"]["description"] = DESCRIPTION
    _drop(result, "x-spec-enum-id")
    _share_problems(result)
    used = {
        tag for path in result["paths"].values() for item in path.values() for tag in item["tags"]
    }
    result["tags"] = [
        {"name": name, "description": words} for name, words in TAGS.items() if name in used
    ]
    return result


def _nullable(schema: Schema) -> Schema:
    """Allow null for a property that takes it."""
    kind = schema.get("type")
    if kind is None:
        either = schema.get("oneOf", [])
        if {"type": "null"} in either:
            return schema
        described = {key: item for key, item in schema.items() if key == "description"}
        rest = {key: item for key, item in schema.items() if key != "description"}
        return {"oneOf": [rest, {"type": "null"}], **described}
    if isinstance(kind, list):
        return schema
    enum = {"enum": [*schema["enum"], None]} if "enum" in schema else {}
    return schema | {"type": [kind, "null"]} | enum


def _drop(part: Any, key: str) -> None:
    """Take a key out of a document, however deep."""
    if isinstance(part, dict):
        part.pop(key, None)
        for item in part.values():
            _drop(item, key)
    elif isinstance(part, list):
        for item in part:
            _drop(item, key)


def _share_problems(result: Schema) -> None:
    """Describe each kind of problem once and refer to it."""
    shared = result["components"].setdefault("responses", {})
    names = {str(kind.status): kind.slug for kind in KINDS}
    for path in result["paths"].values():
        for operation in path.values():
            for code, body in operation["responses"].items():
                if MEDIA_TYPE in body.get("content", {}):
                    shared[names[code]] = body
                    operation["responses"][code] = {"$ref": f"#/components/responses/{names[code]}"}
