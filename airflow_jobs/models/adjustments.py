"""Adjustments: what was changed between as found and as left."""

from __future__ import annotations

import pgtrigger
from django.db import models

from .base import Record, count_revision, one_of, with_history
from .equipment import Equipment
from .measuring import of_kept, shown_by
from .visits import Visit


class AdjustmentKind(models.TextChoices):
    """What was changed."""

    BLOWER_SETTING = "blower_setting", "Blower setting"
    SPEED = "speed", "Speed"
    FILTER = "filter", "Filter"
    DAMPER = "damper", "Damper"
    DUCT_REPAIR = "duct_repair", "Duct repair"
    CLEANING = "cleaning", "Cleaning"
    OTHER = "other", "Other"


@with_history()
class Adjustment(Record):
    """One change to a system."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="adjustments")
    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="adjustments")
    kind = models.CharField(max_length=16, choices=AdjustmentKind.choices)
    from_value = models.CharField(max_length=100, blank=True, default="")
    to_value = models.CharField(max_length=100, blank=True, default="")
    made_at = models.DateTimeField()
    notes = models.TextField(blank=True, default="")

    class Meta(Record.Meta):
        triggers = [
            count_revision(),
            shown_by(
                of_kept("k.equipment_id = NEW.equipment_id AND k.taken_at >= NEW.made_at"),
                operation=pgtrigger.Insert,
                name="keep_measured_new",
            ),
            shown_by(
                of_kept(
                    "k.equipment_id IN (NEW.equipment_id, OLD.equipment_id) "
                    "AND k.taken_at >= least(NEW.made_at, OLD.made_at)"
                ),
                fields=("equipment", "made_at"),
            ),
            shown_by(
                of_kept("k.equipment_id = OLD.equipment_id AND k.taken_at >= OLD.made_at"),
                operation=pgtrigger.Delete,
                name="keep_measured_old",
            ),
        ]
        constraints = [one_of("kind", AdjustmentKind, "adjustment")]

    def __str__(self) -> str:
        return f"{self.kind}: {self.from_value} to {self.to_value}"
