"""The comparison of crews as data: the same as the page, and nobody named who must not be."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from airflow_jobs.models import Company, Crew
from tests import factories
from tests.conftest import Actors
from tests.dashboards.records import make_job

pytestmark = pytest.mark.django_db


def _crew(name: str, people: int = 3) -> Crew:
    crew = factories.make_crew(name=name)
    for _ in range(people):
        factories.make_membership(crew=crew, person=factories.make_person())
    return crew


def _jobs(crew: Crew, *, inside: int, outside: int) -> None:
    for number in range(inside + outside):
        section = factories.make_section(equipment=factories.make_equipment())
        make_job(found=300.0, left=400.0 if number < inside else 520.0, crew=crew, section=section)


def test_what_was_found_and_what_was_left_stand_apart_for_each_crew(actors: Actors) -> None:
    _jobs(_crew("North"), inside=3, outside=1)
    _jobs(_crew("South"), inside=2, outside=0)
    answer = actors.manager.get("crew-comparison/", period="all")
    assert answer.status_code == 200, answer.content
    body = answer.json()
    crews = {one["name"]: one for one in body["crews"]}
    assert crews["North"]["left"]["jobs"] == 4
    assert crews["North"]["left"]["in_range"] == 3
    assert crews["North"]["left"]["high"] == 1
    assert crews["North"]["found"]["low"] == 4
    assert crews["North"]["found"]["share"] == 0.0
    assert crews["South"]["left"]["share"] == 1.0
    assert not crews["South"]["differs"]
    assert body["company"]["left"]["jobs"] == 6
    assert crews["North"]["left"]["share_low"] < 0.75 < crews["North"]["left"]["share_high"]


def test_a_technician_sees_their_own_crew_against_the_whole(actors: Actors) -> None:
    for _ in range(2):
        factories.make_membership(crew=actors.crew, person=factories.make_person())
    _jobs(actors.crew, inside=1, outside=0)
    _jobs(_crew("Others"), inside=2, outside=1)
    body = actors.owner.get("crew-comparison/", period="all").json()
    assert [one["name"] for one in body["crews"]] == [actors.crew.name]
    assert body["company"]["left"]["jobs"] == 4


def test_a_small_crew_shows_only_with_consent(actors: Actors) -> None:
    _jobs(_crew("Pair", people=2), inside=1, outside=0)
    _jobs(_crew("Trio"), inside=1, outside=0)
    body = actors.manager.get("crew-comparison/", period="all").json()
    assert [one["name"] for one in body["crews"]] == ["Trio"]
    assert body["hidden_crews"] == 1
    assert body["company"]["left"]["jobs"] == 2
    Company.objects.update(compare_small_crews=True)
    body = actors.manager.get("crew-comparison/", period="all").json()
    assert {one["name"] for one in body["crews"]} == {"Pair", "Trio"}


def test_a_field_app_compares_nobody_and_a_misspelt_filter_is_refused(actors: Actors) -> None:
    assert actors.field_app.get("crew-comparison/").status_code == 403
    answer = actors.manager.get("crew-comparison/", perod="all")
    assert answer.status_code == 400
    assert "did you mean period" in answer.json()["detail"]
    answer = actors.manager.get("crew-comparison/", site="nowhere")
    assert answer.status_code == 400


def test_it_takes_the_same_statements_for_three_jobs_and_for_thirty(actors: Actors) -> None:
    crew = _crew("North")
    # A token's use is noted once a minute: not in what is counted.
    assert actors.manager.get("crew-comparison/").status_code == 200
    counts = []
    for more in (3, 27):
        _jobs(crew, inside=more, outside=0)
        with CaptureQueriesContext(connection) as queries:
            assert actors.manager.get("crew-comparison/", period="all").status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]
