"""Visits that are given to another crew: the field app that had them is told."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from django.utils import timezone

from airflow_jobs.models import Visit, VisitHandover
from tests import factories
from tests.api.test_lists import pages_of
from tests.api.worlds import World
from tests.conftest import Actors, Caller

PATH = "visits/given-away/"


def _give(actors: Actors, visit: Visit, crew: Any) -> None:
    _change(actors, visit, crew=str(crew.pk))


def _change(actors: Actors, visit: Visit, **fields: str) -> None:
    path, any_revision = f"visits/{visit.pk}/", {"If-Match": "*"}
    assert actors.manager.send("PATCH", path, fields, headers=any_revision).status_code == 200


def _listed(caller: Caller, **query: Any) -> list[str]:
    return [row["visit"] for page in pages_of(caller, PATH, **query) for row in page]


def test_the_crew_that_had_it_is_told_and_nobody_else(actors: Actors, world: World) -> None:
    assert actors.colleague.crew is not None
    assert _listed(actors.field_app) == []
    _give(actors, world.visit, actors.colleague.crew)
    assert _listed(actors.field_app) == [str(world.visit.pk)]
    assert actors.field_app.get(f"visits/{world.visit.pk}/").status_code == 404
    for caller in (actors.other_field_app, actors.owner, actors.manager, actors.administrator):
        assert _listed(caller) == []
    row = actors.field_app.get(PATH).json()["results"][0]
    assert set(row) == {"visit", "given_away_at"}
    later = timezone.now() + datetime.timedelta(seconds=1)
    assert _listed(actors.field_app, since=later.isoformat()) == []
    assert _listed(actors.field_app, since=row["given_away_at"]) == [str(world.visit.pk)]


def test_what_the_next_crew_does_with_it_is_not_told(actors: Actors, world: World) -> None:
    assert actors.colleague.crew is not None
    third = factories.make_crew()
    _give(actors, world.visit, actors.colleague.crew)
    before = actors.field_app.get(PATH).json()
    _change(actors, world.visit, purpose="fault")
    _give(actors, world.visit, third)
    assert actors.field_app.get(PATH).json() == before
    assert _listed(actors.other_field_app) == [str(world.visit.pk)]


def test_one_that_came_back_is_listed_no_longer_and_comes_with_the_others(
    actors: Actors, world: World
) -> None:
    assert actors.colleague.crew is not None
    _give(actors, world.visit, actors.colleague.crew)
    since = actors.field_app.get(PATH).json()["results"][0]["given_away_at"]
    _give(actors, world.visit, actors.crew)
    assert _listed(actors.field_app) == []
    synced = actors.field_app.get("visits/", updated_since=since).json()["results"]
    assert [row["id"] for row in synced] == [str(world.visit.pk)]


def test_no_path_around_the_actions_escapes_the_note(actors: Actors, world: World) -> None:
    Visit.objects.filter(pk=world.visit.pk).update(crew=factories.make_crew())
    Visit.objects.filter(pk=world.visit.pk).update(purpose="fault")
    assert VisitHandover.objects.get().crew_id == actors.crew.pk


@pytest.mark.parametrize("size", [1, 2, 5])
@pytest.mark.parametrize("order", ["oldest", "newest"])
def test_pages_hold_each_once_in_order(actors: Actors, world: World, size: int, order: str) -> None:
    assert actors.colleague.crew is not None
    visits = [factories.make_visit(crew=actors.crew) for _ in range(5)]
    for visit in visits:
        _give(actors, visit, actors.colleague.crew)
    expected = [str(visit.pk) for visit in visits]
    found = _listed(actors.field_app, page_size=size, order=order)
    assert found == (expected if order == "oldest" else expected[::-1])


def test_a_parameter_that_nothing_reads_is_refused(actors: Actors) -> None:
    assert actors.field_app.get(PATH, updated_since="2026-01-01T00:00:00Z").status_code == 400
    assert actors.field_app.get(PATH, since="soon").status_code == 400
