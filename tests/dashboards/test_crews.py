"""The crews page: found and left apart, nobody accused by chance, nobody shown without consent."""

from __future__ import annotations

import csv
import datetime
import html
import io
import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from airflow_jobs.models import Company, Crew
from dashboards.charts.crews import crew_funnel
from dashboards.queries.crews import crew_comparison
from dashboards.values.filters import Filters
from tests import factories
from tests.dashboards.records import make_job, make_measured
from tests.factories import NOW

pytestmark = pytest.mark.django_db

EVERYTHING = "/crews/?period=all"
STATEMENTS = 6


def _text(client: Client, address: str = EVERYTHING) -> str:
    response = client.get(address)
    assert response.status_code == 200, response.content[:300]
    page = re.sub(r"<script.*?</script>", " ", response.content.decode(), flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def _rows(client: Client, slug: str, query: str = "period=all") -> list[dict[str, str]]:
    response = client.get(f"/crews/{slug}.csv?{query}")
    assert response.status_code == 200
    assert "attachment" in response["Content-Disposition"]
    return list(csv.DictReader(io.StringIO(response.content.decode())))


def _crew(name: str, people: int = 3) -> Crew:
    crew = factories.make_crew(name=name)
    for _ in range(people):
        factories.make_membership(crew=crew, person=factories.make_person())
    return crew


def _jobs(crew: Crew, *, inside: int, outside: int, found: float = 300.0) -> None:
    """Make jobs of one crew at a site of its own."""
    site = factories.make_site()
    for number in range(inside + outside):
        section = factories.make_section(equipment=factories.make_equipment(site=site))
        make_job(found=found, left=400.0 if number < inside else 520.0, crew=crew, section=section)


@pytest.fixture
def careless(manager: Client) -> Crew:
    """Six crews; one of them leaves two in three outside, another finds the worst."""
    for name in ("Steady", "Heron", "Lynx", "Badger"):
        _jobs(_crew(name), inside=23, outside=2, found=400.0)
    _jobs(_crew("Trouble"), inside=27, outside=3, found=250.0)
    crew = _crew("Careless")
    _jobs(crew, inside=8, outside=16, found=400.0)
    return crew


def test_a_crew_is_marked_by_what_it_left_and_not_by_what_it_found(
    manager: Client, careless: Crew
) -> None:
    text = _text(manager)
    assert "Careless left more outside than chance and site mix explain." in text
    assert "site mix explain: 16, where the others would have left" in text
    assert text.count("No evidence that this differs from the company.") == 5
    rows = {row["Crew"]: row for row in _rows(manager, "left")}
    assert next(iter(rows)) == "Careless"
    assert rows["Trouble"]["What it says"] == "No evidence that this differs from the company."
    assert float(rows["Trouble"]["Found outside"]) == 1.0
    assert float(rows["Steady"]["Found outside"]) == 0.0
    found = {row["Crew"]: row for row in _rows(manager, "found")}
    assert found["Trouble"]["In range"] == "0"
    assert "What it says" not in found["Trouble"]


def test_a_share_to_plan_with_lies_between_the_crew_and_the_whole(
    manager: Client, careless: Crew
) -> None:
    row = next(row for row in _rows(manager, "left") if row["Crew"] == "Careless")
    low, plan, high = (
        float(row[name])
        for name in (
            "Share to plan with, low end",
            "Share to plan with",
            "Share to plan with, high end",
        )
    )
    assert float(row["Share"]) < plan < 127 / 154
    assert low < plan < high


def test_a_few_jobs_accuse_nobody_and_say_how_many_it_takes(manager: Client) -> None:
    _jobs(_crew("Steady"), inside=4, outside=0)
    _jobs(_crew("Unlucky"), inside=0, outside=4)
    text = _text(manager)
    assert "It takes two crews with 20 jobs or more to compare any." in text
    assert text.count("Too few jobs to compare: 4 of the 20 that it takes.") == 2
    assert "chart-funnel-data" not in manager.get(EVERYTHING).content.decode()


def test_without_crews_or_jobs_the_page_says_what_to_do(manager: Client) -> None:
    assert "Nothing is on record yet" in _text(manager)
    factories.make_equipment()
    text = _text(manager)
    assert "Nothing was measured and judged as left in this view." in text
    assert "Choose a longer period, or take a filter off." in text
    assert _rows(manager, "left") == []


def test_what_was_not_measured_is_counted_and_not_dropped(manager: Client) -> None:
    crew = _crew("North")
    make_job(found=300.0, left=None, crew=crew)
    factories.make_visit(crew=crew, started_at=NOW)
    factories.make_visit(crew=crew, started_at=None, planned_for=NOW.date())
    idle = _crew("Idle")
    factories.make_visit(crew=idle, started_at=NOW)
    failed = make_measured(crew=crew)
    failed.computation.result = None
    failed.computation.state = "failed"
    failed.computation.save()
    rows = {row["Crew"]: list(row.values())[1:] for row in _rows(manager, "visits")}
    assert rows == {"North": ["3", "1", "1", "1"], "Idle": ["1", "1", "0", "0"]}
    assert "4 visits begun: nothing was measured in 2" in _text(manager)


def test_undecided_jobs_count_and_are_shown_as_such(manager: Client) -> None:
    crew = _crew("North")
    make_job(found=None, left=455.0, crew=crew)
    (row,) = _rows(manager, "left")
    assert (row["High"], row["Too close to call"]) == ("1", "1")


def test_a_crew_of_two_shows_only_with_consent(manager: Client) -> None:
    small = _crew("Small crew", people=2)
    _jobs(small, inside=1, outside=1)
    assert "Small crew" not in manager.get(EVERYTHING).content.decode()
    assert "As all other crews show, its numbers are the whole's less theirs." in _text(manager)
    assert _rows(manager, "left") == []
    assert _rows(manager, "visits") == []
    assert "is not shown by itself" in _text(manager, f"{EVERYTHING}&crew={small.pk}")
    _jobs(_crew("Another small one", people=1), inside=1, outside=0)
    text = _text(manager)
    assert "2 crews have fewer than three people and show by themselves only with" in text
    assert "worked out" not in text
    Company.objects.update(compare_small_crews=True)
    assert {row["Crew"] for row in _rows(manager, "left")} == {"Small crew", "Another small one"}


def test_a_technician_sees_the_own_crew_against_the_whole(technician: Client, crew: Crew) -> None:
    _jobs(crew, inside=25, outside=1)
    rival = _crew("Rival crew")
    _jobs(rival, inside=5, outside=20)
    page = technician.get(EVERYTHING).content.decode()
    assert "Rival crew" not in page
    assert "Your crew and the company" in page
    assert "North crew" in page
    for slug in ("left", "found", "visits"):
        names = [row["Crew"] for row in _rows(technician, slug)]
        assert names == ["North crew", "The company"], slug
    assert "can't be shown by itself" in _text(technician, f"{EVERYTHING}&crew={rival.pk}")
    assert "Rival crew" not in technician.get(f"{EVERYTHING}&crew={rival.pk}").content.decode()


def test_one_crew_alone_is_still_held_against_all(manager: Client, careless: Crew) -> None:
    text = _text(manager, f"{EVERYTHING}&crew={careless.pk}")
    assert "Careless left more outside than chance and site mix explain." in text
    assert [row["Crew"] for row in _rows(manager, "left", f"period=all&crew={careless.pk}")] == [
        "Careless",
        "The company",
    ]
    assert "Careless and the company" in text
    assert "33 % (18 to 53 %) of the jobs of Careless were left in range, 8 of 24." in text
    assert (
        "0 % of 24 jobs of Careless were found out of range, in the company 19 % of 154 jobs were."
        in text
    )
    assert "Careless: 24 visits begun: nothing was measured in 0" in text


def test_a_crew_without_jobs_here_is_not_given_the_company_s(
    manager: Client, careless: Crew
) -> None:
    idle = _crew("Idle")
    text = _text(manager, f"{EVERYTHING}&crew={idle.pk}")
    assert "Idle and the company" in text
    assert "were left in range:" not in text
    assert "No crew that is shown here has a job judged as left." in text


@pytest.mark.parametrize("stage", ["", "&stage=as_found"])
def test_the_fleet_says_of_a_chosen_crew_what_the_crews_page_says(
    manager: Client, careless: Crew, stage: str
) -> None:
    address = f"/?period=all&crew={careless.pk}{stage}"
    text = _text(manager, address)
    if not stage:
        assert "Careless left more outside than chance and the mix of sites explain." in text
        assert "The dashed line is the whole, 82 %." in text
    else:
        assert "No evidence that Careless differs from the other crews" in text
    assert "does not differ" not in text
    query = address.removeprefix("/?")
    rows = list(
        csv.DictReader(io.StringIO(manager.get(f"/tables/crews.csv?{query}").content.decode()))
    )
    assert [(row["Crew"], row["Jobs"]) for row in rows] == [
        ("Careless", "24"),
        ("The company", "154"),
    ]


def test_a_crew_is_not_cleared_where_there_is_no_other_to_compare_with(manager: Client) -> None:
    crew = _crew("Lonely")
    _jobs(crew, inside=24, outside=1)
    _jobs(_crew("Guest"), inside=3, outside=0)
    said = "There are too few jobs of other crews to compare with."
    assert {row["Crew"]: row["What it says"] for row in _rows(manager, "left")} == {
        "Lonely": said,
        "Guest": "Too few jobs to compare: 3 of the 20 that it takes.",
    }
    text = _text(manager, "/?period=all")
    assert "None of the 2 crews has jobs enough to be compared: it takes 20" in text
    assert "Too few jobs of other crews to compare with" in text
    assert "None of the 2 sites has jobs enough to be compared" in text
    alone = _text(manager, f"/?period=all&crew={crew.pk}")
    assert "Lonely is not compared: there are too few jobs of other crews here." in alone


def test_a_technician_with_the_own_crew_chosen_still_sees_the_company(
    technician: Client, crew: Crew
) -> None:
    _jobs(crew, inside=2, outside=0)
    _jobs(_crew("Rival crew"), inside=3, outside=0)
    answer = technician.get(f"/tables/crews.csv?period=all&crew={crew.pk}")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    assert [(row["Crew"], row["Jobs"]) for row in rows] == [
        ("North crew", "2"),
        ("The company", "5"),
    ]


def test_filters_follow_from_page_to_page(manager: Client) -> None:
    make_job(found=300.0, left=400.0, crew=_crew("North"))
    page = manager.get("/crews/?period=3y&kind=heat_pump").content.decode()
    assert 'href="/?period=3y&amp;kind=heat_pump"' in page
    assert 'href="/crews/?period=3y&amp;kind=heat_pump"' in page
    assert 'action="/crews/"' in page
    assert "Kind: Heat pump" in page
    assert "kind and air path don't narrow these counts" in page.replace("&#x27;", "'")


def test_the_period_narrows_jobs_and_visits_alike(manager: Client) -> None:
    crew = _crew("North")
    make_job(found=None, left=400.0, crew=crew, taken_at=NOW)
    make_job(found=None, left=400.0, crew=crew, taken_at=NOW - datetime.timedelta(days=90))
    day = NOW.date() - datetime.timedelta(days=10)
    (row,) = _rows(manager, "visits", f"from={day.isoformat()}")
    assert row["Visits"] == "1"
    (row,) = _rows(manager, "left", f"from={day.isoformat()}")
    assert row["Jobs"] == "1"


@pytest.mark.parametrize("size", [3, 30])
def test_the_page_takes_as_many_statements_however_long_the_history(
    manager: Client, size: int
) -> None:
    for number in range(size):
        make_job(found=300.0, left=400.0, crew=_crew(f"Crew {number}"))
    with CaptureQueriesContext(connection) as statements:
        assert manager.get(EVERYTHING).status_code == 200
    assert len(statements) == STATEMENTS


def test_a_stranger_is_sent_to_the_sign_in(ip_company: Company) -> None:
    for address in ("/crews/", "/crews/left.csv"):
        assert Client().get(address)["Location"].startswith("/sign-in/?next=/crews/")


def test_a_table_that_does_not_exist_is_not_there(manager: Client) -> None:
    assert manager.get("/crews/everything.csv").status_code == 404


def test_the_limits_hold_the_crews_that_are_not_marked(manager: Client, careless: Crew) -> None:
    funnel = crew_comparison(Filters()).funnel
    assert funnel is not None
    assert funnel.compared == 6
    # The crew that is marked does not set its own bar.
    assert funnel.centre == pytest.approx(119 / 130, abs=0.02)
    for low_all, low, high, high_all in zip(
        funnel.low_all, funnel.low_one, funnel.high_one, funnel.high_all, strict=True
    ):
        assert low_all <= low <= funnel.centre <= high <= high_all


def test_crews_are_named_in_the_funnel_where_there_is_room_and_the_marked_one_always(
    manager: Client, careless: Crew
) -> None:
    comparison = crew_comparison(Filters())
    assert comparison.funnel is not None
    made = crew_funnel(comparison.crews, comparison.funnel)
    plain, marked = [trace for trace in made["data"] if "text" in trace]
    assert marked["text"] == [careless.name]
    # Four are alike and lie one upon the other: their names stand around them.
    assert set(plain["text"]) == {"Steady", "Heron", "Lynx", "Badger", "Trouble"}
    alike = [
        place
        for name, place in zip(plain["text"], plain["textposition"], strict=True)
        if name != "Trouble"
    ]
    assert len(set(alike)) == 4
    assert plain["meta"] == {"bareWhereNarrow": True}
    assert marked["meta"] == {"bareWhereNarrow": False}
    lowest = 100.0 * min(
        *comparison.funnel.low_all, *(one.named.left.share or 0.0 for one in comparison.crews)
    )
    assert lowest - 27.0 <= made["layout"]["yaxis"]["range"][0] <= lowest


def test_of_few_jobs_counts_are_said_and_no_percentage(manager: Client) -> None:
    _jobs(_crew("North"), inside=2, outside=1)
    text = _text(manager)
    assert "2 of 3 jobs of North were left in range; so few say little" in text
    assert "3 of 3 jobs were found out of range." in text
    assert "67 %" not in text
    assert "100 %" not in text
