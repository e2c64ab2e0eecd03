"""People: adding them, changing them, their passwords."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from airflow_jobs.models import Person, Role, Token

from . import access
from .access import Actor, writing
from .constraints import BrokenRule, RulesBroken
from .records import Recorded, add_record, change_record


class WrongPassword(Exception):
    """The present password is another one."""

    def __init__(self) -> None:
        super().__init__("That is not the present password.")


def add_person(
    *,
    username: str,
    name: str,
    role: Role | str,
    password: str | None,
    actor: Actor | None = None,
    is_active: bool = True,
    person_id: UUID | None = None,
    now: datetime.datetime | None = None,
) -> Person:
    """Add somebody with a sign-in; without a password nobody can sign in as them.

    Parameters
    ----------
    username, name, role, is_active
        Who it is and what they may do.
    password
        Held to the password rules; None for no sign-in.
    actor
        Who adds them; the service itself by default.
    person_id
        The client's id.
    now
        The clock; the real one by default.

    Raises
    ------
    NotAllowed, RulesBroken, DifferentContent
    """
    return record_person(
        actor=actor or Actor.service(),
        values={"username": username, "name": name, "role": role, "is_active": is_active},
        password=password,
        person_id=person_id,
        now=now or datetime.datetime.now(datetime.UTC),
    ).row


def record_person(
    *,
    actor: Actor,
    values: Mapping[str, Any],
    password: str | None,
    person_id: UUID | None,
    now: datetime.datetime,
) -> Recorded[Person]:
    """Add somebody and say whether they were new (see `add_person`).

    A password is no part of the content that a second sending is compared by.
    """
    access.require_write(actor, Person)
    candidate = Person(**values)
    _check_password(password, candidate)

    def set_password(person: Person) -> None:
        person.set_password(password)
        Person.objects.filter(pk=person.pk).update(password=person.password)

    return add_record(
        actor=actor,
        model=Person,
        values=values,
        record_id=person_id,
        now=now,
        then=set_password,
    )


def change_person(
    *,
    actor: Actor,
    person_id: UUID,
    values: Mapping[str, Any],
    password: str | None,
    expected_revision: int | None,
    now: datetime.datetime,
) -> Person:
    """Change somebody; one who is no longer active loses every token.

    Raises
    ------
    NotAllowed, NotVisible, StaleRevision, RulesBroken
    """
    access.require_write(actor, Person)

    def follow(person: Person) -> None:
        if password is not None:
            _give_password(person, password, now)
        if not person.is_active or password is not None:
            Token.objects.filter(person=person, revoked_at__isnull=True).update(revoked_at=now)

    return change_record(
        actor=actor,
        model=Person,
        record_id=person_id,
        values=values,
        expected_revision=expected_revision,
        now=now,
        then=follow,
    )


def set_password(
    *,
    person: Person,
    password: str,
    actor: Actor | None = None,
    now: datetime.datetime | None = None,
) -> None:
    """Give somebody another password.

    Raises
    ------
    RulesBroken
    """
    with writing(actor or Actor.service()):
        _give_password(person, password, now or datetime.datetime.now(datetime.UTC))


def change_own_password(
    *, actor: Actor, person: Person, present: str, password: str, now: datetime.datetime
) -> None:
    """Change the password of whoever acts; every token of theirs is revoked.

    Raises
    ------
    WrongPassword, RulesBroken
    """
    if not person.check_password(present):
        raise WrongPassword
    with writing(actor):
        _give_password(person, password, now)
        Token.objects.filter(person=person, revoked_at__isnull=True).update(revoked_at=now)


def _give_password(person: Person, password: str, now: datetime.datetime) -> None:
    _check_password(password, person)
    person.set_password(password)
    person.sign_in_changed_at = now
    person.save(update_fields=["password", "sign_in_changed_at"])


def _check_password(password: str | None, person: Person) -> None:
    if password is None:
        return
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise RulesBroken(
            [
                BrokenRule("/password", str(item.code or "weak"), str(message))
                for item in error.error_list
                for message in item.messages
            ]
        ) from error
