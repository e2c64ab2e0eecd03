"""The body of a traverse: what a technician entered, parsed into an action's content."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from airflow_jobs.actions.traverse_content import COLUMNS, TraverseContent
from airflow_jobs.models import Mode, Stage, TakenIn, Traverse
from airflow_jobs.units import (
    BAROMETRIC_PRESSURE,
    ELEVATION,
    PRESSURE,
    RATIO,
    TEMPERATURE,
)

from . import readings
from .fields import InstantField, QuantityField, ReferenceField, WordField, is_number, note, shown
from .operating_state import OperatingStateSerializer
from .positions import PositionsField
from .records import OPTIONAL, GroupSerializer, RecordSerializer
from .result_field import ResultField

MOST_REASONS = 4096


class ConditionsSerializer(GroupSerializer):
    """The air at the section; what is missing is assumed, and said in the findings."""

    dry_bulb = QuantityField(
        TEMPERATURE,
        source="dry_bulb_c",
        **OPTIONAL,
        minimum=-100.0,
        maximum=500.0,
        help_text="Dry-bulb temperature.",
    )
    relative_humidity = QuantityField(
        RATIO,
        **OPTIONAL,
        minimum=0.0,
        maximum=1.0,
        help_text="Relative humidity; or wet_bulb, or dew_point.",
    )
    wet_bulb = QuantityField(
        TEMPERATURE,
        source="wet_bulb_c",
        **OPTIONAL,
        minimum=-100.0,
        maximum=100.0,
        help_text="Wet-bulb temperature.",
    )
    dew_point = QuantityField(
        TEMPERATURE,
        source="dew_point_c",
        **OPTIONAL,
        minimum=-100.0,
        maximum=100.0,
        help_text="Dew point.",
    )
    barometric_pressure = QuantityField(
        BAROMETRIC_PRESSURE,
        source="barometric_pressure_pa",
        **OPTIONAL,
        minimum=20000.0,
        maximum=200000.0,
        help_text="Station pressure, not reduced to sea level; else the elevation gives it.",
    )
    elevation = QuantityField(
        ELEVATION,
        source="elevation_m",
        **OPTIONAL,
        minimum=-500.0,
        maximum=9000.0,
        help_text="Height above sea level, where it isn't the site's.",
    )
    duct_static = QuantityField(
        PRESSURE,
        source="duct_static_pa",
        **OPTIONAL,
        minimum=-20000.0,
        maximum=20000.0,
        help_text="Static pressure in the duct against the room.",
    )


class ReasonsField(serializers.Field[list[list[Any]], Any, Any, Any]):
    """Why points were not taken: `[[line, point, "text"], …]`, both counted from 1."""

    default_error_messages = {
        "invalid": "Reasons are a list of [line, point, text], counted from 1; {came} came.",
    }

    def to_internal_value(self, data: Any) -> list[list[Any]]:
        """Check that each is two whole numbers and a text."""
        if not isinstance(data, list) or len(data) > MOST_REASONS:
            self.fail("invalid", came=shown(data))
        parsed = []
        for item in data:
            is_reason = (
                isinstance(item, list)
                and len(item) == 3
                and all(is_number(part) and float(part).is_integer() for part in item[:2])
                and all(1 <= part <= readings.MOST for part in item[:2])
                and isinstance(item[2], str)
                and len(item[2]) <= 500
            )
            if not is_reason:
                self.fail("invalid", came=shown(item))
            parsed.append([int(item[0]), int(item[1]), item[2].strip()])
        return parsed

    def to_representation(self, value: list[list[Any]]) -> list[list[Any]]:
        """Answer them as they are."""
        return value


class TraverseOperatingStateSerializer(OperatingStateSerializer):
    """The operating state of a traverse, whose call is a column of its own."""

    def get_attribute(self, instance: Any) -> Any:
        """Put the call and the other keys together."""
        return {"call": instance.call, **instance.operating_state}


class TraverseSerializer(RecordSerializer):
    """A traverse: what was read where, and what it means."""

    visit = ReferenceField("visits", help_text="On which visit.")
    duct_section = ReferenceField("duct-sections", help_text="In which section.")
    instrument = ReferenceField("instruments", help_text="With which instrument.")
    repeats = ReferenceField(
        "traverses", **OPTIONAL, help_text="The traverse that this one checks."
    )
    stage = WordField(
        Stage,
        help_text="As found (before anything was changed), as left (after), or a check (a repeat, "
        "a trainee's, a paired meter; in no crew statistics).",
    )
    taken_at = InstantField(help_text="When, with the offset from UTC.")
    mode = WordField(Mode, help_text="How the readings were taken.")
    operating_state = TraverseOperatingStateSerializer(
        required=False, help_text="What the system was doing."
    )
    conditions = ConditionsSerializer(help_text="The air at the section.")
    readings = readings.ReadingsField(help_text="The readings as indicated, uncorrected.")
    positions = PositionsField(
        **OPTIONAL, help_text="Where it was read, where that was off the plan."
    )
    reasons = ReasonsField(required=False, help_text="Why points were not taken.")
    taken_in = WordField(TakenIn, required=False, help_text="In which order points were read.")
    notes = note(max_length=10000, help_text="What else to know.")
    result = ResultField(read_only=True, help_text="What it means.")

    def get_as_sent(self, row: Any) -> dict[str, Any]:
        """Return the current content exactly as it was sent."""
        sent: dict[str, Any] = getattr(row, "sent", {})
        return sent

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        """Parse the fields, then the readings: their shape depends on the mode."""
        attrs = super().to_internal_value(data)
        try:
            kind, in_si = readings.parsed(attrs["readings"], attrs["mode"], data.get("positions"))
        except serializers.ValidationError as error:
            raise serializers.ValidationError({"readings": error.detail}) from error
        state = dict(attrs.pop("operating_state", {}))
        if "call" in state:
            attrs["call"] = state.pop("call")
        return {**attrs, "reading_kind": kind, "readings": in_si, "operating_state": state}


def content_of(values: Mapping[str, Any], sent: Mapping[str, Any]) -> TraverseContent:
    """Return an action's content from a validated body and the body as it came."""
    given = {name: values[name] for name in COLUMNS if name in values}
    without_id = {name: item for name, item in sent.items() if name != "id"}
    return TraverseContent(**given, sent=without_id)


def attach_sent(rows: list[Traverse], latest: Mapping[Any, dict[str, Any]]) -> None:
    """Hang on each row the content as it was sent."""
    for row in rows:
        row.sent = latest.get(row.pk, {})  # type: ignore[attr-defined]
