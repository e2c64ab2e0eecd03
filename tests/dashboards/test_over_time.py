"""The page over time: what differs more than chance is said, and nothing else is."""

from __future__ import annotations

import csv
import datetime
import html
import io
import json
import re

import numpy as np
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from airflow_jobs.models import Company, Crew, DuctSection
from dashboards.queries.over_time import over_time
from dashboards.values.filters import Filters
from tests import factories
from tests.dashboards.records import make_job
from tests.factories import NOW

pytestmark = pytest.mark.django_db

EVERYTHING = "/over-time/?period=all"
STATEMENTS = 5
FILES = (
    "left",
    "found",
    "place",
    "calendar",
    "seasons",
    "kinds",
    "kinds-over-time",
    "calls",
    "calls-over-time",
)


def _text(client: Client, address: str = EVERYTHING) -> str:
    response = client.get(address)
    assert response.status_code == 200, response.content[:300]
    page = re.sub(r"<script.*?</script>", " ", response.content.decode(), flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def _rows(client: Client, slug: str, query: str = "period=all") -> list[dict[str, str]]:
    response = client.get(f"/over-time/{slug}.csv?{query}")
    assert response.status_code == 200
    assert "attachment" in response["Content-Disposition"]
    return list(csv.DictReader(io.StringIO(response.content.decode())))


def _section(kind: str = "split_system") -> DuctSection:
    return factories.make_section(equipment=factories.make_equipment(kind=kind))


def _months_ago(months: int, day: int = 10) -> datetime.datetime:
    index = NOW.year * 12 + NOW.month - 1 - months
    return NOW.replace(year=index // 12, month=index % 12 + 1, day=day)


def _jobs(
    section: DuctSection,
    *,
    months_ago: int,
    inside: int,
    outside: int = 0,
    crew: Crew | None = None,
    day: int = 10,
    left: float = 400.0,
    found: float | None = None,
    call: str = "cooling",
) -> None:
    """Make jobs of one month at one system, each on a visit of its own, as left if not more."""
    crew = crew or Crew.objects.first() or factories.make_crew()
    for number in range(inside + outside):
        make_job(
            found=found,
            left=left if number < inside else 520.0,
            section=section,
            crew=crew,
            taken_at=_months_ago(months_ago, day),
            call=call,
        )


def test_found_and_left_have_a_chart_each_and_are_never_added_up(manager: Client) -> None:
    section = _section()
    for months_ago in range(4):
        _jobs(section, months_ago=months_ago, inside=3, found=300.0)
    text = _text(manager)
    assert "Left in range by month With so few jobs a month only a very" in text
    assert "100 % were left in range, 12 of 12 jobs in 4 months." in text
    assert "0 % were found in range, 0 of 12 jobs in 4 months." in text
    assert [row["Share"] for row in _rows(manager, "left")] == ["1.0"] * 4
    assert [row["Share"] for row in _rows(manager, "found")] == ["0.0"] * 4


def test_a_month_that_differs_is_named_with_its_share(manager: Client) -> None:
    section = _section()
    for months_ago in (1, 2, 4, 5):
        _jobs(section, months_ago=months_ago, inside=8)
    _jobs(section, months_ago=3, inside=1, outside=7)
    text = _text(manager)
    assert (
        "Mar 2026 (12 % of 8 jobs) differs from the other months by more than chance explains: "
        "in those, 98 % were left in range." in text
    )
    rows = {row["Month"]: row for row in _rows(manager, "left")}
    assert rows["2026-03-01"]["What it says"] == (
        "Lower than the others by more than chance explains"
    )
    assert float(rows["2026-03-01"]["Limit, low"]) > 1 / 8
    assert rows["2026-04-01"]["What it says"] == "Like the others, as far as can be told"
    figure = _figure(manager, "months-left")
    (marked,) = [t for t in figure["data"] if (t.get("name") or "").startswith("Differs")]
    assert marked["y"] == [pytest.approx(100 / 8)]


def _figure(client: Client, name: str, address: str = EVERYTHING) -> dict[str, list[dict]]:
    page = client.get(address).content.decode()
    found = re.search(
        rf'<script id="chart-{name}-data" type="application/json">(.*?)</script>', page
    )
    assert found is not None, name
    figure: dict[str, list[dict]] = json.loads(found[1])
    return figure


def test_three_jobs_of_one_month_are_shown_and_compared_with_nothing(manager: Client) -> None:
    _jobs(_section(), months_ago=0, inside=2, outside=1)
    text = _text(manager)
    assert "67 % were left in range, 2 of 3 jobs. It takes 3 months with jobs to compare any." in (
        text
    )
    assert "It takes 6 months with jobs measured as left to tell a slow change from chance." in text
    assert "in only one half of the calendar year" in text
    assert "It takes jobs over half a year to speak of a change a year." in text
    (row,) = _rows(manager, "left")
    assert row["Limit, low"] == ""
    assert row["What it says"] == "Too few months to compare"
    for slug in FILES:
        _rows(manager, slug)


def test_an_empty_record_says_what_to_do_first_and_a_view_without_jobs_how_to_find_some(
    manager: Client,
) -> None:
    assert "Nothing is on record yet" in _text(manager)
    section = _section()
    text = _text(manager)
    assert "Nothing was measured and judged in this view." in text
    assert "chart-months-left-data" not in manager.get(EVERYTHING).content.decode()
    for slug in FILES:
        assert _rows(manager, slug) == []
    make_job(found=300.0, left=None, section=section)
    text = _text(manager)
    assert "Nothing was measured and judged as left in this view." in text
    assert "0 % were found in range, 0 of 1 job." in text


def test_long_periods_go_by_quarters_and_very_long_ones_by_years(manager: Client) -> None:
    section = _section()
    for months_ago in (0, 17):
        _jobs(section, months_ago=months_ago, inside=1)
    assert over_time(Filters()).left.step == "month"
    _jobs(section, months_ago=18, inside=1)
    assert over_time(Filters()).left.step == "quarter"
    assert "Oct to Dec 2024" in _text(manager)
    _jobs(section, months_ago=150, inside=1)
    found = over_time(Filters())
    assert (found.left.step, found.part_step) == ("year", "year")
    page = manager.get(EVERYTHING).content.decode()
    assert re.search(r'<th scope="row" class="short">2013\s*</th>', page)
    assert [row["Year"] for row in _rows(manager, "left")] == [
        "2026-01-01",
        "2025-01-01",
        "2024-01-01",
        "2013-01-01",
    ]


def test_ten_years_are_thin(manager: Client) -> None:
    section = _section()
    for months_ago in range(120):
        make_job(found=None, left=400.0, section=section, taken_at=_months_ago(months_ago))
    page = manager.get(EVERYTHING).content.decode()
    assert len(_rows(manager, "left")) == 40
    assert page.count("<tr>") < 130
    # The frame takes most of it; no chart has more than a point a quarter.
    assert max(len(t["x"]) for t in _figure(manager, "months-left")["data"]) <= 42
    assert len(_figure(manager, "kinds")["data"][0]["x"]) == 11


# --- Before and after a day --------------------------------------------------------------


DAY = "2026-01-01"
BEFORE_AND_SINCE = f"{EVERYTHING}&campaign={DAY}"


def _campaign(*, before: tuple[int, int], since: tuple[int, int]) -> None:
    section = _section()
    for months_ago in range(12):
        inside, outside = since if months_ago < 6 else before
        _jobs(section, months_ago=months_ago, inside=inside, outside=outside)


def test_a_rise_is_said_with_its_interval(manager: Client) -> None:
    _campaign(before=(2, 2), since=(4, 0))
    text = _text(manager, f"{BEFORE_AND_SINCE}&campaign_name=New+probe+stops")
    assert "Before and after 1 Jan 2026: New probe stops" in text
    assert "50 % of 24 jobs were left in range before, 100 % of 24 since." in text
    assert re.search(
        r"At the same sites with the same kinds of equipment the share rose by 50 points, between "
        r"\d+ and \d+: more than chance, months that differ anyway, and the mix of sites and kinds "
        "explain.",
        text,
    )
    (before, since) = _rows(manager, "day", f"period=all&campaign={DAY}")
    assert (before["Time"], before["Jobs"]) == ("Before", "24")
    assert float(since["Difference, points"]) == pytest.approx(50.0)
    assert float(since["Difference, low end"]) > 0.0
    assert since["Jobs compared"] == "24"


def test_without_a_change_there_is_no_evidence_of_one(manager: Client) -> None:
    _campaign(before=(6, 2), since=(6, 2))
    text = _text(manager, BEFORE_AND_SINCE)
    assert "No evidence that it changed: at the same sites" in text
    assert "the difference is 0 points, between" in text
    assert "a cause" not in text
    assert "the day is compared, not its cause" in text


def test_another_mix_of_sites_is_not_taken_for_a_change(manager: Client) -> None:
    easy, hard = _section(), _section()
    for months_ago in range(12):
        since = months_ago < 6
        _jobs(easy, months_ago=months_ago, inside=16 if since else 4)
        if since:
            _jobs(hard, months_ago=months_ago, inside=2, outside=2)
        else:
            _jobs(hard, months_ago=months_ago, inside=8, outside=8)
    text = _text(manager, BEFORE_AND_SINCE)
    assert "60 % of 120 jobs were left in range before, 90 % of 120 since. No evidence" in text
    assert "The two shares as they are, whatever the mix and the months, differ by +30 points" in (
        text
    )


def test_what_has_nothing_to_be_compared_with_is_counted(manager: Client) -> None:
    _campaign(before=(3, 1), since=(3, 1))
    _jobs(_section(), months_ago=2, inside=5)
    _jobs(_section(), months_ago=9, inside=2)
    text = _text(manager, BEFORE_AND_SINCE)
    assert "2 jobs before and 5 since are at sites, or of kinds, that have none on the other" in (
        text
    )
    (before, since) = _rows(manager, "day", f"period=all&campaign={DAY}")
    assert (before["Jobs"], before["Jobs compared"]) == ("26", "24")
    assert (since["Jobs"], since["Jobs compared"]) == ("29", "24")


def test_a_day_after_bad_months_comes_with_a_warning(manager: Client) -> None:
    section = _section()
    for months_ago in range(12):
        is_bad = months_ago in (6, 7, 8)
        _jobs(section, months_ago=months_ago, inside=1 if is_bad else 3, outside=2 if is_bad else 0)
    text = _text(manager, BEFORE_AND_SINCE)
    assert (
        "In the three months before the day 33 % were left in range, 100 % in the time before"
        in (text)
    )
    assert "part of a rise would have come by itself" in text
    assert "Without those three months the difference is 0 points, between" in text


def test_a_day_outside_the_period_or_one_that_is_none_is_said(manager: Client) -> None:
    _jobs(_section(), months_ago=0, inside=3)
    assert "Nothing was measured and judged as left before 1 Jan 2020 in this period." in _text(
        manager, f"{EVERYTHING}&campaign=2020-01-01"
    )
    assert "as left since 1 Jan 2030 in this period" in _text(
        manager, f"{EVERYTHING}&campaign=2030-01-01"
    )
    assert "“last spring” is no day to compare before and after" in _text(
        manager, f"{EVERYTHING}&campaign=last+spring"
    )
    assert manager.get("/over-time/day.csv?period=all").status_code == 404


def test_two_months_are_too_few_to_speak_of_a_change(manager: Client) -> None:
    section = _section()
    _jobs(section, months_ago=5, inside=9)
    _jobs(section, months_ago=6, inside=0, outside=9)
    text = _text(manager, BEFORE_AND_SINCE)
    assert "There are jobs in only 2 months: how much months differ anyway can't be told" in text
    assert "rose" not in text


def test_the_day_lives_in_the_address_and_other_filters_leave_it_alone(manager: Client) -> None:
    section = _section("heat_pump")
    _jobs(section, months_ago=1, inside=2)
    address = "/over-time/?kind=heat_pump&campaign=2026-05-20&campaign_name=%3Cb%3E+tips+%26+tricks"
    page = manager.get(address).content.decode()
    assert "Before and after 20 May 2026: &lt;b&gt; tips &amp; tricks" in page
    assert '<input type="hidden" name="campaign" value="2026-05-20">' in page
    assert "/over-time/?campaign=2026-05-20&amp;campaign_name=%3Cb%3E+tips+%26+tricks" in page
    lasting = re.search(r'class="foot"><a href="([^"]+)"', page)
    assert lasting is not None
    assert "campaign=2026-05-20" in lasting[1]
    assert "from=" in lasting[1]
    assert "The day" in str(_figure(manager, "months-left", address)["layout"])
    long = manager.get(f"{EVERYTHING}&campaign=2026-05-20&campaign_name={'x' * 500}")
    assert f"20 May 2026: {'x' * 60}</h2>" in long.content.decode()


def test_a_day_in_the_middle_of_a_month_parts_it(manager: Client) -> None:
    section = _section()
    _jobs(section, months_ago=2, inside=3, day=4)
    _jobs(section, months_ago=2, inside=2, day=20)
    found = over_time(Filters(), campaign=_months_ago(2, 20).date()).campaign
    assert found is not None
    assert (found.contrast.first.total, found.contrast.second.total) == (3, 2)


# --- Seasons, kinds, slow change ---------------------------------------------------------


def _two_years(*, cold: tuple[int, int], warm: tuple[int, int], months: int = 24) -> None:
    section = _section()
    for months_ago in range(months):
        month = _months_ago(months_ago).month
        inside, outside = warm if 4 <= month <= 9 else cold
        _jobs(section, months_ago=months_ago, inside=inside, outside=outside)


def test_halves_of_the_calendar_year_differ_when_two_years_show_it(manager: Client) -> None:
    _two_years(cold=(1, 1), warm=(2, 0))
    text = _text(manager)
    assert "April to September: 100 % of 24 jobs left in range; October to March: 50 % of 24." in (
        text
    )
    assert re.search(
        r"is 50 points lower \(interval of the difference −\d+ to −\d+\): more than", text
    )
    assert "winter" not in text.lower()
    assert "summer" not in text.lower()
    rows = _rows(manager, "seasons")
    assert [row["Jobs of"] for row in rows] == ["April to September", "October to March"]


def test_less_than_two_years_claim_no_season(manager: Client) -> None:
    _two_years(cold=(1, 1), warm=(2, 0), months=20)
    text = _text(manager)
    assert "These 20 months are less than two years: what comes back every year" in text
    assert "more than chance, months that differ anyway" not in text
    assert "Show everything on record" in text


def test_calls_are_compared_where_both_were_measured(manager: Client) -> None:
    section = _section("heat_pump")
    for months_ago in range(8):
        _jobs(section, months_ago=months_ago, inside=6, outside=2)
        _jobs(section, months_ago=months_ago, inside=6, outside=2, call="heating")
    text = _text(manager)
    assert "Measured in cooling: 75 % of 64 jobs left in range; in heating: 75 % of 64." in text
    assert "no evidence that the two differ" in text
    assert [row["Call"] for row in _rows(manager, "calls")] == ["Cooling", "Heating"]


def test_a_kind_that_falls_is_named_and_the_others_are_not(manager: Client) -> None:
    falling, steady = _section("heat_pump"), _section("packaged_unit")
    for months_ago in range(12):
        good = (months_ago + 1) // 3
        _jobs(falling, months_ago=months_ago, inside=good, outside=4 - good)
        _jobs(steady, months_ago=months_ago, inside=6)
    text = _text(manager)
    assert re.search(r"Heat pump: the share left in range falls by \d+ points a year", text)
    rows = {row["Kind"]: row for row in _rows(manager, "kinds")}
    assert rows["Packaged unit"]["What it says"] == "No evidence of a change"
    assert float(rows["Heat pump"]["Change, high end"]) < 0.0
    assert {row["Kind"] for row in _rows(manager, "kinds-over-time")} == set(rows)


def test_a_flow_that_sinks_slowly_is_seen_while_all_is_still_in_range(manager: Client) -> None:
    section = _section()
    for months_ago in range(12):
        for aside in (-2.0, 0.0, 2.0, 3.0):
            _jobs(section, months_ago=months_ago, inside=1, left=360.0 + 6.0 * months_ago + aside)
    text = _text(manager)
    assert "100 % were left in range" in text
    assert "The flow that is left moves slowly, by more than chance explains" in text
    assert "below its limits" in text or "above its limits" in text
    rows = _rows(manager, "place")
    assert float(rows[0]["Mean"]) == pytest.approx(0.1075, abs=1e-3)


def test_one_wild_job_moves_no_mean_far(manager: Client) -> None:
    section = _section()
    for months_ago in range(6):
        _jobs(section, months_ago=months_ago, inside=4)
    make_job(found=None, left=2400.0, section=section, taken_at=_months_ago(2))
    drift = over_time(Filters()).drift
    assert drift is not None
    assert max(step.mean for step in drift.steps) == pytest.approx((4 * 0.5 + 2.0) / 5)


# --- Who may see what, and what it takes -------------------------------------------------


def test_a_technician_sees_the_company_and_no_crew_but_the_own(
    technician: Client, crew: Crew
) -> None:
    rival = factories.make_crew(name="Rival crew")
    for number in range(3):
        person = factories.make_person(username=f"r{number}")
        factories.make_membership(crew=rival, person=person)
    section = _section()
    _jobs(section, months_ago=1, inside=2, crew=crew)
    _jobs(section, months_ago=1, inside=1, outside=2, crew=rival)
    assert "Rival crew" not in technician.get(EVERYTHING).content.decode()
    assert "3 of 5 jobs" in _text(technician)
    assert "2 of 2 jobs" in _text(technician, f"{EVERYTHING}&crew={crew.pk}")
    text = _text(technician, f"{EVERYTHING}&crew={rival.pk}")
    assert "That crew can't be shown by itself" in text
    assert "3 of 5 jobs" in text
    assert technician.get(f"/over-time/left.csv?period=all&crew={rival.pk}").status_code == 403


def test_a_stranger_is_sent_to_the_sign_in(ip_company: Company) -> None:
    for address in ("/over-time/", "/over-time/left.csv"):
        assert Client().get(address)["Location"].startswith("/sign-in/?next=/over-time/")


@pytest.mark.parametrize("size", [3, 30])
def test_the_page_takes_as_many_statements_however_long_the_history(
    manager: Client, size: int
) -> None:
    for number in range(size):
        _jobs(_section(), months_ago=number, inside=1)
    with CaptureQueriesContext(connection) as statements:
        assert manager.get(f"{EVERYTHING}&campaign={DAY}").status_code == 200
    assert len(statements) == STATEMENTS


def test_filters_narrow_and_follow_from_page_to_page(manager: Client) -> None:
    _jobs(_section("heat_pump"), months_ago=1, inside=2)
    _jobs(_section("packaged_unit"), months_ago=1, inside=3)
    text = _text(manager, f"{EVERYTHING}&kind=heat_pump")
    assert "2 of 2 jobs" in text
    page = manager.get(f"{EVERYTHING}&kind=heat_pump").content.decode()
    assert 'href="/over-time/?period=all&amp;kind=heat_pump" aria-current="page"' in page
    assert 'href="/crews/?period=all&amp;kind=heat_pump"' in page


def test_a_table_that_does_not_exist_is_not_there(manager: Client) -> None:
    assert manager.get("/over-time/everything.csv").status_code == 404


def test_the_counts_of_all_parts_are_those_of_the_whole(manager: Client) -> None:
    rng = np.random.default_rng(5)
    for kind in ("heat_pump", "packaged_unit", "furnace_with_coil"):
        section = _section(kind)
        for months_ago in range(5):
            _jobs(section, months_ago=months_ago, inside=int(rng.integers(0, 3)), outside=1)
    found = over_time(Filters(), campaign=datetime.date.fromisoformat("2026-04-12"))
    whole = found.left.whole
    for parts in (
        [step.share for step in found.left.steps],
        [part.left for part in found.kinds],
        [part.left for part in found.by_call],
        [month.left for month in found.calendar],
        [step.share for part in found.kinds for step in part.steps],
    ):
        assert sum(share.total for share in parts) == whole.total
        assert sum(share.inside for share in parts) == whole.inside
    campaign = found.campaign
    assert campaign is not None
    contrast = campaign.contrast
    assert contrast.first.total + contrast.second.total == whole.total
    assert sum(contrast.compared) + sum(contrast.alone) == whole.total
    assert campaign.lately.total + campaign.earlier.total == contrast.first.total
