"""What the invented field app sent, read by the service's own parser."""

from __future__ import annotations

import datetime
from typing import Any

import pytest

from airflow_jobs.actions.traverse_content import COLUMNS
from airflow_jobs.api.duct_sections import DuctSectionSerializer
from airflow_jobs.api.equipment import EquipmentSerializer
from airflow_jobs.api.instruments import CalibrationSerializer, InstrumentSerializer
from airflow_jobs.api.measurements import (
    FlowReadingSerializer,
    PressureSerializer,
    TemperatureRiseSerializer,
)
from airflow_jobs.api.records import GroupSerializer
from airflow_jobs.api.sites import SiteSerializer
from airflow_jobs.api.targets import BlowerTableSerializer, TargetSerializer
from airflow_jobs.api.traverse_body import TraverseSerializer, content_of
from airflow_jobs.demo.company import invent
from airflow_jobs.demo.record import Invented

TODAY = datetime.date(2026, 11, 25)


@pytest.fixture(scope="module")
def invented() -> Invented:
    """The company of the demonstration."""
    return invent(seed=1, today=TODAY)


def test_the_parser_makes_of_each_content_what_the_record_holds(invented: Invented) -> None:
    for taken in invented.taken:
        body = TraverseSerializer(data=taken.content.sent)
        assert body.is_valid(), (body.errors, taken.content.sent)
        parsed = content_of(body.validated_data, taken.content.sent)
        for name in COLUMNS:
            assert getattr(parsed, name) == getattr(taken.content, name), name
        assert parsed.digest() == taken.content.digest()


@pytest.mark.parametrize(
    ("rows", "serializer_class"),
    [
        ("sites", SiteSerializer),
        ("equipment", EquipmentSerializer),
        ("targets", TargetSerializer),
        ("blower_tables", BlowerTableSerializer),
        ("duct_sections", DuctSectionSerializer),
        ("instruments", InstrumentSerializer),
        ("calibrations", CalibrationSerializer),
        ("pressures", PressureSerializer),
        ("temperature_rises", TemperatureRiseSerializer),
        ("flow_readings", FlowReadingSerializer),
    ],
)
def test_quantities_as_typed_agree_with_their_columns(
    invented: Invented, rows: str, serializer_class: Any
) -> None:
    fields = kept_as_sent(serializer_class())
    for row in getattr(invented, rows):
        for path, field in fields.items():
            sent = typed_at(row.as_sent, path)
            column = getattr(row, field.source)
            expected = None if sent is None else field.run_validation(sent)
            assert column == expected, path


def kept_as_sent(serializer: Any, group: str = "") -> dict[str, Any]:
    """Return path -> field of everything that a resource keeps as it was typed."""
    found: dict[str, Any] = {}
    for name, field in serializer.fields.items():
        if isinstance(field, GroupSerializer):
            found.update(kept_as_sent(field, f"{name}."))
        elif getattr(field, "keeps_as_sent", False) and not field.read_only:
            found[f"{group}{name}"] = field
    return found


def typed_at(as_sent: dict[str, Any], path: str) -> Any:
    """Return what was typed under a path; None where nothing was."""
    value: Any = as_sent
    for key in path.split("."):
        value = value.get(key) if isinstance(value, dict) else None
    return value
