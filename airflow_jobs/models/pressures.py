"""Static pressures about a system; external static and drops are computed from them."""

from __future__ import annotations

from django.db import models

from .base import Record, one_of, with_history
from .equipment import Equipment
from .visits import Stage, Visit


@with_history()
class PressureReading(Record):
    """One set of static pressures against the room, in pascals; returns are negative."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="pressures")
    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="pressures")
    stage = models.CharField(max_length=8, choices=Stage.choices)
    operating_state = models.JSONField(default=dict, blank=True)
    taken_at = models.DateTimeField()
    return_static_pa = models.FloatField(null=True, blank=True)
    supply_static_pa = models.FloatField(null=True, blank=True)
    before_filter_pa = models.FloatField(null=True, blank=True)
    after_filter_pa = models.FloatField(null=True, blank=True)
    before_coil_pa = models.FloatField(null=True, blank=True)
    after_coil_pa = models.FloatField(null=True, blank=True)

    class Meta(Record.Meta):
        constraints = [one_of("stage", Stage, "pressure_reading")]

    def __str__(self) -> str:
        return f"Pressures at {self.taken_at}"

    @property
    def external_static_pa(self) -> float | None:
        """Total external static: supply less return, where both are known."""
        if self.supply_static_pa is None or self.return_static_pa is None:
            return None
        return self.supply_static_pa - self.return_static_pa

    @property
    def filter_drop_pa(self) -> float | None:
        """Pressure lost in the filter."""
        if self.before_filter_pa is None or self.after_filter_pa is None:
            return None
        return self.before_filter_pa - self.after_filter_pa

    @property
    def coil_drop_pa(self) -> float | None:
        """Pressure lost in the coil."""
        if self.before_coil_pa is None or self.after_coil_pa is None:
            return None
        return self.before_coil_pa - self.after_coil_pa
