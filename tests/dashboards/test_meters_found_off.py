"""A meter that a calibration found off: what pages say, what the form does, what comes of it."""

from __future__ import annotations

import datetime
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from airflow_jobs import recompute
from airflow_jobs.found_off import calibrations
from airflow_jobs.models import Calibration, Instrument, Traverse
from tests import factories
from tests.dashboards.test_instruments import _check
from tests.dashboards.test_pages import _rows, _text
from tests.factories import FT_MIN, NOW, TODAY

pytestmark = pytest.mark.django_db

BEFORE = TODAY - datetime.timedelta(days=100)
FOUND = TODAY + datetime.timedelta(days=100)
STATEMENTS = 30


@pytest.fixture
def meter(db: None) -> Instrument:
    """A vane good to 2 %, calibrated a hundred days ago."""
    meter = factories.make_instrument(label="Vane 7", serial="V-7", accuracy_relative=0.02)
    factories.make_calibration(instrument=meter, performed_on=BEFORE)
    return meter


def _found(meter: Instrument, **fields: Any) -> Calibration:
    return factories.make_calibration(
        instrument=meter,
        **{
            "performed_on": FOUND,
            "due_on": FOUND + datetime.timedelta(days=365),
            "gain": 1.06,
            "certificate": "C-77",
            **fields,
        },
    )


def _measured(meter: Instrument, number: int = 3) -> list[Traverse]:
    section = factories.make_section()
    factories.make_target(equipment=section.equipment)
    rows = [
        factories.make_traverse(
            instrument=meter,
            duct_section=section,
            velocity_m_s=velocity * FT_MIN,
            taken_at=NOW + datetime.timedelta(days=day),
        )
        for day, velocity in zip(range(number), [430, 440, 400] * number, strict=False)
    ]
    recompute.drain()
    return rows


def _form(calibration: Calibration) -> str:
    return f"/office/calibrations/{calibration.pk}/correction/"


def _send(client: Client, calibration: Calibration, **fields: str) -> Any:
    calibration.refresh_from_db()
    return client.post(
        _form(calibration),
        {
            "act": "apply",
            "since": BEFORE.isoformat(),
            "moment": "unknown",
            "because": "the bearing was dirty",
            "revision": str(calibration.revision),
            **fields,
        },
    )


def test_the_page_says_since_when_it_may_have_been_off_and_what_rests_on_it(
    manager: Client, meter: Instrument
) -> None:
    _measured(meter)
    calibration = _found(meter)
    text = _text(manager, f"/instruments/{meter.pk}/?period=all")
    assert "found that Vane 7 read 6.0 % low at 430 ft/min" in text
    assert "its accuracy allows 2.0 %" in text
    assert "at any time since 23 Feb 2026, when it was calibrated before. 3 results" in text
    assert "They are not corrected." in text
    first = text.index("found that it read 6.0 % low; its earlier results are not corrected.")
    assert first < text.index("found that Vane 7 read 6.0 % low")
    assert "3 results, all of them taken in calibration. Those in doubt because" in text
    assert "computed again with it" not in text
    page = manager.get(f"/instruments/{meter.pk}/?period=all").content.decode()
    assert _form(calibration) in page
    assert "?from=2026-02-23&amp;to=2026-09-10#results-title" in page
    assert "Found off by more than its accuracy allows: Vane 7 read 6.0 % low." in _text(
        manager, "/instruments/?period=all"
    )


def test_within_its_accuracy_or_unused_a_meter_is_not_said_to_be_off(
    manager: Client, meter: Instrument
) -> None:
    _found(meter)
    assert "Found off" not in _text(manager, f"/instruments/{meter.pk}/?period=all")
    _measured(meter)
    Calibration.objects.filter(gain=1.06).update(gain=1.015)
    text = _text(manager, f"/instruments/{meter.pk}/?period=all")
    assert "Found off" not in text
    assert "+1.5 %" in text


def test_an_unknown_accuracy_counts_as_5_percent(meter: Instrument) -> None:
    _measured(meter)
    _found(meter, gain=1.04)
    Instrument.objects.filter(pk=meter.pk).update(accuracy_relative=None)
    assert not calibrations(meter.pk)[0].is_off
    Calibration.objects.filter(gain=1.04).update(gain=1.06)
    assert calibrations(meter.pk)[0].is_off


def test_a_first_calibration_leaves_everything_before_it_in_doubt(manager: Client) -> None:
    meter = factories.make_instrument(label="New", serial="N-1", accuracy_relative=0.02)
    _measured(meter)
    _found(meter, gain=0.95)
    text = _text(manager, f"/instruments/{meter.pk}/?period=all")
    assert "New read 5.0 % high" in text
    assert "since it was first used, on 3 Jun 2026. 3 results" in text


def test_what_it_needed_as_it_came_in_counts_where_it_was_adjusted(
    manager: Client, meter: Instrument
) -> None:
    _measured(meter)
    _found(meter, gain=1.0, found_gain=1.06, found_offset_m_s=0.0)
    text = _text(manager, f"/instruments/{meter.pk}/?period=all")
    assert "read 6.0 % low" in text
    assert "1.060 as it came in" in text


def test_every_calibration_is_on_the_register_with_what_it_found(
    manager: Client, meter: Instrument
) -> None:
    _measured(meter)
    _found(meter, offset_m_s=2.0 * FT_MIN, accuracy_relative=0.015)
    rows = _rows(manager, "/instruments/calibrations.csv?period=all")
    assert [(row["Meter"], row["Calibrated"], row["Gain"]) for row in rows] == [
        ("Vane 7", FOUND.isoformat(), "1.06"),
        ("Vane 7", BEFORE.isoformat(), "1.0"),
    ]
    assert rows[0]["Certificate"] == "C-77"
    assert rows[0]["State"] == "Found it off"
    assert float(rows[0]["Offset, ft/min"]) == pytest.approx(2.0)
    assert rows[0]["Accuracy"] == "± 1.5 %"
    assert _rows(manager, f"/instruments/{meter.pk}/calibrations.csv")[0]["Gain"] == "1.06"
    assert manager.get(f"/instruments/{uuid4()}/calibrations.csv").status_code == 404


def test_the_form_shows_what_each_result_would_become_before_anything_is_stored(
    manager: Client, meter: Instrument
) -> None:
    _measured(meter)
    calibration = _found(meter)
    text = _text(manager, _form(calibration))
    assert "3 results would be computed again." in text
    assert "nothing is stored" in text
    rows = _rows(
        manager,
        f"/office/calibrations/{calibration.pk}/correction.csv?since={BEFORE}&moment=known",
    )
    assert [float(row["Change"]) for row in rows] == pytest.approx([0.06] * 3)
    response = _send(manager, calibration, act="preview", moment="known")
    assert response.status_code == 200
    calibration.refresh_from_db()
    assert calibration.corrects_from is None


def test_a_result_that_is_in_doubt_says_so_until_it_is_corrected(
    manager: Client, meter: Instrument
) -> None:
    (first, *_) = _measured(meter)
    address = f"/traverses/{first.pk}/"
    calibration = _found(meter)
    assert "In doubt. The calibration of 11 Sep 2026 found that Vane 7 read" in _text(
        manager, address
    )
    _send(manager, calibration, since=(TODAY + datetime.timedelta(days=1)).isoformat())
    assert "In doubt." in _text(manager, address)
    _send(manager, calibration)
    assert "In doubt." not in _text(manager, address)


def test_correcting_recomputes_and_the_page_shows_how_far_it_is(
    manager: Client, meter: Instrument
) -> None:
    (first, *_) = _measured(meter)
    calibration = _found(meter)
    response = _send(manager, calibration)
    assert response.status_code == 302
    assert response["Location"] == f"/instruments/{meter.pk}/#found-title"
    text = _text(manager, f"/instruments/{meter.pk}/?period=all")
    assert "0 of 3 results are computed, 3 still wait" in text
    recompute.drain()
    text = _text(manager, f"/instruments/{meter.pk}/?period=all")
    assert "3 results computed with it." in text
    assert "Why: the bearing was dirty." in text
    assert text.count("In calibration corrected by the one after it") == 3
    text = _text(manager, f"/traverses/{first.pk}/")
    assert f"The calibration of {FOUND} found Vane 7 to need a gain of 1.060" in text
    assert "When the meter went off" in text
    assert "the results that rested on it are corrected" in _text(manager, "/instruments/")


def test_a_correction_is_taken_back_with_a_reason(manager: Client, meter: Instrument) -> None:
    _measured(meter)
    calibration = _found(meter, corrects_from=BEFORE, corrects_because="bearing")
    response = _send(manager, calibration, act="take_back")
    assert response.status_code == 422
    assert "Say why the correction is taken back" in response.content.decode()
    response = _send(manager, calibration, act="take_back", back_because="wrong certificate")
    assert response.status_code == 302
    calibration.refresh_from_db()
    assert calibration.corrects_from is None


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"because": ""}, "Say why"),
        ({"since": ""}, "Say from which day"),
        ({"since": "31.3.2026"}, "Say from which day"),
        ({"since": "2020-01-01"}, "The calibration before was on 2026-02-23"),
        ({"since": FOUND.isoformat()}, "from a day before it was performed"),
        ({"revision": "0"}, "Somebody changed this calibration meanwhile"),
    ],
)
def test_what_does_not_make_sense_is_said_and_changes_nothing(
    manager: Client, meter: Instrument, fields: dict[str, str], said: str
) -> None:
    _measured(meter)
    calibration = _found(meter)
    response = _send(manager, calibration, **fields)
    assert response.status_code == 422
    assert said in response.content.decode()
    calibration.refresh_from_db()
    assert calibration.corrects_from is None


def test_only_managers_know_of_the_form(technician: Client, meter: Instrument) -> None:
    _measured(meter)
    calibration = _found(meter)
    text = _text(technician, f"/instruments/{meter.pk}/?period=all")
    assert "a manager can see what each would become" in text
    for address in (_form(calibration), f"/office/calibrations/{calibration.pk}/correction.csv"):
        assert technician.get(address).status_code == 404
    assert _send(technician, calibration).status_code == 404
    calibration.refresh_from_db()
    assert calibration.corrects_from is None
    assert Client().get(_form(calibration)).status_code == 302


def test_a_retired_or_unknown_calibration_has_no_form(manager: Client, meter: Instrument) -> None:
    calibration = _found(meter, retired_on=FOUND)
    assert manager.get(_form(calibration)).status_code == 404
    assert manager.get(f"/office/calibrations/{uuid4()}/correction/").status_code == 404


def test_a_meter_that_only_reads_high_against_others_is_not_corrected(
    manager: Client, meter: Instrument
) -> None:
    crew = factories.make_crew()
    other = factories.make_instrument(label="Other", accuracy_relative=0.02)
    for number in range(12):
        _check(other, meter, ratio=1.08 + 0.001 * number, crew=crew)
    text = _text(manager, f"/instruments/{meter.pk}/?period=all")
    assert "check it against a calibrated meter in the same holes: nothing is corrected" in text
    assert "Correct earlier readings" not in text


@pytest.mark.parametrize("size", [3, 30])
def test_the_form_takes_as_many_statements_however_many_results(
    manager: Client, meter: Instrument, size: int
) -> None:
    _measured(meter, size)
    calibration = _found(meter)
    with CaptureQueriesContext(connection) as statements:
        assert manager.get(_form(calibration)).status_code == 200
    assert len(statements) == STATEMENTS
