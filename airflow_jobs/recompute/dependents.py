"""Which results depend on a row, and so are computed again when it is added or changed."""

from __future__ import annotations

import datetime
from itertools import pairwise
from typing import Any, Final

from django.db import models
from django.db.models import Q

from airflow_jobs.models import (
    Adjustment,
    BlowerTable,
    Calibration,
    Company,
    DuctSection,
    Equipment,
    FlowReading,
    FlowSet,
    FlowSetMember,
    Instrument,
    PressureReading,
    Site,
    Target,
    TemperatureRise,
    Traverse,
)

OF_THE_COMPANY: Final = (
    "standard_density_kg_m3",
    "default_low_m3_s_per_w",
    "default_nominal_m3_s_per_w",
    "default_high_m3_s_per_w",
)
"""What results read of the company. Its name and its habits may change and move no result."""


def dependents(record: models.Model) -> Q:
    """Return which computations read a row.

    What rests on a traverse as its companion is marked when its result turns out to be another
    one, see `companions.dependents_of`.
    """
    nothing = Q(pk__in=[])
    match record:
        case Company():
            changes = _changes(record)
            return Q() if not changes or changes[-1][1] else nothing
        case Site():
            return _of_equipment(site=record)
        case Equipment():
            return _of_equipment(pk=record.pk)
        case Target():
            return _of_equipment(pk=record.equipment_id) if record.equipment_id else Q()
        case DuctSection():
            # What is held against a traverse in it stands in the same visit.
            visits = Traverse.objects.filter(duct_section=record).values("visit")
            return Q(traverse__in=_keys(Traverse.objects.filter(visit__in=visits)))
        case Instrument():
            return Q(traverse__instrument=record)
        case Calibration():
            return Q(traverse__instrument_id=record.instrument_id)
        case FlowSet():
            # Whether a section is a part of the system shows in its own traverses too.
            sections = FlowSetMember.objects.filter(flow_set=record, traverse__isnull=False)
            return (
                Q(flow_set=record)
                | Q(traverse__duct_section__in=sections.values("traverse__duct_section"))
                | _beside(record)
            )
        case Traverse():
            return Q(traverse=record)
        case BlowerTable():
            return _of_equipment(pk__in=_has_been(record, "equipment_id"))
        case FlowReading():
            members = FlowSetMember.objects.filter(flow_reading=record)
            sets = list(members.values_list("flow_set", flat=True))
            return Q(flow_set__in=sets) | _beside(record)
        case PressureReading() | TemperatureRise() | Adjustment():
            return _beside(record)
        case _:
            return nothing


def last_moved_at(company: Company) -> datetime.datetime:
    """Return when something that results read of the company was changed last."""
    moved = [at for at, moves in _changes(company) if moves]
    return max(moved, default=company.updated_at)


def _changes(company: Company) -> list[tuple[datetime.datetime, bool]]:
    """Return when each version of the company came, and whether it moves results."""
    history = Company.pgh_event_model.objects.filter(pgh_obj=company.pk)  # type: ignore[attr-defined]
    versions = history.order_by("pgh_id").values_list("pgh_created_at", *OF_THE_COMPANY)
    return [
        (after[0], before is None or before[1:] != after[1:])
        for before, after in pairwise([None, *versions])
    ]


def _has_been(record: models.Model, *fields: str) -> list[Any]:
    """Return what these fields of a row are and ever were: it may have been moved."""
    history = type(record).pgh_event_model.objects.filter(pgh_obj=record.pk)  # type: ignore[attr-defined]
    return list(history.values_list(*fields, flat=len(fields) == 1).distinct())


def _beside(record: models.Model) -> Q:
    """Return what stands on the same visit with the same system as a row, now or ever."""
    found = Q(pk__in=[])
    for visit, equipment in _has_been(record, "visit_id", "equipment_id"):
        traverses = Traverse.objects.filter(visit=visit, duct_section__equipment=equipment)
        flow_sets = FlowSet.objects.filter(visit=visit, equipment=equipment)
        found |= Q(traverse__in=_keys(traverses)) | Q(flow_set__in=_keys(flow_sets))
    return found


def _keys(rows: models.QuerySet[Any]) -> list[Any]:
    """Look the keys up first: a few of them find their computations by index."""
    return list(rows.values_list("pk", flat=True))


def _of_equipment(**which: Any) -> Q:
    equipment = Equipment.objects.filter(**which)
    return Q(traverse__duct_section__equipment__in=equipment) | Q(flow_set__equipment__in=equipment)
