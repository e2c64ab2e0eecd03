"""What the example client sends is stored once, whatever the line does."""

from __future__ import annotations

import random
import time
from email.utils import formatdate
from uuid import uuid4

import pytest

from examples.field_client import exchange, words
from examples.field_client.service import Service, Trouble
from examples.field_client.store import BATCH, Store
from tests.api.faulty_proxy import (
    AFTER,
    BEFORE,
    CUT_SHORT,
    HALFWAY_BACK,
    HALFWAY_THERE,
    HELD,
    PASS,
    SLOW,
    Fault,
    FaultyProxy,
    answer,
)
from tests.api.field_client.phones import Phone

BUSY_429 = answer(429, Retry_After="7")
BUSY_503 = answer(503, Retry_After="5")
GUEST_NETWORK = answer(200, "<html>Please sign in</html>", Content_Type="text/html")


@pytest.mark.parametrize(
    "faults",
    [
        pytest.param([fault] * 2, id=fault.name)
        for fault in (
            BEFORE,
            HALFWAY_THERE,
            CUT_SHORT,
            AFTER,
            HALFWAY_BACK,
            BUSY_429,
            BUSY_503,
            GUEST_NETWORK,
        )
    ]
    + [
        pytest.param([SLOW], id=SLOW.name),
        pytest.param([AFTER, BUSY_503, BEFORE, BUSY_429, HALFWAY_BACK], id="one after the other"),
    ],
)
@pytest.mark.parametrize("count", [1, 3], ids=["one", "a batch"])
def test_whatever_the_line_does_each_traverse_is_stored_once_and_the_queue_empties(
    phone: Phone, line: FaultyProxy, faults: list[Fault], count: int
) -> None:
    taken = [phone.take(500.0 + number) for number in range(count)]
    line.do(*faults)
    phone.send()
    assert line.is_done
    assert len(phone.waits) == (0 if faults == [SLOW] else len(faults))
    assert phone.store.items() == []
    stored = phone.stored()
    assert set(stored) == set(taken)
    for number, traverse in enumerate(taken):
        assert stored[traverse]["as_sent"]["readings"]["values"][0][0] == 500.0 + number
        assert stored[traverse]["revision"] == 1


def test_an_answer_that_takes_too_long_counts_as_none(phone: Phone, line: FaultyProxy) -> None:
    traverse = phone.take()
    phone.service.timeout_s = 0.5
    line.do(HELD)
    phone.service.sleep = lambda _: setattr(phone.service, "timeout_s", 30.0)
    phone.send()
    assert [request.fault for request in line.requests] == [HELD, PASS]
    assert set(phone.stored()) == {traverse}
    assert phone.store.items() == []


@pytest.mark.parametrize("count", [1, 3], ids=["one", "a batch"])
def test_killed_between_sending_and_marking_the_next_start_neither_loses_nor_doubles(
    phone: Phone, line: FaultyProxy, count: int
) -> None:
    taken = {phone.take() for _ in range(count)}
    phone.killed_while_sending(line)
    assert {item.state for item in phone.store.items()} == {"sending"}
    assert set(phone.stored()) == taken
    phone.send()
    assert phone.store.items() == []
    assert set(phone.stored()) == taken
    assert set(phone.store.sent()) == taken


def test_killed_while_correcting_the_correction_is_made_once(
    phone: Phone, line: FaultyProxy
) -> None:
    traverse = phone.take(500.0)
    phone.send()
    assert phone.store.change(traverse, phone.content(510.0), "Read it wrong.")
    phone.killed_while_sending(line)
    assert [item.state for item in phone.store.items()] == ["sending"]
    phone.send()
    assert phone.store.items() == []
    assert phone.readings_sent(traverse) == [500.0, 510.0]


@pytest.mark.parametrize("seed", [574, 1722, 3000])
def test_nothing_is_lost_or_doubled_through_a_day_of_faults_edits_and_restarts(
    phone: Phone, line: FaultyProxy, seed: int
) -> None:
    chance = random.Random(seed)
    faults = [BEFORE, HALFWAY_THERE, CUT_SHORT, AFTER, AFTER, HALFWAY_BACK, BUSY_429, BUSY_503]
    faults.append(GUEST_NETWORK)
    line.otherwise = lambda: chance.choice(faults) if chance.random() < 0.5 else PASS
    # A line that stays bad makes the client give up, as a closed app would.
    phone.service.patience_s = 2.0
    latest: dict[str, float] = {}
    for number in range(8):
        latest[phone.take(400.0 + number)] = 400.0 + number
        for _ in range(chance.randrange(2)):
            traverse = chance.choice(list(latest))
            latest[traverse] += 100.0
            phone.store.change(traverse, phone.content(latest[traverse]), "Read it wrong.")
        if chance.random() < 0.6:
            try:
                phone.send()
            except Trouble:
                phone.store.close()
                phone.store = Store(phone.file)
    phone.service.patience_s = 1e9
    phone.send()
    assert phone.store.items() == []
    stored = phone.stored()
    current = {key: row["as_sent"]["readings"]["values"][0][0] for key, row in stored.items()}
    assert current == latest
    for traverse in latest:
        # Each content that left the phone is there once, none out of its order.
        sent = phone.readings_sent(traverse)
        assert sent == sorted(set(sent))
        assert stored[traverse]["revision"] == len(sent)


def test_a_batch_keeps_the_good_ones_and_parks_each_bad_one_with_its_reason(
    phone: Phone, line: FaultyProxy
) -> None:
    good = {phone.take(), phone.take()}
    nowhere = phone.take(visit=str(uuid4()))
    clash = phone.take(500.0)
    elsewhere = {"id": clash, **phone.content(400.0)}
    assert phone.api.http.post("/traverses/", json=elsewhere).status_code == 201
    phone.send()
    assert [request.path for request in line.requests] == [
        "/api/v1/traverses/batch/",
        "/api/v1/traverses/",
    ]
    assert set(phone.store.sent()) == good
    parked = {item.traverse: item for item in phone.store.items()}
    assert {item.state for item in parked.values()} == {"parked"}
    unknown = words.of_parked(parked[nowhere].content, parked[nowhere].problem)
    assert "/visit: There is no visit with the id" in unknown
    taken = words.of_parked(parked[clash].content, parked[clash].problem)
    assert '"values": [[500.0' in taken
    assert '"values": [[400.0' in taken
    assert "To go on: settle it: correct" in taken


def test_one_that_spoils_the_whole_batch_holds_back_no_other(
    phone: Phone, line: FaultyProxy
) -> None:
    good = {phone.take(), phone.take()}
    odd = phone.take(notes="half a character: \ud83d")
    phone.send()
    assert set(phone.stored()) == good
    assert [(item.traverse, item.state) for item in phone.store.items()] == [(odd, "parked")]
    assert "lone surrogate" in phone.store.items()[0].problem["detail"]


def test_more_than_a_batch_goes_in_several(phone: Phone, line: FaultyProxy) -> None:
    taken = {phone.take(visit=str(uuid4())) for _ in range(BATCH + 1)}
    phone.send()
    assert [request.path.split("/")[-2] for request in line.requests] == ["batch", "traverses"]
    assert {item.traverse for item in phone.store.items()} == taken


def test_an_error_of_the_service_keeps_that_one_in_the_queue_and_no_other(
    phone: Phone, line: FaultyProxy
) -> None:
    first, second = phone.take(), phone.take()
    broken = answer(500, '{"status": 500, "title": "Internal error"}')
    line.do(broken, broken)
    phone.send()
    assert [(item.traverse, item.state) for item in phone.store.items()] == [(first, "sending")]
    phone.send()
    assert phone.store.items() == []
    assert set(phone.stored()) == {first, second}


def test_two_apps_that_send_the_same_queue_at_once_store_each_traverse_once(
    phone: Phone, line: FaultyProxy
) -> None:
    traverse = phone.take(500.0)

    def other_app() -> Fault:
        line.otherwise = lambda: PASS
        store = Store(phone.file)
        exchange.send(Service(line.url, phone.token), store)
        store.close()
        return PASS

    line.otherwise = other_app
    phone.send()
    phone.store.change(traverse, phone.content(510.0), "Read it wrong.")
    line.otherwise = other_app
    phone.send()
    assert len(line.requests) == 4
    assert phone.store.items() == []
    assert phone.readings_sent(traverse) == [500.0, 510.0]


def test_a_redirect_does_not_carry_the_token_away(phone: Phone, line: FaultyProxy) -> None:
    traverse = phone.take()
    line.do(answer(302, Location=f"{line.url}/elsewhere"))
    phone.send()
    assert "/elsewhere" not in {request.path for request in line.requests}
    assert set(phone.stored()) == {traverse}


def test_the_wait_is_never_shorter_than_the_service_asks_for(
    phone: Phone, line: FaultyProxy
) -> None:
    phone.take()
    in_a_minute = formatdate(time.time() + 60, usegmt=True)
    line.do(answer(429, Retry_After="90"), answer(503, Retry_After=in_a_minute), BUSY_503)
    phone.send()
    first, second, third = phone.waits
    assert 90.0 <= first < 91.0
    assert 50.0 < second < 62.0
    assert 5.0 <= third < 7.0
