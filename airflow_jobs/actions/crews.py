"""Crews: their names and who was in them from when to when."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from airflow_jobs.models import Crew, CrewMembership, Person

from .access import Actor
from .constraints import BrokenRule, RulesBroken
from .records import Recorded, add_record, change_record, unknown_reference


@dataclass(frozen=True, kw_only=True)
class Member:
    """One person's time in a crew; the last day is included."""

    person_id: UUID
    from_on: datetime.date
    to_on: datetime.date | None = None


def add_crew(
    *,
    actor: Actor,
    values: Mapping[str, Any],
    members: Sequence[Member],
    crew_id: UUID | None = None,
    now: datetime.datetime,
) -> Recorded[Crew]:
    """Add a crew with its members; the same again changes nothing.

    Raises
    ------
    NotAllowed, DifferentContent, RulesBroken
    """
    return add_record(
        actor=actor,
        model=Crew,
        values=values,
        as_sent=_as_sent(members),
        record_id=crew_id,
        now=now,
        then=lambda crew: _set_members(crew, members),
    )


def change_crew(
    *,
    actor: Actor,
    crew_id: UUID,
    values: Mapping[str, Any],
    members: Sequence[Member] | None,
    expected_revision: int | None,
    now: datetime.datetime,
) -> Crew:
    """Change a crew; members, where given, are the whole list, past ones included.

    Raises
    ------
    NotAllowed, NotVisible, StaleRevision, RulesBroken
    """
    if members is None:
        return change_record(
            actor=actor,
            model=Crew,
            record_id=crew_id,
            values=values,
            expected_revision=expected_revision,
            now=now,
        )
    return change_record(
        actor=actor,
        model=Crew,
        record_id=crew_id,
        values=values,
        as_sent=_as_sent(members) or {"members": None},
        expected_revision=expected_revision,
        now=now,
        then=lambda crew: _set_members(crew, members),
    )


def _as_sent(members: Sequence[Member]) -> dict[str, Any]:
    """Keep the list in the crew's own row too, so that its revision and history count it."""
    listed = [
        {
            "person": str(member.person_id),
            "from_on": member.from_on.isoformat(),
            "to_on": member.to_on.isoformat() if member.to_on else None,
        }
        for member in members
    ]
    return {"members": listed} if listed else {}


def _set_members(crew: Crew, members: Sequence[Member]) -> None:
    known = set(
        Person.objects.filter(pk__in={member.person_id for member in members}).values_list(
            "pk", flat=True
        )
    )
    broken = [
        unknown_reference(f"members/{number}/person", Person, member.person_id)
        for number, member in enumerate(members)
        if member.person_id not in known
    ]
    broken += [
        BrokenRule(
            f"/members/{number}/to_on",
            "not_ordered",
            f"{member.to_on} is before {member.from_on}: a member leaves on or after joining.",
        )
        for number, member in enumerate(members)
        if member.to_on is not None and member.to_on < member.from_on
    ]
    if broken:
        raise RulesBroken(broken)
    wanted = {(member.person_id, member.from_on): member.to_on for member in members}
    if len(wanted) < len(members):
        raise RulesBroken(
            [BrokenRule("/members", "duplicate", "Somebody joins twice on the same day.")]
        )
    for membership in crew.memberships.all():
        key = (membership.person_id, membership.from_on)
        if key not in wanted:
            membership.delete()
        elif membership.to_on != wanted.pop(key):
            membership.to_on = {m.person_id: m.to_on for m in members if m.from_on == key[1]}[
                key[0]
            ]
            membership.save(update_fields=["to_on"])
    CrewMembership.objects.bulk_create(
        CrewMembership(crew=crew, person_id=person_id, from_on=from_on, to_on=to_on)
        for (person_id, from_on), to_on in wanted.items()
    )
