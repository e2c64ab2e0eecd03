"""The rows that a visit's report is made of, in so many statements however much was measured."""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass
from uuid import UUID
from zoneinfo import ZoneInfo

from airflow_jobs.found_off import CalibrationFound
from airflow_jobs.found_off import calibrations as calibrations_found
from airflow_jobs.models import (
    Adjustment,
    Calibration,
    Company,
    Equipment,
    FlowReading,
    FlowSet,
    FlowSetMember,
    PressureReading,
    TemperatureRise,
    Traverse,
    TraverseRevision,
    Visit,
)


@dataclass(frozen=True, slots=True)
class VisitRows:
    """One visit with everything that hangs on it, each list oldest first."""

    company: Company
    visit: Visit
    traverses: tuple[Traverse, ...]
    corrected_at: dict[UUID, datetime.datetime]
    """Of the traverses that were corrected: when, last."""
    flow_sets: tuple[FlowSet, ...]
    members: dict[UUID, tuple[FlowSetMember, ...]]
    """Flow-set -> what it adds up."""
    flow_readings: tuple[FlowReading, ...]
    pressures: tuple[PressureReading, ...]
    rises: tuple[TemperatureRise, ...]
    adjustments: tuple[Adjustment, ...]
    calibrations: dict[UUID, tuple[Calibration, ...]]
    """Instrument -> its calibrations."""
    found: dict[UUID, tuple[CalibrationFound, ...]]
    """Instrument -> what each of its calibrations found."""

    @property
    def zone(self) -> ZoneInfo:
        """The zone of the site."""
        return ZoneInfo(self.visit.site.time_zone)

    def systems(self) -> list[Equipment]:
        """Return the systems that anything was done to, by tag."""
        found = {
            system.pk: system
            for system in (
                *(row.duct_section.equipment for row in self.traverses),
                *(row.equipment for row in self.flow_sets),
                *(row.equipment for row in self.flow_readings),
                *(row.equipment for row in self.pressures),
                *(row.equipment for row in self.rises),
                *(row.equipment for row in self.adjustments),
            )
        }
        return sorted(found.values(), key=lambda system: (system.tag.casefold(), str(system.pk)))


def visit_rows(visit_id: UUID) -> VisitRows | None:
    """Return a visit's rows, or nothing where there is no such visit; twelve statements."""
    visit = Visit.objects.select_related("site__customer", "crew").filter(pk=visit_id).first()
    if visit is None:
        return None
    traverses = tuple(
        Traverse.objects.filter(visit=visit)
        .with_result()
        .select_related("duct_section__equipment", "instrument")
        .order_by("taken_at", "pk")
    )
    members: dict[UUID, list[FlowSetMember]] = defaultdict(list)
    for member in (
        FlowSetMember.objects.filter(flow_set__visit=visit)
        .select_related("flow_reading")
        .order_by("pk")
    ):
        members[member.flow_set_id].append(member)
    meters = {row.instrument_id for row in traverses}
    calibrations: dict[UUID, list[Calibration]] = defaultdict(list)
    for calibration in Calibration.objects.filter(instrument__in=meters).order_by(
        "performed_on", "created_at", "pk"
    ):
        calibrations[calibration.instrument_id].append(calibration)
    found: dict[UUID, list[CalibrationFound]] = defaultdict(list)
    for one in calibrations_found(*meters) if meters else ():
        found[one.instrument_id].append(one)
    revisions = (
        TraverseRevision.objects.filter(traverse__visit=visit, number__gt=1)
        .order_by("number")
        .values_list("traverse_id", "recorded_at")
    )
    return VisitRows(
        company=Company.objects.order_by("pk").first() or Company(),
        visit=visit,
        traverses=traverses,
        corrected_at=dict(revisions),
        flow_sets=tuple(
            FlowSet.objects.filter(visit=visit)
            .select_related("equipment", "computation__result")
            .order_by("created_at", "pk")
        ),
        members={key: tuple(rows) for key, rows in members.items()},
        flow_readings=tuple(
            FlowReading.objects.filter(visit=visit)
            .select_related("equipment")
            .order_by("taken_at", "pk")
        ),
        pressures=tuple(
            PressureReading.objects.filter(visit=visit)
            .select_related("equipment")
            .order_by("taken_at", "pk")
        ),
        rises=tuple(
            TemperatureRise.objects.filter(visit=visit)
            .select_related("equipment")
            .order_by("taken_at", "pk")
        ),
        adjustments=tuple(
            Adjustment.objects.filter(visit=visit)
            .select_related("equipment")
            .order_by("made_at", "pk")
        ),
        calibrations={key: tuple(rows) for key, rows in calibrations.items()},
        found={key: tuple(rows) for key, rows in found.items()},
    )
