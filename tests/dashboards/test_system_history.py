"""A system's history: calls apart, steps told from drifts, everything in order."""

from __future__ import annotations

import csv
import datetime
import html
import io
import re

import pytest
from django.test import Client

from airflow_jobs.models import DuctSection, Instrument, TraverseRevision
from dashboards import system_words
from dashboards.filters import day_text
from dashboards.queries.history import system_history
from dashboards.values.systems import LevelChange, SystemHistory
from tests import factories
from tests.dashboards.records import make_adjustment, make_job, make_measured
from tests.factories import NOW, TODAY
from tests.spaces import loose

pytestmark = pytest.mark.django_db
MONTH = datetime.timedelta(days=30)
YEAR = datetime.timedelta(days=365)
STEADY = (400.0, 404.0, 398.0, 402.0, 399.0)


@pytest.fixture
def meter() -> Instrument:
    return factories.make_instrument(label="Vane 1")


@pytest.fixture
def section() -> DuctSection:
    return factories.make_section()


def _found(
    section: DuctSection,
    values: tuple[float, ...],
    *meters: Instrument,
    call: str = "cooling",
    every: int = 4,
) -> None:
    """Measure as found every so many months, the last time now; one meter or one a visit."""
    for number, value in enumerate(values):
        make_job(
            found=value,
            left=None,
            section=section,
            instrument=meters[min(number, len(meters) - 1)],
            call=call,
            u_per_ton=6.0,
            taken_at=NOW - (len(values) - 1 - number) * every * MONTH,
        )


def _history(section: DuctSection) -> SystemHistory:
    history = system_history(section.equipment_id)
    assert history is not None
    return history


def _changes(section: DuctSection) -> tuple[LevelChange, ...]:
    return _history(section).calls[0].changes


def _text(client: Client, section: DuctSection) -> str:
    response = client.get(f"/systems/{section.equipment_id}/")
    assert response.status_code == 200, response.content[:300]
    page = re.sub(r"<script.*?</script>", " ", response.content.decode(), flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def test_a_step_that_nothing_explains_is_named_with_its_dates_and_size(
    section: DuctSection, meter: Instrument
) -> None:
    _found(section, (*STEADY, 345.0, 348.0, 343.0, 346.0), meter)
    (change,) = _changes(section)
    assert change.is_step
    assert not change.is_explained
    assert change.size == pytest.approx(-0.14, abs=0.01)
    assert change.low < change.size < change.high
    text = loose(system_words.change_sentence(change))
    assert text.startswith("Between 8 Feb 2025 and 8 Jun 2025 the flow fell by 14 %")
    assert "a step, not a drift. No adjustment on record explains it." in text
    # It is no drift, and nothing is foretold from it.
    trend = _history(section).trend
    assert trend is None or not trend.is_certain


def test_a_drift_is_no_step_and_asks_for_a_measurement_before_it_may_leave(
    section: DuctSection, meter: Instrument
) -> None:
    _found(section, tuple(430.0 - 8.0 * number for number in range(8)), meter)
    history = _history(section)
    (call,) = history.calls
    assert not any(change.is_step or change.may_be_step for change in call.changes)
    assert call.trend is not None
    assert call.trend.is_certain
    by = system_words.next_by(call.trend, TODAY)
    assert by is not None
    assert call.trend.leaves_earliest_on is not None
    assert by <= max(call.trend.leaves_earliest_on, TODAY)
    assert "it may leave its range." in system_words.trend_text(call, TODAY, 12)


def test_the_next_step_of_a_drift_jumps_to_the_chart_on_the_system_s_own_page(
    manager: Client, section: DuctSection, meter: Instrument
) -> None:
    _found(section, tuple(430.0 - 8.0 * number for number in range(8)), meter)
    day = TODAY - datetime.timedelta(days=30)
    factories.make_calibration(instrument=meter, performed_on=day - 5 * YEAR, due_on=day + 2 * YEAR)
    own = f"/systems/{section.equipment_id}/"
    page = manager.get(own).content.decode()
    assert '<a href="#history-title">Its history and trend</a>' in page
    assert 'id="history-title"' in page
    listed = manager.get("/needs-a-look/?period=all").content.decode()
    assert f'href="{own}?period=all#history-title"' in listed


@pytest.mark.parametrize(("per_ton", "side"), [(300.0, "low"), (500.0, "high")])
def test_a_system_that_is_outside_already_is_not_told_when_it_leaves(
    section: DuctSection, meter: Instrument, per_ton: float, side: str
) -> None:
    for number in (2, 1, 0):
        at = NOW - 4 * number * MONTH
        make_job(found=per_ton, left=None, section=section, taken_at=at, instrument=meter)
    (call,) = _history(section).calls
    text = system_words.trend_text(call, TODAY, 12)
    assert f"It stands {side} already: what is to be done about that comes before" in text
    assert "leaves" not in text
    assert "foreseeable" not in text


def test_a_system_too_close_to_call_is_not_told_the_usual_interval(
    section: DuctSection, meter: Instrument
) -> None:
    for number in (2, 1, 0):
        at = NOW - 4 * number * MONTH
        make_job(found=345.0, left=None, section=section, taken_at=at, instrument=meter)
    (call,) = _history(section).calls
    text = system_words.trend_text(call, TODAY, 12)
    assert "Whether it stands in its range is open" in text
    assert "usual interval asks" not in text


def test_what_rests_on_a_meter_found_off_later_is_marked_and_said_beside_the_trend(
    manager: Client, section: DuctSection, meter: Instrument
) -> None:
    _found(section, tuple(430.0 - 8.0 * number for number in range(8)), meter)
    assert "n doubt" not in _text(manager, section)
    day = TODAY - datetime.timedelta(days=300)
    before = factories.make_calibration(
        instrument=meter, performed_on=day - 5 * YEAR, due_on=day, gain=1.0
    )
    off = factories.make_calibration(
        instrument=meter, performed_on=day, due_on=day + 2 * YEAR, gain=1.06
    )
    text = _text(manager, section)
    assert (
        "In doubt: 5 of its 8 measurements rest on a meter found off later (Vane 1) and are not "
        "corrected. Measure"
    ) in text
    assert "? rest on a meter found off later, not corrected (5); the band" in text
    said = f"in doubt: Vane 1 was found off on {day_text(day)}, not corrected"
    assert text.count(said) == 5
    page = manager.get(f"/systems/{section.equipment_id}/").content.decode()
    assert "its meter was found off later" in page
    address = f"/systems/{section.equipment_id}/measurements.csv"
    rows = list(csv.DictReader(io.StringIO(manager.get(address).content.decode())))
    assert [row["Meter found off later on"] for row in rows] == [""] * 3 + [day.isoformat()] * 5
    address = f"/systems/{section.equipment_id}/timeline.csv"
    assert manager.get(address).content.decode().count(said) == 5
    type(off).objects.filter(pk=off.pk).update(
        corrects_from=before.performed_on, corrects_wholly=True, corrects_because="It fell."
    )
    assert "n doubt" not in _text(manager, section)


def test_where_a_system_stands_says_that_its_meter_was_found_off_later(
    manager: Client, section: DuctSection, meter: Instrument
) -> None:
    make_job(found=None, left=400.0, section=section, instrument=meter)
    day = TODAY + datetime.timedelta(days=30)
    factories.make_calibration(instrument=meter, performed_on=day, due_on=day, gain=0.94)
    page = manager.get(f"/systems/{section.equipment_id}/").content.decode()
    assert f"In doubt: Vane 1 was found off on {day_text(day)}, not corrected." in page
    assert f'href="/instruments/{meter.pk}/#found-title"' in page


def test_an_adjustment_explains_what_changed(section: DuctSection, meter: Instrument) -> None:
    _found(section, (*STEADY, 345.0, 348.0, 343.0), meter)
    visit = factories.make_visit(site=section.equipment.site, started_at=NOW - 10 * MONTH)
    make_adjustment(visit=visit, equipment=section.equipment, made_at=NOW - 10 * MONTH)
    assert _changes(section) == ()


def test_another_meter_may_be_all_of_a_small_step_and_not_of_a_large_one(
    section: DuctSection, meter: Instrument
) -> None:
    other = factories.make_instrument(label="Thermal 2")
    meters = (*([meter] * 5), *([other] * 5))
    _found(section, (*STEADY, 437.0, 441.0, 438.0, 442.0, 439.0), *meters)
    (change,) = _changes(section)
    assert change.has_another_meter
    assert change.is_explained
    assert "It came with another meter, Thermal 2 after Vane 1" in system_words.step_cause(change)
    far = factories.make_section()
    _found(far, (*STEADY, 290.0, 292.0, 288.0, 291.0, 289.0), *meters)
    (change,) = _changes(far)
    assert not change.is_explained
    assert "but meters seldom differ so much" in system_words.step_cause(change)


def test_a_calibration_in_between_and_a_slip_are_named(
    section: DuctSection, meter: Instrument
) -> None:
    factories.make_calibration(
        instrument=meter,
        performed_on=(NOW - 14 * MONTH).date(),
        due_on=(NOW + 14 * MONTH).date(),
    )
    _found(section, (*STEADY, 1345.0, 1348.0, 1343.0, 1346.0), meter)
    (change,) = _changes(section)
    assert change.calibrated_on == (NOW - 14 * MONTH).date()
    text = system_words.change_sentence(change)
    assert "3.4 times as much" in text
    assert "The meter was calibrated on" in text
    assert "likelier a slip in a unit" in text


def test_calls_are_never_mixed(manager: Client, section: DuctSection, meter: Instrument) -> None:
    _found(section, STEADY, meter)
    _found(section, (330.0, 333.0, 328.0), meter, call="heating", every=5)
    history = _history(section)
    assert [one.call for one in history.calls] == ["cooling", "heating"]
    assert [len(one.measurements) for one in history.calls] == [5, 3]
    assert history.calls[0].changes == ()
    text = _text(manager, section)
    assert "Calls have targets of their own and are never mixed." in text
    assert "5 judged measurements, cooling" in text
    assert "3 judged measurements, heating" in text


def test_everything_stands_in_order_on_one_time_axis(
    manager: Client, section: DuctSection, meter: Instrument
) -> None:
    other = factories.make_instrument(label="Thermal 2")
    factories.make_calibration(
        instrument=meter, performed_on=(NOW - 2 * MONTH).date(), due_on=TODAY, certificate="C-17"
    )
    make_job(found=400.0, left=None, section=section, instrument=meter, taken_at=NOW - 4 * MONTH)
    visit = make_job(found=300.0, left=400.0, section=section, instrument=other)
    make_adjustment(
        visit=visit,
        equipment=section.equipment,
        made_at=NOW + datetime.timedelta(minutes=30),
        notes="belt tight",
    )
    traverse = visit.traverses.order_by("taken_at").first()
    assert traverse is not None
    TraverseRevision.objects.create(
        traverse=traverse,
        number=2,
        content={},
        content_digest="sha256:x",
        reason="A unit was slipped.",
        actor="somebody",
        recorded_at=NOW + MONTH,
    )
    kinds = [event.kind for event in _history(section).events]
    assert sorted(kinds) == [
        "adjustment",
        "calibration",
        "correction",
        "meter",
        "visit",
        "visit",
    ]
    response = manager.get(f"/systems/{section.equipment_id}/timeline.csv")
    rows = list(csv.DictReader(io.StringIO(response.content.decode())))
    assert [row["What"] for row in rows] == [
        "Corrected: A traverse corrected",
        "As left, cooling",
        "Adjusted: Blower setting",
        "As found, cooling",
        "Meter changed: Thermal 2 after Vane 1",
        "Visit: Maintenance",
        "Meter calibrated: Vane 1",
        "As found, cooling",
        "Visit: Maintenance",
    ]
    assert [row["More"] for row in rows if row["What"].startswith("Meter cal")] == ["C-17"]
    text = _text(manager, section)
    assert "Below, on the same time axis" in text
    assert "from “tap 4” to “tap 3”" in text


def test_one_measurement_says_where_it_stands_and_not_where_it_goes(
    manager: Client, section: DuctSection, meter: Instrument
) -> None:
    make_job(found=400.0, left=None, section=section, instrument=meter)
    text = _text(manager, section)
    assert "One measurement under this call: where it stands can be said" in text


def test_a_system_without_a_judged_measurement_has_no_chart(
    manager: Client, section: DuctSection
) -> None:
    factories.make_traverse(duct_section=section)
    text = _text(manager, section)
    assert "Nothing was judged yet, so there is nothing to draw." in text
    assert "Everything in order" in text


def test_a_long_history_shows_the_latest_and_the_file_has_all(
    manager: Client, section: DuctSection, meter: Instrument
) -> None:
    visit = factories.make_visit(site=section.equipment.site)
    for number in range(60):
        make_measured(
            section=section,
            visit=visit,
            instrument=meter,
            stage="as_found",
            taken_at=NOW - datetime.timedelta(days=number),
        )
    assert "21 more in the file." in _text(manager, section)
    response = manager.get(f"/systems/{section.equipment_id}/timeline.csv")
    assert len(list(csv.DictReader(io.StringIO(response.content.decode())))) == 61
