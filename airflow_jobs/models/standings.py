"""Standings: what the measurements of each system say now, worked out ahead of the pages."""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.db import models

from .equipment import Equipment


class Standing(models.Model):
    """How one system stood and where it was going when the worker last looked.

    It rests on the measurements alone, and holds until one of them changes: whatever changes one
    leaves a `ChangedSystem` in the same transaction. All of it can be worked out again.
    """

    equipment = models.OneToOneField(
        Equipment, primary_key=True, on_delete=models.CASCADE, related_name="standing"
    )
    made_by = models.CharField(max_length=64)
    """Which code worked it out: that of another release is not read."""
    measurements = ArrayField(models.BigIntegerField())
    """The computations that say how it stands, in order."""
    per_year = models.FloatField(null=True)
    """The trend, all of it or nothing."""
    per_year_low = models.FloatField(null=True)
    per_year_high = models.FloatField(null=True)
    pairs = models.IntegerField(null=True)
    since = models.DateTimeField(null=True)
    centre_at = models.DateTimeField(null=True)
    centre_value = models.FloatField(null=True)
    leaves_on = models.DateField(null=True)
    leaves_earliest_on = models.DateField(null=True)
    leaves_latest_on = models.DateField(null=True)

    def __str__(self) -> str:
        return f"Standing of {self.equipment_id}"


class ChangedSystem(models.Model):
    """Says that a measurement of a system changed; only ever added and taken away.

    A counter in the system's own row would make transactions wait for each other, in any order.
    """

    equipment = models.ForeignKey(
        Equipment, on_delete=models.DO_NOTHING, db_constraint=False, related_name="+"
    )

    def __str__(self) -> str:
        return f"Change of {self.equipment_id}"
