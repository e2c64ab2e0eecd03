"""A real service, and a phone on a bad line to it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.api.faulty_proxy import (
    FaultyProxy,
)
from tests.api.field_client.phones import Phone, Place
from tests.service_parts import (
    Api,
    Parts,
    running_without_worker,
)


@pytest.fixture(scope="package")
def parts() -> Iterator[Parts]:
    """PostgreSQL and the web server; the worker comes where results are asked for."""
    with running_without_worker("field-client") as service:
        yield service


@pytest.fixture(scope="package")
def api(parts: Parts) -> Iterator[Api]:
    """The office, on a good line."""
    client = Api(parts.port)
    yield client
    client.http.close()


@pytest.fixture(scope="package")
def place(api: Api) -> Place:
    """Where the phones are."""
    return Place.added(api)


@pytest.fixture
def line(parts: Parts) -> Iterator[FaultyProxy]:
    """The line between the phone and the service."""
    with FaultyProxy(parts.port) as proxy:
        yield proxy


@pytest.fixture
def phone(tmp_path: Path, api: Api, line: FaultyProxy, place: Place) -> Iterator[Phone]:
    """A phone with nothing on it."""
    device = Phone(tmp_path, api, line, place)
    yield device
    device.store.close()
