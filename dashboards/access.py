"""Who is looking, and what they may see on the pages."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from uuid import UUID

from airflow_jobs.models import Crew, Person


@dataclass(frozen=True, slots=True)
class Viewer:
    """The person who is signed in, as far as the pages must know."""

    name: str
    is_manager: bool
    is_administrator: bool
    crew_ids: frozenset[UUID]
    """The crews the person belongs to today."""

    def sees_crew(self, crew_id: UUID) -> bool:
        """Whether this crew may be named or set apart for the person."""
        return self.is_manager or crew_id in self.crew_ids


def viewer_of(person: Person, *, today: datetime.date) -> Viewer:
    """Return what the pages must know of a person; one query for a technician, none else."""
    crew_ids: frozenset[UUID] = frozenset()
    if not person.is_manager:
        crew_ids = frozenset(Crew.objects.of(person.pk, today).values_list("pk", flat=True))
    return Viewer(
        name=str(person),
        is_manager=person.is_manager,
        is_administrator=person.is_staff,
        crew_ids=crew_ids,
    )
