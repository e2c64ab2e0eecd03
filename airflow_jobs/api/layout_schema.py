"""How layouts and what they are asked by are described in the OpenAPI document."""

from __future__ import annotations

from typing import Any, Final

from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from airflow_jobs.models import DrilledSide, LayoutRule, Shape
from airflow_jobs.units import ANGLE, AREA, LENGTH

from .fields import QuantityField


class TapePositionSerializer(serializers.Serializer[Any]):
    """A distance, exact and as a tape shows it."""

    exact = QuantityField(LENGTH, help_text="Unrounded.")
    millimetres = serializers.IntegerField(help_text="To the nearest millimetre.")
    sixteenths = serializers.CharField(help_text="To the nearest sixteenth of an inch.")
    rounding = QuantityField(LENGTH, help_text="What the sixteenths are off: rounded less exact.")


class HoleSerializer(serializers.Serializer[Any]):
    """One hole."""

    number = serializers.IntegerField(help_text="From 1.")
    from_inside_face = TapePositionSerializer(
        required=False, help_text="Rectangle, oval: along the drilled side from the inside face."
    )
    angle = QuantityField(
        ANGLE, required=False, help_text="Round: from the first hole, clockwise downstream."
    )
    around_outside = TapePositionSerializer(
        required=False, help_text="Round: along the outside from the first hole."
    )
    on_outside_tape = TapePositionSerializer(
        help_text="What a tape shows that is hooked on the outside (round: laid around it)."
    )


class DepthSerializer(serializers.Serializer[Any]):
    """How deep to go for one point."""

    line = serializers.IntegerField(allow_null=True, help_text="The line; null for all of them.")
    number = serializers.IntegerField(help_text="The point on the line, from 1.")
    from_inside_face = TapePositionSerializer(help_text="From the inside face of the wall.")
    from_outside = TapePositionSerializer(help_text="From the outside face.")
    shaft_mark = TapePositionSerializer(
        help_text="From the probe's tip to the mark at the outside face."
    )


class SitingSerializer(serializers.Serializer[Any]):
    """Straight duct about the section, in hydraulic diameters."""

    upstream_diameters = serializers.FloatField(allow_null=True, help_text="Before it.")
    downstream_diameters = serializers.FloatField(allow_null=True, help_text="After it.")
    judgement = serializers.ChoiceField(
        choices=["good", "acceptable", "poor", "unknown"], help_text="How well it is sited."
    )


class InsideSerializer(serializers.Serializer[Any]):
    """Inside sizes: outside less twice the lining."""

    width = QuantityField(LENGTH, required=False, help_text="Rectangle and oval.")
    height = QuantityField(LENGTH, required=False, help_text="Rectangle and oval.")
    diameter = QuantityField(LENGTH, required=False, help_text="Round.")


class LayoutFindingSerializer(serializers.Serializer[Any]):
    """Something about the section worth saying."""

    code = serializers.CharField(help_text="Its name; see findings.")
    severity = serializers.ChoiceField(
        choices=["note", "warning", "serious"], help_text="How much it weighs."
    )
    message = serializers.CharField(help_text="What is to be said.")
    advice = serializers.CharField(help_text="What to do about it.")
    pointer = serializers.CharField(help_text="What it is about.")


class LayoutSerializer(serializers.Serializer[Any]):
    """Where to drill and how deep to go."""

    inside = InsideSerializer(help_text="Inside sizes.")
    area = QuantityField(AREA, help_text="Inside area.")
    hydraulic_diameter = QuantityField(LENGTH, help_text="4 x area / perimeter.")
    rule = serializers.ChoiceField(
        choices=[str(item) for item in LayoutRule.values], help_text="The rule."
    )
    drilled_side = serializers.ChoiceField(
        choices=[str(item) for item in DrilledSide.values],
        allow_null=True,
        help_text="Along which the holes are spaced; null for round.",
    )
    as_drilled = serializers.BooleanField(
        help_text="Whether these are the holes as drilled, not as the rule has them."
    )
    holes = HoleSerializer(many=True, help_text="The holes.")
    depths = DepthSerializer(many=True, help_text="The depths; once where all lines share them.")
    siting = SitingSerializer(help_text="How well the section is sited.")
    reach = serializers.ChoiceField(
        choices=["from_one_side", "from_both_sides", "not_reached", "unknown"],
        help_text="Whether the instrument's probe gets to every point.",
    )
    cautions = serializers.ListField(
        child=serializers.CharField(), help_text="What to mind before drilling."
    )
    findings = LayoutFindingSerializer(many=True, help_text="What else is worth saying.")


def _number(name: str, description: str) -> OpenApiParameter:
    return OpenApiParameter(name, float, description=f"{description}, in `unit`.")


def _count(name: str, description: str) -> OpenApiParameter:
    schema = {"type": "integer", "minimum": 1, "maximum": 64}
    return OpenApiParameter(name, schema, description=description)


_PLAN: Final = [
    OpenApiParameter(
        "rule",
        str,
        enum=[str(item) for item in LayoutRule.values],
        description="The rule; else the section's, or the usual one for the shape.",
    ),
    _count("lines", "Number of lines (round: diameters); else from the size."),
    _count("points", "Points on each line; else from the size."),
]
SECTION_QUERY: Final = [
    *_PLAN,
    OpenApiParameter(
        "instrument",
        {"type": "string", "format": "uuid"},
        description="Adds its tip-to-sensor distance to shaft marks and judges its reach.",
    ),
]
FREE_QUERY: Final = [
    OpenApiParameter(
        "shape",
        str,
        required=True,
        enum=[str(item) for item in Shape.values],
        description="The cross section.",
    ),
    _number("width", "Outside width (not for round)"),
    _number("height", "Outside height (not for round)"),
    _number("diameter", "Outside diameter (round)"),
    _number("lining_thickness", "Lining at each wall"),
    OpenApiParameter(
        "unit", str, enum=list(LENGTH.units), required=True, description="Unit of the sizes."
    ),
    OpenApiParameter(
        "drilled_side",
        str,
        enum=[str(item) for item in DrilledSide.values],
        description="The side along which the holes are spaced; width where nothing is given.",
    ),
    *_PLAN,
]
