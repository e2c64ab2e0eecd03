"""Equipment: the systems whose airflow is measured."""

from __future__ import annotations

from django.db import models

from .base import Record, count_revision, not_negative, one_of, positive, with_history
from .measuring import of_kept, shown_by
from .sites import Site


class EquipmentKind(models.TextChoices):
    """Kinds of system."""

    SPLIT_SYSTEM = "split_system", "Split system"
    HEAT_PUMP = "heat_pump", "Heat pump"
    PACKAGED_UNIT = "packaged_unit", "Packaged unit"
    FURNACE_WITH_COIL = "furnace_with_coil", "Furnace with coil"
    AIR_HANDLER = "air_handler", "Air handler"
    VENTILATION = "ventilation", "Ventilation"
    OTHER = "other", "Other"


class FanDrive(models.TextChoices):
    """How the blower is driven; decides which advice makes sense."""

    PERMANENT_SPLIT_CAPACITOR = "permanent_split_capacitor", "Permanent split capacitor"
    CONSTANT_TORQUE = "constant_torque", "Constant torque"
    CONSTANT_AIRFLOW = "constant_airflow", "Constant airflow"
    BELT = "belt", "Belt"
    VARIABLE_FREQUENCY = "variable_frequency", "Variable frequency"
    UNKNOWN = "unknown", "Unknown"


@with_history()
class Equipment(Record):
    """One system."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="equipment")
    tag = models.CharField(max_length=64)
    kind = models.CharField(max_length=24, choices=EquipmentKind.choices)
    model_number = models.CharField(max_length=100, blank=True, default="")
    serial_number = models.CharField(max_length=100, blank=True, default="")
    nominal_capacity_w = models.FloatField(null=True, blank=True)
    rated_capacity_w = models.FloatField(null=True, blank=True)
    heating_capacity_w = models.FloatField(null=True, blank=True)
    fan_drive = models.CharField(max_length=32, choices=FanDrive.choices, default=FanDrive.UNKNOWN)
    max_external_static_pa = models.FloatField(null=True, blank=True)
    flammable_refrigerant = models.BooleanField(null=True, blank=True)
    electric_heat = models.BooleanField(null=True, blank=True)
    commissioned_on = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta(Record.Meta):
        verbose_name_plural = "equipment"
        triggers = [
            count_revision(),
            shown_by(of_kept("k.equipment_id = NEW.id"), fields=("site",)),
        ]
        constraints = [
            models.UniqueConstraint(
                "site", models.functions.Lower("tag"), name="equipment_tag_once_in_site"
            ),
            one_of("kind", EquipmentKind, "equipment"),
            one_of("fan_drive", FanDrive, "equipment"),
            positive("nominal_capacity_w", "equipment"),
            positive("rated_capacity_w", "equipment"),
            positive("heating_capacity_w", "equipment"),
            not_negative("max_external_static_pa", "equipment"),
        ]

    def __str__(self) -> str:
        return self.tag

    @property
    def cooling_capacity_w(self) -> float | None:
        """The capacity that flow is divided by: rated wins over nominal."""
        return self.rated_capacity_w if self.rated_capacity_w else self.nominal_capacity_w
