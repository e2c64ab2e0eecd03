"""A calibration that found the meter off: what earlier results become, and how it is undone."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from airflow_jobs import recompute
from airflow_jobs.actions.access import Actor, NotAllowed
from airflow_jobs.actions.constraints import RulesBroken
from airflow_jobs.actions.meter_corrections import (
    CorrectionPreview,
    correct_earlier_readings,
    preview_correction,
    take_correction_back,
)
from airflow_jobs.actions.records import StaleRevision
from airflow_jobs.models import Calibration, Instrument, Result, Role, State, Traverse
from tests import factories
from tests.factories import NOW, TODAY

pytestmark = pytest.mark.django_db

BEFORE = TODAY - datetime.timedelta(days=100)
FOUND = TODAY + datetime.timedelta(days=100)
LATER = NOW + datetime.timedelta(days=120)


@pytest.fixture
def manager() -> Actor:
    """Somebody who may write calibrations."""
    person = factories.make_person(role=Role.MANAGER)
    return Actor.of_person(person, today=TODAY)


@pytest.fixture
def meter() -> Instrument:
    """A vane that was good a hundred days ago."""
    meter = factories.make_instrument(accuracy_relative=0.02)
    factories.make_calibration(instrument=meter, performed_on=BEFORE, gain=1.0)
    return meter


def _found(meter: Instrument, **fields: Any) -> Calibration:
    return factories.make_calibration(
        instrument=meter,
        **{
            "performed_on": FOUND,
            "due_on": FOUND + datetime.timedelta(days=365),
            "gain": 1.06,
            **fields,
        },
    )


def _correcting(meter: Instrument, **fields: Any) -> Calibration:
    return _found(meter, **{"corrects_from": BEFORE, "corrects_because": "bearing dirty", **fields})


def _result(traverse: Traverse) -> Result:
    recompute.drain()
    traverse.computation.refresh_from_db()
    result = traverse.computation.result
    assert result is not None
    return result


def _codes(result: Result) -> set[str]:
    return {one["code"] for one in result.values["findings"]}


def _calibration_factor(result: Result) -> float:
    (step,) = [one for one in result.values["corrections"] if one["step"] == "calibration"]
    return float(step["factor"])


def _u(result: Result, component: str) -> float:
    found = [one for one in result.values["budget"] if one["component"] == component]
    return float(found[0]["relative_standard_uncertainty"]) if found else 0.0


def test_a_later_calibration_changes_nothing_by_itself(meter: Instrument) -> None:
    traverse = factories.make_traverse(instrument=meter)
    before = _result(traverse)
    calibration = _found(meter)
    recompute.mark_affected_by(calibration)
    assert _result(traverse).pk == before.pk


def test_a_moment_that_nobody_knows_takes_part_and_widens_the_interval(meter: Instrument) -> None:
    traverse = factories.make_traverse(instrument=meter)
    before = _result(traverse)
    recompute.mark_affected_by(_correcting(meter))
    after = _result(traverse)
    # Half of the time in doubt had passed, and half a day.
    share = 100.5 / 200.0
    assert _calibration_factor(after) == pytest.approx(1.0 + 0.06 * share)
    spread = 0.06 * (share * (1.0 - share)) ** 0.5 / (1.0 + 0.06 * share)
    assert _u(after, "meter_change") == pytest.approx(spread)
    assert _u(before, "meter_change") == 0.0
    assert after.flow_relative_u is not None
    assert before.flow_relative_u is not None
    assert after.flow_relative_u**2 == pytest.approx(
        before.flow_relative_u**2 + spread**2, rel=1e-3
    )
    assert "calibration_corrected_later" in _codes(after)
    assert "calibration_corrected_later" not in _codes(before)


def test_a_day_that_is_known_takes_all_and_widens_nothing(meter: Instrument) -> None:
    traverse = factories.make_traverse(instrument=meter)
    _correcting(meter, corrects_from=TODAY - datetime.timedelta(days=3), corrects_wholly=True)
    result = _result(traverse)
    assert _calibration_factor(result) == pytest.approx(1.06)
    assert _u(result, "meter_change") == 0.0


@pytest.mark.parametrize(
    ("days", "is_corrected"), [(-11, False), (-10, True), (99, True), (100, False)]
)
def test_only_readings_from_that_day_up_to_the_calibration_are_corrected(
    meter: Instrument, days: int, is_corrected: bool
) -> None:
    traverse = factories.make_traverse(
        instrument=meter, taken_at=NOW + datetime.timedelta(days=days)
    )
    _correcting(meter, corrects_from=TODAY - datetime.timedelta(days=10))
    assert ("calibration_corrected_later" in _codes(_result(traverse))) is is_corrected


def test_what_the_meter_needed_as_it_came_in_corrects_where_it_was_adjusted(
    meter: Instrument,
) -> None:
    traverse = factories.make_traverse(instrument=meter)
    _correcting(meter, gain=1.0, found_gain=1.05, found_offset_m_s=0.0, corrects_wholly=True)
    assert _calibration_factor(_result(traverse)) == pytest.approx(1.05)
    after = factories.make_traverse(instrument=meter, taken_at=NOW + datetime.timedelta(days=101))
    assert _calibration_factor(_result(after)) == pytest.approx(1.0)


def test_a_retired_calibration_corrects_nothing(meter: Instrument) -> None:
    traverse = factories.make_traverse(instrument=meter)
    calibration = _correcting(meter)
    calibration.retired_on = FOUND + datetime.timedelta(days=5)
    calibration.save()
    assert "calibration_corrected_later" not in _codes(_result(traverse))


def test_a_calibration_in_between_hides_what_lay_before_it(meter: Instrument) -> None:
    traverse = factories.make_traverse(instrument=meter)
    _correcting(meter)
    _found(meter, performed_on=TODAY + datetime.timedelta(days=10), gain=1.0)
    assert "calibration_corrected_later" not in _codes(_result(traverse))


def _preview(manager: Actor, calibration: Calibration, **fields: Any) -> CorrectionPreview:
    return preview_correction(
        **{
            "actor": manager,
            "calibration_id": calibration.pk,
            "corrects_from": BEFORE,
            "corrects_wholly": False,
            "most": 100,
            "now": LATER,
            **fields,
        }
    )


def test_the_preview_is_what_comes_out_and_stores_nothing(
    manager: Actor, meter: Instrument
) -> None:
    traverses = [
        factories.make_traverse(
            instrument=meter,
            velocity_m_s=velocity,
            taken_at=NOW + datetime.timedelta(days=number),
        )
        for number, velocity in enumerate([1.9, 2.0, 2.2])
    ]
    outside = factories.make_traverse(instrument=meter, taken_at=NOW + datetime.timedelta(days=100))
    recompute.drain()
    calibration = _found(meter)
    stored = Result.objects.count()
    preview = _preview(manager, calibration)
    assert preview.total == 3
    assert Result.objects.count() == stored
    calibration.refresh_from_db()
    assert calibration.corrects_from is None
    expected = {one.before.traverse_id: one for one in preview.results}
    assert outside.pk not in expected
    correct_earlier_readings(
        actor=manager,
        calibration_id=calibration.pk,
        corrects_from=BEFORE,
        corrects_wholly=False,
        because="the bearing was dirty",
        expected_revision=calibration.revision,
        now=LATER,
    )
    for traverse in traverses:
        result = _result(traverse)
        shown = expected[traverse.pk]
        assert shown.flow_standard_m3_s == pytest.approx(result.flow_standard_m3_s)
        assert shown.verdict == result.verdict
        assert shown.relative_u == pytest.approx(result.flow_relative_u)
    assert preview.verdicts_changed == sum(
        one.verdict != one.before.verdict for one in preview.results
    )


def test_the_preview_works_out_only_so_many_and_counts_all(
    manager: Actor, meter: Instrument
) -> None:
    for number in range(5):
        factories.make_traverse(instrument=meter, taken_at=NOW + datetime.timedelta(days=number))
    recompute.drain()
    factories.make_traverse(instrument=meter)
    preview = _preview(manager, _found(meter), most=2)
    assert (len(preview.results), preview.total, preview.waiting) == (2, 5, 1)


def test_correcting_puts_results_back_on_the_work_list_and_keeps_the_old_ones(
    manager: Actor, meter: Instrument
) -> None:
    traverse = factories.make_traverse(instrument=meter)
    first = _result(traverse)
    calibration = _found(meter)
    correct_earlier_readings(
        actor=manager,
        calibration_id=calibration.pk,
        corrects_from=BEFORE,
        corrects_wholly=False,
        because="the bearing was dirty",
        expected_revision=None,
        now=LATER,
    )
    traverse.computation.refresh_from_db()
    assert traverse.computation.state == State.PENDING
    second = _result(traverse)
    assert second.pk != first.pk
    taken_back = take_correction_back(
        actor=manager,
        calibration_id=calibration.pk,
        because="it was another meter's certificate",
        expected_revision=None,
        now=LATER,
    )
    assert taken_back.corrects_from is None
    # The same inputs as before: the same result again, not another one.
    assert _result(traverse).pk == first.pk
    events = list(
        Calibration.pgh_event_model.objects.filter(pgh_obj_id=calibration.pk)  # type: ignore[attr-defined]
        .order_by("pgh_id")
        .select_related("pgh_context")
    )
    assert [one.corrects_because for one in events] == ["", "the bearing was dirty", ""]
    assert events[-1].pgh_context.metadata["correction_taken_back"] == (
        "it was another meter's certificate"
    )
    assert events[1].pgh_context.metadata["actor_name"] == manager.name


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"corrects_from": BEFORE - datetime.timedelta(days=1)}, "/corrects_from"),
        ({"corrects_from": FOUND}, "/corrects_from"),
        ({"because": " "}, "/corrects_because"),
    ],
)
def test_what_a_calibration_cannot_know_of_is_refused(
    manager: Actor, meter: Instrument, fields: dict[str, Any], pointer: str
) -> None:
    calibration = _found(meter)
    with pytest.raises(RulesBroken) as refused:
        correct_earlier_readings(
            **{
                "actor": manager,
                "calibration_id": calibration.pk,
                "corrects_from": BEFORE,
                "corrects_wholly": False,
                "because": "bearing",
                "expected_revision": None,
                "now": LATER,
                **fields,
            }
        )
    assert pointer in [error.pointer for error in refused.value.errors]
    calibration.refresh_from_db()
    assert calibration.corrects_from is None


def test_two_managers_at_once_do_not_overwrite_each_other(
    manager: Actor, meter: Instrument
) -> None:
    calibration = _correcting(meter)
    with pytest.raises(StaleRevision):
        take_correction_back(
            actor=manager,
            calibration_id=calibration.pk,
            because="no",
            expected_revision=calibration.revision + 1,
            now=LATER,
        )


def test_a_technician_may_neither_preview_nor_correct(meter: Instrument) -> None:
    technician = Actor.of_person(factories.make_person(), today=TODAY)
    calibration = _found(meter)
    with pytest.raises(NotAllowed):
        _preview(technician, calibration)
    with pytest.raises(NotAllowed):
        correct_earlier_readings(
            actor=technician,
            calibration_id=calibration.pk,
            corrects_from=BEFORE,
            corrects_wholly=False,
            because="bearing",
            expected_revision=None,
            now=LATER,
        )


@pytest.mark.parametrize(
    "fields",
    [
        {"corrects_from": FOUND, "corrects_because": "x"},
        {"corrects_from": BEFORE},
        {"corrects_wholly": True},
        {"corrects_because": "x"},
        {"found_gain": 1.05},
        {"found_gain": 3.0, "found_offset_m_s": 0.0},
    ],
)
def test_the_database_refuses_a_correction_that_makes_no_sense(
    meter: Instrument, fields: dict[str, Any]
) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        _found(meter, **fields)
