"""The company: one resource without an id in its address."""

from __future__ import annotations

from rest_framework.request import Request
from rest_framework.response import Response

from airflow_jobs.models import Company, UnitSystem
from airflow_jobs.models.company import LONGEST_MONTHS
from airflow_jobs.units import DENSITY, FLOW_PER_CAPACITY

from .fields import CountField, FlagField, QuantityField, TextField, WordField, note
from .records import GroupSerializer, RecordSerializer, RecordViewSet

LARGEST_RATE = 0.001


class DefaultTargetSerializer(GroupSerializer):
    """The range of flow per capacity where no other target applies."""

    low = QuantityField(
        FLOW_PER_CAPACITY,
        source="default_low_m3_s_per_w",
        required=False,
        minimum=0.0,
        maximum=LARGEST_RATE,
        is_open=True,
        help_text="Below this a system is low.",
    )
    nominal = QuantityField(
        FLOW_PER_CAPACITY,
        source="default_nominal_m3_s_per_w",
        required=False,
        minimum=0.0,
        maximum=LARGEST_RATE,
        is_open=True,
        help_text="What to adjust towards.",
    )
    high = QuantityField(
        FLOW_PER_CAPACITY,
        source="default_high_m3_s_per_w",
        required=False,
        minimum=0.0,
        maximum=LARGEST_RATE,
        is_open=True,
        help_text="Above this a system is high.",
    )


class CompanySerializer(RecordSerializer):
    """The settings that results and answers depend on."""

    name = TextField(max_length=200, required=False, help_text="The company's name.")
    default_units = WordField(
        UnitSystem,
        required=False,
        help_text="Units of answers and pages where nothing else is asked.",
    )
    time_zone = TextField(
        max_length=64, required=False, help_text="Zone of the tz database for company-wide days."
    )
    standard_density = QuantityField(
        DENSITY,
        source="standard_density_kg_m3",
        required=False,
        minimum=0.5,
        maximum=2.0,
        help_text="Density of standard air, 0.075 lb/ft3 unless set otherwise.",
    )
    default_target = DefaultTargetSerializer(
        help_text="The usual cooling range where neither maker nor design says another."
    )
    consent_to_compare_small_crews = FlagField(
        source="compare_small_crews",
        required=False,
        help_text="Whether crews of fewer than three people show in comparisons. Without it "
        "their jobs still are in the whole: where only one crew is that small, a manager can work "
        "out its numbers from the whole and the others.",
    )
    measure_every_months = CountField(
        required=False,
        minimum=1,
        maximum=LONGEST_MONTHS,
        help_text="A system that was not measured for longer is due; 12 unless set otherwise.",
    )
    report_mark = note(help_text="A line that every report carries.")


class CompanyView(RecordViewSet):
    """The company's settings; managers read, administrators change."""

    model = Company
    serializer_class = CompanySerializer
    noun = "the company"

    def the_one(self) -> str:
        """Return the id of the company, made with its defaults where there is none yet."""
        company, _ = Company.objects.get_or_create(only=True)
        return str(company.pk)

    def retrieve(self, request: Request, pk: str = "") -> Response:
        """Answer the company."""
        return super().retrieve(request, self.the_one())

    def partial_update(self, request: Request, pk: str = "") -> Response:
        """Change the company; results that depend on it are computed again."""
        return super().partial_update(request, self.the_one())
