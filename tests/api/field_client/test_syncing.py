"""Reference data come down, and a traverse is taken from them without a connection."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest

from examples.field_client import exchange, taking
from examples.field_client.service import Trouble
from tests.api.faulty_proxy import (
    BEFORE,
    PASS,
    FaultyProxy,
)
from tests.api.field_client.phones import Phone, Place
from tests.service_parts import (
    add_place,
)


def test_syncing_brings_everything_once_then_what_changed_the_retired_too(
    phone: Phone, line: FaultyProxy
) -> None:
    _, section = add_place(phone.api)
    # Broken off on the second page: what came is kept, and the next sync goes on from there.
    line.do(PASS, PASS, BEFORE)
    phone.service.patience_s = 0.0
    with pytest.raises(Trouble):
        exchange.sync(phone.service, phone.store, page_size=1)
    assert len(phone.store.reference("sites")) == 1
    exchange.sync(phone.service, phone.store)
    asked = [request for request in line.requests if request.path.endswith("/sites/")]
    assert asked[0].query["updated_since"] == exchange.BEGINNING
    assert asked[2].query["updated_since"] > exchange.BEGINNING
    for resource in exchange.RESOURCES:
        rows = phone.api.http.get(f"/{resource}/", params={"page_size": "200"}).json()["results"]
        assert set(phone.store.reference(resource)) == {row["id"] for row in rows}
    retired = phone.api.http.patch(
        f"/duct-sections/{section}/",
        json={"retired_on": "2026-06-01"},
        headers={"If-Match": "*"},
    )
    assert retired.status_code == 200
    exchange.sync(phone.service, phone.store)
    kept = phone.store.reference("duct-sections")[section]
    assert kept["retired_on"] == "2026-06-01"
    assert kept["revision"] == retired.json()["revision"]


@pytest.mark.parametrize("whole", [False, True], ids=["sync", "whole sync"])
def test_visits_that_were_given_to_another_crew_are_forgotten_and_come_back(
    phone: Phone, place: Place, whole: bool
) -> None:
    issued = phone.api.http.post("/tokens/field-app/", json={"crew": place.crew})
    phone.service.token = issued.json()["token"]
    exchange.sync(phone.service, phone.store)
    assert phone.visit in phone.store.reference("visits")
    other = phone.api.add("crews", name=f"Crew {uuid4()}")
    given = phone.api.http.patch(
        f"/visits/{phone.visit}/", json={"crew": other}, headers={"If-Match": "*"}
    )
    assert given.status_code == 200
    exchange.sync(phone.service, phone.store, whole=whole)
    assert phone.visit not in phone.store.reference("visits")
    assert phone.section in phone.store.reference("duct-sections")
    back = phone.api.http.patch(
        f"/visits/{phone.visit}/", json={"crew": place.crew}, headers={"If-Match": "*"}
    )
    assert back.status_code == 200
    exchange.sync(phone.service, phone.store, whole=whole)
    assert phone.visit in phone.store.reference("visits")


def _typed(*answers: str) -> Callable[[str], str]:
    given = iter(answers)
    return lambda _: next(given)


def _options(**given: Any) -> argparse.Namespace:
    usual = {
        "visit": None,
        "section": None,
        "instrument": None,
        "stage": "as_found",
        "call": "cooling",
        "unit": "ft/min",
        "dry_bulb": "70 degF",
        "relative_humidity": None,
        "barometric_pressure": None,
        "notes": None,
    }
    return argparse.Namespace(**{**usual, **given})


def test_a_traverse_is_taken_without_a_connection_from_what_was_synced(
    phone: Phone, line: FaultyProxy
) -> None:
    exchange.sync(phone.service, phone.store)
    asked = len(line.requests)
    lines = ["510 560 590 570 500"] * 4 + ["500 560 590 560 -", ""]
    options = _options(visit=phone.visit, instrument=phone.meter)
    entered = taking.taken(options, phone.store, _typed(*lines))
    traverse = phone.store.take(entered)
    assert len(line.requests) == asked
    assert entered["duct_section"] == phone.section
    phone.send()
    stored = phone.stored()[traverse]
    assert stored["as_sent"]["readings"]["values"][4] == [500.0, 560.0, 590.0, 560.0, None]
    assert stored["as_sent"]["conditions"] == {"dry_bulb": {"value": 70.0, "unit": "degF"}}


def test_taking_names_what_is_not_there_and_keeps_nothing(phone: Phone) -> None:
    exchange.sync(phone.service, phone.store)
    with pytest.raises(Trouble, match="There is no visit here that fits 'nowhere'"):
        taking.taken(_options(visit="nowhere"), phone.store, _typed())
    options = _options(visit=phone.visit, instrument=phone.meter)
    with pytest.raises(Trouble, match="Readings are numbers"):
        taking.taken(options, phone.store, _typed("510 56o"))
    assert phone.store.items() == []
