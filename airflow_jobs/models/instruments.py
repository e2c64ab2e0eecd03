"""Instruments and their calibrations."""

from __future__ import annotations

from django.db import models

from .base import Record, not_negative, one_of, positive, with_history


class Principle(models.TextChoices):
    """How the instrument senses velocity."""

    THERMAL = "thermal", "Thermal"
    VANE = "vane", "Rotating vane"
    PITOT = "pitot", "Pitot tube"


class Shows(models.TextChoices):
    """What the number on the display means."""

    STANDARD_VELOCITY = "standard_velocity", "Standard velocity"
    ACTUAL_VELOCITY = "actual_velocity", "Actual velocity"
    UNKNOWN = "unknown", "Unknown"


class DirectionResponse(models.TextChoices):
    """How the reading falls when the flow comes at an angle."""

    COSINE = "cosine", "Cosine"
    OMNIDIRECTIONAL = "omnidirectional", "Omnidirectional"
    UNKNOWN = "unknown", "Unknown"


@with_history()
class Instrument(Record):
    """One meter with its probe."""

    serial = models.CharField(max_length=100)
    label = models.CharField(max_length=100, blank=True, default="")
    principle = models.CharField(max_length=8, choices=Principle.choices)
    shows = models.CharField(max_length=20, choices=Shows.choices)
    compensates_temperature = models.BooleanField(null=True, blank=True)
    compensates_pressure = models.BooleanField(null=True, blank=True)
    compensates_humidity = models.BooleanField(null=True, blank=True)
    reference_dry_bulb_c = models.FloatField(null=True, blank=True)
    reference_pressure_pa = models.FloatField(null=True, blank=True)
    direction_response = models.CharField(
        max_length=16,
        choices=DirectionResponse.choices,
        default=DirectionResponse.UNKNOWN,
    )
    accuracy_relative = models.FloatField(null=True, blank=True)
    accuracy_absolute_m_s = models.FloatField(null=True, blank=True)
    range_low_m_s = models.FloatField(null=True, blank=True)
    range_high_m_s = models.FloatField(null=True, blank=True)
    resolution_m_s = models.FloatField(null=True, blank=True)
    probe_reach_m = models.FloatField(null=True, blank=True)
    probe_diameter_m = models.FloatField(null=True, blank=True)
    tip_to_sensor_m = models.FloatField(null=True, blank=True)
    warm_up_s = models.FloatField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta(Record.Meta):
        constraints = [
            models.UniqueConstraint(
                models.functions.Lower("serial"), name="instrument_serial_once"
            ),
            one_of("principle", Principle, "instrument"),
            one_of("shows", Shows, "instrument"),
            one_of("direction_response", DirectionResponse, "instrument"),
            models.CheckConstraint(
                condition=models.Q(accuracy_relative__isnull=True)
                | models.Q(accuracy_relative__gte=0, accuracy_relative__lt=1),
                name="instrument_accuracy_relative_possible",
            ),
            not_negative("accuracy_absolute_m_s", "instrument"),
            not_negative("range_low_m_s", "instrument"),
            models.CheckConstraint(
                condition=models.Q(range_low_m_s__isnull=True)
                | models.Q(range_high_m_s__isnull=True)
                | models.Q(range_low_m_s__lt=models.F("range_high_m_s")),
                name="instrument_range_ordered",
            ),
            positive("resolution_m_s", "instrument"),
            positive("probe_reach_m", "instrument"),
            positive("probe_diameter_m", "instrument"),
            not_negative("tip_to_sensor_m", "instrument"),
            not_negative("warm_up_s", "instrument"),
            models.CheckConstraint(
                condition=models.Q(reference_pressure_pa__isnull=True)
                | models.Q(reference_pressure_pa__gt=20000, reference_pressure_pa__lt=120000),
                name="instrument_reference_pressure_possible",
            ),
            models.CheckConstraint(
                condition=models.Q(reference_dry_bulb_c__isnull=True)
                | models.Q(reference_dry_bulb_c__gt=-60, reference_dry_bulb_c__lt=100),
                name="instrument_reference_dry_bulb_possible",
            ),
        ]

    def __str__(self) -> str:
        return self.label or self.serial


class CalibrationQuerySet(models.QuerySet["Calibration"]):
    """Calibrations by when they were performed."""

    def before(self, calibration: Calibration) -> CalibrationQuerySet:
        """Those of the same meter on earlier days that count, the latest first."""
        return self.filter(
            instrument_id=calibration.instrument_id,
            performed_on__lt=calibration.performed_on,
            retired_on__isnull=True,
        ).order_by("-performed_on", "-created_at", "-pk")


@with_history()
class Calibration(Record):
    """What a calibration found: the true velocity is gain * indicated + offset."""

    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, related_name="calibrations"
    )
    performed_on = models.DateField()
    due_on = models.DateField()
    gain = models.FloatField(default=1.0)
    offset_m_s = models.FloatField(default=0.0)
    found_gain = models.FloatField(null=True, blank=True)
    found_offset_m_s = models.FloatField(null=True, blank=True)
    """What the meter needed as it came in, where the laboratory then adjusted it; both or none."""
    accuracy_relative = models.FloatField(null=True, blank=True)
    accuracy_absolute_m_s = models.FloatField(null=True, blank=True)
    corrects_from = models.DateField(null=True, blank=True)
    """From this day to the calibration, readings are corrected with what it found."""
    corrects_wholly = models.BooleanField(default=False)
    """Whether the meter is known to have gone off on that day; else at an unknown moment since."""
    corrects_because = models.TextField(blank=True, default="")
    certificate = models.CharField(max_length=200, blank=True, default="")
    retired_on = models.DateField(null=True, blank=True)

    objects = CalibrationQuerySet.as_manager()

    class Meta(Record.Meta):
        constraints = [
            models.CheckConstraint(
                condition=models.Q(due_on__gte=models.F("performed_on")),
                name="calibration_dates_ordered",
            ),
            models.CheckConstraint(
                condition=models.Q(gain__gt=0.5, gain__lt=2.0),
                name="calibration_gain_possible",
            ),
            models.CheckConstraint(
                condition=models.Q(offset_m_s__gte=-5, offset_m_s__lte=5),
                name="calibration_offset_possible",
            ),
            models.CheckConstraint(
                condition=models.Q(accuracy_relative__isnull=True)
                | models.Q(accuracy_relative__gte=0, accuracy_relative__lt=1),
                name="calibration_accuracy_relative_possible",
            ),
            not_negative("accuracy_absolute_m_s", "calibration"),
            models.CheckConstraint(
                condition=models.Q(found_gain__isnull=True, found_offset_m_s__isnull=True)
                | models.Q(
                    found_gain__isnull=False,
                    found_offset_m_s__isnull=False,
                    found_gain__gt=0.5,
                    found_gain__lt=2.0,
                    found_offset_m_s__gte=-5,
                    found_offset_m_s__lte=5,
                ),
                name="calibration_found_possible",
            ),
            models.CheckConstraint(
                condition=models.Q(corrects_from__isnull=True)
                | models.Q(corrects_from__lt=models.F("performed_on")),
                name="calibration_corrects_before_it_was_performed",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    corrects_from__isnull=True, corrects_wholly=False, corrects_because=""
                )
                | (models.Q(corrects_from__isnull=False) & ~models.Q(corrects_because="")),
                name="calibration_corrects_for_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"Calibration of {self.performed_on}"

    @property
    def gain_as_found(self) -> float:
        """The gain that the meter needed as it came in."""
        return self.gain if self.found_gain is None else self.found_gain

    @property
    def offset_as_found_m_s(self) -> float:
        """The offset that the meter needed as it came in."""
        return self.offset_m_s if self.found_offset_m_s is None else self.found_offset_m_s
