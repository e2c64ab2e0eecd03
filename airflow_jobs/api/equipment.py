"""Equipment: the systems whose airflow is measured."""

from __future__ import annotations

from airflow_jobs.models import Equipment, EquipmentKind, FanDrive
from airflow_jobs.units import CAPACITY, PRESSURE

from .fields import DayField, FlagField, QuantityField, ReferenceField, TextField, WordField, note
from .filters import Filter, by_id, by_word, retired
from .records import OPTIONAL, RecordSerializer, RecordViewSet

LARGEST_CAPACITY_W = 1e8


def _capacity(source: str, help_text: str) -> QuantityField:
    return QuantityField(
        CAPACITY,
        source=source,
        **OPTIONAL,
        minimum=0.0,
        maximum=LARGEST_CAPACITY_W,
        is_open=True,
        help_text=help_text,
    )


class EquipmentSerializer(RecordSerializer):
    """One system."""

    site = ReferenceField("sites", help_text="Where it stands.")
    tag = TextField(
        max_length=64, help_text="What it is called at its site; unique there, letter case aside."
    )
    kind = WordField(EquipmentKind, help_text="What kind of system it is.")
    model_number = note(max_length=100, help_text="The maker's model number.")
    serial_number = note(max_length=100, help_text="The maker's serial number.")
    nominal_capacity = _capacity("nominal_capacity_w", "Cooling capacity it is sold as.")
    rated_capacity = _capacity(
        "rated_capacity_w", "Cooling capacity as rated; wins over the nominal one."
    )
    heating_capacity = _capacity("heating_capacity_w", "Heating capacity.")
    fan_drive = WordField(FanDrive, required=False, help_text="How the blower is driven.")
    max_external_static = QuantityField(
        PRESSURE,
        source="max_external_static_pa",
        **OPTIONAL,
        minimum=0.0,
        maximum=20000.0,
        help_text="The maker's highest external static pressure.",
    )
    flammable_refrigerant = FlagField(
        **OPTIONAL, help_text="Whether the refrigerant burns: a least airflow may apply."
    )
    electric_heat = FlagField(
        **OPTIONAL, help_text="Whether it has electric heat: a least airflow may apply."
    )
    commissioned_on = DayField(**OPTIONAL, help_text="The day it was put into use.")
    retired_on = DayField(**OPTIONAL, help_text="From this day on it is no longer in use.")


class EquipmentViewSet(RecordViewSet):
    """Equipment: the systems whose airflow is measured."""

    model = Equipment
    serializer_class = EquipmentSerializer
    noun = "a system"
    filters = (
        by_id("site", "site_id", "Only systems at this site."),
        by_word("kind", "kind", EquipmentKind, "Only systems of this kind."),
        Filter("tag", "tag__iexact", "text", "Only the system with this tag."),
        retired(),
    )
