"""Who may do what: the one place where it is written down.

An actor is whoever a request or a command acts for. Everything that writes opens `writing`, so
that the history names the actor. What an actor may not know of is `NotVisible` (404), what may
be known but not done is `NotAllowed` (403).
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar
from uuid import UUID

import pghistory
from django.db import models, transaction
from django.db.models.expressions import Combinable

from airflow_jobs.models import (
    Adjustment,
    BlowerTable,
    Calibration,
    Company,
    Crew,
    Customer,
    DuctSection,
    Equipment,
    FlowReading,
    FlowSet,
    Instrument,
    Person,
    PressureReading,
    ReportLink,
    Role,
    Site,
    Target,
    TemperatureRise,
    Token,
    Traverse,
    Visit,
)

Row = TypeVar("Row", bound=models.Model)

TECHNICIAN: Final[str] = Role.TECHNICIAN.value
MANAGER: Final[str] = Role.MANAGER.value
ADMINISTRATOR: Final[str] = Role.ADMINISTRATOR.value
FIELD_APP: Final = "field_app"
SERVICE: Final = "service"
"""The service itself: commands and start-up, which no request speaks for."""

_ALL: Final = frozenset({TECHNICIAN, FIELD_APP, MANAGER, ADMINISTRATOR, SERVICE})
_MANAGERS: Final = frozenset({MANAGER, ADMINISTRATOR, SERVICE})
_ADMINISTRATORS: Final = frozenset({ADMINISTRATOR, SERVICE})

OF_A_VISIT: Final[tuple[type[models.Model], ...]] = (
    Adjustment,
    PressureReading,
    TemperatureRise,
    FlowReading,
    FlowSet,
    Traverse,
)
"""What hangs on a visit: its crew's to write."""

_MAY_READ: Final[dict[type[models.Model], frozenset[str]]] = {
    Customer: _ALL,
    Site: _ALL,
    Equipment: _ALL,
    DuctSection: _ALL,
    Instrument: _ALL,
    Calibration: _ALL,
    Target: _ALL,
    BlowerTable: _ALL,
    Crew: _ALL,
    Visit: _ALL,
    **dict.fromkeys(OF_A_VISIT, _ALL),
    Company: _MANAGERS,
    Person: _MANAGERS,
    ReportLink: _MANAGERS,
    Token: _ALL - {FIELD_APP},
}
_MAY_WRITE: Final[dict[type[models.Model], frozenset[str]]] = {
    Customer: _ALL,
    Site: _ALL,
    Equipment: _ALL,
    DuctSection: _ALL,
    BlowerTable: _ALL,
    Instrument: _MANAGERS,
    Calibration: _MANAGERS,
    Target: _MANAGERS,
    Crew: _MANAGERS,
    ReportLink: _MANAGERS,
    Visit: _ALL,
    **dict.fromkeys(OF_A_VISIT, _ALL),
    Company: _ADMINISTRATORS,
    Person: _ADMINISTRATORS,
    Token: _ALL - {FIELD_APP},
}


class NotAllowed(Exception):
    """The actor may know of it, but not do this; the text says who may."""


class NotVisible(Exception):
    """There is no such thing, or the actor may not know of it; outside the two look the same."""


@dataclass(frozen=True, kw_only=True)
class Actor:
    """Whoever acts: a person in a role, a field app of one crew, or the service itself."""

    name: str
    role: str
    person_id: UUID | None = None
    crew_ids: frozenset[UUID] = field(default_factory=frozenset)
    """A person's crews today; the one crew of a field app."""

    @classmethod
    def of_person(cls, person: Person, *, today: datetime.date | Combinable) -> Actor:
        """Return a person as an actor, with the crews of that day, the company's."""
        crews = Crew.objects.of(person.pk, today).values_list("pk", flat=True)
        return cls(
            name=person.name or person.username,
            role=person.role,
            person_id=person.pk,
            crew_ids=frozenset(crews),
        )

    @classmethod
    def of_field_app(cls, token: Token) -> Actor:
        """Return a field app as an actor; its token carries the crew."""
        assert token.crew_id is not None
        name = f"field app {token.label or token.pk}"
        return cls(name=name, role=FIELD_APP, crew_ids=frozenset({token.crew_id}))

    @classmethod
    def service(cls, name: str = "the service") -> Actor:
        """Return the service itself as an actor."""
        return cls(name=name, role=SERVICE)

    @property
    def is_manager(self) -> bool:
        """Whether the actor reads and writes across all crews."""
        return self.role in _MANAGERS

    @property
    def is_administrator(self) -> bool:
        """Whether the actor may change people, tokens of others and the company."""
        return self.role in _ADMINISTRATORS

    @property
    def is_field_app(self) -> bool:
        """Whether the actor sees one crew's measurements only."""
        return self.role == FIELD_APP


@contextmanager
def writing(actor: Actor) -> Iterator[None]:
    """Open the one transaction of an act and tell the history whose act it is."""
    identity = actor.person_id or next(iter(actor.crew_ids), None)
    with (
        transaction.atomic(),
        pghistory.context(
            actor=str(identity) if identity else actor.role,
            actor_name=actor.name,
            actor_role=actor.role,
        ),
    ):
        yield


def require_read(actor: Actor, model: type[models.Model]) -> None:
    """Refuse an actor whose role may not read this kind of row."""
    if actor.role not in _MAY_READ[model]:
        raise NotAllowed(_who_may(_MAY_READ[model], "read", model))


def require_write(actor: Actor, model: type[models.Model]) -> None:
    """Refuse an actor whose role may not write this kind of row."""
    if actor.role not in _MAY_WRITE[model]:
        raise NotAllowed(_who_may(_MAY_WRITE[model], "write", model))


def require_administrator(actor: Actor, act: str) -> None:
    """Refuse an actor who is no administrator."""
    if not actor.is_administrator:
        raise NotAllowed(f"Only an administrator may {act}.")


def require_crew(actor: Actor, crew_id: UUID) -> None:
    """Refuse an actor who may not write what belongs to this crew."""
    if not actor.is_manager and crew_id not in actor.crew_ids:
        raise NotAllowed(
            "A visit and what hangs on it is written by its own crew or a manager; "
            "this visit belongs to another crew."
        )


def visible(actor: Actor, rows: models.QuerySet[Row]) -> models.QuerySet[Row]:
    """Return those of the rows that the actor may know of."""
    model: Any = rows.model
    if model is Token and not actor.is_administrator:
        return rows.filter(person_id=actor.person_id) if actor.person_id else rows.none()
    if not actor.is_field_app:
        return rows
    if model is Visit:
        return rows.filter(crew_id__in=actor.crew_ids)
    if model in OF_A_VISIT:
        return rows.filter(visit__crew_id__in=actor.crew_ids)
    return rows


def is_visible(actor: Actor, row: models.Model) -> bool:
    """Return whether the actor may know of this row."""
    return visible(actor, type(row)._default_manager.filter(pk=row.pk)).exists()


def _who_may(roles: frozenset[str], act: str, model: type[models.Model]) -> str:
    who = "administrators" if roles <= _ADMINISTRATORS else "managers and administrators"
    if TECHNICIAN in roles:
        who = "people"
    return f"Only {who} may {act} {model._meta.verbose_name_plural}."
