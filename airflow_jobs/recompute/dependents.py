"""Which results depend on a row, and so are computed again when it is added or changed."""

from __future__ import annotations

from typing import Any

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


def dependents(record: models.Model) -> Q:
    """Return which computations read a row.

    What rests on a traverse as its companion is marked when its result turns out to be another
    one, see `companions.dependents_of`.
    """
    nothing = Q(pk__in=[])
    match record:
        case Company():
            return Q()
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
