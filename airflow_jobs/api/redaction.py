"""Taking personal data out of the record, over HTTP."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from airflow_jobs.actions.redaction import redact

from .fields import TextField
from .records import RecordViewSet, StrictSerializer


class RedactionSerializer(StrictSerializer):
    """Why personal data are taken out."""

    reason = TextField(
        max_length=2000,
        help_text="On whose request, in words without personal data: the history keeps it.",
    )


class RedactedViewSet(RecordViewSet):
    """A resource whose rows may hold personal data."""

    @extend_schema(request=RedactionSerializer)
    @action(detail=True, methods=["post"])
    def redaction(self, request: Request, pk: str) -> Response:
        """Take personal data out of a row and of its history, for good; administrators only."""
        row = self.found(pk)
        body = RedactionSerializer(data=request.data, context=self.get_serializer_context())
        body.is_valid(raise_exception=True)
        redacted = redact(
            actor=self.actor,
            model=self.model,
            record_id=row.pk,
            reason=body.validated_data["reason"],
            now=timezone.now(),
        )
        return self.answered(redacted)
