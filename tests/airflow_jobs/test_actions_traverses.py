"""The content of a traverse: what is the same, and what its actions do below HTTP."""

from __future__ import annotations

import dataclasses
import datetime
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs.actions.access import Actor
from airflow_jobs.actions.records import DifferentContent
from airflow_jobs.actions.traverse_content import TraverseContent
from airflow_jobs.actions.traverses import record_batch, record_traverse
from airflow_jobs.models import Computation, Traverse, new_id
from tests import factories

READINGS = {"unit": "ft/min", "values": [[574, 570], [560, 550]]}


def content(**fields: Any) -> TraverseContent:
    """Return a small content."""
    sent = {"readings": READINGS, **fields.pop("sent", {})}
    made = TraverseContent(
        visit_id=UUID(int=1),
        duct_section_id=UUID(int=2),
        instrument_id=UUID(int=3),
        stage="as_found",
        taken_at=factories.NOW,
        mode="points",
        reading_kind="velocity",
        readings={"values": [[2.9, 2.9], [2.8, 2.8]]},
        sent=sent,
    )
    return dataclasses.replace(made, **fields)


@pytest.mark.parametrize(
    "sent",
    [
        {"positions": None},
        {"conditions": {}},
        {"conditions": {"dry_bulb": None}},
        {"readings": {"values": [[574.0, 570], [5.6e2, 550]], "unit": "ft/min"}},
        {"readings": READINGS | {"near_gap": None}},
        {"unknown to the digest": 1},
    ],
)
def test_what_is_equal_after_parsing_has_one_digest(sent: dict[str, Any]) -> None:
    assert content(sent=sent).digest() == content().digest()


@pytest.mark.parametrize(
    "change",
    [
        {"sent": {"readings": READINGS | {"unit": "m/s"}}},
        {"sent": {"readings": {"unit": "ft/min", "values": [[574, 570], [550, 560]]}}},
        {"sent": {"readings": {"unit": "ft/min", "values": [[574, 570], [None, 550]]}}},
        {"sent": {"conditions": {"dry_bulb": {"value": 0, "unit": "degC"}}}},
        {"stage": "as_left"},
        {"taken_at": factories.NOW + datetime.timedelta(microseconds=1)},
        {"notes": "n"},
        {"repeats_id": UUID(int=9)},
        {"operating_state": {"coil": "wet"}},
        {"call": "cooling"},
        {"reasons": [[1, 1, "blocked"]]},
    ],
)
def test_what_differs_has_another_digest(change: dict[str, Any]) -> None:
    assert content(**change).digest() != content().digest()


@given(st.datetimes(timezones=st.timezones(), allow_imaginary=False))
def test_an_instant_has_one_digest_in_every_zone(moment: datetime.datetime) -> None:
    in_utc = moment.astimezone(datetime.UTC)
    assert content(taken_at=moment).digest() == content(taken_at=in_utc).digest()


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=5))
def test_a_number_has_one_digest_however_it_is_written(values: list[float]) -> None:
    whole = [int(value) if value.is_integer() else value for value in values]
    one = content(sent={"readings": {"unit": "m/s", "values": [values]}})
    other = content(sent={"readings": {"unit": "m/s", "values": [whole]}})
    assert one.digest() == other.digest()


def real_content(**fields: Any) -> TraverseContent:
    """Return a content that names stored rows."""
    section = factories.make_section()
    visit = factories.make_visit(site=section.equipment.site)
    return content(
        visit_id=visit.pk,
        duct_section_id=section.pk,
        instrument_id=factories.make_instrument().pk,
        readings={"values": [[2.9] * 5 for _ in range(5)]},
        **fields,
    )


def test_a_database_refusal_of_one_item_keeps_the_others(db: None) -> None:
    good = real_content()
    # Past the rules of the edge on purpose: the database itself must hold the line.
    bad = dataclasses.replace(good, relative_humidity=7.0)
    items = [(new_id(), good), (new_id(), bad), (new_id(), good)]
    outcomes = record_batch(actor=Actor.service(), items=items, now=factories.NOW)
    assert [outcome.recorded is not None for outcome in outcomes] == [True, False, True]
    assert "Relative humidity" in str(outcomes[1].refused)
    assert Traverse.objects.count() == Computation.objects.count() == 2


def test_the_same_id_with_other_content_is_refused_with_what_is_stored(db: None) -> None:
    actor, key, first = Actor.service(), new_id(), real_content()
    record_traverse(actor=actor, identifier=key, content=first, now=factories.NOW)
    again = record_traverse(actor=actor, identifier=key, content=first, now=factories.NOW)
    assert not again.is_new
    other = dataclasses.replace(first, notes="edited")
    with pytest.raises(DifferentContent) as refused:
        record_traverse(actor=actor, identifier=key, content=other, now=factories.NOW)
    assert refused.value.row.pk == key


def test_a_clock_up_to_a_day_ahead_is_accepted(db: None) -> None:
    ahead = real_content(taken_at=factories.NOW + datetime.timedelta(hours=23))
    recorded = record_traverse(
        actor=Actor.service(), identifier=new_id(), content=ahead, now=factories.NOW
    )
    assert recorded.is_new
