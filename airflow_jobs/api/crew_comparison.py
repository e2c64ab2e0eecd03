"""The crews beside each other, as data: what the manager's page shows."""

from __future__ import annotations

from typing import Any, Final
from zoneinfo import ZoneInfo

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from airflow_jobs.actions.access import Actor, NotAllowed
from dashboards.access import Viewer
from dashboards.filters import read_filters
from dashboards.group_words import crew_sentence
from dashboards.queries.crews import crew_comparison
from dashboards.queries.frame import choices, house
from dashboards.values.crews import CrewShare, Visits
from dashboards.values.shares import Share

from .filters import UNITS, refuse_unknown
from .problems import BadQuery
from .records import METHODS

PARAMETERS: Final = (
    OpenApiParameter(
        "period", str, enum=["3m", "12m", "3y", "all"], description="By default the last 12 months."
    ),
    OpenApiParameter(
        "from", OpenApiTypes.DATE, description="First day; with it, or `to`, no `period` counts."
    ),
    OpenApiParameter("to", OpenApiTypes.DATE, description="Last day."),
    OpenApiParameter("customer", OpenApiTypes.UUID, description="Only this customer's sites."),
    OpenApiParameter("site", OpenApiTypes.UUID, description="Only this site."),
    OpenApiParameter("kind", str, description="Only this kind of equipment."),
    OpenApiParameter("air_path", str, description="Only this air path."),
)


class ShareSerializer(serializers.Serializer[Any]):
    """Jobs of one stage and the share of them in range."""

    jobs = serializers.IntegerField(help_text="Systems measured and judged, one a visit.")
    in_range = serializers.IntegerField(help_text="Best estimate within the target range.")
    low = serializers.IntegerField(help_text="Best estimate below it.")
    high = serializers.IntegerField(help_text="Best estimate above it.")
    undecided = serializers.IntegerField(
        help_text="How many of them are too close to call, on whichever side they lie."
    )
    share = serializers.FloatField(
        allow_null=True, help_text="Share in range, 0 to 1; null without jobs."
    )
    share_low = serializers.FloatField(
        allow_null=True, help_text="Lower end of its 95 % interval (Wilson)."
    )
    share_high = serializers.FloatField(allow_null=True, help_text="Upper end of it.")


class VisitsSerializer(serializers.Serializer[Any]):
    """Visits begun in the period."""

    total = serializers.IntegerField(help_text="All of them.")
    unmeasured = serializers.IntegerField(help_text="Nothing was measured.")
    unjudged = serializers.IntegerField(help_text="Measured, but nothing of it judged.")


class ComparedCrewSerializer(serializers.Serializer[Any]):
    """One crew; found and left are two facts and never added up."""

    crew = serializers.UUIDField(help_text="Its id.")
    name = serializers.CharField(help_text="Its name.")
    left = ShareSerializer(help_text="As left: what the work says.")
    found = ShareSerializer(help_text="As found: how hard the work was.")
    found_outside_without_as_left = serializers.IntegerField(
        help_text="Jobs found out of range and not measured as left."
    )
    planning_share = serializers.FloatField(
        allow_null=True,
        help_text="Share left in range to plan with: shrunk by what few jobs can't tell.",
    )
    planning_share_low = serializers.FloatField(allow_null=True, help_text="Lower 95 % end.")
    planning_share_high = serializers.FloatField(allow_null=True, help_text="Upper 95 % end.")
    expected_outside = serializers.FloatField(
        allow_null=True, help_text="How many the others would have left outside at these sites."
    )
    comparable = serializers.BooleanField(
        help_text="Whether there are jobs enough, of it and of the others."
    )
    differs = serializers.BooleanField(
        help_text="Whether it differs more than chance and site mix explain."
    )
    visits = VisitsSerializer(help_text="Its visits.")
    sentence = serializers.CharField(help_text="The same in one plain sentence.")


class WholeSerializer(serializers.Serializer[Any]):
    """All crews together, those that don't show by themselves included."""

    left = ShareSerializer(help_text="As left.")
    found = ShareSerializer(help_text="As found.")


class CrewComparisonSerializer(serializers.Serializer[Any]):
    """The crews of a period, the worst left first."""

    from_on = serializers.DateField(
        allow_null=True, help_text="First day; null: from the beginning."
    )
    to_on = serializers.DateField(allow_null=True, help_text="Last day; null: until now.")
    company = WholeSerializer(help_text="All crews together.")
    crews = ComparedCrewSerializer(many=True, help_text="Those that the caller may see set apart.")
    hidden_crews = serializers.IntegerField(
        help_text="Crews of fewer than three people, which show by themselves only with consent."
    )
    pending = serializers.IntegerField(
        help_text="Results that are being computed again; their last values count."
    )


class CrewComparisonView(APIView):
    """What each crew left, against what chance and the mix of sites explain."""

    http_method_names = METHODS

    @extend_schema(responses={200: CrewComparisonSerializer}, parameters=list(PARAMETERS))
    def get(self, request: Request) -> Response:
        """Compare the crews; a technician sees their own against the whole."""
        actor = request.user
        assert isinstance(actor, Actor)
        if actor.person_id is None:
            raise NotAllowed("A field app compares no crews; sign in as a person.")
        refuse_unknown(request, {*(item.name for item in PARAMETERS), UNITS})
        company = house()
        asked = read_filters(
            request.query_params.dict(),
            today=timezone.now().astimezone(ZoneInfo(company.time_zone)).date(),
        )
        if asked.problems:
            raise BadQuery({"query": " ".join(map(str, asked.problems))})
        viewer = Viewer(
            name=actor.name,
            is_manager=actor.is_manager,
            is_administrator=actor.is_administrator,
            crew_ids=actor.crew_ids,
        )
        small = choices(
            asked.filters, viewer, shows_small_crews=company.shows_small_crews
        ).small_crew_ids
        comparison = crew_comparison(asked.filters)
        return Response(
            {
                "from_on": asked.filters.from_on,
                "to_on": asked.filters.to_on,
                "company": {"left": _share(comparison.left), "found": _share(comparison.found)},
                "crews": [
                    _crew(one)
                    for one in comparison.crews
                    if one.id not in small and viewer.sees_crew(one.id)
                ],
                "hidden_crews": sum(
                    one.id in small and viewer.sees_crew(one.id) for one in comparison.crews
                ),
                "pending": comparison.pending,
            }
        )


def _crew(one: CrewShare) -> dict[str, Any]:
    named, compared = one.named, one.named.left_compared
    return {
        "crew": one.id,
        "name": one.name,
        "left": _share(named.left),
        "found": _share(named.found),
        "found_outside_without_as_left": named.found_outside_without_as_left,
        "planning_share": compared.planning_share if compared else None,
        "planning_share_low": compared.planning_low if compared else None,
        "planning_share_high": compared.planning_high if compared else None,
        "expected_outside": compared.expected_outside if compared else None,
        "comparable": compared.is_comparable if compared else False,
        "differs": compared.differs if compared else False,
        "visits": _visits(one.visits),
        "sentence": crew_sentence(named),
    }


def _share(share: Share) -> dict[str, Any]:
    has_jobs = share.total > 0
    return {
        "jobs": share.total,
        "in_range": share.inside,
        "low": share.below,
        "high": share.above,
        "undecided": share.undecided,
        "share": share.share,
        "share_low": share.low_end if has_jobs else None,
        "share_high": share.high_end if has_jobs else None,
    }


def _visits(visits: Visits) -> dict[str, int]:
    return {
        "total": visits.total,
        "unmeasured": visits.unmeasured,
        "unjudged": visits.unjudged,
    }
