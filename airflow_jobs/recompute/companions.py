"""Other traverses of the same visit and system that a result depends on.

Two kinds: the one as found, against which one as left is held, and the one on the other side of
the blower, against which a return or a supply is held (of the same stage, or one of the two a
check). Their flows are computed anew from their
rows each time, never taken from a result, so that the order of computing shows nowhere. The
later of two has the other as its companion, never the other way round.
"""

from __future__ import annotations

import datetime
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from django.db.models import Max, Q

from airflow_jobs.models import AirPath, Computation, FlowSetMember, Stage, State, Traverse

FOUND: Final = "as_found"
OTHER_SIDE: Final = "other_side"
COMPARED_WITH: Final[dict[str, tuple[str, ...]]] = {
    Stage.AS_FOUND: (Stage.AS_FOUND, Stage.CHECK),
    Stage.AS_LEFT: (Stage.AS_LEFT, Stage.CHECK),
    Stage.CHECK: (Stage.AS_FOUND, Stage.AS_LEFT, Stage.CHECK),
}
"""Stage -> stages of the other side that may be the same state of the system."""
OPPOSITE: Final = {AirPath.RETURN: AirPath.SUPPLY, AirPath.SUPPLY: AirPath.RETURN}

_Moment = tuple[datetime.datetime, UUID]


@dataclass(frozen=True, slots=True)
class Companion:
    """Another traverse as the digest of a result sees it."""

    relation: str
    traverse: str
    same_meter: bool
    same_section: bool
    digest: str
    """Of everything its flow depends on."""


def companions_of(traverses: Sequence[Traverse]) -> dict[UUID, dict[str, UUID]]:
    """Return traverse -> relation -> the other traverse, in two statements."""
    as_found: dict[Any, list[_Moment]] = defaultdict(list)
    by_side: dict[Any, list[_Moment]] = defaultdict(list)
    # Only what may be chosen: a visit can be long.
    paths = {OPPOSITE.get(AirPath(row.duct_section.air_path)) for row in traverses} - {None}
    eligible = Q(duct_section__air_path__in=paths)
    if any(row.stage == Stage.AS_LEFT for row in traverses):
        eligible |= Q(stage=Stage.AS_FOUND)
    rows = list(
        Traverse.objects.filter(
            eligible,
            visit__in={row.visit_id for row in traverses},
            duct_section__equipment__in={row.duct_section.equipment_id for row in traverses},
        )
        .order_by("taken_at", "pk")
        .values_list(
            "pk",
            "taken_at",
            "visit_id",
            "duct_section__equipment_id",
            "duct_section_id",
            "stage",
            "call",
            "duct_section__air_path",
            "duct_section__carries_all",
        )
    )
    shared = shared_sections({section for *_, section, _, _, _, carries in rows if carries is None})
    for pk, taken_at, visit, equipment, section, stage, call, path, carries_all in rows:
        if carries_all is False or (carries_all is None and section in shared):
            continue
        moment = (taken_at, pk)
        if stage == Stage.AS_FOUND:
            as_found[visit, equipment].append(moment)
            as_found[visit, equipment, section].append(moment)
        by_side[visit, equipment, stage, call, path].append(moment)
    chosen: dict[UUID, dict[str, UUID]] = {}
    for row in traverses:
        system = (row.visit_id, row.duct_section.equipment_id)
        related: dict[str, UUID] = {}
        if row.stage == Stage.AS_LEFT:
            # The same section compares best: its size and siting err alike both times.
            found = _latest_until(as_found[*system, row.duct_section_id], row) or _latest_until(
                as_found[system], row
            )
            if found is not None:
                related[FOUND] = found
        other_path = OPPOSITE.get(AirPath(row.duct_section.air_path))
        if other_path is not None:
            before = [
                _last_before(by_side[*system, one, row.call, other_path], row)
                for one in COMPARED_WITH[row.stage]
            ]
            other = max((moment for moment in before if moment is not None), default=None)
            if other is not None:
                related[OTHER_SIDE] = other[1]
        # A correction that is only previewed finds its own row as it was stored.
        related = {relation: key for relation, key in related.items() if key != row.pk}
        if related:
            chosen[row.pk] = related
    return chosen


def shared_sections(sections: Collection[UUID]) -> frozenset[UUID]:
    """Return which of these sections add up with others in some flow-set.

    Asked by itself: as a condition inside a larger statement it was looked up for every row
    wherever the planner had no statistics, just after a bulk load.
    """
    if not sections:
        return frozenset()
    members = FlowSetMember.objects.filter(traverse__duct_section__in=sections)
    return frozenset(members.values_list("traverse__duct_section_id", flat=True).distinct())


def _latest_until(moments: Sequence[_Moment], row: Traverse) -> UUID | None:
    """Return the last one taken no later; there is none but itself at the same moment."""
    place = bisect_right(moments, row.taken_at, key=lambda moment: moment[0])
    return moments[place - 1][1] if place else None


def _last_before(moments: Sequence[_Moment], row: Traverse) -> _Moment | None:
    """Return the last one before; of two at one moment the one with the larger id is later."""
    place = bisect_left(moments, (row.taken_at, row.pk))
    return moments[place - 1] if place else None


def dependents_of(moved: Iterable[UUID], *, but: Iterable[UUID]) -> list[UUID]:
    """Return the traverses that may have, or may have had, one of these as a companion.

    Where a correction took a traverse to another stage, visit or section, those that it was a
    companion of until then count too.

    Parameters
    ----------
    moved
        Traverses whose results are others than before.
    but
        Traverses that are left out.
    """
    history = Traverse.pgh_event_model.objects  # type: ignore[attr-defined]
    states = history.filter(pgh_obj__in=list(moved)).values_list(
        "visit_id", "duct_section__equipment_id", "stage", "duct_section_id", "taken_at"
    )
    # The earliest of each section and stage speaks for all of them.
    since: dict[Any, dict[Any, datetime.datetime]] = defaultdict(dict)
    for visit, equipment, stage, section, taken_at in states:
        earliest = since[visit, equipment]
        earliest[stage, section] = min(taken_at, earliest.get((stage, section), taken_at))
    if not since:
        return []
    rows = (
        Traverse.objects.filter(visit__in={visit for visit, _ in since})
        .exclude(pk__in=list(but))
        .values_list(
            "pk", "visit_id", "duct_section__equipment_id", "stage", "duct_section_id", "taken_at"
        )
    )
    return sorted(
        pk
        for pk, visit, equipment, stage, section, taken_at in rows
        if any(
            taken_at >= earliest and _may_rest_on(stage, section, *other)
            for other, earliest in since.get((visit, equipment), {}).items()
        )
    )


def _may_rest_on(stage: str, section: UUID, other_stage: str, other_section: UUID) -> bool:
    """Whether a traverse may have one of another stage or section as its companion."""
    return (stage == Stage.AS_LEFT and other_stage == Stage.AS_FOUND) or (
        other_stage in COMPARED_WITH[stage] and section != other_section
    )


def looked_at_too_early(*, since: datetime.datetime | None, lag: datetime.timedelta) -> set[int]:
    """Return computed rows that may have been looked at before a companion was changed.

    Parameters
    ----------
    since
        Look at changes after that only; None for all of them.
    lag
        How long a change may take from its time stamp to its commit.
    """
    paths = (
        "updated_at",
        "duct_section__updated_at",
        "instrument__updated_at",
        "instrument__calibrations__updated_at",
    )
    changed = Traverse.objects.all()
    computed = Computation.objects.filter(state=State.COMPUTED, traverse__isnull=False)
    if since is not None:
        recent = Q()
        for path in paths:
            recent |= Q(**{f"{path}__gt": since})
        changed = changed.filter(recent)
    # The latest change of each section and stage of a visit speaks for all of them.
    latest: dict[Any, dict[Any, datetime.datetime]] = defaultdict(dict)
    for visit, section, stage, *moments in (
        changed.values("visit_id", "duct_section_id", "stage")
        .annotate(**{f"latest_{number}": Max(path) for number, path in enumerate(paths)})
        .values_list(
            "visit_id", "duct_section_id", "stage", *(f"latest_{n}" for n in range(len(paths)))
        )
    ):
        latest[visit][stage, section] = max(moment for moment in moments if moment is not None)
    if since is not None:
        computed = computed.filter(traverse__visit__in=list(latest))
    rows = computed.values_list(
        "pk", "traverse__visit_id", "traverse__stage", "traverse__duct_section_id", "checked_at"
    )
    return {
        key
        for key, visit, stage, section, checked_at in rows.iterator()
        if checked_at is not None
        and any(
            moment > checked_at - lag and _may_rest_on(stage, section, *other)
            for other, moment in latest.get(visit, {}).items()
        )
    }
