"""Duct sections: the piece of duct in which a traverse is made."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from airflow_jobs.models import (
    AirPath,
    DrilledSide,
    DuctSection,
    LayoutRule,
    Material,
    Shape,
    Swirl,
)
from airflow_jobs.models.duct_sections import RULES_BY_SHAPE
from airflow_jobs.units import AREA, LENGTH

from .fields import (
    CountField,
    DayField,
    FlagField,
    QuantityField,
    ReferenceField,
    TextField,
    WordField,
    note,
)
from .filters import by_id, by_word, retired
from .layout_schema import SECTION_QUERY, LayoutSerializer
from .layouts import SECTION_PARAMETERS, asked_of, layout
from .positions import PositionsField
from .records import OPTIONAL, GroupSerializer, RecordSerializer, RecordViewSet

LARGEST_SIDE_M = 20.0
LONGEST_RUN_M = 500.0


def _size(source: str, help_text: str) -> QuantityField:
    return QuantityField(
        LENGTH,
        source=source,
        **OPTIONAL,
        minimum=0.0,
        maximum=LARGEST_SIDE_M,
        is_open=True,
        help_text=help_text,
    )


def _distance(source: str, help_text: str) -> QuantityField:
    return QuantityField(
        LENGTH,
        source=source,
        **OPTIONAL,
        minimum=0.0,
        maximum=LONGEST_RUN_M,
        help_text=help_text,
    )


class AreaOverrideSerializer(GroupSerializer):
    """A free area that stands in place of the one from the sizes."""

    value = QuantityField(
        AREA,
        source="area_override_m2",
        **OPTIONAL,
        minimum=0.0,
        maximum=400.0,
        is_open=True,
        help_text="The free area.",
    )
    # A key of the body, not an attribute of the serializer.
    source = note(  # type: ignore[assignment]
        source="area_override_source",
        help_text="Where it comes from: the maker's sheet, a measurement.",
    )


class DuctSectionSerializer(RecordSerializer):
    """Outside sizes of sheet or board, its lining, its neighbourhood and its holes."""

    equipment = ReferenceField("equipment", help_text="Whose duct it is.")
    name = TextField(max_length=100, help_text="What it is called.")
    air_path = WordField(AirPath, help_text="Which air runs through it.")
    carries_all = FlagField(
        **OPTIONAL,
        help_text="Whether all of the system's flow passes here; unknown counts as yes, unless "
        "the section is a member of a flow-set.",
    )
    material = WordField(Material, required=False, help_text="What the walls are made of.")
    shape = WordField(Shape, help_text="The cross section; an oval has semicircular ends.")
    width = _size("width_m", "Outside of sheet or board, never over wrap (not for round).")
    height = _size("height_m", "Outside of sheet or board, never over wrap (not for round).")
    diameter = _size("diameter_m", "Outside of sheet or board (round only).")
    lining_thickness = QuantityField(
        LENGTH,
        source="lining_thickness_m",
        required=False,
        minimum=0.0,
        maximum=1.0,
        help_text="At each wall: lining, or the board itself; 0 where nothing is given.",
    )
    dimension_tolerance = QuantityField(
        LENGTH,
        source="dimension_tolerance_m",
        **OPTIONAL,
        minimum=0.0,
        maximum=1.0,
        is_open=True,
        help_text="How far the sizes may be off, either way; 3 mm where nothing is given.",
    )
    area_override = AreaOverrideSerializer(
        help_text="A free area known otherwise, by grille or filter face."
    )
    straight_upstream = _distance("straight_upstream_m", "Straight duct before the section.")
    straight_downstream = _distance("straight_downstream_m", "Straight duct after the section.")
    upstream_fitting = note(help_text="What stands before the straight duct.")
    nearest_blades = _distance(
        "nearest_blades_m", "Distance to a damper, vanes, coil face or straightener."
    )
    swirl = WordField(Swirl, required=False, help_text="Whether the air turns about the axis.")
    layout_rule = WordField(
        LayoutRule,
        required=False,
        help_text="By which rule holes and depths are laid out; log_tchebycheff where nothing is "
        "given, log_linear in a round section.",
    )
    lines = CountField(
        **OPTIONAL,
        minimum=1,
        maximum=64,
        help_text="Number of lines (round: diameters); from the size where nothing is given.",
    )
    points_per_line = CountField(
        **OPTIONAL,
        minimum=1,
        maximum=64,
        help_text="Points on each line (round: on each diameter); from the size likewise.",
    )
    drilled_side = WordField(
        DrilledSide, required=False, help_text="The side along which the holes are spaced."
    )
    holes = PositionsField(
        **OPTIONAL, help_text="Holes and depths as drilled, where they are off the plan."
    )
    hole_diameter = QuantityField(
        LENGTH,
        source="hole_diameter_m",
        **OPTIONAL,
        minimum=0.0,
        maximum=0.2,
        is_open=True,
        help_text="Diameter of the holes.",
    )
    holes_plugged = FlagField(**OPTIONAL, help_text="Whether the holes were plugged.")
    retired_on = DayField(**OPTIONAL, help_text="From this day on it is no longer in use.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Pick the shape's first rule where none is given for a new section."""
        if not self.partial and "layout_rule" not in attrs:
            attrs["layout_rule"] = str(RULES_BY_SHAPE[attrs["shape"]][0])
        return attrs


class DuctSectionViewSet(RecordViewSet):
    """Duct sections; results in a section are computed again when it changes."""

    model = DuctSection
    serializer_class = DuctSectionSerializer
    noun = "a duct section"
    filters = (
        by_id("equipment", "equipment_id", "Only sections of this system."),
        by_id("site", "equipment__site_id", "Only sections at this site."),
        by_word("air_path", "air_path", AirPath, "Only sections of this air path."),
        by_word("shape", "shape", Shape, "Only sections of this shape."),
        retired(),
    )

    @extend_schema(parameters=SECTION_QUERY, responses={200: LayoutSerializer})
    @action(detail=True, methods=["get"])
    def layout(self, request: Request, pk: str) -> Response:
        """Answer where to drill and how deep to go."""
        return Response(layout(asked_of(request, self.found(pk)), self.units))

    def known_parameters(self) -> set[str]:
        """Let a layout be asked for by rule, counts and instrument."""
        known = super().known_parameters()
        return known | set(SECTION_PARAMETERS) if self.action == "layout" else known
