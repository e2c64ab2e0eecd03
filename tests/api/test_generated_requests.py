"""Requests made from the OpenAPI document: whatever comes, the answer is a documented one.

Each operation of the document gets requests that keep to it and requests that break it. A third
of them are sent as generated; a third with the ids of rows that exist, to get past the first
look-up; a third as an example of the document in which one key is as generated, to get past the
parser. The requests are the same ones in every run. `make fuzz` sends more of them: CASES says
how many.
"""

from __future__ import annotations

import math
import os
import re
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any, Final

import pytest
import schemathesis
from django.core.cache import cache
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from airflow_jobs import recompute
from airflow_jobs.api.examples import EXAMPLES
from airflow_jobs.models import ReportLink
from tests import factories
from tests.api.worlds import World
from tests.conftest import Actors, Caller

CASES: Final = int(os.environ.get("CASES", "2000"))
"""How many requests are sent at least, over all operations."""

SHARES: Final = {GenerationMode.POSITIVE: 0.5, GenerationMode.NEGATIVE: 0.5}

CHECKS: Final[list[Any]] = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    response_headers_conformance,
]

Known = dict[str, str]


@pytest.fixture
def known(actors: Actors, world: World) -> Known:
    """Make one row of each resource; return resource or key of a body -> its id."""
    actors.owner.post("traverses/", world.content())
    traverse = actors.owner.get("traverses/").json()["results"][0]["id"]
    recompute.drain()
    reading = factories.make_flow_reading(visit=world.visit, equipment=world.equipment)
    person = factories.make_person(username="somebody")
    token, _ = factories.make_token(person=person)
    rows = {
        "blower-tables": factories.make_blower_table(equipment=world.equipment),
        "calibrations": factories.make_calibration(instrument=world.instrument),
        "crews": actors.crew,
        "customers": factories.make_customer(),
        "duct-sections": world.section,
        "equipment": world.equipment,
        "flow-readings": reading,
        "instruments": world.instrument,
        "people": person,
        "report-links": ReportLink.objects.create(
            visit=world.visit, digest="0" * 64, expires_at=factories.NOW
        ),
        "sites": world.site,
        "targets": factories.make_target(equipment=world.equipment),
        "tokens": token,
        "visits": world.visit,
    }
    ids = {name: str(row.pk) for name, row in rows.items()} | {"traverses": traverse}
    keys = {
        "crew": "crews",
        "customer": "customers",
        "duct_section": "duct-sections",
        "flow_reading": "flow-readings",
        "instrument": "instruments",
        "person": "people",
        "repeats": "traverses",
        "site": "sites",
        "traverse": "traverses",
        "visit": "visits",
    }
    return ids | {key: ids[name] for key, name in keys.items()}


def led_to_rows(part: Any, known: Known) -> Any:
    """Return a body with the ids of rows that exist wherever it names one."""
    if isinstance(part, dict):
        return {
            key: known[key] if key in known and isinstance(item, str) else led_to_rows(item, known)
            for key, item in part.items()
        }
    return [led_to_rows(item, known) for item in part] if isinstance(part, list) else part


@pytest.fixture
def one_connection() -> Iterator[None]:
    """Keep the test's connection, which requests would close at their end."""
    for moment in (request_started, request_finished):
        moment.disconnect(close_old_connections)
    yield
    for moment in (request_started, request_finished):
        moment.connect(close_old_connections)


def _document() -> Any:
    return schemathesis.openapi.from_wsgi("/api/v1/openapi.json", get_wsgi_application())


def near_an_example(example: Any, generated: Any, turn: int) -> Any:
    """Return an example of the document with one of its keys as generated, under a new id."""
    if isinstance(example, list):
        return [near_an_example(item, generated, turn) for item in example]
    body = {key: item for key, item in example.items() if key != "id"}
    if isinstance(body.get("content"), dict):
        inner = generated.get("content") if isinstance(generated, dict) else None
        return body | {"content": near_an_example(body["content"], inner, turn)}
    if isinstance(generated, list):
        generated = generated[0] if generated else None
    if not isinstance(generated, dict) or not generated:
        return body
    key = sorted(generated)[turn % len(generated)]
    return body | {key: generated[key]}


def _example(operation: Any) -> Any:
    """Return a body that the document gives for an operation; None where there is none."""
    content = operation.definition.raw.get("requestBody", {}).get("content", {})
    examples = content.get("application/json", {}).get("examples", {})
    if operation.path == "/api/v1/traverses/batch/":
        return list(EXAMPLES["traverses", "create"].values())
    return next((item["value"] for item in examples.values()), None)


def _sent(
    operation: Any, mode: GenerationMode, caller: Caller, known: Known, number: int
) -> Counter[int]:
    """Send requests to one operation; return how many were answered with which status."""
    statuses: Counter[int] = Counter()
    example = _example(operation)
    # Each id belongs to the collection that stands before it in the address.
    collections = {
        name: collection for collection, name in re.findall(r"([a-z-]+)/{(\w+)}", operation.path)
    }

    @settings(
        max_examples=number,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(
        case=operation.as_strategy(generation_mode=mode),
        way=st.sampled_from(("as generated", "with rows", "near an example")),
        turn=st.integers(0, 1000),
    )
    def send(case: Any, way: str, turn: int) -> None:
        if way == "near an example" and example is not None:
            case.body = near_an_example(example, case.body, turn)
        if way != "as generated":
            case.body = led_to_rows(case.body, known)
            for name in case.path_parameters or {}:
                id_known = known.get(collections.get(name, ""))
                case.path_parameters[name] = id_known or case.path_parameters[name]
        # Being throttled is tested elsewhere; here it would hide everything else.
        cache.clear()
        answer = case.call(headers={"Authorization": f"Bearer {caller.secret}"})
        statuses[answer.status_code] += 1
        case.validate_response(answer, checks=CHECKS)

    run: Callable[[], None] = send
    # An address whose every text is a good one leaves nothing to break.
    with suppress(Unsatisfiable):
        run()
    return statuses


@pytest.mark.parametrize("mode", SHARES, ids=lambda mode: str(mode.value))
def test_every_answer_to_a_generated_request_is_a_documented_one(
    mode: GenerationMode, own_cache: None, actors: Actors, known: Known, one_connection: None
) -> None:
    wanted = math.ceil(CASES * SHARES[mode])
    operations = [found.ok() for found in _document().get_all_operations()]
    statuses: Counter[int] = Counter()
    for operation in operations:
        # Those that write have more to get wrong.
        number = math.ceil(wanted / len(operations) * (1.5 if operation.body else 1.0))
        statuses += _sent(operation, mode, actors.administrator, known, number)
    assert statuses.total() >= wanted
    # Most of them must get past the door, and what keeps to the document must be of use.
    assert statuses[401] + statuses[429] < 0.35 * statuses.total()
    assert mode != GenerationMode.POSITIVE or statuses[200] + statuses[201] > 0.25 * wanted
