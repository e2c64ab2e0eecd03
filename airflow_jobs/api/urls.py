"""Addresses of the API."""

from __future__ import annotations

from typing import Any

from django.urls import include, path, re_path
from rest_framework.routers import SimpleRouter

from . import docs
from .catalogues import FindingsView, NothingHereView, ProblemKindView
from .company import CompanyView
from .crew_comparison import CrewComparisonView
from .crews import CrewViewSet, PersonViewSet
from .duct_sections import DuctSectionViewSet
from .equipment import EquipmentViewSet
from .flow_sets import FlowSetViewSet
from .instruments import CalibrationViewSet, InstrumentViewSet
from .layouts import LayoutView
from .measurements import FlowReadingViewSet, PressureViewSet, TemperatureRiseViewSet
from .records import UUID_IN_PATH
from .report_links import ReportLinkViewSet
from .sites import CustomerViewSet, SiteViewSet
from .targets import BlowerTableViewSet, TargetViewSet
from .tokens import FieldAppTokenViewSet, TokenViewSet
from .traverses import TraverseViewSet
from .visits import AdjustmentViewSet, VisitViewSet

router = SimpleRouter()
for prefix, view in (
    ("customers", CustomerViewSet),
    ("sites", SiteViewSet),
    ("equipment", EquipmentViewSet),
    ("targets", TargetViewSet),
    ("blower-tables", BlowerTableViewSet),
    ("duct-sections", DuctSectionViewSet),
    ("instruments", InstrumentViewSet),
    ("calibrations", CalibrationViewSet),
    ("crews", CrewViewSet),
    ("people", PersonViewSet),
    ("visits", VisitViewSet),
    ("adjustments", AdjustmentViewSet),
    ("pressures", PressureViewSet),
    ("temperature-rises", TemperatureRiseViewSet),
    ("flow-readings", FlowReadingViewSet),
    ("flow-sets", FlowSetViewSet),
    ("traverses", TraverseViewSet),
):
    router.register(prefix, view, basename=prefix)


v1: list[Any] = [
    path("company/", CompanyView.as_view({"get": "retrieve", "patch": "partial_update"})),
    path("crew-comparison/", CrewComparisonView.as_view()),
    path("layout/", LayoutView.as_view()),
    path("findings/", FindingsView.as_view()),
    path("problems/<slug:slug>/", ProblemKindView.as_view()),
    path("tokens/", TokenViewSet.as_view({"get": "list", "post": "create"})),
    path("tokens/field-app/", FieldAppTokenViewSet.as_view({"get": "list", "post": "create"})),
    re_path(
        rf"^tokens/(?P<pk>{UUID_IN_PATH})/$",
        TokenViewSet.as_view({"get": "retrieve", "delete": "destroy"}),
    ),
    re_path(
        rf"^visits/(?P<visit_id>{UUID_IN_PATH})/report-links/$",
        ReportLinkViewSet.as_view({"get": "list", "post": "create"}),
    ),
    re_path(
        rf"^visits/(?P<visit_id>{UUID_IN_PATH})/report-links/(?P<pk>{UUID_IN_PATH})/$",
        ReportLinkViewSet.as_view({"get": "retrieve", "delete": "destroy"}),
    ),
    *docs.urlpatterns,
    path("", include(router.urls)),
]

urlpatterns = [
    path("v1/", include((v1, "api"))),
    re_path(r"", NothingHereView.as_view()),
]
