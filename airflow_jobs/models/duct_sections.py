"""Duct sections: the piece of duct in which a traverse is made."""

from __future__ import annotations

from django.db import models

from .base import Record, count_revision, not_negative, one_of, positive, with_history
from .equipment import Equipment
from .measuring import of_traverses, shown_by


class AirPath(models.TextChoices):
    """Which air runs through the section."""

    RETURN = "return", "Return"
    SUPPLY = "supply", "Supply"
    OUTDOOR = "outdoor", "Outdoor air"
    EXHAUST = "exhaust", "Exhaust"


class Material(models.TextChoices):
    """What the walls are made of."""

    SHEET = "sheet", "Sheet metal"
    LINED_SHEET = "lined_sheet", "Lined sheet metal"
    FIBROUS_BOARD = "fibrous_board", "Fibrous board"
    FLEXIBLE = "flexible", "Flexible duct"


class Shape(models.TextChoices):
    """The cross section."""

    RECTANGULAR = "rectangular", "Rectangular"
    ROUND = "round", "Round"
    FLAT_OVAL = "flat_oval", "Flat oval"


class Swirl(models.TextChoices):
    """Whether the flow turns about the duct's axis."""

    NONE = "none", "None"
    LIKELY = "likely", "Likely"
    UNKNOWN = "unknown", "Unknown"


class LayoutRule(models.TextChoices):
    """By which rule holes and depths are laid out."""

    LOG_TCHEBYCHEFF = "log_tchebycheff", "Log-Tchebycheff"
    EQUAL_AREA = "equal_area", "Equal area"
    LOG_LINEAR = "log_linear", "Log-linear"
    EQUAL_ANNULI = "equal_annuli", "Equal annuli"


class DrilledSide(models.TextChoices):
    """The side along which the holes are spaced."""

    WIDTH = "width", "Width"
    HEIGHT = "height", "Height"


RULES_BY_SHAPE: dict[str, tuple[str, ...]] = {
    Shape.RECTANGULAR: (LayoutRule.LOG_TCHEBYCHEFF, LayoutRule.EQUAL_AREA),
    Shape.FLAT_OVAL: (LayoutRule.LOG_TCHEBYCHEFF, LayoutRule.EQUAL_AREA),
    Shape.ROUND: (LayoutRule.LOG_LINEAR, LayoutRule.EQUAL_ANNULI),
}


@with_history()
class DuctSection(Record):
    """Outside sizes of sheet or board, its lining, its neighbourhood and its holes."""

    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="duct_sections")
    name = models.CharField(max_length=100)
    air_path = models.CharField(max_length=8, choices=AirPath.choices)
    carries_all = models.BooleanField(null=True, blank=True)
    """Whether all of the system's flow passes here; unknown: yes, unless it is in a flow-set."""
    material = models.CharField(max_length=16, choices=Material.choices, default=Material.SHEET)
    shape = models.CharField(max_length=12, choices=Shape.choices)
    width_m = models.FloatField(null=True, blank=True)
    height_m = models.FloatField(null=True, blank=True)
    diameter_m = models.FloatField(null=True, blank=True)
    lining_thickness_m = models.FloatField(default=0.0)
    dimension_tolerance_m = models.FloatField(null=True, blank=True)
    area_override_m2 = models.FloatField(null=True, blank=True)
    area_override_source = models.CharField(max_length=200, blank=True, default="")
    straight_upstream_m = models.FloatField(null=True, blank=True)
    straight_downstream_m = models.FloatField(null=True, blank=True)
    upstream_fitting = models.CharField(max_length=200, blank=True, default="")
    nearest_blades_m = models.FloatField(null=True, blank=True)
    swirl = models.CharField(max_length=8, choices=Swirl.choices, default=Swirl.UNKNOWN)
    layout_rule = models.CharField(max_length=16, choices=LayoutRule.choices)
    lines = models.PositiveSmallIntegerField(null=True, blank=True)
    points_per_line = models.PositiveSmallIntegerField(null=True, blank=True)
    drilled_side = models.CharField(
        max_length=8, choices=DrilledSide.choices, default=DrilledSide.WIDTH
    )
    holes = models.JSONField(null=True, blank=True)
    """Positions as drilled, in SI: {"lines": [m] | "angles": [deg], "depths": [[m], …]}."""
    hole_diameter_m = models.FloatField(null=True, blank=True)
    holes_plugged = models.BooleanField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta(Record.Meta):
        triggers = [
            count_revision(),
            shown_by(of_traverses("t.duct_section_id = NEW.id"), fields=("equipment", "air_path")),
        ]
        constraints = [
            one_of("air_path", AirPath, "duct_section"),
            one_of("material", Material, "duct_section"),
            one_of("shape", Shape, "duct_section"),
            one_of("swirl", Swirl, "duct_section"),
            one_of("layout_rule", LayoutRule, "duct_section"),
            one_of("drilled_side", DrilledSide, "duct_section"),
            models.CheckConstraint(
                condition=models.Q(
                    shape=Shape.ROUND,
                    diameter_m__gt=0,
                    width_m__isnull=True,
                    height_m__isnull=True,
                    layout_rule__in=RULES_BY_SHAPE[Shape.ROUND],
                )
                | models.Q(
                    shape__in=[Shape.RECTANGULAR, Shape.FLAT_OVAL],
                    diameter_m__isnull=True,
                    width_m__gt=0,
                    height_m__gt=0,
                    layout_rule__in=RULES_BY_SHAPE[Shape.RECTANGULAR],
                ),
                name="duct_section_shape_has_its_sizes",
            ),
            models.CheckConstraint(
                condition=~models.Q(shape=Shape.FLAT_OVAL)
                | models.Q(width_m__gte=models.F("height_m")),
                name="duct_section_oval_lies_flat",
            ),
            models.CheckConstraint(
                condition=models.Q(lining_thickness_m__gte=0)
                & (
                    models.Q(width_m__isnull=True)
                    | models.Q(width_m__gt=2 * models.F("lining_thickness_m"))
                )
                & (
                    models.Q(height_m__isnull=True)
                    | models.Q(height_m__gt=2 * models.F("lining_thickness_m"))
                )
                & (
                    models.Q(diameter_m__isnull=True)
                    | models.Q(diameter_m__gt=2 * models.F("lining_thickness_m"))
                ),
                name="duct_section_lining_leaves_an_inside",
            ),
            positive("area_override_m2", "duct_section"),
            not_negative("straight_upstream_m", "duct_section"),
            not_negative("straight_downstream_m", "duct_section"),
            not_negative("nearest_blades_m", "duct_section"),
            positive("dimension_tolerance_m", "duct_section"),
            positive("hole_diameter_m", "duct_section"),
            positive("lines", "duct_section"),
            positive("points_per_line", "duct_section"),
        ]

    def __str__(self) -> str:
        return self.name
