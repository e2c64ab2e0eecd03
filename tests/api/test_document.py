"""The OpenAPI document: in step, complete, and true of real answers."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.conf import settings
from drf_spectacular.generators import SchemaGenerator
from jsonschema import Draft202012Validator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from airflow_jobs import recompute
from airflow_jobs.api.docs import document
from airflow_jobs.api.examples import EXAMPLES, VISIT
from airflow_jobs.models import Instrument
from tests import factories
from tests.api.worlds import World
from tests.conftest import Actors

COMMITTED = Path(settings.BASE_DIR) / "docs" / "openapi.yaml"
URI = "urn:document"
BELOW = {"report-links": "/api/v1/visits/{visit_id}/report-links/"}
"""Resources that stand below another one."""


@lru_cache
def generated() -> dict[str, Any]:
    """Return the document as the program makes it."""
    made: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return made


def validator(schema: dict[str, Any]) -> Draft202012Validator:
    """Return a validator of a schema that may refer into the document."""
    resource = Resource.from_contents(generated(), default_specification=DRAFT202012)
    registry: Any = Registry().with_resource(URI, resource)
    return Draft202012Validator(_absolute(schema), registry=registry)


def _absolute(schema: Any) -> Any:
    if isinstance(schema, dict):
        return {
            key: f"{URI}{item}" if key == "$ref" else _absolute(item)
            for key, item in schema.items()
        }
    return [_absolute(item) for item in schema] if isinstance(schema, list) else schema


def assert_as_documented(answer: Any, method: str, path: str) -> None:
    """Check that status, headers and body of an answer are in the document."""
    operation = generated()["paths"][path][method.lower()]
    described = operation["responses"][str(answer.status_code)]
    if "$ref" in described:
        described = generated()["components"]["responses"][described["$ref"].rpartition("/")[2]]
    schema = described["content"][answer["Content-Type"]]["schema"]
    problems = sorted(validator(schema).iter_errors(answer.json()), key=str)
    assert not problems, [f"{list(item.absolute_path)}: {item.message}" for item in problems]
    for header in described.get("headers", {}):
        assert header in answer, header


def test_the_committed_document_is_the_one_the_program_makes() -> None:
    assert COMMITTED.read_bytes() == document("yaml"), (
        "run: manage.py spectacular --file docs/openapi.yaml --validate --fail-on-warn"
    )


def test_the_document_is_valid_openapi_3_1() -> None:
    assert yaml.safe_load(document("yaml"))["openapi"] == "3.1.0"


def _properties(schema: Any, place: str) -> Iterator[tuple[str, dict[str, Any]]]:
    for name, item in (schema.get("properties") or {}).items():
        yield f"{place}.{name}", item


def test_every_field_of_a_component_is_described() -> None:
    lacking = [
        place
        for name, schema in generated()["components"]["schemas"].items()
        for place, item in _properties(schema, name)
        if "description" not in item and "$ref" not in item and not place.endswith(".results")
    ]
    assert lacking == []


def test_every_operation_and_parameter_is_described() -> None:
    lacking = []
    for path, operations in generated()["paths"].items():
        for method, operation in operations.items():
            if not operation.get("summary"):
                lacking.append(f"{method} {path}")
            lacking += [
                f"{method} {path} {item['name']}"
                for item in operation.get("parameters", [])
                if not item.get("description") and item["in"] != "path"
            ]
    assert lacking == []


def test_every_addition_has_an_example() -> None:
    lacking = [
        path
        for path, operations in generated()["paths"].items()
        if "post" in operations
        and "tokens" not in path
        and "batch" not in path
        and "examples" not in next(iter(operations["post"]["requestBody"]["content"].values()))
    ]
    assert lacking == []


def test_the_examples_work_in_their_order_and_answers_are_as_documented(
    actors: Actors,
) -> None:
    for (resource, action), bodies in EXAMPLES.items():
        for name, body in bodies.items():
            path = BELOW.get(resource, f"/api/v1/{resource}/")
            method = "POST"
            address = path.replace("{visit_id}", VISIT)
            if action == "redaction":
                # It works on what the others made; see below.
                continue
            if action == "corrections":
                path += "{id}/corrections/"
                address = path.replace("{id}", body["content"]["id"])
            elif action == "preview":
                path = address = f"{path}preview/"
            elif action == "partial_update":
                method = "PATCH"
            answer = actors.administrator.send(method, address, body, headers={"If-Match": "*"})
            assert answer.status_code in {200, 201}, (resource, name, answer.json())
            assert_as_documented(answer, method, path)
    recompute.drain()
    for resource in {resource for resource, _ in EXAMPLES}:
        for units in ("si", "ip"):
            path = BELOW.get(resource, f"/api/v1/{resource}/")
            address = path.replace("{visit_id}", VISIT)
            answer = actors.administrator.get(address, units=units)
            assert_as_documented(answer, "GET", path)
    for (resource, action), bodies in EXAMPLES.items():
        if action == "redaction":
            (made,) = EXAMPLES[resource, "create"].values()
            path = f"/api/v1/{resource}/{made['id']}/redaction/"
            for body in bodies.values():
                answer = actors.administrator.post(path, body)
                assert answer.status_code == 200, answer.json()
                assert_as_documented(answer, "POST", f"/api/v1/{resource}/{{id}}/redaction/")


@pytest.mark.parametrize("shape", ["rectangular", "round", "flat_oval"])
def test_layouts_are_as_documented(actors: Actors, world: World, shape: str) -> None:
    sizes = {"diameter": 16} if shape == "round" else {"width": 24, "height": 18}
    answer = actors.owner.get("layout/", shape=shape, unit="in", **sizes)
    assert answer.status_code == 200
    assert_as_documented(answer, "GET", "/api/v1/layout/")
    stored = actors.owner.get(f"duct-sections/{world.section.pk}/layout/")
    assert_as_documented(stored, "GET", "/api/v1/duct-sections/{id}/layout/")


def test_catalogues_and_tokens_are_as_documented(actors: Actors) -> None:
    assert_as_documented(actors.owner.get("findings/"), "GET", "/api/v1/findings/")
    problem = actors.owner.get("problems/not-found/")
    assert_as_documented(problem, "GET", "/api/v1/problems/{slug}/")
    assert_as_documented(actors.owner.get("tokens/"), "GET", "/api/v1/tokens/")
    body = {"username": "owner", "password": "correct horse 7 battery"}
    assert_as_documented(actors.stranger.post("tokens/", body), "POST", "/api/v1/tokens/")
    field_app = {"crew": str(actors.crew.pk)}
    answer = actors.administrator.post("tokens/field-app/", field_app)
    assert_as_documented(answer, "POST", "/api/v1/tokens/field-app/")


def test_problems_are_as_documented(actors: Actors, world: World) -> None:
    content = world.content()
    actors.owner.post("traverses/", content)
    path = "/api/v1/traverses/"
    for answer in (
        actors.stranger.get(path),
        actors.owner.get(path, page_size=0),
    ):
        assert_as_documented(answer, "GET", path)
    for answer in (
        actors.owner.post(path, b"{"),
        actors.owner.post(path, content | {"notes": "x"}),
        actors.owner.post(path, {}),
        actors.owner.post(path, b"x", content_type="text/plain"),
        actors.colleague.post(path, world.content()),
    ):
        assert_as_documented(answer, "POST", path)
    section = f"/api/v1/duct-sections/{world.section.pk}/"
    for answer in (
        actors.owner.patch(section, {}),
        actors.owner.patch(section, {}, revision=9),
    ):
        assert_as_documented(answer, "PATCH", "/api/v1/duct-sections/{id}/")


def test_the_document_and_its_page_are_open_to_everybody(actors: Actors) -> None:
    for form in ("yaml", "json"):
        answer = actors.stranger.get(f"openapi.{form}")
        assert answer.status_code == 200
        assert b"Duct Flow Record" in answer.content
    page = actors.stranger.client.get("/api/v1/docs/", headers={"Accept": "text/html"})
    assert page.status_code == 200
    assert b"<script>" not in page.content
    assert "'unsafe-inline'" in page["Content-Security-Policy"]
    assert "script-src 'self'" in page["Content-Security-Policy"]
    elsewhere = actors.stranger.get("openapi.yaml")
    assert "'unsafe-inline'" not in elsewhere["Content-Security-Policy"]


def test_unknown_compensation_is_null_in_answers(actors: Actors) -> None:
    instrument: Instrument = factories.make_instrument()
    answer = actors.owner.get(f"instruments/{instrument.pk}/").json()
    assert answer["compensates"] == {"temperature": None, "pressure": None, "humidity": None}
