"""Targets: what the airflow should be, for which call, on which basis, by whose word."""

from __future__ import annotations

from django.db import models

from .base import Record, one_of, positive, with_history
from .equipment import Equipment


class Call(models.TextChoices):
    """What the system was asked to do."""

    COOLING = "cooling", "Cooling"
    HEATING = "heating", "Heating"
    FAN_ONLY = "fan_only", "Fan only"
    DEHUMIDIFY = "dehumidify", "Dehumidify"
    UNKNOWN = "unknown", "Unknown"


class Basis(models.TextChoices):
    """Standard air, or the air as it is there."""

    STANDARD = "standard", "Standard air"
    ACTUAL = "actual", "Actual air"


class TargetSource(models.TextChoices):
    """Whose word the target is."""

    MAKER = "maker", "Maker"
    DESIGN = "design", "Design"
    CODE = "code", "Code"
    COMPANY = "company", "Company"


@with_history()
class Target(Record):
    """A range of flow per capacity, or a design flow with its tolerance, from a day on."""

    equipment = models.ForeignKey(
        Equipment,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="targets",
    )
    call = models.CharField(max_length=12, choices=Call.choices)
    low_m3_s_per_w = models.FloatField(null=True, blank=True)
    nominal_m3_s_per_w = models.FloatField(null=True, blank=True)
    high_m3_s_per_w = models.FloatField(null=True, blank=True)
    design_flow_m3_s = models.FloatField(null=True, blank=True)
    design_tolerance = models.FloatField(null=True, blank=True)
    basis = models.CharField(max_length=8, choices=Basis.choices)
    source = models.CharField(max_length=8, choices=TargetSource.choices)
    valid_from = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta(Record.Meta):
        constraints = [
            one_of("call", Call, "target"),
            one_of("basis", Basis, "target"),
            one_of("source", TargetSource, "target"),
            positive("low_m3_s_per_w", "target"),
            positive("design_flow_m3_s", "target"),
            models.CheckConstraint(
                condition=models.Q(
                    low_m3_s_per_w__isnull=False,
                    nominal_m3_s_per_w__isnull=False,
                    high_m3_s_per_w__isnull=False,
                    design_flow_m3_s__isnull=True,
                    design_tolerance__isnull=True,
                )
                | models.Q(
                    low_m3_s_per_w__isnull=True,
                    nominal_m3_s_per_w__isnull=True,
                    high_m3_s_per_w__isnull=True,
                    design_flow_m3_s__isnull=False,
                    design_tolerance__isnull=False,
                ),
                name="target_range_or_design_flow",
            ),
            models.CheckConstraint(
                condition=models.Q(low_m3_s_per_w__isnull=True)
                | models.Q(
                    low_m3_s_per_w__lt=models.F("high_m3_s_per_w"),
                    nominal_m3_s_per_w__gte=models.F("low_m3_s_per_w"),
                    nominal_m3_s_per_w__lte=models.F("high_m3_s_per_w"),
                ),
                name="target_range_ordered",
            ),
            models.CheckConstraint(
                condition=models.Q(design_tolerance__isnull=True)
                | models.Q(design_tolerance__gt=0, design_tolerance__lt=1),
                name="target_tolerance_possible",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.call} target from {self.valid_from or 'always'}"
