"""What every test may ask for: the database, people of each role, a client over HTTP."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import Client
from pytest_django import DjangoDbBlocker
from pytest_django.fixtures import Settings

from airflow_jobs import embedded
from airflow_jobs.models import Company, Crew, Person, Role, Token
from config.settings import ENV
from tests import factories, settings

FOLDERS: Final = ("browser", "deploy", "api", "airflow_jobs", "dashboards", "office", "calc")
"""The folders with tests, by how long one of their files takes."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with what takes longest: one worker must not be left with it when the others are done.

    Files are handed out whole, in this order. Those of a folder that shares a service or a browser
    come one after another, so that a worker starts it once.
    """
    ranks = {Path(__file__).parent / name: rank for rank, name in enumerate(FOLDERS)}

    def rank(item: pytest.Item) -> tuple[int, Path]:
        return min((ranks[one] for one in item.path.parents if one in ranks), default=0), item.path

    items.sort(key=rank)


def pytest_unconfigure(config: pytest.Config) -> None:
    """Remove the folder of the run, once, by the process that made it."""
    if settings.MADE_THE_RUN_DIRECTORY and not hasattr(config, "workerinput"):
        data = os.path.realpath(ENV.postgres_directory)
        embedded.stop(ENV.postgres_directory)
        shutil.rmtree(data, ignore_errors=True)
        shutil.rmtree(settings.RUN_DIRECTORY, ignore_errors=True)


@pytest.fixture(scope="session")
def database_server() -> Iterator[None]:
    """Have a PostgreSQL of this run, unless DATABASE_URL names one."""
    if ENV.database is not None:
        yield
        return
    with embedded.running(ENV.postgres_directory):
        yield


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    database_server: None, django_db_modify_db_settings_parallel_suffix: None
) -> None:
    """Start the server before anything connects to it."""


@pytest.fixture(scope="session")
def django_db_keepdb() -> bool:
    """Leave the databases of the run's own server alone: it is removed as a whole."""
    return ENV.database is None


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> None:
    """Have nobody tidy the tables between tests.

    What the database noted of them after a test says that they take up room and hold nothing: the
    rows were rolled back. By that it would plan for a row or two where the next test fills them
    with hundreds in one transaction, and take minutes; it looks at them again only after a commit.
    """
    with django_db_blocker.unblock(), connection.cursor() as cursor:
        for table in connection.introspection.django_table_names(only_existing=True):
            name = connection.ops.quote_name(table)
            cursor.execute(f"ALTER TABLE {name} SET (autovacuum_enabled = false)")


@dataclass(frozen=True)
class Caller:
    """Somebody with a token who talks to the API as a client does."""

    client: Client
    secret: str | None
    person: Person | None = None
    crew: Crew | None = None
    token: Token | None = None

    def _headers(self, headers: dict[str, str] | None) -> dict[str, str]:
        given = {"Accept": "application/json", **(headers or {})}
        if self.secret is not None:
            given.setdefault("Authorization", f"Bearer {self.secret}")
        return given

    def get(self, path: str, **query: Any) -> Any:
        """GET a path below /api/v1/ (or an absolute one)."""
        return self.client.get(_absolute(path), query, headers=self._headers(None))

    def send(
        self,
        method: str,
        path: str,
        body: Any = None,
        *,
        headers: dict[str, str] | None = None,
        content_type: str = "application/json",
    ) -> Any:
        """Send a request with a JSON body, or with bytes as they are."""
        return self.client.generic(
            method,
            _absolute(path),
            b"" if body is None else _encoded(body),
            content_type,
            headers=self._headers(headers),
        )

    def post(self, path: str, body: Any = None, **more: Any) -> Any:
        """POST a JSON body."""
        return self.send("POST", path, body, **more)

    def patch(self, path: str, body: Any, *, revision: int | str | None = None, **more: Any) -> Any:
        """PATCH a JSON body, with If-Match where a revision is given."""
        headers = {} if revision is None else {"If-Match": f'"{revision}"'}
        return self.send("PATCH", path, body, headers=headers, **more)

    def delete(self, path: str) -> Any:
        """DELETE a path."""
        return self.send("DELETE", path)


def _absolute(path: str) -> str:
    return path if path.startswith("/") else f"/api/v1/{path}"


def _encoded(body: Any) -> bytes:
    return body if isinstance(body, bytes) else factories.json_bytes(body)


@dataclass(frozen=True)
class Actors:
    """Owner, colleague, stranger, and those who look after everybody."""

    owner: Caller
    """A technician; the crew is the one whose visits tests look at."""
    colleague: Caller
    """A technician of another crew."""
    stranger: Caller
    """Nobody: no token at all."""
    field_app: Caller
    """A field app bound to the owner's crew."""
    other_field_app: Caller
    """A field app bound to the colleague's crew."""
    manager: Caller
    administrator: Caller

    @property
    def crew(self) -> Crew:
        """The owner's crew."""
        assert self.owner.crew is not None
        return self.owner.crew


@pytest.fixture(autouse=True)
def _empty_cache(request: pytest.FixtureRequest) -> None:
    """Let no test be throttled for what another did."""
    if {"db", "transactional_db"} & set(request.fixturenames):
        cache.clear()


@pytest.fixture
def own_cache(settings: Settings) -> None:
    """Have a cache that no test beside this one empties."""
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
    cache.clear()


@pytest.fixture
def company(db: None) -> Company:
    """The company, answering in SI."""
    return factories.make_company(default_units="si")


@pytest.fixture
def actors(company: Company) -> Actors:
    """One caller of each kind, each with a fresh token."""
    crew = factories.make_crew(name="North crew")
    other = factories.make_crew(name="South crew")
    return Actors(
        owner=_person("owner", Role.TECHNICIAN, crew),
        colleague=_person("colleague", Role.TECHNICIAN, other),
        stranger=Caller(Client(), None),
        field_app=_field_app(crew),
        other_field_app=_field_app(other),
        manager=_person("manager", Role.MANAGER, None),
        administrator=_person("administrator", Role.ADMINISTRATOR, None),
    )


def _person(username: str, role: str, crew: Crew | None) -> Caller:
    person = factories.make_person(username=username, role=role)
    if crew is not None:
        factories.make_membership(crew=crew, person=person)
    token, secret = factories.make_token(person=person)
    return Caller(Client(), secret, person=person, crew=crew, token=token)


def _field_app(crew: Crew) -> Caller:
    token, secret = factories.make_token(crew=crew)
    return Caller(Client(), secret, crew=crew, token=token)
