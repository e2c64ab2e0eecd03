"""Traverses: sent once or a thousand at a time, corrected, previewed, read with their results."""

from __future__ import annotations

from typing import Any, Final
from uuid import UUID

from django.db import models
from django.utils import timezone
from django.utils.functional import cached_property
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from airflow_jobs import recompute
from airflow_jobs.actions.access import NotAllowed
from airflow_jobs.actions.constraints import RulesBroken
from airflow_jobs.actions.records import AlreadyTaken, DifferentContent
from airflow_jobs.actions.traverse_content import TraverseContent
from airflow_jobs.actions.traverses import (
    Outcome,
    correct_traverse,
    preview_traverse,
    record_batch,
    record_traverse,
)
from airflow_jobs.models import (
    Call,
    Mode,
    Stage,
    State,
    Traverse,
    TraverseRevision,
    Verdict,
    new_id,
)

from .fields import InstantField, TextField
from .filters import Filter, between, by_id, by_word
from .problems import broken_rules, flattened
from .records import RecordViewSet, StrictSerializer, revision_expected
from .results import render_preview
from .traverse_body import TraverseSerializer, attach_sent, content_of

LARGEST_BATCH: Final = 1000


class CorrectionSerializer(StrictSerializer):
    """A whole new content and why."""

    reason = TextField(max_length=2000, help_text="Why it is corrected, in words.")
    content = TraverseSerializer(help_text="The whole content, as for a new traverse.")


class RevisionSerializer(serializers.Serializer[Any]):
    """One content of a traverse exactly as it was sent."""

    number = serializers.IntegerField(help_text="1 for what was sent first.")
    reason = serializers.CharField(help_text="Why it was corrected; empty for the first.")
    actor = serializers.CharField(help_text="Who sent it.")
    recorded_at = InstantField(help_text="When it was stored.")
    content = serializers.DictField(help_text="The content as sent.")


class RevisionsSerializer(serializers.Serializer[Any]):
    """All contents of a traverse, oldest first; there are no further pages."""

    next = serializers.CharField(allow_null=True, help_text="Always null.")
    previous = serializers.CharField(allow_null=True, help_text="Always null.")
    results = RevisionSerializer(many=True, help_text="The contents.")


class BatchErrorSerializer(serializers.Serializer[Any]):
    """One thing that is not acceptable in an item."""

    pointer = serializers.CharField(help_text="Where in the item (RFC 6901); empty for all.")
    code = serializers.CharField(help_text="Stable name of the rule.")
    message = serializers.CharField(help_text="The rule in words.")


class BatchItemSerializer(serializers.Serializer[Any]):
    """What became of one item, in the order sent."""

    id = serializers.CharField(allow_null=True, help_text="Its id, made here if none was sent.")
    status = serializers.IntegerField(help_text="The status a single POST would have got.")
    # A key of the answer, not an attribute of the serializer.
    errors = BatchErrorSerializer(  # type: ignore[assignment]
        many=True, help_text="Why it was not kept; empty if it was."
    )


class TraverseViewSet(RecordViewSet):
    """Traverses with their results."""

    model = Traverse
    serializer_class = TraverseSerializer
    noun = "a traverse"
    # What was measured isn't changed in place: see corrections.
    http_method_names = ["get", "post", "head"]
    related = ("computation__result",)
    has_results = True
    filters = (
        by_id("visit", "visit_id", "Only traverses of this visit."),
        by_id("site", "visit__site_id", "Only traverses at this site."),
        by_id("crew", "visit__crew_id", "Only traverses of this crew."),
        by_id("equipment", "duct_section__equipment_id", "Only traverses of this system."),
        by_id("duct_section", "duct_section_id", "Only traverses in this section."),
        by_id("instrument", "instrument_id", "Only traverses with this instrument."),
        by_word("stage", "stage", Stage, "Only traverses of this stage."),
        by_word("mode", "mode", Mode, "Only traverses of this mode."),
        by_word("call", "call", Call, "Only traverses under this call."),
        by_word("verdict", "computation__result__verdict", Verdict, "Only those judged so."),
        by_word("state", "computation__state", State, "Only those whose result stands so."),
        Filter(
            "indicative",
            "computation__result__indicative",
            "flag",
            "Only indicative results, or only full ones.",
        ),
        *between("taken_from", "taken_before", "taken_at", "taken"),
    )

    def represented(self, row: Any) -> dict[str, Any]:
        """Answer a traverse with the content as sent."""
        return self.represented_all([row])[0]  # type: ignore[no-any-return]

    def represented_all(self, rows: list[Any]) -> list[Any]:
        """Answer traverses with the contents as sent, looked up together."""
        unknown = [row for row in rows if not hasattr(row, "sent")]
        if unknown:
            attach_sent(unknown, _contents_of(unknown))
        return [self.body.to_representation(row) for row in rows]

    def again(self, row: Any) -> Any:
        """Return the row: the action brought its computation along."""
        return row

    def create(self, request: Request) -> Response:
        """Record a traverse durably; its result is computed right after."""
        identifier, content = self.parsed(request.data)
        recorded = record_traverse(
            actor=self.actor, identifier=identifier, content=content, now=timezone.now()
        )
        if recorded.is_new:
            attach_sent([recorded.row], {recorded.row.pk: content.sent})
        return self.stored(recorded)

    def parsed(self, data: Any) -> tuple[UUID, TraverseContent]:
        """Parse a body into the id and the content of a traverse."""
        values = dict(self.body.run_validation(data))
        return values.pop("id", None) or new_id(), content_of(values, data)

    @cached_property
    def body(self) -> TraverseSerializer:
        """One serializer for all items of a request: making one costs more than using it."""
        return TraverseSerializer(context=self.get_serializer_context())

    @extend_schema(
        request=TraverseSerializer(many=True), responses={200: BatchItemSerializer(many=True)}
    )
    @action(detail=False, methods=["post"], pagination_class=None)
    def batch(self, request: Request) -> Response:
        """Record up to 1,000 traverses; each has its own outcome."""
        if not isinstance(request.data, list) or len(request.data) > LARGEST_BATCH:
            came = (
                f"{len(request.data)} came"
                if isinstance(request.data, list)
                else "something else came"
            )
            raise serializers.ValidationError(
                f"A list of at most {LARGEST_BATCH:,} traverses is due; {came}.", code="invalid"
            )
        answers: list[dict[str, Any]] = [{} for _ in request.data]
        parsed: list[tuple[UUID, TraverseContent]] = []
        places: list[int] = []
        for number, item in enumerate(request.data):
            try:
                parsed.append(self.parsed(item))
                places.append(number)
            except serializers.ValidationError as error:
                given = item.get("id") if isinstance(item, dict) else None
                answers[number] = {
                    "id": given if isinstance(given, str) else None,
                    "status": status.HTTP_422_UNPROCESSABLE_ENTITY,
                    "errors": list(flattened(error.detail)),
                }
        outcomes = record_batch(actor=self.actor, items=parsed, now=timezone.now())
        for number, outcome in zip(places, outcomes, strict=True):
            answers[number] = _answer(outcome)
        return Response(answers)

    @extend_schema(
        request=CorrectionSerializer, responses={201: TraverseSerializer, 200: TraverseSerializer}
    )
    @action(detail=True, methods=["post"])
    def corrections(self, request: Request, pk: str) -> Response:
        """Make a whole new content the current revision, with the reason."""
        row = self.found(pk)
        expected = revision_expected(request)
        body = CorrectionSerializer(data=request.data, context=self.get_serializer_context())
        body.is_valid(raise_exception=True)
        given: dict[str, Any] = dict(body.validated_data)
        data: Any = request.data
        sent = data["content"]
        values = dict(given["content"])
        if values.pop("id", row.pk) != row.pk:
            raise serializers.ValidationError(
                {"content": {"id": ["The id is another one than the address names."]}},
                code="invalid",
            )
        try:
            recorded = correct_traverse(
                actor=self.actor,
                identifier=row.pk,
                content=content_of(values, sent),
                reason=given["reason"],
                expected_revision=expected,
                now=timezone.now(),
            )
        except RulesBroken as error:
            raise error.below("/content") from error
        answer = self.answered(self.found(pk))
        if recorded.is_new:
            answer.status_code = status.HTTP_201_CREATED
        return answer

    @extend_schema(responses={200: RevisionsSerializer})
    @action(detail=True, methods=["get"])
    def revisions(self, request: Request, pk: str) -> Response:
        """List all contents that were ever sent, oldest first."""
        rows = self.found(pk).revisions.order_by("number")
        results = RevisionSerializer(rows, many=True).data
        return Response({"next": None, "previous": None, "results": results})

    @extend_schema(responses={200: dict})
    @action(detail=False, methods=["post"])
    def preview(self, request: Request) -> Response:
        """Compute what a content would give, without storing anything."""
        identifier, content = self.parsed(request.data)
        values = preview_traverse(
            actor=self.actor, content=content, identifier=identifier, now=timezone.now()
        )
        return Response(render_preview(values, recompute.ENGINE, self.units))


def _contents_of(rows: list[Traverse]) -> dict[Any, dict[str, Any]]:
    """Return traverse id -> its current content as sent."""
    latest = (
        TraverseRevision.objects.filter(traverse_id=models.OuterRef("traverse_id"))
        .order_by("-number")
        .values("number")[:1]
    )
    found = TraverseRevision.objects.filter(
        traverse_id__in=[row.pk for row in rows], number=models.Subquery(latest)
    )
    return dict(found.values_list("traverse_id", "content"))


def _answer(outcome: Outcome) -> dict[str, Any]:
    """Return what became of one item of a batch, with the status a single POST would get."""
    code: int
    errors: list[dict[str, str]] = []
    match outcome.refused:
        case None:
            assert outcome.recorded is not None
            code = 201 if outcome.recorded.is_new else 200
        case RulesBroken() as refusal:
            code = 422
            errors = broken_rules(refusal)
        case NotAllowed() as refusal:
            code = 403
            errors = [{"pointer": "/visit", "code": "not_allowed", "message": str(refusal)}]
        case DifferentContent() | AlreadyTaken() as refusal:
            code = 409
            errors = [{"pointer": "/id", "code": "different_content", "message": str(refusal)}]
        case refusal:
            raise refusal
    return {"id": str(outcome.identifier), "status": code, "errors": errors}
