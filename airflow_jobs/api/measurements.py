"""Measurements besides traverses: pressures, temperature rises, flows known otherwise."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from airflow_jobs.models import (
    FlowMethod,
    FlowReading,
    PressureReading,
    Stage,
    TemperatureRise,
)
from airflow_jobs.units import ELECTRIC_POWER, FLOW, HEAT, PRESSURE, RATIO, TEMPERATURE

from .fields import InstantField, QuantityField, ReferenceField, WordField
from .filters import Filter, between, by_id, by_word
from .operating_state import OperatingStateSerializer
from .records import OPTIONAL, RecordSerializer, RecordViewSet

LARGEST_POWER_W = 1e8


def measured_filters() -> tuple[Filter, ...]:
    """Return the filters that all measurements of a system share."""
    return (
        by_id("visit", "visit_id", "Only those of this visit."),
        by_id("equipment", "equipment_id", "Only those of this system."),
        by_id("site", "visit__site_id", "Only those at this site."),
        by_id("crew", "visit__crew_id", "Only those of this crew."),
        by_word("stage", "stage", Stage, "Only those of this stage."),
        *between("taken_from", "taken_before", "taken_at", "taken"),
    )


class MeasurementSerializer(RecordSerializer):
    """What every measurement of a system has."""

    visit = ReferenceField("visits", help_text="On which visit.")
    equipment = ReferenceField("equipment", help_text="Of which system.")
    stage = WordField(Stage, help_text="As found, as left, or a check.")
    taken_at = InstantField(help_text="When, with the offset from UTC.")


def _static(source: str, help_text: str) -> QuantityField:
    return QuantityField(
        PRESSURE,
        source=source,
        **OPTIONAL,
        minimum=-20000.0,
        maximum=20000.0,
        help_text=help_text,
    )


def _computed(source: str, help_text: str) -> QuantityField:
    return QuantityField(
        PRESSURE, source=source, read_only=True, allow_null=True, help_text=help_text
    )


class PressureSerializer(MeasurementSerializer):
    """Static pressures about a system, against the room; on the return side negative."""

    operating_state = OperatingStateSerializer(
        required=False, help_text="What the system was doing."
    )
    return_static = _static("return_static_pa", "In the return, before the blower.")
    supply_static = _static("supply_static_pa", "In the supply, after the unit.")
    before_filter = _static("before_filter_pa", "Before the filter.")
    after_filter = _static("after_filter_pa", "After the filter.")
    before_coil = _static("before_coil_pa", "Before the coil.")
    after_coil = _static("after_coil_pa", "After the coil.")
    external_static = _computed(
        "external_static_pa", "Computed: supply less return; null where one is missing."
    )
    filter_drop = _computed("filter_drop_pa", "Computed: lost in the filter.")
    coil_drop = _computed("coil_drop_pa", "Computed: lost in the coil.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Ask for at least one pressure."""
        names = [name for name, field in self.fields.items() if isinstance(field, QuantityField)]
        columns = [str(self.fields[name].source) for name in names]
        if not self.partial and all(attrs.get(column) is None for column in columns):
            raise serializers.ValidationError("Give at least one pressure.", code="required")
        return attrs


class PressureViewSet(RecordViewSet):
    """Static pressures about a system; external static and drops are computed."""

    model = PressureReading
    serializer_class = PressureSerializer
    noun = "a set of pressures"
    filters = measured_filters()


class TemperatureRiseSerializer(MeasurementSerializer):
    """Entering and leaving temperature with the heat between them."""

    electric_power = QuantityField(
        ELECTRIC_POWER,
        source="electric_power_w",
        **OPTIONAL,
        minimum=0.0,
        maximum=LARGEST_POWER_W,
        is_open=True,
        help_text="Power of electric heat; or give heat_input with efficiency.",
    )
    heat_input = QuantityField(
        HEAT,
        source="heat_input_w",
        **OPTIONAL,
        minimum=0.0,
        maximum=LARGEST_POWER_W,
        is_open=True,
        help_text="Heat input of fuel.",
    )
    efficiency = QuantityField(
        RATIO,
        **OPTIONAL,
        minimum=0.0,
        maximum=1.0,
        is_open=True,
        help_text="Share of the heat input that reaches the air.",
    )
    entering = QuantityField(
        TEMPERATURE,
        source="entering_c",
        minimum=-100.0,
        maximum=500.0,
        help_text="Temperature of the air before the heat.",
    )
    leaving = QuantityField(
        TEMPERATURE,
        source="leaving_c",
        minimum=-100.0,
        maximum=500.0,
        help_text="Temperature of the air after the heat.",
    )


class TemperatureRiseViewSet(RecordViewSet):
    """Temperature rises: a second way to the flow."""

    model = TemperatureRise
    serializer_class = TemperatureRiseSerializer
    noun = "a temperature rise"
    filters = measured_filters()


class FlowReadingSerializer(MeasurementSerializer):
    """A flow of actual air known without a traverse."""

    flow = QuantityField(
        FLOW,
        source="flow_m3_s",
        minimum=0.0,
        maximum=5000.0,
        is_open=True,
        help_text="The flow, of the air as it was.",
    )
    method = WordField(FlowMethod, required=False, help_text="How it came to be known.")
    instrument = ReferenceField("instruments", **OPTIONAL, help_text="With which instrument.")
    relative_uncertainty = QuantityField(
        RATIO,
        **OPTIONAL,
        minimum=0.0,
        maximum=0.99,
        is_open=True,
        help_text="Half-width of the 95 % interval; without it the flow is indicative.",
    )


class FlowReadingViewSet(RecordViewSet):
    """Flow readings: flows known without a traverse."""

    model = FlowReading
    serializer_class = FlowReadingSerializer
    noun = "a flow reading"
    filters = (
        *measured_filters(),
        by_id("instrument", "instrument_id", "Only those taken with this instrument."),
        by_word("method", "method", FlowMethod, "Only those come by in this way."),
    )
