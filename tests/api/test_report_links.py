"""Links to a visit's report over the API: made, listed, revoked, and what they open."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from airflow_jobs.models import ReportLink, new_id
from tests import factories
from tests.api.test_document import assert_as_documented
from tests.api.worlds import World
from tests.conftest import Actors

LIST = "/api/v1/visits/{visit_id}/report-links/"
ITEM = f"{LIST}{{id}}/"


def _path(world: World) -> str:
    return f"visits/{world.visit.pk}/report-links/"


def _opened(made: dict[str, Any]) -> int:
    address = made["address"].partition("/reports/")[2]
    return Client().get(f"/reports/{address}").status_code


def test_a_link_is_made_for_thirty_days_and_opens_the_report(actors: Actors, world: World) -> None:
    answer = actors.manager.post(_path(world), {})
    assert_as_documented(answer, "POST", LIST)
    assert answer.status_code == 201
    assert answer["Cache-Control"] == "no-store"
    made = answer.json()
    link = ReportLink.objects.get(pk=made["id"])
    assert link.made_by == actors.manager.person
    lifetime = link.expires_at - timezone.now()
    assert timedelta(days=29, hours=23) < lifetime <= timedelta(days=30)
    assert _opened(made) == 200
    assert answer["Location"] == f"/api/v1/{_path(world)}{link.pk}/"
    shown = actors.manager.get(answer["Location"])
    assert_as_documented(shown, "GET", ITEM)
    assert "address" not in shown.json()
    assert shown.json()["last_opened_at"] is not None


@pytest.mark.parametrize("days", [1, 365])
def test_how_long_it_is_good_may_be_said(actors: Actors, world: World, days: int) -> None:
    made = actors.manager.post(_path(world), {"lifetime_days": days, "label": "owner"}).json()
    link = ReportLink.objects.get(pk=made["id"])
    assert link.label == made["label"] == "owner"
    assert abs((link.expires_at - timezone.now()) - timedelta(days=days)) < timedelta(minutes=1)


@pytest.mark.parametrize("days", [0, 366, -1, 1.5, "30", True, [], 10**30])
def test_a_lifetime_out_of_bounds_is_refused(actors: Actors, world: World, days: Any) -> None:
    answer = actors.manager.post(_path(world), {"lifetime_days": days})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/lifetime_days"
    assert not ReportLink.objects.exists()


def test_links_are_listed_of_that_visit_only_and_never_with_their_secret(
    actors: Actors, world: World
) -> None:
    other = factories.make_visit(site=world.site)
    first = actors.manager.post(_path(world), {"label": "first"}).json()
    actors.manager.post(f"visits/{other.pk}/report-links/", {"label": "other"})
    answer = actors.manager.get(_path(world))
    assert_as_documented(answer, "GET", LIST)
    assert [row["label"] for row in answer.json()["results"]] == ["first"]
    secret = first["address"].rsplit("/", 2)[1]
    assert secret not in answer.content.decode()
    assert "digest" not in answer.json()["results"][0]
    elsewhere = f"visits/{other.pk}/report-links/{first['id']}/"
    assert actors.manager.get(elsewhere).status_code == 404
    assert actors.manager.delete(elsewhere).status_code == 404
    assert _opened(first) == 200


def test_revoking_ends_it_at_once_and_again_changes_nothing(actors: Actors, world: World) -> None:
    made = actors.manager.post(_path(world), {}).json()
    path = f"{_path(world)}{made['id']}/"
    assert actors.administrator.delete(path).status_code == 204
    first = actors.manager.get(path).json()
    assert first["revoked_at"] is not None
    assert _opened(made) == 410
    assert actors.manager.delete(path).status_code == 204
    assert actors.manager.get(path).json() == first


def test_a_visit_that_does_not_exist_has_no_links(actors: Actors, world: World) -> None:
    path = f"visits/{new_id()}/report-links/"
    assert actors.manager.get(path).status_code == 404
    assert actors.manager.post(path, {}).status_code == 404
    assert actors.manager.delete(f"{path}{new_id()}/").status_code == 404


def test_listing_takes_as_many_statements_for_many_as_for_few(actors: Actors, world: World) -> None:
    counts = []
    for _ in range(2):
        for _ in range(5):
            actors.manager.post(_path(world), {})
        with CaptureQueriesContext(connection) as statements:
            assert actors.manager.get(_path(world)).status_code == 200
        counts.append(len(statements))
    assert counts[0] == counts[1]
