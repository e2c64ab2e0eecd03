"""Visits: a crew at a site, with a purpose; everything measured hangs on one."""

from __future__ import annotations

import pgtrigger
from django.db import models

from .base import Record, count_revision, new_id, one_of, with_history
from .crews import Crew
from .measuring import of_kept, shown_by
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


NOTE_HANDOVER = """
    INSERT INTO airflow_jobs_visithandover (id, visit_id, crew_id, given_away_at)
    VALUES (gen_random_uuid(), OLD.id, OLD.crew_id, clock_timestamp());
    RETURN NEW;
"""


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
        triggers = [
            count_revision(),
            pgtrigger.Trigger(
                name="note_handover",
                level=pgtrigger.Row,
                when=pgtrigger.After,
                operation=pgtrigger.UpdateOf("crew_id"),
                condition=pgtrigger.Q(old__crew_id__df=pgtrigger.F("new__crew_id")),
                func=NOTE_HANDOVER,
            ),
            shown_by(of_kept("k.visit_id = NEW.id"), fields=("crew",)),
        ]
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


class VisitHandover(models.Model):
    """A visit that was a crew's and was given to another; written by the database itself.

    A field app is shown its own crew's visits only, so one that is given away would just be
    missing from what it syncs.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="handovers")
    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="+", db_index=False)
    """Whose it was."""
    given_away_at = models.DateTimeField()

    class Meta:
        indexes = [
            models.Index(fields=["crew", "given_away_at", "id"], name="visit_handover_of_crew"),
        ]

    def __str__(self) -> str:
        return f"Visit {self.visit_id} given away at {self.given_away_at}"
