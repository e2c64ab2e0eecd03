"""Filters live in the address and say what they could not make sense of."""

import datetime
from urllib.parse import parse_qs, urlsplit
from uuid import UUID

import pytest

from dashboards.filters import read_filters
from dashboards.fleet_words import period_in_sentence

TODAY = datetime.date(2026, 6, 3)
CREW = "0198f0a2-0000-7000-8000-000000000001"


def test_the_usual_period_is_the_last_twelve_months() -> None:
    asked = read_filters({}, today=TODAY)
    assert (asked.filters.from_on, asked.filters.to_on) == (datetime.date(2025, 7, 1), TODAY)
    assert asked.filters.stage == "as_left"
    assert asked.query() == ""


@pytest.mark.parametrize(
    ("period", "from_on"),
    [("3m", datetime.date(2026, 4, 1)), ("3y", datetime.date(2023, 7, 1)), ("all", None)],
)
def test_a_period_counts_back_in_whole_months(period: str, from_on: datetime.date | None) -> None:
    asked = read_filters({"period": period}, today=TODAY)
    assert asked.filters.from_on == from_on
    assert asked.query() == f"period={period}"


def test_days_alone_make_a_period() -> None:
    asked = read_filters({"from": "2026-01-01", "to": "2026-03-31"}, today=TODAY)
    assert asked.filters.from_on == datetime.date(2026, 1, 1)
    assert asked.filters.to_on == datetime.date(2026, 3, 31)
    assert asked.period_text == "1 Jan 2026 to 31 Mar 2026"


def test_a_day_wins_over_a_period_and_no_day_means_the_usual_one() -> None:
    asked = read_filters({"period": "3m", "from": "2026-01-01"}, today=TODAY)
    assert (asked.period, asked.filters.to_on) == ("dates", None)
    assert asked.period_text == "Since 1 Jan 2026"
    assert read_filters({"period": "dates"}, today=TODAY).period == "12m"


def test_one_day_is_named_once() -> None:
    asked = read_filters({"period": "dates", "from": "2026-05-24", "to": "2026-05-24"}, today=TODAY)
    assert asked.period_text == "24 May 2026"
    assert period_in_sentence(asked) == "on 24 May 2026"


def test_what_an_address_asks_for_is_what_its_own_query_asks_for() -> None:
    parameters = {
        "period": "dates",
        "from": "2026-01-01",
        "to": "2026-03-31",
        "crew": CREW,
        "kind": "heat_pump",
        "stage": "as_found",
        "air_path": "return",
    }
    asked = read_filters(parameters, today=TODAY)
    assert asked.problems == ()
    again = {name: values[0] for name, values in parse_qs(asked.query()).items()}
    assert read_filters(again, today=TODAY) == asked
    assert asked.filters.crew == UUID(CREW)


def test_a_lasting_link_shows_the_same_days_a_year_later() -> None:
    asked = read_filters({"period": "3m", "kind": "heat_pump"}, today=TODAY)
    link = urlsplit(f"/?{asked.lasting_query}")
    again = {name: values[0] for name, values in parse_qs(link.query).items()}
    later = read_filters(again, today=datetime.date(2027, 6, 3))
    assert later.filters == asked.filters


@pytest.mark.parametrize(
    "parameters",
    [
        {"period": "fortnight"},
        {"from": "03/06/2026"},
        {"to": "2026-02-30"},
        {"crew": "7"},
        {"site": "' OR 1=1"},
        {"kind": "toaster"},
        {"stage": "check"},
        {"air_path": "sideways"},
        {"from": "2026-03-01", "to": "2026-01-01"},
    ],
)
def test_what_makes_no_sense_is_named_and_left_out(parameters: dict[str, str]) -> None:
    asked = read_filters(parameters, today=TODAY)
    assert len(asked.problems) == 1
    assert str(asked.problems[0]).endswith(".")
    assert asked.filters.crew is None
    assert asked.filters.stage == "as_left"


def test_what_is_left_out_is_told_from_what_is_put_right() -> None:
    left_out = read_filters({"air_path": "sideways", "kind": "toaster"}, today=TODAY).left_out
    assert [one.parameter for one in left_out] == ["kind", "air_path"]
    assert str(left_out[1]) == "There is no air path “sideways”; all are shown."
    exchanged = read_filters({"from": "2026-03-01", "to": "2026-01-01"}, today=TODAY)
    assert exchanged.problems
    assert exchanged.left_out == ()


def test_days_that_were_exchanged_are_put_right() -> None:
    asked = read_filters({"from": "2026-03-01", "to": "2026-01-01"}, today=TODAY)
    assert asked.filters.from_on == datetime.date(2026, 1, 1)
    assert asked.filters.to_on == datetime.date(2026, 3, 1)
