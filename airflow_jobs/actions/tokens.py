"""Tokens: issued with a secret that is shown once, revoked, looked up by digest."""

from __future__ import annotations

import datetime
import hashlib
import secrets
from typing import Final
from uuid import UUID

from django.contrib.auth import authenticate
from django.db.models import Q

from airflow_jobs.models import Crew, Person, Token, companys_day

from . import access
from .access import Actor, NotVisible, writing
from .one_time_codes import CodeRequired, use_code

PERSON_LIFETIME: Final = datetime.timedelta(days=30)
FIELD_APP_LIFETIME: Final = datetime.timedelta(days=365)
USED_EVERY: Final = datetime.timedelta(minutes=1)
"""Last use is written down at most this often."""


class SignInRefused(Exception):
    """User name and password don't belong together, or the person is not active."""

    def __init__(self) -> None:
        super().__init__("User name and password don't belong together.")


def issue_token(
    *,
    person: Person | None = None,
    crew: Crew | None = None,
    label: str,
    lifetime: datetime.timedelta,
    actor: Actor | None = None,
    now: datetime.datetime | None = None,
) -> tuple[Token, str]:
    """Issue a token for a person or for a crew's field app; the secret is nowhere kept.

    Parameters
    ----------
    person, crew
        Whose token; one of the two.
    label
        What to call it in lists.
    lifetime
        How long it is good.
    actor
        Who issues it; the service itself by default.
    now
        The clock; the real one by default.
    """
    secret = secrets.token_urlsafe(32)
    moment = now or datetime.datetime.now(datetime.UTC)
    with writing(actor or Actor.service()):
        token = Token.objects.create(
            digest=digest_of(secret),
            person=person,
            crew=crew,
            label=label,
            expires_at=moment + lifetime,
        )
    token.refresh_from_db(fields=["created_at", "updated_at"])
    return token, secret


def sign_in(
    *, username: str, password: str, one_time_code: str, label: str, now: datetime.datetime
) -> tuple[Token, str]:
    """Issue a token to somebody who knows the password and has the one-time code, if one is due.

    Whether one is due is said only to who knows the password.

    Raises
    ------
    SignInRefused, CodeRequired, CodeWrong, CodePaused
    """
    person = authenticate(username=username, password=password)
    if not isinstance(person, Person):
        raise SignInRefused
    if person.needs_one_time_code:
        if not one_time_code:
            raise CodeRequired
        use_code(person=person, code=one_time_code)
    return issue_token(
        person=person,
        label=label,
        lifetime=PERSON_LIFETIME,
        actor=Actor.of_person(person, today=companys_day(now)),
        now=now,
    )


def issue_field_app_token(
    *,
    actor: Actor,
    crew: Crew,
    label: str,
    lifetime: datetime.timedelta = FIELD_APP_LIFETIME,
    now: datetime.datetime,
) -> tuple[Token, str]:
    """Issue a token for a field app of one crew; administrators only.

    Raises
    ------
    NotAllowed
    """
    access.require_administrator(actor, "issue a field app's token")
    return issue_token(crew=crew, label=label, lifetime=lifetime, actor=actor, now=now)


def revoke_token(*, actor: Actor, token_id: UUID, now: datetime.datetime) -> Token:
    """Make a token useless from now on; revoking it again changes nothing.

    Raises
    ------
    NotAllowed, NotVisible
    """
    access.require_write(actor, Token)
    with writing(actor):
        found = access.visible(actor, Token.objects.filter(pk=token_id))
        token = found.select_for_update(of=("self",)).first()
        if token is None:
            raise NotVisible("There is no such token.")
        if token.revoked_at is None:
            token.revoked_at = now
            token.save(update_fields=["revoked_at"])
    return token


def revoke_own_tokens(*, actor: Actor, person: Person, now: datetime.datetime) -> int:
    """Make every token of whoever acts useless from now on; return how many there were."""
    access.require_write(actor, Token)
    with writing(actor):
        return Token.objects.live(now).filter(person=person).update(revoked_at=now)


def live_token(secret: str, now: datetime.datetime) -> Token | None:
    """Return the token of a secret if it is still good, with its person; None otherwise."""
    return (
        Token.objects.live(now)
        .select_related("person")
        .filter(
            Q(person__isnull=True) | Q(person__is_active=True),
            digest=digest_of(secret),
        )
        .first()
    )


def note_use(token: Token, now: datetime.datetime) -> None:
    """Write down when a token was last used, at most once a minute."""
    if token.last_used_at is None or token.last_used_at <= now - USED_EVERY:
        Token.objects.filter(pk=token.pk).update(last_used_at=now)


def digest_of(secret: str) -> str:
    """Return the digest under which a token's secret is kept (256 random bits need no salt)."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()
