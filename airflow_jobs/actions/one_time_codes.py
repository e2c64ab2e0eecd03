"""One-time codes at sign-in: turned on, asked for, used once, turned off.

A code comes from an app that shares a secret with the service (TOTP, RFC 6238). The library keeps
the secret, takes a code that is one step of 30 s early or late, takes each code once, and makes
whoever sends wrong ones wait longer and longer. Recovery codes stand in for a lost app; only
digests of them are kept.

Whatever changes how somebody signs in ends every session but the one it is done in and revokes
every token: what was got by the old way must not outlive it.
"""

from __future__ import annotations

import base64
import datetime
import hashlib
import math
import secrets
from typing import Any, Final
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django_otp.plugins.otp_static.models import StaticDevice, StaticToken
from django_otp.plugins.otp_totp.models import TOTPDevice

from airflow_jobs.models import Person, Token

from . import access
from .access import Actor, NotAllowed, NotVisible, writing

RECOVERY_CODES: Final = 10
RECOVERY_BYTES: Final = 10
"""80 random bits: too many to be guessed from a digest, so that needs no salt."""
CODE_DIGITS: Final = 6
STARTED_FOR: Final = datetime.timedelta(hours=1)
"""How long a secret that was shown waits for its first code."""


class CodeRequired(Exception):
    """The password is right, and a one-time code is due beside it."""

    def __init__(self) -> None:
        super().__init__("A one-time code is due beside the password.")


class CodeWrong(Exception):
    """The code is not one that is good now: mistyped, too old, or used already."""

    def __init__(self) -> None:
        super().__init__("The one-time code is wrong, too old, or was used already.")


class CodePaused(Exception):
    """Too many wrong codes of late: even the right one has to wait."""

    def __init__(self, wait_s: float) -> None:
        self.wait_s = max(1, math.ceil(wait_s))
        super().__init__("Too many wrong one-time codes; wait before trying another one.")


def start_codes(*, person: Person) -> TOTPDevice:
    """Make a secret for an app; it counts only once `turn_codes_on` has seen a code of it.

    Raises
    ------
    NotAllowed
        If codes are on already.
    """
    with transaction.atomic():
        row = Person.objects.select_for_update().get(pk=person.pk)
        if row.needs_one_time_code:
            raise NotAllowed("One-time codes are on already: turn them off first.")
        TOTPDevice.objects.filter(user=row).delete()
        return TOTPDevice.objects.create(user=row, name="app", confirmed=False)


def started_codes(*, person: Person, now: datetime.datetime) -> TOTPDevice | None:
    """Return the secret that waits for its first code, None where there is none."""
    found: TOTPDevice | None = TOTPDevice.objects.filter(
        user=person, confirmed=False, created_at__gt=now - STARTED_FOR
    ).first()
    return found


def turn_codes_on(
    *, actor: Actor, person: Person, code: str, now: datetime.datetime
) -> tuple[str, ...]:
    """Turn codes on with a first code of the app; return the recovery codes, kept nowhere.

    Raises
    ------
    CodeWrong, CodePaused
    """
    with transaction.atomic():
        device = (
            TOTPDevice.objects.select_for_update()
            .filter(user=person, confirmed=False, created_at__gt=now - STARTED_FOR)
            .first()
        )
        refusal = _tried(device, _plain(code))
    # Outside the transaction, so that wrong tries stay counted.
    if refusal is not None:
        raise refusal
    with writing(actor):
        row = Person.objects.select_for_update().get(pk=person.pk)
        TOTPDevice.objects.filter(pk=device.pk).update(confirmed=True)
        codes = _made_recovery_codes(row)
        _changed(row, since=now, now=now)
    return codes


def use_code(*, person: Person, code: str) -> None:
    """Use up a code of the app or a recovery code.

    Raises
    ------
    CodeWrong, CodePaused
    """
    text = _plain(code)
    is_of_app = text.isascii() and text.isdigit() and len(text) == CODE_DIGITS
    kind: Any = TOTPDevice if is_of_app else StaticDevice
    with transaction.atomic():
        # The lock lets two senders of one code through one after the other.
        device = kind.objects.select_for_update().filter(user=person, confirmed=True).first()
        refusal = _tried(device, text if is_of_app else _digest(text))
    if refusal is not None:
        raise refusal


def renew_recovery_codes(*, actor: Actor, person: Person) -> tuple[str, ...]:
    """Make new recovery codes, which end those before; return them, kept nowhere.

    Raises
    ------
    NotAllowed
        If codes are off.
    """
    with writing(actor):
        row = Person.objects.select_for_update().get(pk=person.pk)
        if not row.needs_one_time_code:
            raise NotAllowed("One-time codes are off: there is nothing to recover.")
        return _made_recovery_codes(row)


def recovery_codes_left(*, person: Person) -> int:
    """Return how many recovery codes are still good."""
    return int(StaticToken.objects.filter(device__user=person).count())


def turn_codes_off(*, actor: Actor, person: Person, now: datetime.datetime) -> None:
    """Let the password be enough again for whoever acts; the caller has asked for a code."""
    with writing(actor):
        _removed(Person.objects.select_for_update().get(pk=person.pk), now)


def take_codes_away(*, actor: Actor, person_id: UUID, now: datetime.datetime) -> None:
    """Let the password be enough for somebody who lost the app and the recovery codes.

    An administrator's own are turned off like anybody's, with a code: else whoever finds the
    office's computer unlocked could do it.

    Raises
    ------
    NotAllowed, NotVisible
    """
    access.require_administrator(actor, "take somebody's one-time codes away")
    if actor.person_id == person_id:
        raise NotAllowed("Your own one-time codes are turned off on the page Your account.")
    with writing(actor):
        row = Person.objects.select_for_update().filter(pk=person_id).first()
        if row is None:
            raise NotVisible("There is no such person.")
        if row.needs_one_time_code:
            _removed(row, now)


def forget_codes(person: Person) -> None:
    """Take the secrets of somebody out of the record."""
    TOTPDevice.objects.filter(user=person).delete()
    StaticDevice.objects.filter(user=person).delete()


def _tried(device: Any, code: str) -> Exception | None:
    """Hold a code against a device; return why it is refused, None where it is good."""
    if device is None:
        return CodeWrong()
    is_allowed, reasons = device.verify_is_allowed()
    if not is_allowed:
        return CodePaused((reasons["locked_until"] - timezone.now()).total_seconds())
    return None if device.verify_token(code) else CodeWrong()


def _changed(person: Person, *, since: datetime.datetime | None, now: datetime.datetime) -> None:
    person.one_time_codes_since = since
    person.sign_in_changed_at = now
    person.save(update_fields=["one_time_codes_since", "sign_in_changed_at"])
    Token.objects.filter(person=person, revoked_at__isnull=True).update(revoked_at=now)


def _removed(person: Person, now: datetime.datetime) -> None:
    forget_codes(person)
    _changed(person, since=None, now=now)


def _made_recovery_codes(person: Person) -> tuple[str, ...]:
    StaticDevice.objects.filter(user=person).delete()
    device = StaticDevice.objects.create(user=person, name="recovery codes")
    made = [
        base64.b32encode(secrets.token_bytes(RECOVERY_BYTES)).decode()
        for _ in range(RECOVERY_CODES)
    ]
    StaticToken.objects.bulk_create(
        StaticToken(device=device, token=_digest(code)) for code in made
    )
    return tuple(
        "-".join(code[start : start + 4] for start in range(0, len(code), 4)).lower()
        for code in made
    )


def _plain(code: str) -> str:
    """Return a code without the gaps that people leave in it."""
    return "".join(code.split()).replace("-", "").upper()


def _digest(text: str) -> str:
    """Return the digest under which a recovery code is kept, in the length that there is."""
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()
    return base64.b32encode(digest[:RECOVERY_BYTES]).decode()
