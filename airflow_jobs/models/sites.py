"""Sites: where the equipment stands, how high, in which time zone."""

from __future__ import annotations

from django.db import models

from .base import Record, count_revision, with_history
from .customers import Customer
from .measuring import of_kept, shown_by


class Climate(models.TextChoices):
    """Which usual range of flow per ton applies where nothing better is known."""

    HUMID = "humid", "Humid"
    MIXED = "mixed", "Mixed"
    DRY = "dry", "Dry"


@with_history()
class Site(Record):
    """A place with equipment."""

    name = models.CharField(max_length=200)
    customer = models.ForeignKey(
        Customer, null=True, blank=True, on_delete=models.PROTECT, related_name="sites"
    )
    address = models.TextField(blank=True, default="")
    elevation_m = models.FloatField(null=True, blank=True)
    time_zone = models.CharField(max_length=64)
    climate = models.CharField(max_length=8, choices=Climate.choices, null=True, blank=True)
    notes = models.TextField(blank=True, default="")
    retired_on = models.DateField(null=True, blank=True)

    class Meta(Record.Meta):
        triggers = [
            count_revision(),
            shown_by(
                of_kept(
                    "k.equipment_id IN (SELECT e.id FROM airflow_jobs_equipment e "
                    "WHERE e.site_id = NEW.id)"
                ),
                fields=("time_zone",),
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(elevation_m__isnull=True)
                | models.Q(elevation_m__gte=-500, elevation_m__lte=9000),
                name="site_elevation_on_earth",
            ),
            models.CheckConstraint(
                condition=models.Q(climate__isnull=True) | models.Q(climate__in=Climate.values),
                name="site_climate_known",
            ),
            models.CheckConstraint(condition=~models.Q(time_zone=""), name="site_time_zone_given"),
        ]

    def __str__(self) -> str:
        return self.name
