"""Results: what a measurement means, and the list of what is still to be computed."""

from __future__ import annotations

import datetime

import pgtrigger
from django.db import models
from django.db.models.functions import Now

from .base import one_of
from .flow_sets import FlowSet
from .measuring import of_rows
from .traverses import Traverse


class State(models.TextChoices):
    """Where a computation stands."""

    PENDING = "pending", "To be computed"
    COMPUTED = "computed", "Computed"
    FAILED = "failed", "Could not be computed"


class Verdict(models.TextChoices):
    """What the flow says about the system."""

    LOW = "low", "Low"
    IN_RANGE = "in_range", "In range"
    HIGH = "high", "High"
    UNDECIDED = "undecided", "Too close to call"
    NOT_JUDGED = "not_judged", "Not judged"


class ComputationQuerySet(models.QuerySet["Computation"]):
    """Computations by what is to be done."""

    def pending(self) -> ComputationQuerySet:
        """Those still to be computed."""
        return self.filter(state=State.PENDING)

    def due(self, now: datetime.datetime) -> ComputationQuerySet:
        """Pending ones whose turn has come, in the order of the partial index."""
        return self.pending().filter(due_at__lte=now).order_by("due_at", "id")


class Computation(models.Model):
    """One line of the work list: a traverse or a flow-set and where its result stands."""

    traverse = models.OneToOneField(
        Traverse,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="computation",
    )
    flow_set = models.OneToOneField(
        FlowSet,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="computation",
    )
    state = models.CharField(max_length=8, choices=State.choices, default=State.PENDING)
    due_at = models.DateTimeField(db_default=Now())
    attempts = models.PositiveSmallIntegerField(default=0)
    failure = models.TextField(blank=True, default="")
    """Why it could not be computed, in words that a technician understands."""
    checked_at = models.DateTimeField(null=True, blank=True)
    """Start of the transaction that last found result and inputs in agreement."""
    settled_at = models.DateTimeField(null=True, blank=True, editable=False)
    """When the latest outcome was committed. No two are equal, and who sees one sees all earlier
    ones: so nothing is missed by asking for what was settled after the last one seen."""
    result = models.ForeignKey(
        "Result",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="current_for",
    )

    objects = ComputationQuerySet.as_manager()

    class Meta:
        constraints = [
            one_of("state", State, "computation"),
            models.CheckConstraint(
                condition=models.Q(traverse__isnull=False, flow_set__isnull=True)
                | models.Q(traverse__isnull=True, flow_set__isnull=False),
                name="computation_of_one_thing",
            ),
            models.CheckConstraint(
                condition=~models.Q(state=State.COMPUTED) | models.Q(result__isnull=False),
                name="computation_computed_has_result",
            ),
            models.UniqueConstraint(fields=["settled_at"], name="computation_settled_once"),
        ]
        indexes = [
            models.Index(
                fields=["due_at", "id"],
                name="computation_to_do",
                condition=models.Q(state=State.PENDING),
            ),
            models.Index(
                fields=["id"],
                name="computation_open",
                condition=~models.Q(state=State.COMPUTED),
            ),
        ]
        triggers = [
            of_rows("keep_measured_new", pgtrigger.Insert, "SELECT id FROM new_rows ORDER BY id"),
            of_rows(
                "keep_measured",
                pgtrigger.Update,
                "SELECT n.id FROM new_rows n JOIN old_rows o ON o.id = n.id "
                "WHERE (n.result_id, n.traverse_id, n.flow_set_id) "
                "IS DISTINCT FROM (o.result_id, o.traverse_id, o.flow_set_id) ORDER BY n.id",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.state} {self.traverse_id or self.flow_set_id}"


class Result(models.Model):
    """What one engine made of one set of inputs; append-only, in SI.

    Columns carry what pages and statistics ask for; `values` carries the whole answer.
    Flows are best estimates (the rule's average stands in `values`).
    """

    computation = models.ForeignKey(Computation, on_delete=models.PROTECT, related_name="results")
    engine = models.CharField(max_length=16)
    inputs_digest = models.CharField(max_length=80)
    content_revision = models.PositiveIntegerField()
    computed_at = models.DateTimeField()
    velocity_mean_m_s = models.FloatField(null=True)
    flow_actual_m3_s = models.FloatField(null=True)
    flow_standard_m3_s = models.FloatField(null=True)
    flow_relative_u = models.FloatField(null=True)
    """Relative standard uncertainty of the judged flow."""
    flow_per_capacity_m3_s_per_w = models.FloatField(null=True)
    judged_value = models.FloatField(null=True)
    """What was held against the target: flow per capacity, or flow where a design flow rules."""
    judged_u = models.FloatField(null=True)
    judged_low = models.FloatField(null=True)
    judged_high = models.FloatField(null=True)
    """The 95 % interval of the judged value."""
    target_low = models.FloatField(null=True)
    target_nominal = models.FloatField(null=True)
    target_high = models.FloatField(null=True)
    probability_low = models.FloatField(null=True)
    probability_in_range = models.FloatField(null=True)
    probability_high = models.FloatField(null=True)
    verdict = models.CharField(max_length=12, choices=Verdict.choices)
    leaning = models.CharField(max_length=12, blank=True, default="")
    indicative = models.BooleanField(default=False)
    values = models.JSONField()

    class Meta:
        constraints = [
            one_of("verdict", Verdict, "result"),
            models.UniqueConstraint(
                fields=["computation", "inputs_digest", "engine", "content_revision"],
                name="result_once_for_its_inputs",
            ),
        ]
        triggers = [
            pgtrigger.Protect(name="append_only", operation=pgtrigger.Update | pgtrigger.Delete),
        ]

    def __str__(self) -> str:
        return f"{self.verdict} by engine {self.engine}"
