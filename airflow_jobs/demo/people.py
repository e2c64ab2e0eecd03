"""People and crews: who works for the company, who joined, who left."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from typing import Final

from airflow_jobs.models import Crew, CrewMembership, Person, Role

from .names import CREWS, FAMILY_NAMES, GIVEN_NAMES
from .seeded import Seeded

MANAGER_USERNAME: Final = "manager"
ADMINISTRATOR_USERNAME: Final = "administrator"
TECHNICIAN_USERNAME: Final = "technician"
"""The technician whose sign-in a demonstration prints; a member of the first crew."""

JOINERS_AND_LEAVERS: Final = (0, 2, 3, 5)
"""Crews in which somebody left and somebody else came, by their place in the list."""


@dataclass
class Staff:
    """Everybody, and who is with whom."""

    people: list[Person] = field(default_factory=list)
    crews: list[Crew] = field(default_factory=list)
    memberships: list[CrewMembership] = field(default_factory=list)

    def crew(self, name: str) -> Crew:
        """Return the crew of this name."""
        return next(crew for crew in self.crews if crew.name == name)


def hire(seeded: Seeded, start: datetime.datetime, today: datetime.date) -> Staff:
    """Return the staff of some years: crews with joiners and leavers, and the office.

    Parameters
    ----------
    seeded
        Where chance comes from.
    start
        When the record begins, with its time zone.
    today
        The last day of the record.

    Returns
    -------
    Staff
        Everybody has a password that opens nothing.
    """
    staff = Staff()
    names = [
        f"{given} {family}"
        for given, family in zip(
            seeded.shuffled(GIVEN_NAMES * 2), seeded.shuffled(FAMILY_NAMES), strict=False
        )
    ]
    days = (today - start.date()).days
    _person(staff, seeded, start, MANAGER_USERNAME, names.pop(), Role.MANAGER)
    _person(staff, seeded, start, ADMINISTRATOR_USERNAME, names.pop(), Role.ADMINISTRATOR)
    for index, (crew_name, size) in enumerate(CREWS):
        crew = Crew(id=seeded.new_id(start), name=crew_name, created_at=start, updated_at=start)
        staff.crews.append(crew)
        for number in range(size):
            name = names.pop()
            is_shown = index == 0 and number == 0
            username = TECHNICIAN_USERNAME if is_shown else _username(name)
            person = _person(staff, seeded, start, username, name, Role.TECHNICIAN)
            membership = CrewMembership(crew=crew, person=person, from_on=start.date())
            staff.memberships.append(membership)
            if index in JOINERS_AND_LEAVERS and number == size - 1:
                left_on = start.date() + datetime.timedelta(
                    days=round(days * seeded.uniform(0.3, 0.7))
                )
                membership.to_on = left_on
                person.is_active = False
                joined_on = left_on + datetime.timedelta(days=seeded.whole(3, 25))
                name = names.pop()
                newcomer = _person(
                    staff,
                    seeded,
                    start + (joined_on - start.date()),
                    _username(name),
                    name,
                    Role.TECHNICIAN,
                )
                staff.memberships.append(
                    CrewMembership(crew=crew, person=newcomer, from_on=joined_on)
                )
    return staff


def _person(
    staff: Staff, seeded: Seeded, at: datetime.datetime, username: str, name: str, role: str
) -> Person:
    person = Person(
        id=seeded.new_id(at),
        username=username,
        name=name,
        role=role,
        # Starts as Django marks a password that opens nothing.
        password=f"!{seeded.new_id(at).hex}",
        created_at=at,
        updated_at=at,
    )
    staff.people.append(person)
    return person


def _username(name: str) -> str:
    return name.lower().replace(" ", ".")
