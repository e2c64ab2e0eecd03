"""Lists: every row once, in order, whatever is stored meanwhile; and what lists cost."""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from airflow_jobs.models import Site, Token, new_id
from tests import factories
from tests.api.worlds import World
from tests.conftest import Actors, Caller

BASELINE: Final = Path(__file__).with_name("query_counts.json")
FEW, MANY = 3, 30


def pages_of(caller: Caller, path: str, **query: Any) -> list[list[dict[str, Any]]]:
    """Follow `next` from the first page to the last."""
    pages = []
    answer = caller.get(path, **query).json()
    pages.append(answer["results"])
    while answer["next"]:
        answer = caller.get(answer["next"].removeprefix("http://testserver")).json()
        pages.append(answer["results"])
    return pages


@pytest.fixture
def sites(actors: Actors) -> list[Site]:
    """Seven sites, some stored at the very same moment, in the order of lists."""
    rows = [factories.make_site() for _ in range(7)]
    moments = [0, 0, 0, 1, 1, 2, 3]
    for row, moment in zip(rows, moments, strict=True):
        when = factories.NOW + datetime.timedelta(seconds=moment)
        Site.objects.filter(pk=row.pk).update(created_at=when)
    return list(Site.objects.order_by("created_at", "pk"))


@pytest.mark.parametrize("size", [1, 2, 3, 7, 8])
@pytest.mark.parametrize("order", ["oldest", "newest"])
def test_pages_hold_every_row_once_and_in_order(
    actors: Actors, sites: list[Site], size: int, order: str
) -> None:
    pages = pages_of(actors.owner, "sites/", page_size=size, order=order)
    found = [row["id"] for page in pages for row in page]
    expected = [str(row.pk) for row in sites]
    assert found == (expected if order == "oldest" else expected[::-1])
    assert all(len(page) <= size for page in pages)


def test_pages_can_be_turned_back(actors: Actors, sites: list[Site]) -> None:
    first = actors.owner.get("sites/", page_size=3).json()
    assert first["previous"] is None
    second = actors.owner.get(first["next"].removeprefix("http://testserver")).json()
    third = actors.owner.get(second["next"].removeprefix("http://testserver")).json()
    assert third["next"] is None
    back = actors.owner.get(third["previous"].removeprefix("http://testserver")).json()
    assert back["results"] == second["results"]
    again = actors.owner.get(back["previous"].removeprefix("http://testserver")).json()
    assert again["results"] == first["results"]
    assert again["previous"] is None
    forth = actors.owner.get(again["next"].removeprefix("http://testserver")).json()
    assert forth["results"] == second["results"]


def test_a_row_stored_while_pages_are_turned_moves_no_other(
    actors: Actors, sites: list[Site]
) -> None:
    first = actors.owner.get("sites/", page_size=3).json()
    newcomer = factories.make_site()
    rest = pages_of(actors.owner, first["next"].removeprefix("http://testserver"))
    found = [row["id"] for page in [first["results"], *rest] for row in page]
    assert found == [str(row.pk) for row in [*sites, newcomer]]


def test_a_cursor_of_one_order_is_refused_in_another(actors: Actors, sites: list[Site]) -> None:
    cursor = actors.owner.get("sites/", page_size=3).json()["next"].partition("cursor=")[2]
    cursor = cursor.partition("&")[0]
    answer = actors.owner.get("sites/", cursor=cursor, updated_since="2026-01-01T00:00:00Z")
    assert answer.status_code == 400


def test_syncing_finds_what_was_changed_and_what_was_retired(actors: Actors) -> None:
    old, retired = factories.make_site(), factories.make_site()
    long_ago = factories.NOW - datetime.timedelta(days=400)
    with connection.cursor() as cursor:
        # Past the trigger that stamps changes, as if these were stored long ago.
        cursor.execute("SET LOCAL session_replication_role = replica")
        Site.objects.update(updated_at=long_ago)
        cursor.execute("SET LOCAL session_replication_role = origin")
    since = actors.owner.get(f"sites/{old.pk}/").json()["updated_at"]
    moment = (long_ago + datetime.timedelta(minutes=1)).isoformat()
    assert actors.owner.get("sites/", updated_since=moment).json()["results"] == []
    actors.owner.patch(f"sites/{retired.pk}/", {"retired_on": "2026-06-01"}, revision=1)
    changed = actors.owner.get("sites/", updated_since=moment).json()["results"]
    assert [row["id"] for row in changed] == [str(retired.pk)]
    assert changed[0]["retired_on"] == "2026-06-01"
    everything = actors.owner.get("sites/", updated_since=since).json()["results"]
    assert [row["id"] for row in everything] == [str(old.pk), str(retired.pk)]


def test_retired_rows_can_be_left_out(actors: Actors) -> None:
    kept, gone = factories.make_site(), factories.make_site(retired_on="2026-01-01")
    for flag, row in (("false", kept), ("true", gone)):
        found = actors.owner.get("sites/", retired=flag).json()["results"]
        assert [item["id"] for item in found] == [str(row.pk)]


def _queries(act: Callable[[], Any]) -> int:
    with CaptureQueriesContext(connection) as captured:
        assert act().status_code in {200, 201}
    return len(captured)


def _make_rows(world: World, actors: Actors, count: int) -> None:
    """Make so many rows of every resource."""
    for _ in range(count):
        crew = factories.make_crew()
        person = factories.make_person()
        factories.make_membership(crew=crew, person=person)
        factories.make_token(person=actors.administrator.person)
        factories.make_token(crew=crew)
        factories.make_customer()
        equipment = factories.make_equipment(site=world.site)
        factories.make_target(equipment=equipment)
        factories.make_blower_table(equipment=equipment)
        section = factories.make_section(equipment=equipment)
        instrument = factories.make_instrument()
        factories.make_calibration(instrument=instrument)
        visit = factories.make_visit(site=world.site, crew=actors.crew)
        of_visit = {"visit": str(visit.pk), "equipment": str(equipment.pk)}
        measured = of_visit | {"stage": "as_found", "taken_at": "2026-06-03T19:12:00Z"}
        traverse = factories.make_traverse(visit=visit, duct_section=section, instrument=instrument)
        reading = factories.make_flow_reading(visit=visit, equipment=equipment)
        factories.make_flow_set(visit=visit, equipment=equipment, members=[traverse, reading])
        for resource, body in (
            ("pressures", measured | {"return_static": {"value": -50, "unit": "Pa"}}),
            (
                "temperature-rises",
                measured
                | {
                    "electric_power": {"value": 9, "unit": "kW"},
                    "entering": {"value": 20, "unit": "degC"},
                    "leaving": {"value": 30, "unit": "degC"},
                },
            ),
            ("adjustments", of_visit | {"kind": "filter", "made_at": "2026-06-03T19:30:00Z"}),
        ):
            assert actors.owner.post(f"{resource}/", body).status_code == 201


LISTS: Final = (
    "customers",
    "sites",
    "equipment",
    "targets",
    "blower-tables",
    "duct-sections",
    "instruments",
    "calibrations",
    "crews",
    "people",
    "visits",
    "adjustments",
    "pressures",
    "temperature-rises",
    "flow-readings",
    "flow-sets",
    "traverses",
    "tokens",
    "tokens/field-app",
)


def test_what_requests_cost_does_not_grow_with_rows_and_is_what_it_was(
    actors: Actors, world: World
) -> None:
    counts: dict[str, dict[int, int]] = {}
    made = 0
    for size in (FEW, MANY):
        _make_rows(world, actors, size - made)
        made = size
        # The use of a token is written down once a minute; here never.
        Token.objects.update(last_used_at=timezone.now() + datetime.timedelta(days=1))
        for name in LISTS:
            counts.setdefault(f"GET {name}/", {})[size] = _queries(
                lambda name=name: actors.administrator.get(f"{name}/", page_size=200)  # type: ignore[misc]
            )
        batch = [world.content() for _ in range(size)]
        counts.setdefault("POST traverses/batch/", {})[size] = _queries(
            lambda batch=batch: actors.owner.post("traverses/batch/", batch)  # type: ignore[misc]
        )
        counts.setdefault("POST traverses/batch/ again", {})[size] = _queries(
            lambda batch=batch: actors.owner.post("traverses/batch/", batch)  # type: ignore[misc]
        )
        content = world.content()
        site = {"id": str(new_id()), "name": "Mill", "time_zone": "UTC"}
        for name, act in (
            ("POST traverses/", lambda c=content: actors.owner.post("traverses/", c)),
            ("POST traverses/ again", lambda c=content: actors.owner.post("traverses/", c)),
            ("GET traverses/{id}/", lambda c=content: actors.owner.get(f"traverses/{c['id']}/")),
            ("POST sites/", lambda s=site: actors.owner.post("sites/", s)),
            ("POST sites/ again", lambda s=site: actors.owner.post("sites/", s)),
            (
                "PATCH sites/{id}/",
                lambda s=site: actors.owner.patch(f"sites/{s['id']}/", {"notes": "n"}, revision=1),
            ),
        ):
            counts.setdefault(name, {})[size] = _queries(act)
    growing = {name: count for name, count in counts.items() if count[FEW] != count[MANY]}
    assert growing == {}
    now = {name: count[FEW] for name, count in counts.items()}
    assert now == json.loads(BASELINE.read_text()), json.dumps(now, indent=1)
