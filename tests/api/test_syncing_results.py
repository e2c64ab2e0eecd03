"""Syncing results: each outcome comes once it can be read, in an order in which none comes late."""

from __future__ import annotations

import datetime
import threading
from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from airflow_jobs import recompute
from airflow_jobs.models import Computation, State, Traverse
from airflow_jobs.recompute import worklist
from tests import factories
from tests.api.test_lists import pages_of
from tests.api.worlds import World
from tests.conftest import Actors, Caller
from tests.service_parts import wait_for

BEGINNING = "1970-01-01T00:00:00Z"


def _ids(caller: Caller, since: str = BEGINNING, **query: Any) -> list[str]:
    pages = pages_of(caller, "traverses/", computed_since=since, **query)
    return [row["id"] for page in pages for row in page]


def _settled(traverse: Traverse) -> str:
    settled = Computation.objects.get(traverse=traverse).settled_at
    assert settled is not None
    return settled.isoformat()


def _make(world: World, count: int) -> list[Traverse]:
    return [
        factories.make_traverse(
            visit=world.visit, duct_section=world.section, instrument=world.instrument
        )
        for _ in range(count)
    ]


def test_what_is_computed_comes_and_what_is_pending_does_not(actors: Actors, world: World) -> None:
    (traverse,) = _make(world, 1)
    assert _ids(actors.owner) == []
    before = actors.owner.get(f"traverses/{traverse.pk}/").json()["result"]
    assert before["settled_at"] is None
    recompute.drain()
    (row,) = actors.owner.get("traverses/", computed_since=BEGINNING).json()["results"]
    assert row["result"]["state"] == "computed"
    assert (
        row["result"]["settled_at"]
        == actors.owner.get(f"traverses/{traverse.pk}/").json()["result"]["settled_at"]
    )
    # `updated_since` goes by the record itself, which has not changed since.
    moment = (timezone.now() + datetime.timedelta(seconds=1)).isoformat()
    assert actors.owner.get("traverses/", updated_since=moment).json()["results"] == []


@pytest.mark.parametrize("size", [1, 2, 7, 8])
@pytest.mark.parametrize("order", ["oldest", "newest"])
def test_pages_hold_each_outcome_once_in_the_order_of_settling(
    actors: Actors, world: World, size: int, order: str
) -> None:
    for count in (3, 4):
        _make(world, count)
        recompute.drain()
    rows = Computation.objects.order_by("settled_at").values_list("traverse_id", flat=True)
    expected = [str(key) for key in rows]
    assert len(set(expected)) == 7
    found = _ids(actors.owner, page_size=size, order=order)
    assert found == (expected if order == "oldest" else expected[::-1])


def test_going_on_from_the_last_one_brings_what_was_settled_since(
    actors: Actors, world: World
) -> None:
    first, second, third = _make(world, 3)
    recompute.drain()
    last = max(_settled(item) for item in (first, second, third))
    recompute.mark_pending(Traverse.objects.filter(pk=first.pk))
    # Only to be computed again: nothing new yet, and its place is the same.
    assert str(first.pk) in _ids(actors.owner)
    assert len(_ids(actors.owner, last)) == 1
    recompute.drain()
    assert _ids(actors.owner, last)[-1] == str(first.pk)
    assert len(_ids(actors.owner)) == 3


def test_what_is_computed_again_while_pages_are_turned_comes_at_the_end(
    actors: Actors, world: World
) -> None:
    rows = _make(world, 4)
    recompute.drain()
    order = [str(key) for key in _in_order()]
    first = actors.owner.get("traverses/", computed_since=BEGINNING, page_size=2).json()
    assert [row["id"] for row in first["results"]] == order[:2]
    recompute.mark_pending(Traverse.objects.filter(pk=order[0]))
    recompute.mark_pending(Traverse.objects.filter(pk=order[2]))
    recompute.drain()
    rest = pages_of(actors.owner, first["next"].removeprefix("http://testserver"))
    found = [row["id"] for page in rest for row in page]
    assert set(found) == {order[0], order[2], order[3]}
    assert found[0] == order[3]
    assert len(found) == 3
    assert len(rows) == 4


def _in_order() -> list[Any]:
    return list(Computation.objects.order_by("settled_at").values_list("traverse_id", flat=True))


def test_flow_sets_and_failures_come_too(actors: Actors, world: World) -> None:
    (traverse,) = _make(world, 1)
    flow_set = factories.make_flow_set(
        visit=world.visit, equipment=world.equipment, members=[traverse]
    )
    recompute.drain()
    listed = actors.owner.get("flow-sets/", computed_since=BEGINNING).json()["results"]
    assert [row["id"] for row in listed] == [str(flow_set.pk)]
    assert listed[0]["result"]["settled_at"]
    # Readings that no rule lets in, as after a mistake of our own: given up after some attempts.
    Traverse.objects.filter(pk=traverse.pk).update(readings={"values": []})
    last = _settled(traverse)
    recompute.mark_pending(Traverse.objects.filter(pk=traverse.pk))
    for _ in range(worklist.ATTEMPTS):
        Computation.objects.update(due_at=timezone.now())
        recompute.drain()
    after = actors.owner.get("traverses/", computed_since=last).json()["results"]
    assert [row["result"]["state"] for row in after] == ["failed"]
    assert after[0]["result"]["settled_at"] > last


def test_a_sweep_that_finds_everything_right_moves_nothing(actors: Actors, world: World) -> None:
    (traverse,) = _make(world, 1)
    recompute.drain()
    settled = _settled(traverse)
    recompute.sweep(thorough=True)
    assert _settled(traverse) == settled


def test_stamps_rise_where_the_clock_was_set_back(actors: Actors, world: World) -> None:
    first, second = _make(world, 2)
    recompute.drain()
    ahead = timezone.now() + datetime.timedelta(days=400)
    Computation.objects.filter(traverse=first).update(settled_at=ahead)
    recompute.mark_pending(Traverse.objects.filter(pk=second.pk))
    recompute.drain()
    assert _ids(actors.owner, ahead.isoformat()) == [str(first.pk), str(second.pk)]


def test_a_field_app_is_shown_its_own_crews_results_only(actors: Actors, world: World) -> None:
    (traverse,) = _make(world, 1)
    recompute.drain()
    assert _ids(actors.field_app) == [str(traverse.pk)]
    assert _ids(actors.other_field_app) == []


def test_the_two_ways_of_syncing_are_not_mixed(actors: Actors, world: World) -> None:
    both = {"computed_since": BEGINNING, "updated_since": BEGINNING}
    answer = actors.owner.get("traverses/", **both)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["parameter"] == "computed_since"
    assert actors.owner.get("sites/", computed_since=BEGINNING).status_code == 400
    assert actors.owner.get("traverses/", computed_since="soon").status_code == 400


def test_filters_narrow_what_is_synced(actors: Actors, world: World) -> None:
    (traverse,) = _make(world, 1)
    recompute.drain()
    assert _ids(actors.owner, visit=str(world.visit.pk)) == [str(traverse.pk)]
    assert _ids(actors.owner, visit=str(traverse.pk)) == []


def test_what_syncing_costs_does_not_grow_with_rows(actors: Actors, world: World) -> None:
    counts = []
    actors.owner.get("traverses/")
    for count in (3, 27):
        _make(world, count)
        recompute.drain()
        with CaptureQueriesContext(connection) as captured:
            answer = actors.owner.get("traverses/", computed_since=BEGINNING, page_size=200)
        counts.append(len(captured))
    assert len(answer.json()["results"]) == 30
    assert counts[0] == counts[1]


@pytest.fixture
def many(transactional_db: None) -> list[Traverse]:
    """Forty traverses of as many systems, still to be computed."""
    return [factories.make_traverse() for _ in range(40)]


def _visible() -> list[Any]:
    """Return what somebody else sees, in the order of settling."""
    settled = Computation.objects.exclude(settled_at=None).order_by("settled_at")
    return list(settled.values_list("pk", flat=True))


def _is_one_waiting() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_locks WHERE locktype = 'advisory' AND NOT granted")
        return cursor.fetchone() is not None


@pytest.mark.django_db(transaction=True)
def test_an_outcome_waits_for_those_stamped_before_it(many: list[Traverse]) -> None:
    first, second = Computation.objects.order_by("pk")[:2]
    stamped, release = threading.Event(), threading.Event()

    def slow() -> None:
        with transaction.atomic():
            worklist._settle([first.pk])
            stamped.set()
            assert release.wait(60)
        connection.close()

    def fast() -> None:
        with transaction.atomic():
            worklist._settle([second.pk])
        connection.close()

    threads = [threading.Thread(target=work) for work in (slow, fast)]
    threads[0].start()
    assert stamped.wait(60)
    threads[1].start()
    wait_for(_is_one_waiting, "the second waits for the first")
    assert _visible() == []
    release.set()
    for thread in threads:
        thread.join()
    assert _visible() == [first.pk, second.pk]


@pytest.mark.django_db(transaction=True)
def test_a_reader_beside_busy_workers_misses_no_outcome(
    many: list[Traverse], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(worklist, "CLAIM", 3)
    done = threading.Event()

    def work() -> None:
        recompute.drain()
        connection.close()

    workers = [threading.Thread(target=work) for _ in range(3)]
    for worker in workers:
        worker.start()
    seen: list[int] = []
    last = datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)
    while not done.is_set():
        if not any(worker.is_alive() for worker in workers):
            done.set()
        # As a client does: what comes after the last one seen, a few at a time.
        rows = Computation.objects.filter(settled_at__gt=last).order_by("settled_at")[:5]
        for row in rows:
            assert row.settled_at is not None
            seen.append(row.pk)
            last = row.settled_at
    while rows := list(Computation.objects.filter(settled_at__gt=last).order_by("settled_at")[:5]):
        seen += [row.pk for row in rows]
        assert rows[-1].settled_at is not None
        last = rows[-1].settled_at
    everything = set(Computation.objects.filter(state=State.COMPUTED).values_list("pk", flat=True))
    assert len(everything) == len(many)
    assert set(seen) == everything
