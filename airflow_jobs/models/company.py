"""The company: one row of settings that every result and page reads."""

from __future__ import annotations

import datetime

from django.db import models
from django.db.models.functions import Cast, Coalesce

from .base import Record, positive, with_history

# One (ft3/min)/ton in m3/s per watt, by the definitions of foot and International Table Btu.
PER_TON_M3_S_PER_W = 0.3048**3 / 60.0 / (12000.0 * 1055.05585262 / 3600.0)

# Once a year, with the maintenance that comes anyway (common practice).
MEASURE_EVERY_MONTHS = 12
LONGEST_MONTHS = 120


def default_low() -> float:
    """Return 350 (ft3/min)/ton in m3/s per watt (common practice)."""
    return 350.0 * PER_TON_M3_S_PER_W


def default_nominal() -> float:
    """Return 400 (ft3/min)/ton in m3/s per watt (common practice)."""
    return 400.0 * PER_TON_M3_S_PER_W


def default_high() -> float:
    """Return 450 (ft3/min)/ton in m3/s per watt (common practice)."""
    return 450.0 * PER_TON_M3_S_PER_W


def default_standard_density() -> float:
    """Return 0.075 lb/ft3 in kg/m3: standard air (AMCA 210, ASHRAE 41.2)."""
    return 0.075 * 0.45359237 / 0.3048**3


class UnitSystem(models.TextChoices):
    """In which units answers and pages speak when nothing else is asked."""

    SI = "si", "SI"
    IP = "ip", "inch-pound"


@with_history()
class Company(Record):
    """The one company of this installation."""

    only = models.BooleanField(default=True, unique=True, editable=False)
    name = models.CharField(max_length=200, default="Our company")
    default_units = models.CharField(
        max_length=2, choices=UnitSystem.choices, default=UnitSystem.IP
    )
    time_zone = models.CharField(max_length=64, default="UTC")
    standard_density_kg_m3 = models.FloatField(default=default_standard_density)
    default_low_m3_s_per_w = models.FloatField(default=default_low)
    default_nominal_m3_s_per_w = models.FloatField(default=default_nominal)
    default_high_m3_s_per_w = models.FloatField(default=default_high)
    compare_small_crews = models.BooleanField(default=False)
    measure_every_months = models.PositiveSmallIntegerField(default=MEASURE_EVERY_MONTHS)
    """A system that was not measured for longer is due; pages list it."""
    report_mark = models.CharField(max_length=200, blank=True, default="")

    class Meta(Record.Meta):
        constraints = [
            models.CheckConstraint(condition=models.Q(only=True), name="company_only_one"),
            models.CheckConstraint(
                condition=models.Q(default_units__in=UnitSystem.values),
                name="company_default_units_known",
            ),
            models.CheckConstraint(
                condition=models.Q(standard_density_kg_m3__gt=0.5)
                & models.Q(standard_density_kg_m3__lt=2.0),
                name="company_standard_density_possible",
            ),
            positive("default_low_m3_s_per_w", "company"),
            models.CheckConstraint(
                condition=models.Q(
                    default_low_m3_s_per_w__lt=models.F("default_nominal_m3_s_per_w")
                )
                & models.Q(default_nominal_m3_s_per_w__lt=models.F("default_high_m3_s_per_w")),
                name="company_default_target_ordered",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    measure_every_months__gte=1, measure_every_months__lte=LONGEST_MONTHS
                ),
                name="company_measure_every_months_possible",
            ),
        ]

    def __str__(self) -> str:
        return self.name


def companys_day(moment: datetime.datetime) -> models.expressions.Combinable:
    """Return the company's day at a moment, for a query that is made anyway; UTC without a company.

    Parameters
    ----------
    moment
        With a time zone, any.

    Returns
    -------
    django.db.models.expressions.Combinable
        A date.
    """
    zone = Coalesce(
        models.Subquery(Company.objects.order_by("pk").values("time_zone")[:1]), models.Value("UTC")
    )
    local = models.Func(
        zone, models.Value(moment), function="timezone", output_field=models.DateTimeField()
    )
    return Cast(local, models.DateField())
