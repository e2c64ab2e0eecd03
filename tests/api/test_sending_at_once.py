"""Idempotency under real concurrency: real threads, real transactions, a real HTTP server."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
import pytest
from django.core.servers.basehttp import WSGIServer
from django.db import connection, transaction
from pytest_django.live_server_helper import LiveServer

from airflow_jobs.models import Computation, Site, Traverse, TraverseRevision
from tests import factories
from tests.api.worlds import make_world
from tests.conftest import Actors

AT_ONCE = 50


@pytest.fixture(scope="session")
def live_server(request: pytest.FixtureRequest) -> Iterator[LiveServer]:
    """A server whose queue of new connections holds all that come at once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(WSGIServer, "request_queue_size", 2 * AT_ONCE)
        server = LiveServer("localhost")
    yield server
    server.stop()


@pytest.fixture
def company(transactional_db: None) -> Any:
    """The company, in a database that other connections see."""
    return factories.make_company(default_units="si")


def post_at_once(
    server: LiveServer, path: str, bodies: list[Any], secret: str | None
) -> list[httpx.Response]:
    """Post all bodies at the same moment, each over its own connection."""
    gate = threading.Barrier(len(bodies))

    def post(body: Any) -> httpx.Response:
        with httpx.Client(
            base_url=server.url, headers={"Authorization": f"Bearer {secret}"}, timeout=60
        ) as client:
            gate.wait()
            return client.post(f"/api/v1/{path}", json=body)

    with ThreadPoolExecutor(len(bodies)) as pool:
        return list(pool.map(post, bodies))


def without_result(answer: httpx.Response) -> dict[str, Any]:
    """Return an answer less what may differ."""
    return {key: item for key, item in answer.json().items() if key != "result"}


def test_fifty_simultaneous_posts_make_one_row_one_201_and_49_times_200(
    actors: Actors, live_server: LiveServer
) -> None:
    content = make_world(actors.crew).content()
    answers = post_at_once(live_server, "traverses/", [content] * AT_ONCE, actors.owner.secret)
    codes = sorted(answer.status_code for answer in answers)
    assert codes == [200] * (AT_ONCE - 1) + [201]
    assert all(without_result(answer) == without_result(answers[0]) for answer in answers)
    assert Traverse.objects.count() == 1
    assert TraverseRevision.objects.count() == Computation.objects.count() == 1


def test_different_contents_under_one_id_at_once_keep_the_first_and_refuse_the_rest(
    actors: Actors, live_server: LiveServer
) -> None:
    content = make_world(actors.crew).content()
    bodies = [content | {"notes": f"writer {number}"} for number in range(10)]
    answers = post_at_once(live_server, "traverses/", bodies, actors.owner.secret)
    codes = sorted(answer.status_code for answer in answers)
    assert codes == [201] + [409] * 9
    stored = next(answer.json() for answer in answers if answer.status_code == 201)
    assert {
        answer.json()["stored"]["notes"] for answer in answers if answer.status_code == 409
    } == {stored["notes"]}


def test_batches_that_overlap_in_opposite_orders_store_each_traverse_once(
    actors: Actors, live_server: LiveServer
) -> None:
    world = make_world(actors.crew)
    items = [world.content() for _ in range(20)]
    batches = [items, items[::-1]] * 4
    answers = post_at_once(live_server, "traverses/batch/", batches, actors.owner.secret)
    assert {answer.status_code for answer in answers} == {200}
    outcomes = [item for answer in answers for item in answer.json()]
    for content in items:
        codes = sorted(item["status"] for item in outcomes if item["id"] == content["id"])
        assert codes == [200] * 7 + [201]
    assert Traverse.objects.count() == 20


def test_reference_rows_sent_at_once_are_stored_once(
    actors: Actors, live_server: LiveServer
) -> None:
    site = {
        "id": "0198f0a2-7c1e-7000-8000-00000000abcd",
        "name": "Mill",
        "time_zone": "America/Denver",
        "elevation": {"value": 5280, "unit": "ft"},
    }
    answers = post_at_once(live_server, "sites/", [site] * 10, actors.manager.secret)
    assert sorted(answer.status_code for answer in answers) == [200] * 9 + [201]
    assert Site.objects.filter(name="Mill").count() == 1


@pytest.mark.parametrize("what", ["traverses", "duct-sections"])
def test_a_change_that_meets_the_worker_waits_for_it_and_holds_it_up_in_nothing(
    actors: Actors, live_server: LiveServer, what: str
) -> None:
    world = make_world(actors.crew)
    content = world.content()
    actors.owner.post("traverses/", content)
    if what == "traverses":
        table, key = "airflow_jobs_traverse", content["id"]
        body: dict[str, Any] = {"reason": "Misread.", "content": content | {"notes": "read again"}}
        path, method = f"traverses/{key}/corrections/", "POST"
    else:
        table, key = "airflow_jobs_ductsection", str(world.section.pk)
        body = {"width": {"value": 500, "unit": "mm"}}
        path, method = f"duct-sections/{key}/", "PATCH"
    waiting = (
        "SELECT 1 FROM pg_stat_activity "
        "WHERE datname = current_database() AND wait_event_type = 'Lock'"
    )

    def change() -> httpx.Response:
        return httpx.request(
            method,
            f"{live_server.url}/api/v1/{path}",
            json=body,
            headers={"Authorization": f"Bearer {actors.manager.secret}", "If-Match": '"1"'},
            timeout=60,
        )

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic(), connection.cursor() as cursor:
            # As the worker does that computes it ...
            Computation.objects.select_for_update().get(traverse=content["id"])
            answer = pool.submit(change)
            until = time.monotonic() + 30
            cursor.execute(waiting)
            while cursor.fetchone() is None:
                assert time.monotonic() < until
                time.sleep(0.02)
                cursor.execute("SELECT pg_stat_clear_snapshot()")
                cursor.execute(waiting)
            # ... and as its commit does, which checks what the result refers to.
            cursor.execute(f"SELECT 1 FROM {table} WHERE id = %s FOR KEY SHARE NOWAIT", [key])
        assert answer.result().is_success, answer.result().text
