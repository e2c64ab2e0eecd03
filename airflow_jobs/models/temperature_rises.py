"""Temperature rises: a second way to the flow, from heat put into the air."""

from __future__ import annotations

from django.db import models

from .base import Record, one_of, positive, with_history
from .equipment import Equipment
from .visits import Stage, Visit


@with_history()
class TemperatureRise(Record):
    """Entering and leaving temperature with the heat between them."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="temperature_rises")
    equipment = models.ForeignKey(
        Equipment, on_delete=models.PROTECT, related_name="temperature_rises"
    )
    stage = models.CharField(max_length=8, choices=Stage.choices)
    taken_at = models.DateTimeField()
    electric_power_w = models.FloatField(null=True, blank=True)
    heat_input_w = models.FloatField(null=True, blank=True)
    efficiency = models.FloatField(null=True, blank=True)
    entering_c = models.FloatField()
    leaving_c = models.FloatField()

    class Meta(Record.Meta):
        constraints = [
            one_of("stage", Stage, "temperature_rise"),
            positive("electric_power_w", "temperature_rise"),
            positive("heat_input_w", "temperature_rise"),
            models.CheckConstraint(
                condition=models.Q(electric_power_w__isnull=False, heat_input_w__isnull=True)
                | models.Q(
                    electric_power_w__isnull=True,
                    heat_input_w__isnull=False,
                    efficiency__isnull=False,
                ),
                name="temperature_rise_one_heat",
            ),
            models.CheckConstraint(
                condition=models.Q(efficiency__isnull=True)
                | models.Q(efficiency__gt=0, efficiency__lte=1),
                name="temperature_rise_efficiency_possible",
            ),
        ]

    def __str__(self) -> str:
        return f"Temperature rise at {self.taken_at}"
