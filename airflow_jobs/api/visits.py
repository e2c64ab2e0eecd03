"""Visits, and what was changed on them."""

from __future__ import annotations

from typing import Any

from airflow_jobs.models import Adjustment, AdjustmentKind, Purpose, Visit

from .fields import DayField, FlagField, InstantField, ReferenceField, WordField, note
from .filters import between, by_id, by_word
from .records import OPTIONAL, RecordSerializer, RecordViewSet, StrictSerializer


class ClosingSerializer(StrictSerializer):
    """How the site was left."""

    holes_plugged = FlagField(**OPTIONAL, help_text="Whether the holes were plugged.")
    panels_closed = FlagField(**OPTIONAL, help_text="Whether the panels were closed.")
    guards_on = FlagField(**OPTIONAL, help_text="Whether the guards are back on.")
    notes = note(max_length=10000, help_text="What else to know.")

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
