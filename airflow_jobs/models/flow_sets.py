"""Flow-sets: several sections adding up to one system's flow."""

from __future__ import annotations

import pgtrigger
from django.db import models

from .base import Record, count_revision, one_of, with_history
from .equipment import Equipment
from .flow_readings import FlowReading
from .measuring import of_flow_sets, shown_by
from .traverses import Traverse
from .visits import Stage, Visit


@with_history()
class FlowSet(Record):
    """Flows of one system at one stage of one visit, summed in standard flow."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="flow_sets")
    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="flow_sets")
    stage = models.CharField(max_length=8, choices=Stage.choices)

    class Meta(Record.Meta):
        triggers = [
            count_revision(),
            shown_by(of_flow_sets("f.id = NEW.id"), fields=("visit", "equipment", "stage")),
        ]
        constraints = [one_of("stage", Stage, "flow_set")]

    def __str__(self) -> str:
        return f"Flow-set {self.id}"


@with_history()
class FlowSetMember(models.Model):
    """One flow of a set, added (+1) or taken away (-1)."""

    flow_set = models.ForeignKey(FlowSet, on_delete=models.PROTECT, related_name="members")
    traverse = models.ForeignKey(
        Traverse,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="memberships",
    )
    flow_reading = models.ForeignKey(
        FlowReading,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="memberships",
    )
    sign = models.SmallIntegerField(default=1)

    class Meta:
        triggers = [
            shown_by(
                of_flow_sets("f.id = NEW.flow_set_id"),
                operation=pgtrigger.Insert,
                name="keep_measured_new",
            ),
            shown_by(of_flow_sets("f.id IN (NEW.flow_set_id, OLD.flow_set_id)")),
            shown_by(
                of_flow_sets("f.id = OLD.flow_set_id"),
                operation=pgtrigger.Delete,
                name="keep_measured_old",
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(traverse__isnull=False, flow_reading__isnull=True)
                | models.Q(traverse__isnull=True, flow_reading__isnull=False),
                name="flow_set_member_is_one_thing",
            ),
            models.CheckConstraint(
                condition=models.Q(sign__in=[-1, 1]), name="flow_set_member_sign_known"
            ),
            models.UniqueConstraint(
                fields=["flow_set", "traverse"], name="flow_set_member_traverse_once"
            ),
            models.UniqueConstraint(
                fields=["flow_set", "flow_reading"], name="flow_set_member_reading_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{'+' if self.sign > 0 else '-'}{self.traverse_id or self.flow_reading_id}"
