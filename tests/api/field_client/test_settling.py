"""What was changed, refused or in conflict is settled without a loss."""

from __future__ import annotations

import pytest

from examples.field_client import words
from examples.field_client.service import Trouble
from tests.api.faulty_proxy import (
    AFTER,
    BEFORE,
    FaultyProxy,
)
from tests.api.field_client.phones import Phone
from tests.service_parts import (
    PASSWORD,
)


def test_a_change_before_sending_is_no_correction_and_one_after_it_is(
    phone: Phone, line: FaultyProxy
) -> None:
    traverse = phone.take(500.0)
    assert not phone.store.change(traverse, phone.content(510.0), "Read it wrong.")
    # Sent, but whether it got there is not known: from here on the content is frozen.
    line.do(AFTER)
    phone.service.patience_s = 0.0
    with pytest.raises(Trouble, match="can't be reached for now"):
        phone.send()
    assert phone.store.change(traverse, phone.content(520.0), "Read it wrong.")
    # The correction has not begun to leave: it is changed in place.
    assert not phone.store.change(traverse, phone.content(530.0), "Read it very wrong.")
    phone.send()
    assert phone.readings_sent(traverse) == [510.0, 530.0]
    assert phone.store.items() == []


def test_refused_content_is_changed_in_place_and_goes_out(phone: Phone) -> None:
    traverse = phone.take(500.0, readings={"unit": "furlong", "values": [[1]]})
    phone.send()
    (item,) = phone.store.items()
    assert "/readings/unit" in words.of_parked(item.content, item.problem)
    assert not phone.store.change(traverse, phone.content(500.0), "The unit.")
    phone.send()
    assert phone.store.items() == []
    assert phone.readings_sent(traverse) == [500.0]


def test_a_change_that_waits_behind_refused_content_takes_its_place(
    phone: Phone, line: FaultyProxy
) -> None:
    traverse = phone.take(500.0, readings={"unit": "furlong", "values": [[1]]})
    line.do(BEFORE)
    phone.service.patience_s = 0.0
    with pytest.raises(Trouble):
        phone.send()
    assert phone.store.change(traverse, phone.content(510.0), "The unit.")
    phone.send()
    assert phone.store.items() == []
    assert phone.readings_sent(traverse) == [510.0]


@pytest.mark.parametrize(
    ("how", "readings", "others"),
    [("correct", [400.0, 500.0], 0), ("drop", [400.0], 0), ("new", [400.0], 1)],
)
def test_an_id_taken_by_other_content_is_settled_by_a_person(
    phone: Phone, how: str, readings: list[float], others: int
) -> None:
    traverse = phone.take(500.0)
    elsewhere = {"id": traverse, **phone.content(400.0)}
    assert phone.api.http.post("/traverses/", json=elsewhere).status_code == 201
    phone.send()
    (item,) = phone.store.items()
    assert (item.state, item.problem["status"]) == ("parked", 409)
    phone.store.settle(item, how)
    phone.send()
    assert phone.store.items() == []
    assert phone.readings_sent(traverse) == readings
    new = set(phone.stored()) - {traverse}
    assert [phone.readings_sent(key) for key in new] == [[500.0]] * others


def test_a_correction_of_what_the_office_has_corrected_is_settled_by_a_person(
    phone: Phone,
) -> None:
    traverse = phone.take(500.0)
    phone.send()
    phone.store.change(traverse, phone.content(510.0), "Read it wrong.")
    phone.correct_in_the_office(traverse, 505.0, 1)
    phone.send()
    (item,) = phone.store.items()
    assert (item.state, item.problem["status"]) == ("parked", 412)
    assert '"values": [[505.0' in words.of_parked(item.content, item.problem)
    phone.store.settle(item, "correct")
    phone.send()
    assert phone.store.items() == []
    assert phone.readings_sent(traverse) == [500.0, 505.0, 510.0]


def test_a_correction_that_got_there_before_the_offices_is_not_sent_over_it(
    phone: Phone, line: FaultyProxy
) -> None:
    traverse = phone.take(500.0)
    phone.send()
    phone.store.change(traverse, phone.content(510.0), "Read it wrong.")
    line.do(AFTER)
    phone.service.sleep = lambda _: phone.correct_in_the_office(traverse, 505.0, 2)
    phone.send()
    assert phone.store.items() == []
    assert phone.readings_sent(traverse) == [500.0, 510.0, 505.0]


def test_a_token_that_is_no_longer_good_is_asked_for_anew_and_nothing_is_lost(
    phone: Phone,
) -> None:
    signed_in = phone.api.http.post(
        "/tokens/", json={"username": "office", "password": PASSWORD}
    ).json()
    phone.service.token = signed_in["token"]
    first = phone.take()
    phone.send()
    assert phone.api.http.delete(f"/tokens/{signed_in['id']}/").status_code == 204
    second = phone.take()
    with pytest.raises(Trouble, match="get a new one and set FIELD_TOKEN"):
        phone.send()
    assert [item.traverse for item in phone.store.items()] == [second]
    phone.service.token = phone.token
    phone.send()
    assert phone.store.items() == []
    assert set(phone.stored()) == {first, second}
