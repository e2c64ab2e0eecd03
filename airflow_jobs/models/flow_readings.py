"""Flow readings: a flow known without a traverse."""

from __future__ import annotations

from django.db import models

from .base import Record, count_revision, one_of, positive, with_history
from .equipment import Equipment
from .instruments import Instrument
from .measuring import of_flow_sets, shown_by
from .visits import Stage, Visit


class FlowMethod(models.TextChoices):
    """How the flow came to be known."""

    CAPTURE_HOOD = "capture_hood", "Capture hood"
    FLOW_GRID = "flow_grid", "Flow grid"
    MAKER_TABLE = "maker_table", "Maker's table"
    HISTORICAL = "historical", "Historical"


@with_history()
class FlowReading(Record):
    """One flow of actual air; indicative unless its uncertainty is given."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="flow_readings")
    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="flow_readings")
    stage = models.CharField(max_length=8, choices=Stage.choices)
    taken_at = models.DateTimeField()
    flow_m3_s = models.FloatField()
    method = models.CharField(
        max_length=16, choices=FlowMethod.choices, default=FlowMethod.HISTORICAL
    )
    instrument = models.ForeignKey(
        Instrument,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="flow_readings",
    )
    relative_uncertainty = models.FloatField(null=True, blank=True)
    """Half-width of the 95 % interval, relative."""

    class Meta(Record.Meta):
        triggers = [
            count_revision(),
            shown_by(
                of_flow_sets(
                    "f.id IN (SELECT m.flow_set_id FROM airflow_jobs_flowsetmember m "
                    "WHERE m.flow_reading_id = NEW.id)"
                ),
                fields=("taken_at", "instrument"),
            ),
        ]
        constraints = [
            one_of("stage", Stage, "flow_reading"),
            one_of("method", FlowMethod, "flow_reading"),
            positive("flow_m3_s", "flow_reading"),
            models.CheckConstraint(
                condition=models.Q(relative_uncertainty__isnull=True)
                | models.Q(relative_uncertainty__gt=0, relative_uncertainty__lt=1),
                name="flow_reading_uncertainty_possible",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.method} at {self.taken_at}"
