"""Instruments and their calibrations."""

from __future__ import annotations

from airflow_jobs.models import (
    Calibration,
    DirectionResponse,
    Instrument,
    Principle,
    Shows,
)
from airflow_jobs.units import BAROMETRIC_PRESSURE, LENGTH, RATIO, TEMPERATURE, TIME, VELOCITY

from .fields import (
    DayField,
    FlagField,
    NumberField,
    QuantityField,
    ReferenceField,
    TextField,
    WordField,
    note,
)
from .filters import Filter, by_id, by_word, retired
from .records import OPTIONAL, GroupSerializer, RecordSerializer, RecordViewSet


def _velocity(source: str, help_text: str, *, is_open: bool = False) -> QuantityField:
    return QuantityField(
        VELOCITY,
        source=source,
        **OPTIONAL,
        minimum=0.0,
        maximum=100.0,
        is_open=is_open,
        help_text=help_text,
    )


def _length(source: str, help_text: str, *, is_open: bool = True) -> QuantityField:
    return QuantityField(
        LENGTH,
        source=source,
        **OPTIONAL,
        minimum=0.0,
        maximum=20.0,
        is_open=is_open,
        help_text=help_text,
    )


class CompensatesSerializer(GroupSerializer):
    """For which variables the display corrects itself: true, false, or null for unknown."""

    temperature = FlagField(
        source="compensates_temperature", **OPTIONAL, help_text="For the air's temperature."
    )
    pressure = FlagField(
        source="compensates_pressure", **OPTIONAL, help_text="For the air's pressure."
    )
    humidity = FlagField(
        source="compensates_humidity", **OPTIONAL, help_text="For the air's humidity."
    )


class ReferenceSerializer(GroupSerializer):
    """The air that the display assumes for what it doesn't compensate."""

    dry_bulb = QuantityField(
        TEMPERATURE,
        source="reference_dry_bulb_c",
        **OPTIONAL,
        minimum=-59.0,
        maximum=99.0,
        help_text="Assumed temperature; 70 degF where nothing is given.",
    )
    pressure = QuantityField(
        BAROMETRIC_PRESSURE,
        source="reference_pressure_pa",
        **OPTIONAL,
        minimum=20001.0,
        maximum=119999.0,
        help_text="Assumed pressure; 29.921 inHg where nothing is given.",
    )


class AccuracySerializer(GroupSerializer):
    """Half-width of the limits the maker or the laboratory gives."""

    relative = QuantityField(
        RATIO,
        source="accuracy_relative",
        **OPTIONAL,
        minimum=0.0,
        maximum=0.99,
        help_text="Relative to the reading.",
    )
    absolute = _velocity("accuracy_absolute_m_s", "Whatever the reading.")


class RangeSerializer(GroupSerializer):
    """Between which velocities the instrument is made to read."""

    low = _velocity("range_low_m_s", "The slowest.")
    high = _velocity("range_high_m_s", "The fastest.")


class InstrumentSerializer(RecordSerializer):
    """One meter with its probe."""

    serial = TextField(max_length=100, help_text="Its serial number; unique, letter case aside.")
    # A key of the body, not an attribute of the serializer.
    label = note(max_length=100, help_text="What people call it.")  # type: ignore[assignment]
    principle = WordField(Principle, help_text="How it senses velocity.")
    shows = WordField(
        Shows,
        help_text="What the number on the display means: velocity of standard air (mass flow), "
        "or of the air as it is.",
    )
    compensates = CompensatesSerializer(
        required=True,
        help_text="For what the display corrects itself; null for unknown widens the interval.",
    )
    reference = ReferenceSerializer(help_text="The air that the display assumes.")
    direction_response = WordField(
        DirectionResponse,
        required=False,
        help_text="How the reading falls when the air comes at an angle.",
    )
    accuracy = AccuracySerializer(
        help_text="The maker's limits; 5 % of reading where nothing is given, with a finding."
    )
    range = RangeSerializer(help_text="Between which velocities it reads.")
    resolution = _velocity("resolution_m_s", "One step of the display.", is_open=True)
    probe_reach = _length("probe_reach_m", "How far the probe reaches into a duct.")
    probe_diameter = _length("probe_diameter_m", "Diameter of the probe.")
    tip_to_sensor = _length("tip_to_sensor_m", "From the probe's tip to its sensor.", is_open=False)
    warm_up = QuantityField(
        TIME,
        source="warm_up_s",
        **OPTIONAL,
        minimum=0.0,
        maximum=86400.0,
        help_text="How long it warms up before it reads true.",
    )
    retired_on = DayField(**OPTIONAL, help_text="From this day on it is no longer in use.")


class InstrumentViewSet(RecordViewSet):
    """Instruments; managers write them, results made with one are computed again."""

    model = Instrument
    serializer_class = InstrumentSerializer
    noun = "an instrument"
    filters = (
        by_word("principle", "principle", Principle, "Only instruments of this principle."),
        Filter("serial", "serial__iexact", "text", "Only the instrument with this serial."),
        retired(),
    )


class AsFoundSerializer(GroupSerializer):
    """What the meter needed as it came in, where the laboratory then adjusted it."""

    gain = NumberField(
        source="found_gain",
        **OPTIONAL,
        minimum=0.501,
        maximum=1.999,
        help_text="Factor before it was adjusted.",
    )
    offset = QuantityField(
        VELOCITY,
        source="found_offset_m_s",
        **OPTIONAL,
        minimum=-5.0,
        maximum=5.0,
        help_text="Added after that factor.",
    )


class CalibrationSerializer(RecordSerializer):
    """What a calibration found: the true velocity is gain x indicated + offset."""

    instrument = ReferenceField("instruments", help_text="Which instrument was calibrated.")
    performed_on = DayField(help_text="The day it was calibrated; it counts from then on.")
    due_on = DayField(help_text="The last day on which it holds.")
    gain = NumberField(
        required=False, minimum=0.501, maximum=1.999, help_text="Factor; 1 where none is given."
    )
    offset = QuantityField(
        VELOCITY,
        source="offset_m_s",
        required=False,
        minimum=-5.0,
        maximum=5.0,
        help_text="Added after the gain; 0 where none is given.",
    )
    as_found = AsFoundSerializer(
        help_text="Only where the meter was adjusted; both, or neither. Else gain and offset say "
        "it."
    )
    accuracy = AccuracySerializer(help_text="Of the calibration; else the instrument's holds.")
    corrects_from = DayField(
        **OPTIONAL,
        help_text="Also correct readings from this day up to the calibration, which found the "
        "meter off. No further back than the calibration before; null takes the correction back.",
    )
    corrects_wholly = FlagField(
        required=False,
        help_text="True where the meter is known to have gone off on that day. Else the moment is "
        "unknown: as much is taken as time had passed, and the interval holds all of it and none.",
    )
    corrects_because = note(help_text="Why; required with corrects_from.")
    certificate = note(help_text="Number of the certificate.")
    retired_on = DayField(**OPTIONAL, help_text="From this day on it no longer counts.")


class CalibrationViewSet(RecordViewSet):
    """Calibrations; managers write them, results that depend on one are computed again."""

    model = Calibration
    serializer_class = CalibrationSerializer
    noun = "a calibration"
    filters = (
        by_id("instrument", "instrument_id", "Only calibrations of this instrument."),
        retired(),
    )
