"""Traverses: what was read, where, on which visit; never overwritten, only superseded."""

from __future__ import annotations

import pgtrigger
from django.db import models
from django.db.models.functions import Now

from .base import Record, count_revision, one_of, with_history
from .duct_sections import DuctSection
from .instruments import Instrument
from .measuring import of_traverses, shown_by
from .targets import Call
from .visits import Stage, Visit


class Mode(models.TextChoices):
    """How the readings were taken."""

    POINTS = "points", "Points"
    SWEEPS = "sweeps", "Sweeps"
    AVERAGE = "average", "Average"


class ReadingKind(models.TextChoices):
    """What a reading is."""

    VELOCITY = "velocity", "Velocity"
    VELOCITY_PRESSURE = "velocity_pressure", "Velocity pressure"


class TakenIn(models.TextChoices):
    """In which order points were read."""

    LINE_BY_LINE = "line_by_line", "Line by line"
    BACK_AND_FORTH = "back_and_forth", "Back and forth"


AVERAGE_READINGS = """
    NEW.mean_reading_m_s = (
        SELECT avg(CASE WHEN NEW.reading_kind = 'velocity' THEN reading
                        ELSE sign(reading) * sqrt(2 * abs(reading) / 1.2) END)
        FROM (
            SELECT (item #>> '{}')::float8 AS reading FROM (
                SELECT jsonb_path_query(NEW.readings, '$.values[*][*]') AS item
                UNION ALL SELECT jsonb_path_query(NEW.readings, '$.lines[*].mean')
                UNION ALL SELECT jsonb_path_query(NEW.readings, '$.mean')
            ) items
        ) readings
    );
    RETURN NEW;
"""


class TraverseQuerySet(models.QuerySet["Traverse"]):
    """Traverses with what pages and the API need beside them."""

    def with_context(self) -> TraverseQuerySet:
        """Bring visit, crew, site, section, equipment and instrument in the same query."""
        return self.select_related(
            "visit__crew", "visit__site", "duct_section__equipment__site", "instrument"
        )

    def with_result(self) -> TraverseQuerySet:
        """Bring the computation with its latest result in the same query."""
        return self.select_related("computation__result")


@with_history(exclude=["readings", "positions"])
class Traverse(Record):
    """The current revision of a traverse, parsed and in SI."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="traverses")
    duct_section = models.ForeignKey(
        DuctSection, on_delete=models.PROTECT, related_name="traverses"
    )
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="traverses")
    repeats = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="repeated_by",
    )
    stage = models.CharField(max_length=8, choices=Stage.choices)
    taken_at = models.DateTimeField()
    mode = models.CharField(max_length=8, choices=Mode.choices)
    call = models.CharField(max_length=12, choices=Call.choices, default=Call.UNKNOWN)
    operating_state = models.JSONField(default=dict, blank=True)
    """The other keys of the operating state: capacity_step, blower_setting, coil, …"""
    dry_bulb_c = models.FloatField(null=True, blank=True)
    relative_humidity = models.FloatField(null=True, blank=True)
    wet_bulb_c = models.FloatField(null=True, blank=True)
    dew_point_c = models.FloatField(null=True, blank=True)
    barometric_pressure_pa = models.FloatField(null=True, blank=True)
    elevation_m = models.FloatField(null=True, blank=True)
    duct_static_pa = models.FloatField(null=True, blank=True)
    reading_kind = models.CharField(max_length=20, choices=ReadingKind.choices)
    readings = models.JSONField()
    """In m/s or Pa by `reading_kind`. points: {"values": [[…]]} with null for not taken;
    sweeps: {"lines": [{"mean", "seconds", "stamps"}], "near_gap_m", "far_gap_m"};
    average: {"mean", "seconds", "lines"}."""
    mean_reading_m_s = models.FloatField(null=True, blank=True, editable=False)
    """Plain mean as indicated, set by the database: only to hold a traverse against earlier ones
    of its section. Velocity pressures are turned at 1.2 kg/m3."""
    positions = models.JSONField(null=True, blank=True)
    """As drilled and read, in SI: {"lines": [m] | "angles": [deg], "depths": [[m]]}."""
    reasons = models.JSONField(default=list, blank=True)
    taken_in = models.CharField(
        max_length=16, choices=TakenIn.choices, default=TakenIn.LINE_BY_LINE
    )
    notes = models.TextField(blank=True, default="")

    objects = TraverseQuerySet.as_manager()

    class Meta(Record.Meta):
        triggers = [
            count_revision("mean_reading_m_s"),
            pgtrigger.Trigger(
                name="average_readings",
                level=pgtrigger.Row,
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("readings", "reading_kind"),
                func=AVERAGE_READINGS,
            ),
            shown_by(
                of_traverses("t.id = NEW.id"),
                fields=(
                    "visit",
                    "duct_section",
                    "instrument",
                    "repeats",
                    "stage",
                    "call",
                    "taken_at",
                ),
            ),
        ]
        constraints = [
            one_of("stage", Stage, "traverse"),
            one_of("mode", Mode, "traverse"),
            one_of("call", Call, "traverse"),
            one_of("reading_kind", ReadingKind, "traverse"),
            one_of("taken_in", TakenIn, "traverse"),
            models.CheckConstraint(
                condition=models.Q(relative_humidity__isnull=True)
                | models.Q(relative_humidity__gte=0, relative_humidity__lte=1),
                name="traverse_humidity_possible",
            ),
            models.CheckConstraint(
                condition=models.Q(barometric_pressure_pa__isnull=True)
                | models.Q(barometric_pressure_pa__gt=0),
                name="traverse_barometric_pressure_possible",
            ),
            models.CheckConstraint(
                condition=models.Q(dry_bulb_c__isnull=True)
                | models.Q(dry_bulb_c__gt=-273.15, dry_bulb_c__lt=1000),
                name="traverse_dry_bulb_possible",
            ),
            models.CheckConstraint(
                condition=~models.Q(repeats=models.F("id")),
                name="traverse_repeats_another",
            ),
        ]
        indexes = [
            models.Index(fields=["duct_section", "taken_at"], name="traverse_section_time"),
            models.Index(fields=["instrument", "taken_at"], name="traverse_instrument_time"),
            models.Index(fields=["taken_at", "id"], name="traverse_time"),
            models.Index(fields=["created_at", "id"], name="traverse_recorded"),
            models.Index(fields=["updated_at", "id"], name="traverse_changed"),
        ]

    def __str__(self) -> str:
        return f"Traverse of {self.taken_at}"


class TraverseRevision(models.Model):
    """One content of a traverse exactly as it was sent; the database refuses to change it."""

    traverse = models.ForeignKey(Traverse, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    content = models.JSONField()
    content_digest = models.CharField(max_length=80)
    """Digest of the content after parsing: absent equals null, numbers by value."""
    reason = models.TextField(blank=True, default="")
    actor = models.CharField(max_length=200)
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["traverse", "number"], name="traverse_revision_number_once"
            ),
        ]
        triggers = [
            pgtrigger.Protect(name="keep_as_sent", operation=pgtrigger.Update | pgtrigger.Delete),
        ]

    def __str__(self) -> str:
        return f"Revision {self.number} of {self.traverse_id}"
