"""Revisions: who sent what, when and why, what came of each, and how two of them differ."""

from __future__ import annotations

import datetime
import hashlib
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from airflow_jobs.models import REDACTED, Crew, Traverse, TraverseRevision
from dashboards.contents import compared
from tests import factories
from tests.dashboards.records import make_measured, make_result
from tests.dashboards.test_pages import _rows, _text
from tests.factories import NOW
from tests.spaces import loose

pytestmark = pytest.mark.django_db

STATEMENTS = 8


def _content(**fields: Any) -> dict[str, Any]:
    return {
        "stage": "as_found",
        "mode": "points",
        "conditions": {"dry_bulb": {"value": 69.7, "unit": "degF"}},
        "readings": {"unit": "ft/min", "values": [[510, 560], [500, None]]},
        "reasons": [[2, 2, "gas pipe"]],
        **fields,
    }


def _revise(traverse: Traverse, number: int, content: Any, **fields: Any) -> None:
    TraverseRevision.objects.create(
        traverse=traverse,
        number=number,
        content=content,
        content_digest=f"sha256:{hashlib.sha256(f'{traverse.pk}{number}'.encode()).hexdigest()}",
        **{"actor": "Ada Fields", "recorded_at": NOW, **fields},
    )


@pytest.fixture
def corrected(db: None, crew: Crew) -> Traverse:
    """A traverse that was corrected twice; the last content has not been computed yet."""
    traverse = make_measured(per_ton=400.0, crew=crew)
    _revise(traverse, 2, _content(), reason="typed from the card")
    _revise(
        traverse,
        3,
        _content(
            readings={"unit": "ft/min", "values": [[510, 590], [500, None]]}, notes="read again"
        ),
        reason="a digit was wrong",
        recorded_at=NOW + datetime.timedelta(days=1),
    )
    make_result(
        traverse.computation,
        per_ton=300.0,
        content_revision=2,
        inputs_digest="sha256:2",
        computed_at=NOW + datetime.timedelta(hours=2),
    )
    return traverse


def test_each_revision_has_who_when_why_and_its_result(
    manager: Client, corrected: Traverse
) -> None:
    text = _text(manager, f"/traverses/{corrected.pk}/revisions/")
    assert "a digit was wrong" in text
    assert "typed from the card" in text
    assert "Ada Fields" in text
    assert "2026-06-04 14:12" in text
    assert "it has not been computed yet" in text
    assert "900 ± 60 ▼" not in text
    assert "Low" in text
    assert "In range" in text


def test_two_revisions_stand_side_by_side_and_differences_are_said_in_words(
    manager: Client, corrected: Traverse
) -> None:
    text = _text(manager, f"/traverses/{corrected.pk}/revisions/?first=2&second=3")
    assert "2 fields differ between revision 2 and revision 3; 7 are the same." in text
    assert "Readings, line 1, point 2 560 ft/min 590 ft/min changed" in text
    assert "Notes – read again added" in text
    rows = _rows(manager, f"/traverses/{corrected.pk}/revisions/differences.csv?first=3&second=2")
    kinds = {row["Field"]: row["Difference"] for row in rows}
    assert kinds["Notes"] == "left out"
    assert kinds["Stage"] == "the same"


def test_without_a_choice_the_last_two_are_compared(manager: Client, corrected: Traverse) -> None:
    text = _text(manager, f"/traverses/{corrected.pk}/revisions/?first=99&second=x")
    assert "between revision 2 and revision 3" in text


def test_a_name_taken_out_on_request_is_said_to_be(manager: Client, corrected: Traverse) -> None:
    _revise(corrected, 4, _content(), actor=REDACTED)
    assert "name taken out on request" in _text(manager, f"/traverses/{corrected.pk}/revisions/")


def test_a_technician_does_not_see_who_sent_it_in_another_crew(
    technician: Client, corrected: Traverse
) -> None:
    assert "Ada Fields" in _text(technician, f"/traverses/{corrected.pk}/revisions/")
    other = make_measured(crew=factories.make_crew(name="Rival crew"))
    _revise(other, 2, _content())
    text = _text(technician, f"/traverses/{other.pk}/revisions/")
    assert "somebody of another crew" in text
    assert "Ada Fields" not in text


def test_sections_and_meters_are_called_by_name(manager: Client, corrected: Traverse) -> None:
    meter = factories.make_instrument(label="Vane 9", serial="V-9")
    _revise(corrected, 4, _content(instrument=str(meter.pk)))
    text = _text(manager, f"/traverses/{corrected.pk}/revisions/")
    assert "Instrument – Vane 9, V-9 added" in text


def test_what_is_not_there_is_not_found(manager: Client) -> None:
    assert manager.get(f"/traverses/{uuid4()}/revisions/").status_code == 404
    assert manager.get(f"/traverses/{uuid4()}/revisions/differences.csv").status_code == 404


def test_any_content_can_be_compared() -> None:
    names: dict[str, str] = {}
    fields = {
        field.name: field
        for field in compared(
            {"positions": {"unit": "mm", "lines": [34, 132], "depths": [[10], [20]]}},
            {
                "positions": {"unit": "mm", "lines": [34, 152], "depths": [[10], [20]]},
                "readings": {"unit": "m/s", "lines": [{"mean": 2.9, "seconds": 12}]},
            },
            names,
        )
    }
    assert loose(fields["Positions, hole, line 2"].first) == "132 mm"
    assert loose(fields["Positions, hole, line 2"].second) == "152 mm"
    assert fields["Positions, depths, line 1, point 1"].difference == "same"
    assert loose(fields["Readings, line 1, mean"].second) == "2.9 m/s"
    assert loose(fields["Readings, line 1, seconds"].second) == "12 s"


@pytest.mark.parametrize("size", [3, 30])
def test_the_page_takes_as_many_statements_however_many_revisions(
    manager: Client, size: int
) -> None:
    traverse = make_measured()
    for number in range(2, size):
        _revise(
            traverse,
            number,
            _content(
                duct_section=str(traverse.duct_section_id), instrument=str(traverse.instrument_id)
            ),
        )
    with CaptureQueriesContext(connection) as statements:
        assert manager.get(f"/traverses/{traverse.pk}/revisions/").status_code == 200
    assert len(statements) == STATEMENTS
