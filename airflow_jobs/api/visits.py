"""Visits, and what was changed on them."""

from __future__ import annotations

from typing import Any, Final

from django.db import models
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from airflow_jobs.models import Adjustment, AdjustmentKind, Purpose, Visit, VisitHandover

from . import filters
from .fields import DayField, FlagField, InstantField, ReferenceField, WordField, note
from .filters import Filter, between, by_id, by_word
from .pagination import TimeCursorPagination
from .records import OPTIONAL, RecordSerializer, RecordViewSet, StrictSerializer


class ClosingSerializer(StrictSerializer):
    """How the site was left."""

    holes_plugged = FlagField(**OPTIONAL, help_text="Whether the holes were plugged.")
    panels_closed = FlagField(**OPTIONAL, help_text="Whether the panels were closed.")
    guards_on = FlagField(**OPTIONAL, help_text="Whether the guards are back on.")
    notes = note(
        max_length=10000,
        help_text="What the customer should know: it stands on the visit's report.",
    )

    def to_representation(self, instance: Any) -> dict[str, Any]:
        """Answer what is known, null where it isn't."""
        return {
            **dict.fromkeys(("holes_plugged", "panels_closed", "guards_on")),
            "notes": "",
            **instance,
        }


class VisitSerializer(RecordSerializer):
    """A crew at a site; several systems may be measured on one visit."""

    site = ReferenceField("sites", help_text="Where.")
    crew = ReferenceField("crews", help_text="Whose visit it is.")
    purpose = WordField(Purpose, help_text="Why the crew goes there.")
    planned_for = DayField(**OPTIONAL, help_text="The day it is planned for.")
    started_at = InstantField(**OPTIONAL, help_text="When the work began.")
    finished_at = InstantField(**OPTIONAL, help_text="When the work ended.")
    closing = ClosingSerializer(required=False, help_text="How the site was left.")

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        """Merge a change of the closing into what is known of it."""
        parsed = super().to_internal_value(data)
        if self.instance is not None and "closing" in parsed:
            parsed["closing"] = {**self.instance.closing, **(parsed["closing"] or {})}
        return parsed


class GivenAwaySerializer(serializers.Serializer[Any]):
    """A visit that the caller is no longer shown."""

    visit = ReferenceField("visits", read_only=True, help_text="Which visit.")
    given_away_at = InstantField(read_only=True, help_text="When another crew got it.")


GIVEN_AWAY: Final = """\
Lists visits that were of the field app's crew and are another crew's now, by when they were given
away. The app is no longer shown them, nor what hangs on them (404); when it syncs they just don't
come any more, so forget what is listed here. What was measured there and is not sent yet is refused
(422) until a manager gives the visit back.

Ask before syncing visits, with `since`: the last `given_away_at` seen, less a minute. A visit that
came back is not listed; it comes with `updated_since`. What hangs on a visit that came from another
crew was stored earlier: ask for it with `visit`. People are shown all visits; to them the list is
empty."""


class VisitViewSet(RecordViewSet):
    """Visits; written by their own crew or a manager."""

    model = Visit
    serializer_class = VisitSerializer
    noun = "a visit"
    filters = (
        by_id("site", "site_id", "Only visits to this site."),
        by_id("customer", "site__customer_id", "Only visits to sites of this customer."),
        by_id("crew", "crew_id", "Only visits of this crew."),
        by_word("purpose", "purpose", Purpose, "Only visits with this purpose."),
        *between("started_from", "started_before", "started_at", "started"),
    )
    filters_of_given_away = (
        Filter("since", "given_away_at__gte", "instant", "Only those given away then or later."),
    )

    @property
    def ordered_by(self) -> str:
        """The time that lists are ordered by."""
        return "given_away_at" if self.action == "given_away" else super().ordered_by

    def known_parameters(self) -> set[str]:
        """Return the query parameters that the action reads."""
        if self.action != "given_away":
            return super().known_parameters()
        known = {filters.UNITS} | set(TimeCursorPagination.parameters)
        return known | {item.name for item in self.all_filters()}

    def all_filters(self) -> tuple[Filter, ...]:
        """Return the filters of the list that is asked for."""
        if self.action == "given_away":
            return self.filters_of_given_away
        return super().all_filters()

    @extend_schema(
        summary="List visits given away",
        description=GIVEN_AWAY,
        responses=GivenAwaySerializer(many=True),
    )
    @action(detail=False, methods=["get"], url_path="given-away")
    def given_away(self, request: Request) -> Response:
        """Answer a page of the visits that a field app's crew has no longer."""
        rows: models.QuerySet[VisitHandover] = VisitHandover.objects.none()
        if self.actor.is_field_app:
            crews = self.actor.crew_ids
            rows = VisitHandover.objects.filter(crew__in=crews).exclude(visit__crew__in=crews)
        page = self.paginate_queryset(filters.apply(rows, self.all_filters(), request))
        assert page is not None
        return self.get_paginated_response(GivenAwaySerializer(page, many=True).data)


class AdjustmentSerializer(RecordSerializer):
    """One change to a system between as found and as left."""

    visit = ReferenceField("visits", help_text="On which visit.")
    equipment = ReferenceField("equipment", help_text="To which system.")
    kind = WordField(AdjustmentKind, help_text="What was changed.")
    from_value = note(max_length=100, help_text="What it was before.")
    to_value = note(max_length=100, help_text="What it is now.")
    made_at = InstantField(help_text="When.")
    notes = note(max_length=10000, help_text="What else to know.")


class AdjustmentViewSet(RecordViewSet):
    """Adjustments: what was changed between as found and as left."""

    model = Adjustment
    serializer_class = AdjustmentSerializer
    noun = "an adjustment"
    filters = (
        by_id("visit", "visit_id", "Only those of this visit."),
        by_id("equipment", "equipment_id", "Only those to this system."),
        by_id("site", "visit__site_id", "Only those at this site."),
        by_id("crew", "visit__crew_id", "Only those of this crew."),
        by_word("kind", "kind", AdjustmentKind, "Only changes of this kind."),
        *between("made_from", "made_before", "made_at", "made"),
    )
