"""A bad line and a database that goes away: real server, real sockets, real kills."""

from __future__ import annotations

import json
import socket
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from airflow_jobs import embedded
from tests.service_parts import (
    Api,
    Parts,
    add_meter,
    add_place,
    content,
    running_without_worker,
    wait_for,
)


@pytest.fixture(scope="module")
def parts() -> Iterator[Parts]:
    """PostgreSQL and the web server."""
    with running_without_worker("faults") as service:
        yield service


@pytest.fixture(scope="module")
def api(parts: Parts) -> Iterator[Api]:
    """A client that is signed in."""
    client = Api(parts.port)
    yield client
    client.http.close()


@pytest.fixture
def body(api: Api) -> dict[str, Any]:
    """A good traverse that isn't stored yet."""
    visit, section = add_place(api)
    return content(visit, section, add_meter(api, "vane"))


def raw_request(api: Api, body: bytes, *, length: int) -> bytes:
    """Write a POST of a traverse by hand."""
    return (
        b"POST /api/v1/traverses/ HTTP/1.1\r\nHost: localhost\r\n"
        b"Content-Type: application/json\r\n"
        + f"Authorization: {api.http.headers['Authorization']}\r\n".encode()
        + f"Content-Length: {length}\r\n\r\n".encode()
        + body
    )


def hang_up(connection: socket.socket) -> None:
    """Close a connection as a lost signal does: by a reset."""
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    connection.close()


def test_a_sender_who_hung_up_after_sending_finds_it_stored_once(
    parts: Parts, api: Api, body: dict[str, Any]
) -> None:
    sent = json.dumps(body).encode()
    connection = socket.create_connection(("localhost", parts.port))
    connection.sendall(raw_request(api, sent, length=len(sent)))
    path = f"/traverses/{body['id']}/"
    wait_for(lambda: api.http.get(path).status_code == 200, "the traverse is stored")
    hang_up(connection)
    again = api.http.post("/traverses/", json=body)
    assert again.status_code == 200
    assert len(api.http.get(f"{path}revisions/").json()["results"]) == 1


def test_a_body_that_breaks_off_stores_nothing_and_harms_nothing(
    parts: Parts, api: Api, body: dict[str, Any]
) -> None:
    sent = json.dumps(body).encode()
    for part in (0, 10, len(sent) // 2, len(sent) - 1):
        connection = socket.create_connection(("localhost", parts.port))
        connection.sendall(raw_request(api, sent[:part], length=len(sent)))
        hang_up(connection)
    assert api.http.get(f"/traverses/{body['id']}/").status_code == 404
    assert api.http.post("/traverses/", json=body).status_code == 201


def test_a_body_without_a_length_is_not_taken_for_an_empty_one(
    api: Api, body: dict[str, Any]
) -> None:
    sent = json.dumps(body).encode()
    chunks = (sent[start : start + 100] for start in range(0, len(sent), 100))
    answer = api.http.post(
        "/traverses/", content=chunks, headers={"Content-Type": "application/json"}
    )
    assert answer.status_code == 411
    assert "Content-Length" in answer.json()["detail"]


def test_a_database_that_goes_away_is_503_and_its_return_needs_no_restart(
    parts: Parts, api: Api, body: dict[str, Any]
) -> None:
    folder = Path(parts.environment["DATA_DIR"]) / "postgres"
    assert embedded.stop(folder)
    try:
        answer = api.http.post("/traverses/", json=body)
        assert answer.status_code == 503
        assert answer.headers["Content-Type"] == "application/problem+json"
        assert int(answer.headers["Retry-After"]) >= 1
        assert "same id" in answer.json()["detail"]
    finally:
        embedded.ensure(folder)
    assert api.http.post("/traverses/", json=body).status_code == 201
    assert api.http.post("/traverses/", json=body).status_code == 200
