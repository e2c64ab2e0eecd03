"""The table of measurements: always what the rows it is made of say, whatever changed them."""

from __future__ import annotations

import datetime
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from django.db import connection, transaction

from airflow_jobs import recompute
from airflow_jobs.models import (
    Adjustment,
    Computation,
    FlowReading,
    FlowSet,
    FlowSetMember,
    Measurement,
    Site,
    Traverse,
    Visit,
)
from airflow_jobs.models.measuring import COLUMNS, MEASURED_ANEW
from tests import factories
from tests.dashboards.records import make_adjustment, make_job
from tests.factories import NOW

HOUR = datetime.timedelta(hours=1)
DAY = datetime.timedelta(days=1)


@dataclass(frozen=True)
class World:
    """A system measured in one section, and one whose return and hood reading add up."""

    found: Traverse
    left: Traverse
    returned: Traverse
    hood: FlowReading
    flow_set: FlowSet
    adjustment: Adjustment


def _world() -> World:
    factories.make_company()
    section = factories.make_section()
    visit = make_job(found=300.0, left=400.0, section=section)
    adjustment = make_adjustment(visit=visit, equipment=section.equipment, made_at=NOW + 0.5 * HOUR)
    found, left = Traverse.objects.order_by("taken_at")
    other = factories.make_visit()
    equipment = factories.make_equipment(site=other.site)
    returned = factories.make_traverse(
        visit=other, duct_section=factories.make_section(equipment=equipment), taken_at=NOW - DAY
    )
    hood = factories.make_flow_reading(
        visit=other, equipment=equipment, taken_at=NOW, instrument=factories.make_instrument()
    )
    flow_set = factories.make_flow_set(visit=other, equipment=equipment, members=[hood, returned])
    return World(found, left, returned, hood, flow_set, adjustment)


def _rows(source: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {', '.join(COLUMNS)} FROM {source} ORDER BY computation_id")
        return cursor.fetchall()


def _kept() -> list[tuple[Any, ...]]:
    return _rows("airflow_jobs_measurement")


def _anew() -> list[tuple[Any, ...]]:
    return _rows(f"({MEASURED_ANEW}) AS anew")


def _of(record: Traverse | FlowSet) -> Measurement:
    return Measurement.objects.get(computation=record.computation)


def _change(record: Any, **fields: Any) -> None:
    type(record).objects.filter(pk=record.pk).update(**fields)


CHANGES: dict[str, Callable[[World], object]] = {
    "a traverse is added": lambda on: factories.make_traverse(visit=on.found.visit),
    "a traverse is corrected": lambda on: _change(
        on.found, stage="check", call="heating", taken_at=NOW - 40 * DAY
    ),
    "a traverse is of another visit": lambda on: _change(on.left, visit=factories.make_visit()),
    "a traverse is of another section": lambda on: _change(
        on.left, duct_section=factories.make_round_section()
    ),
    "a traverse is by another meter": lambda on: _change(
        on.returned, instrument=factories.make_instrument()
    ),
    "a traverse repeats another": lambda on: _change(on.left, repeats=on.found),
    "a member of a flow-set is corrected": lambda on: _change(
        on.returned, call="heating", taken_at=NOW + 3 * HOUR
    ),
    "the worker computes": lambda on: recompute.drain(),
    "a result is no more": lambda on: _change(on.left.computation, state="pending", result=None),
    "a visit is moved to another crew": lambda on: Visit.objects.update(crew=factories.make_crew()),
    "a site has another time zone": lambda on: Site.objects.update(time_zone="Asia/Tokyo"),
    "a system stands elsewhere": lambda on: _change(
        on.found.duct_section.equipment, site=factories.make_site(time_zone="Pacific/Auckland")
    ),
    "a section carries other air": lambda on: _change(on.returned.duct_section, air_path="supply"),
    "a section is of another system": lambda on: _change(
        on.found.duct_section, equipment=factories.make_equipment()
    ),
    "a flow-set is added": lambda on: factories.make_flow_set(
        visit=on.found.visit, equipment=on.found.duct_section.equipment, members=[on.found]
    ),
    "a flow-set is as left": lambda on: _change(on.flow_set, stage="as_left"),
    "a flow-set is of another visit": lambda on: _change(on.flow_set, visit=on.found.visit),
    "a flow-set loses a member": lambda on: FlowSetMember.objects.filter(
        flow_reading=on.hood
    ).delete(),
    "a flow-set loses its traverse": lambda on: FlowSetMember.objects.filter(
        traverse=on.returned
    ).delete(),
    "a flow-set loses all": lambda on: FlowSetMember.objects.all().delete(),
    "a flow-set gets a member": lambda on: FlowSetMember.objects.create(
        flow_set=on.flow_set, traverse=on.left
    ),
    "a member is exchanged": lambda on: FlowSetMember.objects.filter(traverse=on.returned).update(
        traverse=on.left
    ),
    "a flow reading is of another day": lambda on: _change(on.hood, taken_at=NOW + 9 * DAY),
    "a flow reading has a meter": lambda on: _change(
        on.hood, instrument=factories.make_instrument()
    ),
    "an adjustment is added": lambda on: make_adjustment(
        visit=on.found.visit, equipment=on.found.duct_section.equipment, made_at=NOW - DAY
    ),
    "an adjustment was earlier": lambda on: _change(on.adjustment, made_at=NOW - HOUR),
    "an adjustment was later": lambda on: _change(on.adjustment, made_at=NOW + DAY),
    "an adjustment is of another system": lambda on: _change(
        on.adjustment, equipment=on.flow_set.equipment, made_at=NOW - 9 * DAY
    ),
    "an adjustment is deleted": lambda on: on.adjustment.delete(),
}


@pytest.mark.django_db
@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES.keys())
def test_it_is_what_the_rows_say_after(change: Callable[[World], object]) -> None:
    on = _world()
    assert len(_kept()) == 4
    before = _kept()
    change(on)
    assert _kept() == _anew()
    assert _kept() != before


@pytest.mark.django_db
def test_it_is_what_the_rows_say_after_all_of_it_in_turn() -> None:
    on = _world()
    for change in CHANGES.values():
        change(on)
        assert _kept() == _anew()


@pytest.mark.django_db
def test_a_flow_set_is_measured_when_its_last_member_is() -> None:
    on = _world()
    one = _of(on.flow_set)
    assert one.taken_at == NOW
    assert (one.call, one.air_paths) == ("cooling", ["return"])
    assert one.instrument_id == on.hood.instrument_id
    assert (one.traverse_id, one.duct_section_id) == (None, None)


@pytest.mark.django_db
def test_the_day_is_that_of_the_place() -> None:
    on = _world()
    _change(on.found, taken_at=datetime.datetime(2026, 1, 1, 3, 0, tzinfo=datetime.UTC))
    assert _of(on.found).taken_on == datetime.date(2025, 12, 31)


@pytest.mark.django_db
def test_adjustments_up_to_a_measurement_are_counted() -> None:
    on = _world()
    assert (_of(on.found).adjustments_before, _of(on.left).adjustments_before) == (0, 1)


@pytest.mark.django_db
def test_what_is_put_back_on_the_list_is_not_measured_again() -> None:
    _world()

    def versions() -> list[Any]:
        with connection.cursor() as cursor:
            cursor.execute("SELECT ctid::text FROM airflow_jobs_measurement ORDER BY 1")
            return cursor.fetchall()

    before = versions()
    recompute.mark_pending(Traverse.objects.all())
    recompute.measure_anew()
    assert versions() == before


@pytest.mark.django_db
def test_what_changed_with_triggers_off_is_made_anew() -> None:
    on = _world()
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        Visit.objects.update(crew=factories.make_crew())
        FlowSetMember.objects.all().delete()
        Measurement.objects.filter(computation=on.left.computation).delete()
        cursor.execute("SET LOCAL session_replication_role = origin")
    assert _kept() != _anew()
    recompute.measure_anew()
    assert _kept() == _anew()


@pytest.mark.django_db(transaction=True)
def test_of_two_at_once_the_later_sees_what_the_earlier_did() -> None:
    on = _world()
    crew = factories.make_crew()
    waits = threading.Event()
    moved = threading.Event()

    def move_the_visit() -> None:
        try:
            with transaction.atomic():
                _change(on.found.visit, crew=crew)
                moved.set()
                # The other one is at the door by then; if not, it comes after the commit.
                waits.wait(timeout=0.5)
        finally:
            connection.close()

    mover = threading.Thread(target=move_the_visit)
    mover.start()
    moved.wait(timeout=30)
    _change(on.found, taken_at=NOW - 3 * DAY)
    Computation.objects.filter(pk=on.found.computation.pk).update(result=None, state="pending")
    waits.set()
    mover.join()
    assert _kept() == _anew()
    one = _of(on.found)
    assert (one.crew_id, one.taken_at, one.result_id) == (crew.pk, NOW - 3 * DAY, None)
