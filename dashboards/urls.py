"""Addresses of the reading side."""

from django.urls import path

from .pages.compare import compared_file, systems_compared
from .pages.crews import crews, crews_file
from .pages.digest import digest
from .pages.due import due_file, due_page
from .pages.fleet import fleet, fleet_file
from .pages.instruments import (
    instrument,
    instrument_calibrations_file,
    instrument_file,
    instruments,
    instruments_file,
)
from .pages.look import look, look_file
from .pages.method import method
from .pages.over_time import over_time, over_time_file
from .pages.returning import returning_file, systems_returning
from .pages.site import site, site_file
from .pages.system import system, system_file
from .pages.systems import systems
from .pages.traverse import traverse, traverse_file
from .pages.traverse_revisions import traverse_revisions, traverse_revisions_file
from .pages.visit import visit, visit_report_file

urlpatterns = [
    path("", fleet, name="fleet"),
    path("tables/<slug:slug>.csv", fleet_file, name="fleet-file"),
    path("needs-a-look/", look, name="needs-a-look"),
    path("needs-a-look/all.csv", look_file, name="needs-a-look-file"),
    path("due/", due_page, name="due"),
    path("due/<slug:slug>.csv", due_file, name="due-file"),
    path("crews/", crews, name="crews"),
    path("crews/<slug:slug>.csv", crews_file, name="crews-file"),
    path("over-time/", over_time, name="over-time"),
    path("over-time/<slug:slug>.csv", over_time_file, name="over-time-file"),
    path("instruments/", instruments, name="instruments"),
    path("instruments/<slug:slug>.csv", instruments_file, name="instruments-file"),
    path("instruments/<uuid:instrument_id>/", instrument, name="instrument"),
    path("instruments/<uuid:instrument_id>/results.csv", instrument_file, name="instrument-file"),
    path(
        "instruments/<uuid:instrument_id>/calibrations.csv",
        instrument_calibrations_file,
        name="instrument-calibrations-file",
    ),
    path("systems/", systems, name="systems"),
    path("systems/returning/", systems_returning, name="systems-returning"),
    path("systems/returning/<slug:slug>.csv", returning_file, name="returning-file"),
    path("systems/compare/", systems_compared, name="systems-compared"),
    path("systems/compare/<slug:slug>.csv", compared_file, name="compared-file"),
    path("systems/<uuid:system_id>/", system, name="system"),
    path("systems/<uuid:system_id>/<slug:slug>.csv", system_file, name="system-file"),
    path("sites/<uuid:site_id>/", site, name="site"),
    path("sites/<uuid:site_id>/<slug:slug>.csv", site_file, name="site-file"),
    path("traverses/<uuid:traverse_id>/", traverse, name="traverse"),
    path("traverses/<uuid:traverse_id>/<slug:slug>.csv", traverse_file, name="traverse-file"),
    path("digest/", digest, name="digest"),
    path("traverses/<uuid:traverse_id>/revisions/", traverse_revisions, name="traverse-revisions"),
    path(
        "traverses/<uuid:traverse_id>/revisions/differences.csv",
        traverse_revisions_file,
        name="traverse-revisions-file",
    ),
    path("visits/<uuid:visit_id>/", visit, name="visit"),
    path("visits/<uuid:visit_id>/report.pdf", visit_report_file, name="visit-report"),
    path("method/", method, name="method"),
]
