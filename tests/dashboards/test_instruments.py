"""The instruments pages: what is due, who reads high, what can't be told, what rests on a meter."""

from __future__ import annotations

import csv
import datetime
import html
import io
import re
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from airflow_jobs.models import Calibration, Crew, Instrument, Traverse
from dashboards import meter_words
from dashboards.queries.meters import register
from dashboards.values.filters import Filters
from dashboards.values.meters import MeterStanding, Reads, Register
from tests import factories
from tests.dashboards.records import make_measured
from tests.factories import NOW
from tests.spaces import loose

pytestmark = pytest.mark.django_db

EVERYTHING = "/instruments/?period=all"
STATEMENTS = {"instruments": 7, "instrument": 7}


def _text(client: Client, address: str = EVERYTHING) -> str:
    response = client.get(address)
    assert response.status_code == 200, response.content[:300]
    page = re.sub(r"<script.*?</script>", " ", response.content.decode(), flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def _rows(client: Client, address: str) -> list[dict[str, str]]:
    response = client.get(address)
    assert response.status_code == 200
    return list(csv.DictReader(io.StringIO(response.content.decode())))


def _meter(label: str) -> Instrument:
    return factories.make_instrument(label=label, serial=label, accuracy_relative=0.03)


def _check(first: Instrument, second: Instrument, *, ratio: float, crew: Crew) -> None:
    """Measure the same holes with two meters."""
    one = make_measured(stage="check", per_ton=400.0, instrument=first, crew=crew)
    make_measured(
        stage="check",
        per_ton=400.0 * ratio,
        instrument=second,
        visit=one.visit,
        section=one.duct_section,
        taken_at=NOW + datetime.timedelta(minutes=10),
        repeats=one,
    )


@pytest.fixture
def high(manager: Client, crew: Crew) -> Instrument:
    """Three meters in paired checks; one of them reads 7 % high."""
    left, right, high = _meter("Left"), _meter("Right"), _meter("High")
    for number in range(6):
        scatter = 1.0 + 0.002 * (number - 2.5)
        _check(left, high, ratio=1.07 * scatter, crew=crew)
        _check(right, high, ratio=1.07 * scatter, crew=crew)
        _check(left, right, ratio=scatter, crew=crew)
    return high


def test_the_meter_that_reads_high_is_named_with_its_interval(
    manager: Client, high: Instrument
) -> None:
    text = _text(manager)
    assert re.search(r"High reads high by 7\.\d % \(\+6\.\d % to \+7\.\d %\)\.", text)
    rows = {row["Meter"]: row for row in _rows(manager, "/instruments/compared.csv?period=all")}
    assert 0.06 < float(rows["High"]["Paired checks, low end"]) < 0.07
    assert "Reads high" in rows["High"]["What it says"]
    assert "No evidence" in rows["Left"]["What it says"]
    assert rows["High"]["Paired checks, comparisons"] == "12"


def test_paired_checks_tell_a_meter_from_its_only_crew(manager: Client, high: Instrument) -> None:
    assert "always travels with" not in _text(manager)


def test_a_meter_that_always_travels_with_one_crew_cannot_be_told_from_it(
    manager: Client, technician: Client, crew: Crew
) -> None:
    theirs, bound = _meter("Theirs"), _meter("Bound")
    others = factories.make_crew(name="Rival crew")
    for _ in range(12):
        section = factories.make_section()
        make_measured(stage="check", instrument=theirs, crew=crew, section=section, per_ton=400.0)
        make_measured(stage="check", instrument=bound, crew=others, section=section, per_ton=450.0)
    text = _text(manager)
    assert "It always travels with Rival crew, so that the meter can't be told from" in text
    text = _text(technician)
    assert "It always travels with one crew, so that" in text
    assert "It always travels with North crew, so that" in text
    assert "Rival crew" not in technician.get(EVERYTHING).content.decode()


def test_a_few_comparisons_name_nobody(manager: Client, crew: Crew) -> None:
    _check(_meter("One"), _meter("Two"), ratio=1.2, crew=crew)
    text = _text(manager)
    assert "No meter can be compared yet" in text
    assert text.count("Too few comparisons with other meters") == 2


def test_repeats_on_another_visit_are_no_paired_check(manager: Client, crew: Crew) -> None:
    one = make_measured(stage="check", instrument=_meter("One"), crew=crew)
    for _ in range(12):
        make_measured(
            stage="check",
            instrument=_meter(f"Other {_}"),
            crew=crew,
            section=one.duct_section,
            repeats=one,
        )
    assert all(meter.paired is None for meter in register(Filters(), today=NOW.date()).meters)


def test_the_register_says_what_is_due_and_overdue(manager: Client) -> None:
    today = timezone.now().date()
    for label, ends in (("Fresh", 60), ("Soon", 10), ("Stale", -30)):
        Calibration.objects.create(
            instrument=_meter(label),
            performed_on=today + datetime.timedelta(days=ends - 365),
            due_on=today + datetime.timedelta(days=ends),
        )
    _meter("Never")
    retired = _meter("Retired")
    retired.retired_on = today
    retired.save()
    rows = {row["Meter"]: row for row in _rows(manager, "/instruments/register.csv")}
    assert rows.pop("Soon")["State"].startswith("In calibration, due in 1")
    assert {name: row["State"] for name, row in rows.items()} == {
        "Fresh": "In calibration",
        "Stale": "Overdue",
        "Never": "No calibration on record",
        "Retired": "Retired",
    }
    assert rows["Stale"]["Due"] == (today - datetime.timedelta(days=30)).isoformat()
    text = _text(manager)
    assert "Never and Stale are out of calibration: send them in" in text
    assert f"Due within 30 days: Soon ({today + datetime.timedelta(days=10)})." in text


def test_what_rests_on_a_meter_is_counted_and_listed(manager: Client, high: Instrument) -> None:
    address = f"/instruments/{high.pk}/"
    text = _text(manager, f"{address}?period=all")
    assert "12 results, 12 of them taken out of calibration" in text
    rows = _rows(manager, f"{address}results.csv?period=all")
    assert len(rows) == 12
    assert {row["Calibration on that day"] for row in rows} == {"Out of calibration"}
    Calibration.objects.create(
        instrument=high,
        performed_on=NOW.date() - datetime.timedelta(days=1),
        due_on=NOW.date() + datetime.timedelta(days=300),
    )
    text = _text(manager, f"{address}?period=all")
    assert "12 results, all of them taken in calibration." in text
    assert "computed again" not in text
    assert "No result in this view" in _text(manager, f"{address}?from=2000-01-01&to=2000-02-01")


def test_without_a_meter_the_page_says_what_to_do(manager: Client) -> None:
    assert "No meter is on record yet." in _text(manager)


def test_filters_follow_to_meter_and_back(manager: Client, high: Instrument) -> None:
    page = manager.get("/instruments/?period=all&kind=heat_pump").content.decode()
    assert f'href="/instruments/{high.pk}/?period=all&amp;kind=heat_pump"' in page
    page = manager.get(f"/instruments/{high.pk}/?period=all&kind=heat_pump").content.decode()
    assert 'href="/instruments/?period=all&amp;kind=heat_pump"' in page


def test_a_meter_or_table_that_does_not_exist_is_not_there(manager: Client) -> None:
    for address in (f"/instruments/{uuid4()}/", "/instruments/everything.csv"):
        assert manager.get(address).status_code == 404


@pytest.mark.parametrize("size", [3, 30])
@pytest.mark.parametrize("page", list(STATEMENTS))
def test_a_page_takes_as_many_statements_however_long_the_history(
    manager: Client, crew: Crew, page: str, size: int
) -> None:
    meter = _meter("One")
    for number in range(size):
        _check(meter, _meter(f"Other {number}"), ratio=1.0, crew=crew)
    address = EVERYTHING if page == "instruments" else f"/instruments/{meter.pk}/?period=all"
    with CaptureQueriesContext(connection) as statements:
        assert manager.get(address).status_code == 200
    assert len(statements) == STATEMENTS[page]


def _standing(low: float, high: float, *, is_sure: bool = False, **fields: Any) -> MeterStanding:
    reads = Reads((low + high) / 2.0, low, high, 20, is_sure)
    values: dict[str, Any] = {
        "id": uuid4(),
        "name": "Vane",
        "serial": "V",
        "retired_on": None,
        "calibrated_on": None,
        "due_on": None,
        "last_used_on": None,
        "is_in_calibration": True,
        "accuracy_relative": 0.03,
        "results": 3,
        "results_out": 0,
        "crews": 2,
        "only_crew_id": None,
        "only_crew": "",
        "paired": None,
        "same_system": reads,
    }
    return MeterStanding(**{**values, **fields})


@pytest.mark.parametrize(
    ("low", "high", "is_sure", "reads", "says"),
    [
        (-0.009, 0.016, False, "alike", "No evidence that it is off by more than its accuracy"),
        (-0.209, 0.299, False, "untold", "It can't be told whether it is off by more than its"),
        (-0.01, 0.031, False, "untold", "Paired checks with another meter in the same holes"),
        (0.01, 0.05, True, "untold", "the interval reaches from +1.0 % to +5.0 %"),
        (0.035, 0.09, True, "high", "Reads high, by more than its accuracy of 3.0 % allows."),
        (0.035, 0.09, False, "untold", "with so many meters compared chance alone may explain"),
    ],
)
def test_only_an_interval_within_the_accuracy_clears_a_meter(
    low: float, high: float, is_sure: bool, reads: str, says: str
) -> None:
    one = _standing(low, high, is_sure=is_sure)
    assert one.reads == reads
    assert says in loose(meter_words.meter_sentence(one, names_crew=True))
    sentence = meter_words.meters_sentence(Register((one,)))
    assert ("it can't be told" in sentence) is (reads == "untold")
    assert ("the interval reaches beyond the accuracy" in sentence) is (reads == "untold")


@pytest.mark.parametrize(
    ("low", "high", "accuracy", "says"),
    [
        (0.002, 0.01502, 0.015, "accuracy of 1.5 % allows: it reaches from +0.2 % to +1.51 %"),
        (-0.01502, 0.002, 0.015, "accuracy of 1.5 % allows: it reaches from −1.51 % to +0.2 %"),
        (0.002, 0.0153, 0.015, "accuracy of 1.5 % allows: it reaches from +0.2 % to +1.53 %"),
        (0.002, 0.0156, 0.015, "accuracy of 1.5 % allows: it reaches from +0.2 % to +1.6 %"),
        (-0.009, 0.016, 0.015, "accuracy of 1.5 % allows: it reaches from −0.9 % to +1.6 %"),
        (0.002, 0.0156, 0.0155, "accuracy of 1.55 % allows: it reaches from +0.2 % to +1.6 %"),
    ],
)
def test_an_interval_that_reaches_beyond_the_accuracy_is_written_so_that_it_shows(
    low: float, high: float, accuracy: float, says: str
) -> None:
    one = _standing(low, high, accuracy_relative=accuracy)
    said = loose(meter_words.meter_sentence(one, names_crew=True))
    assert says.replace("it reaches", "the interval reaches") in said


def test_a_flow_stands_on_the_meters_page_as_on_every_other(
    manager: Client, high: Instrument
) -> None:
    page = loose(_text(manager, f"/instruments/{high.pk}/?period=all"))
    row = _rows(manager, f"/instruments/{high.pk}/results.csv?period=all")[0]
    flow, low, top = (
        float(row[name])
        for name in ("Flow in standard air, ft³/min", "Flow, low end", "Flow, high end")
    )
    assert low < flow < top
    shown = f"{flow:,.0f} ± {(top - low) / 2:,.0f} ft³/min"
    assert shown in page
    one = Traverse.objects.select_related("duct_section").filter(instrument=high).first()
    assert one is not None
    address = f"/systems/{one.duct_section.equipment_id}/measurements.csv"
    assert flow in {float(one["Standard flow, ft³/min"]) for one in _rows(manager, address)}
