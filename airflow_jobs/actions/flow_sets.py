"""Flow-sets: the members whose flows add up to one system's."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import transaction

from airflow_jobs import recompute, tasks
from airflow_jobs.models import Computation, FlowReading, FlowSet, FlowSetMember, Traverse

from . import access
from .access import Actor
from .constraints import BrokenRule, RulesBroken, in_words
from .records import Recorded, add_record, change_record, unknown_reference


@dataclass(frozen=True, kw_only=True)
class Summand:
    """One flow of a set: a traverse or a flow reading, added (1) or taken away (-1)."""

    traverse_id: UUID | None = None
    flow_reading_id: UUID | None = None
    sign: int = 1


def add_flow_set(
    *,
    actor: Actor,
    values: Mapping[str, Any],
    members: Sequence[Summand],
    flow_set_id: UUID | None = None,
    now: datetime.datetime,
) -> Recorded[FlowSet]:
    """Add a flow-set, its result pending; the same again changes nothing.

    Raises
    ------
    NotAllowed, DifferentContent, RulesBroken
    """

    def follow(flow_set: FlowSet) -> None:
        _set_members(actor, flow_set, members)
        Computation.objects.create(flow_set=flow_set)
        transaction.on_commit(tasks.wake_worker)

    return add_record(
        actor=actor,
        model=FlowSet,
        values=values,
        as_sent=_as_sent(members),
        record_id=flow_set_id,
        now=now,
        then=follow,
    )


def change_flow_set(
    *,
    actor: Actor,
    flow_set_id: UUID,
    values: Mapping[str, Any],
    members: Sequence[Summand] | None,
    expected_revision: int | None,
    now: datetime.datetime,
) -> FlowSet:
    """Change a flow-set; members, where given, are the whole list.

    Raises
    ------
    NotAllowed, NotVisible, StaleRevision, RulesBroken
    """

    def follow(flow_set: FlowSet) -> None:
        if members is not None:
            # What leaves the set is judged by itself again, so mark it while it is still in.
            recompute.mark_affected_by(flow_set)
            flow_set.members.all().delete()
            _set_members(actor, flow_set, members)
        else:
            _check_members(actor, flow_set, _members_of(flow_set))

    return change_record(
        actor=actor,
        model=FlowSet,
        record_id=flow_set_id,
        values=values,
        as_sent=_as_sent(members) if members is not None else None,
        expected_revision=expected_revision,
        now=now,
        then=follow,
    )


def _as_sent(members: Sequence[Summand]) -> dict[str, Any]:
    """Keep the list in the set's own row too, so that its revision and history count it."""
    return {
        "members": [
            {
                "traverse": str(member.traverse_id) if member.traverse_id else None,
                "flow_reading": str(member.flow_reading_id) if member.flow_reading_id else None,
                "sign": member.sign,
            }
            for member in members
        ]
    }


def _members_of(flow_set: FlowSet) -> list[Summand]:
    return [
        Summand(traverse_id=row.traverse_id, flow_reading_id=row.flow_reading_id, sign=row.sign)
        for row in flow_set.members.order_by("pk")
    ]


def _set_members(actor: Actor, flow_set: FlowSet, members: Sequence[Summand]) -> None:
    _check_members(actor, flow_set, members)
    FlowSetMember.objects.bulk_create(
        FlowSetMember(
            flow_set=flow_set,
            traverse_id=member.traverse_id,
            flow_reading_id=member.flow_reading_id,
            sign=member.sign,
        )
        for member in members
    )


def _check_members(actor: Actor, flow_set: FlowSet, members: Sequence[Summand]) -> None:
    """Refuse members that don't belong to this system at this stage of this visit."""
    if not members:
        raise RulesBroken([BrokenRule("/members", "required", "A flow-set needs a member.")])
    traverses = {
        row.pk: row
        for row in access.visible(
            actor, Traverse.objects.filter(pk__in={m.traverse_id for m in members})
        ).select_related("duct_section")
    }
    readings = {
        row.pk: row
        for row in access.visible(
            actor, FlowReading.objects.filter(pk__in={m.flow_reading_id for m in members})
        )
    }
    broken: list[BrokenRule] = []
    for number, member in enumerate(members):
        if (member.traverse_id is None) == (member.flow_reading_id is None):
            rule = in_words("flow_set_member_is_one_thing")
            broken.append(BrokenRule(f"/members/{number}", rule.code, rule.message))
        elif member.traverse_id is not None:
            traverse = traverses.get(member.traverse_id)
            equipment_id = traverse.duct_section.equipment_id if traverse else None
            broken += _misplaced(flow_set, number, "traverse", member, traverse, equipment_id)
        else:
            assert member.flow_reading_id is not None
            reading = readings.get(member.flow_reading_id)
            equipment_id = reading.equipment_id if reading else None
            broken += _misplaced(flow_set, number, "flow_reading", member, reading, equipment_id)
    taken = [(m.traverse_id, m.flow_reading_id) for m in members]
    if len(set(taken)) < len(taken):
        broken.append(BrokenRule("/members", "duplicate", "A flow counts once in a flow-set."))
    if broken:
        raise RulesBroken(broken)


def _misplaced(
    flow_set: FlowSet,
    number: int,
    kind: str,
    member: Summand,
    row: Traverse | FlowReading | None,
    equipment_id: UUID | None,
) -> list[BrokenRule]:
    place = f"members/{number}/{kind}"
    if row is None:
        model = Traverse if kind == "traverse" else FlowReading
        return [unknown_reference(place, model, member.traverse_id or member.flow_reading_id)]
    for is_wrong, code, words in (
        (equipment_id != flow_set.equipment_id, "other_system", "of another system"),
        (row.visit_id != flow_set.visit_id, "other_visit", "of another visit"),
        (row.stage != flow_set.stage, "other_stage", f"{row.stage}, the set {flow_set.stage}"),
    ):
        if is_wrong:
            return [
                BrokenRule(
                    f"/{place}",
                    code,
                    f"This {kind.replace('_', ' ')} is {words}: the members of a flow-set are "
                    "of one system at one stage of one visit.",
                )
            ]
    return []
