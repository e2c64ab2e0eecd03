"""Flow-sets: several sections adding up to one system's flow."""

from __future__ import annotations

from typing import Any, ClassVar
from uuid import UUID

from django.utils import timezone

from airflow_jobs.actions.flow_sets import Summand, add_flow_set, change_flow_set
from airflow_jobs.actions.records import Recorded
from airflow_jobs.models import FlowSet, Stage, Verdict

from .fields import CountField, ReferenceField, WordField
from .filters import by_id, by_word
from .records import OPTIONAL, ItemsField, RecordSerializer, RecordViewSet, StrictSerializer
from .result_field import ResultField


class SummandSerializer(StrictSerializer):
    """One flow of a set: a traverse or a flow reading."""

    traverse = ReferenceField("traverses", **OPTIONAL, help_text="A traverse of the system.")
    flow_reading = ReferenceField("flow-readings", **OPTIONAL, help_text="Or a flow reading.")
    sign = CountField(
        required=False, minimum=-1, maximum=1, help_text="1 adds it, -1 takes it away."
    )


class SummandsField(ItemsField):
    """Members of a set in the order they were sent."""

    def to_representation(self, value: Any) -> list[Any]:
        """Answer them in the order they were sent."""
        return super().to_representation(sorted(value.all(), key=lambda row: row.pk))


class FlowSetSerializer(RecordSerializer):
    """Flows of one system at one stage of one visit, summed in standard flow."""

    hidden_as_sent: ClassVar[frozenset[str]] = frozenset({"members"})

    visit = ReferenceField("visits", help_text="On which visit.")
    equipment = ReferenceField("equipment", help_text="Of which system.")
    stage = WordField(Stage, help_text="As found, as left, or a check.")
    members = SummandsField(
        SummandSerializer,
        min_length=1,
        max_length=50,
        help_text="What adds up; a change sends the whole list.",
    )
    result = ResultField(source="computation", read_only=True, help_text="What it means.")


class FlowSetViewSet(RecordViewSet):
    """Flow-sets; the set is judged, its members are not."""

    model = FlowSet
    serializer_class = FlowSetSerializer
    noun = "a flow-set"
    related = ("computation__result",)
    has_results = True
    gathered = ("members",)
    filters = (
        by_id("visit", "visit_id", "Only those of this visit."),
        by_id("equipment", "equipment_id", "Only those of this system."),
        by_id("site", "visit__site_id", "Only those at this site."),
        by_id("crew", "visit__crew_id", "Only those of this crew."),
        by_word("stage", "stage", Stage, "Only those of this stage."),
        by_word("verdict", "computation__result__verdict", Verdict, "Only those judged so."),
    )

    def add(
        self, values: dict[str, Any], as_sent: dict[str, Any], identifier: UUID | None
    ) -> Recorded[FlowSet]:
        """Add a flow-set with its members."""
        return add_flow_set(
            actor=self.actor,
            members=_members(values.pop("members")),
            values=values,
            flow_set_id=identifier,
            now=timezone.now(),
        )

    def change(
        self,
        identifier: UUID,
        values: dict[str, Any],
        as_sent: dict[str, Any],
        expected: int | None,
    ) -> FlowSet:
        """Change a flow-set, and its members where they are sent."""
        members = values.pop("members", None)
        return change_flow_set(
            actor=self.actor,
            flow_set_id=identifier,
            values=values,
            members=None if members is None else _members(members),
            expected_revision=expected,
            now=timezone.now(),
        )


def _members(sent: list[dict[str, Any]]) -> list[Summand]:
    return [Summand(**item) for item in sent]
