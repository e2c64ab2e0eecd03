"""Visits: a crew at a site, with a purpose; everything measured hangs on one."""

from __future__ import annotations

from django.db import models

from .base import Record, one_of, with_history
from .crews import Crew
from .sites import Site


class Purpose(models.TextChoices):
    """Why the crew came."""

    COMMISSIONING = "commissioning", "Commissioning"
    MAINTENANCE = "maintenance", "Maintenance"
    FAULT = "fault", "Fault"
    VERIFICATION = "verification", "Verification"


class Stage(models.TextChoices):
    """Where in the visit a measurement belongs."""

    AS_FOUND = "as_found", "As found"
    AS_LEFT = "as_left", "As left"
    CHECK = "check", "Check"


@with_history()
class Visit(Record):
    """One visit; several systems may be measured in it."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="visits")
    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="visits")
    purpose = models.CharField(max_length=16, choices=Purpose.choices)
    planned_for = models.DateField(null=True, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    closing = models.JSONField(default=dict, blank=True)
    """{"holes_plugged", "panels_closed", "guards_on", "notes"}."""

    class Meta(Record.Meta):
        constraints = [
            one_of("purpose", Purpose, "visit"),
            models.CheckConstraint(
                condition=models.Q(started_at__isnull=True)
                | models.Q(finished_at__isnull=True)
                | models.Q(finished_at__gte=models.F("started_at")),
                name="visit_ends_after_it_starts",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.purpose} visit {self.id}"
