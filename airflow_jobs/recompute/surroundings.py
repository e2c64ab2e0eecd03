"""The rows beside the traverses of one run, fetched for all of them in a few statements."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from statistics import median
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q

from airflow_jobs.models import (
    Calibration,
    Call,
    Company,
    DuctSection,
    Stage,
    Target,
    Traverse,
)

from .beside import Subject, beside_of, plain_setting
from .companions import shared_sections
from .inputs import Neighbours, Surroundings, inside_of

# By how many earlier traverses of a section a slip of units is judged, and by how few.
EARLIER = 8
HISTORY_LEAST = 2


def surroundings_of(traverses: Sequence[Traverse]) -> Surroundings:
    """Fetch what the results of these traverses depend on beside their own rows."""
    equipment = {row.duct_section.equipment_id for row in traverses}
    calibrations: dict[object, list[Calibration]] = defaultdict(list)
    for calibration in Calibration.objects.filter(
        instrument__in={row.instrument_id for row in traverses}
    ):
        calibrations[calibration.instrument_id].append(calibration)
    return Surroundings(
        company=the_company(),
        calibrations=calibrations,
        targets=list(Target.objects.filter(Q(equipment__in=equipment) | Q(equipment__isnull=True))),
        cooling_settings=cooling_settings(
            {row.duct_section.equipment_id for row in traverses if row.call == Call.FAN_ONLY}
        ),
        shared_sections=shared_sections({row.duct_section_id for row in traverses}),
        neighbours=_neighbours(traverses),
        beside=beside_of([_subject(row) for row in traverses]),
    )


def _subject(traverse: Traverse) -> Subject:
    equipment = traverse.duct_section.equipment
    return Subject(
        key=traverse.pk,
        visit_id=traverse.visit_id,
        equipment=equipment,
        stage=traverse.stage,
        call=traverse.call,
        setting=str(traverse.operating_state.get("blower_setting") or ""),
        taken_at=traverse.taken_at,
        day=traverse.taken_at.astimezone(ZoneInfo(equipment.site.time_zone)).date(),
        instrument_ids=frozenset([traverse.instrument_id]),
    )


def the_company() -> Company:
    """Return the company's settings, or those it would have before it is set up."""
    return Company.objects.first() or Company()


def cooling_settings(asked: Collection[UUID]) -> dict[UUID, frozenset[str]]:
    """Return equipment -> blower settings it was measured with in cooling."""
    if not asked:
        return {}
    settings: dict[UUID, set[str]] = defaultdict(set)
    rows = Traverse.objects.filter(
        duct_section__equipment__in=asked,
        call=Call.COOLING,
        operating_state__has_key="blower_setting",
    ).values_list("duct_section__equipment_id", "operating_state__blower_setting")
    for key, setting in rows.distinct():
        settings[key].add(plain_setting(setting))
    return {key: frozenset(value - {""}) for key, value in settings.items()}


def _neighbours(traverses: Sequence[Traverse]) -> dict[object, Neighbours]:
    """Return traverse -> earlier readings of its section and the as-found of its visit.

    Only what was recorded counts, never what has been computed by now: the order in which
    results are computed must not show in them.
    """
    earlier = _earlier_readings(traverses)
    areas = _areas_over_time(traverses)
    found_states = _found_states(traverses)
    around: dict[object, Neighbours] = {}
    for row in traverses:
        before = [item for item in earlier[row.duct_section_id] if item[0] < row.taken_at]
        means = [mean for _, _, mean in before[-EARLIER:] if mean]
        found_at = found_states.get((row.visit_id, row.duct_section_id))
        is_left = row.stage == Stage.AS_LEFT and found_at is not None
        around[row.pk] = Neighbours(
            earlier_area_m2=(
                _area_at(areas[row.duct_section_id], before[-1][1]) if before else None
            ),
            usual_reading_m_s=median(means) if len(means) >= HISTORY_LEAST else None,
            found_state=found_at[1] if is_left and found_at else None,
            found_later=bool(is_left and found_at and found_at[0] > row.taken_at),
        )
    return around


def _earlier_readings(
    traverses: Iterable[Traverse],
) -> dict[object, list[tuple[datetime.datetime, datetime.datetime, float | None]]]:
    """Return section -> (taken, recorded, mean as indicated) of its traverses, oldest first."""
    found: dict[object, list[tuple[Any, Any, float | None]]] = defaultdict(list)
    rows = (
        Traverse.objects.filter(duct_section__in={row.duct_section_id for row in traverses})
        .order_by("taken_at", "pk")
        .values_list("duct_section_id", "taken_at", "created_at", "mean_reading_m_s")
    )
    for section, taken_at, created_at, mean in rows:
        found[section].append((taken_at, created_at, mean))
    return found


def _areas_over_time(
    traverses: Iterable[Traverse],
) -> dict[object, list[tuple[datetime.datetime, float]]]:
    """Return section -> (from when, inside area) as its sizes were entered and changed."""
    found: dict[object, list[tuple[datetime.datetime, float]]] = defaultdict(list)
    history = DuctSection.pgh_event_model.objects  # type: ignore[attr-defined]
    rows = history.filter(id__in={row.duct_section_id for row in traverses}).order_by("pgh_id")
    for event in rows:
        found[event.id].append((event.pgh_created_at, inside_of(event).area_m2))
    return found


def _area_at(areas: list[tuple[datetime.datetime, float]], when: datetime.datetime) -> float | None:
    """Return the area that was on record at that time."""
    return next((area for since, area in reversed(areas) if since <= when), None)


def _found_states(
    traverses: Sequence[Traverse],
) -> dict[tuple[object, object], tuple[Any, dict[str, Any]]]:
    """Return (visit, section) -> when and in which state it was found."""
    left = [row for row in traverses if row.stage == Stage.AS_LEFT]
    if not left:
        return {}
    rows = Traverse.objects.filter(
        visit__in={row.visit_id for row in left},
        duct_section__in={row.duct_section_id for row in left},
        stage=Stage.AS_FOUND,
    ).order_by("taken_at", "pk")
    return {
        (row.visit_id, row.duct_section_id): (
            row.taken_at,
            {"call": row.call, **row.operating_state},
        )
        for row in rows
    }
