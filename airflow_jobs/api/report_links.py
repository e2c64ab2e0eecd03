"""Links to a visit's report for its customer: made, listed, revoked by managers."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from airflow_jobs.actions import access
from airflow_jobs.actions.report_links import (
    LONGEST_DAYS,
    USUAL_DAYS,
    address_of,
    make_report_link,
    revoke_report_link,
)
from airflow_jobs.models import ReportLink, Visit

from .fields import CountField, InstantField, ReferenceField, TextField, note
from .records import RecordSerializer, RecordViewSet, StrictSerializer


class NewReportLinkSerializer(StrictSerializer):
    """What a link is to be."""

    lifetime_days = CountField(
        required=False,
        minimum=1,
        maximum=LONGEST_DAYS,
        help_text=f"How long it is good, in days; {USUAL_DAYS} where nothing is given.",
    )
    # A key of the body, not an attribute of the serializer.
    label = note(max_length=100, help_text="For whom it is, as lists show it.")  # type: ignore[assignment]


class ReportLinkSerializer(RecordSerializer):
    """A link as lists show it: never its secret."""

    visit = ReferenceField("visits", read_only=True, help_text="The visit whose report it opens.")
    # A key of the body, not an attribute of the serializer.
    label = TextField(max_length=100, read_only=True, help_text="For whom it is.")  # type: ignore[assignment]
    made_by = ReferenceField("people", read_only=True, allow_null=True, help_text="Who made it.")
    expires_at = InstantField(read_only=True, help_text="When it stops opening the report.")
    revoked_at = InstantField(
        read_only=True, allow_null=True, help_text="When it was revoked; null if not."
    )
    last_opened_at = InstantField(
        read_only=True, allow_null=True, help_text="When it was last opened, to a minute."
    )


class MadeReportLinkSerializer(ReportLinkSerializer):
    """A link with its address, which is shown this once."""

    address = TextField(
        max_length=500,
        read_only=True,
        help_text="What to send to the customer; it opens the report without a sign-in.",
    )


class ReportLinkViewSet(RecordViewSet):
    """Links that open one visit's report without a sign-in, and nothing else; managers only."""

    model = ReportLink
    serializer_class = ReportLinkSerializer
    noun = "a link to a visit's report"
    tag = "report-links"
    answers_in_units = False

    @property
    def visit_id(self) -> UUID:
        """The visit that the address names."""
        return UUID(self.kwargs["visit_id"])

    def get_queryset(self) -> Any:
        """Return the links to this visit's report."""
        if not access.visible(self.actor, Visit.objects.filter(pk=self.visit_id)).exists():
            raise NotFound(f"There is no visit with the id {self.visit_id}.")
        return super().get_queryset().filter(visit_id=self.visit_id)

    def retrieve(self, request: Request, visit_id: str, pk: str) -> Response:  # type: ignore[override]
        """Answer one link."""
        return super().retrieve(request, pk)

    def list(self, request: Request, visit_id: str) -> Response:  # type: ignore[override]
        """Answer one page of links."""
        return super().list(request)

    @extend_schema(
        summary="Make a link to the visit's report",
        description="Makes a link that opens this visit's report without a sign-in, and nothing "
        "else. Its address is answered this once; the service keeps only a digest of it.",
        request=NewReportLinkSerializer,
        responses={201: MadeReportLinkSerializer},
    )
    def create(self, request: Request, visit_id: str) -> Response:  # type: ignore[override]
        """Make a link."""
        body = NewReportLinkSerializer(data=request.data, context=self.get_serializer_context())
        body.is_valid(raise_exception=True)
        given = body.validated_data
        link, secret = make_report_link(
            actor=self.actor,
            visit_id=self.visit_id,
            lifetime_days=given.get("lifetime_days") or USUAL_DAYS,
            label=given.get("label", ""),
            now=timezone.now(),
        )
        return Response(
            {**self.represented(link), "address": address_of(secret)},
            status=status.HTTP_201_CREATED,
            headers={
                "ETag": f'"{link.revision}"',
                "Location": f"{request.path}{link.pk}/",
                "Cache-Control": "no-store",
            },
        )

    @extend_schema(
        summary="Revoke a link to the visit's report",
        description="It opens nothing from now on; revoking it again changes nothing.",
    )
    def destroy(self, request: Request, visit_id: str, pk: str) -> Response:
        """Revoke a link."""
        revoke_report_link(
            actor=self.actor, visit_id=self.visit_id, link_id=UUID(pk), now=timezone.now()
        )
        return Response(status=status.HTTP_204_NO_CONTENT)
