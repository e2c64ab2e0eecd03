"""Targets and the maker's blower tables."""

from __future__ import annotations

from airflow_jobs.models import Basis, BlowerTable, Call, Target, TargetSource
from airflow_jobs.units import FLOW, FLOW_PER_CAPACITY, PRESSURE, RATIO

from .fields import DayField, QuantityField, ReferenceField, TextField, WordField, note
from .filters import by_id, by_word, retired
from .records import (
    OPTIONAL,
    RecordSerializer,
    RecordViewSet,
    StrictSerializer,
    TypedItemsField,
)

LARGEST_RATE = 0.001
LARGEST_FLOW_M3_S = 5000.0


def _rate(source: str, help_text: str) -> QuantityField:
    return QuantityField(
        FLOW_PER_CAPACITY,
        source=source,
        **OPTIONAL,
        minimum=0.0,
        maximum=LARGEST_RATE,
        is_open=True,
        help_text=help_text,
    )


class TargetSerializer(RecordSerializer):
    """What the airflow should be: a range of flow per capacity, or a design flow."""

    equipment = ReferenceField(
        "equipment", **OPTIONAL, help_text="Whose target; without it, the company's."
    )
    call = WordField(Call, help_text="What the system is asked to do when it applies.")
    low = _rate("low_m3_s_per_w", "Below this the flow is low.")
    nominal = _rate("nominal_m3_s_per_w", "What to adjust towards.")
    high = _rate("high_m3_s_per_w", "Above this the flow is high.")
    design_flow = QuantityField(
        FLOW,
        source="design_flow_m3_s",
        **OPTIONAL,
        minimum=0.0,
        maximum=LARGEST_FLOW_M3_S,
        is_open=True,
        help_text="The flow it was designed for, in place of low, nominal and high.",
    )
    design_tolerance = QuantityField(
        RATIO,
        **OPTIONAL,
        minimum=0.0,
        maximum=1.0,
        is_open=True,
        help_text="How far the flow may be off the design flow, either way; under 100 %.",
    )
    basis = WordField(Basis, help_text="Whether it is meant for standard or for actual air.")
    # A key of the body, not an attribute of the serializer.
    source = WordField(TargetSource, help_text="Whose word it is.")  # type: ignore[assignment]
    valid_from = DayField(**OPTIONAL, help_text="From this day on; without it, always.")
    retired_on = DayField(**OPTIONAL, help_text="From this day on it no longer applies.")


class TargetViewSet(RecordViewSet):
    """Targets; managers write them, results that depend on them are computed again."""

    model = Target
    serializer_class = TargetSerializer
    noun = "a target"
    filters = (
        by_id("equipment", "equipment_id", "Only targets of this system."),
        by_id("site", "equipment__site_id", "Only targets of systems at this site."),
        by_word("call", "call", Call, "Only targets for this call."),
        retired(),
    )


class BlowerRowSerializer(StrictSerializer):
    """One line of the maker's table."""

    setting = TextField(max_length=100, help_text="Tap, speed or setting, as the maker calls it.")
    external_static = QuantityField(
        PRESSURE,
        source="external_static_pa",
        minimum=-20000.0,
        maximum=20000.0,
        help_text="External static pressure.",
    )
    flow = QuantityField(
        FLOW,
        source="flow_m3_s",
        minimum=0.0,
        maximum=LARGEST_FLOW_M3_S,
        help_text="The flow at this setting against this pressure.",
    )


class BlowerTableSerializer(RecordSerializer):
    """The maker's data for one system, as typed in."""

    equipment = ReferenceField("equipment", help_text="Whose blower it is.")
    rows = TypedItemsField(
        BlowerRowSerializer,
        min_length=1,
        max_length=500,
        help_text="The table, one line a setting and pressure.",
    )
    # A key of the body, not an attribute of the serializer.
    source = note(help_text="Where the data come from: the maker's sheet and its date.")  # type: ignore[assignment]
    retired_on = DayField(**OPTIONAL, help_text="From this day on it no longer applies.")


class BlowerTableViewSet(RecordViewSet):
    """Blower tables: the maker's flow by setting and external static pressure."""

    model = BlowerTable
    serializer_class = BlowerTableSerializer
    noun = "a blower table"
    filters = (
        by_id("equipment", "equipment_id", "Only tables of this system."),
        retired(),
    )
