"""An authenticator app, as somebody has it on the phone."""

from __future__ import annotations

import base64
import datetime
import time
from dataclasses import dataclass

from django_otp.oath import TOTP
from django_otp.plugins.otp_static.models import StaticDevice
from django_otp.plugins.otp_totp.models import TOTPDevice

from airflow_jobs.actions.access import Actor
from airflow_jobs.actions.one_time_codes import start_codes, turn_codes_on
from airflow_jobs.models import Person

STEP_S = 30
ENOUGH_S = 5


@dataclass(frozen=True)
class Authenticator:
    """An app that knows one secret."""

    key: bytes

    @classmethod
    def typed(cls, key: str) -> Authenticator:
        """Type the key as the page shows it."""
        return cls(base64.b32decode(key.replace(" ", "")))

    def code(self, steps: int = 0) -> str:
        """Return the code of now, or of so many half minutes later."""
        totp = TOTP(self.key)
        totp.time = time.time() + STEP_S * steps
        return f"{totp.token():06d}"

    def wrong_code(self) -> str:
        """Return six digits that are no code of these minutes."""
        near = {self.code(steps) for steps in range(-4, 5)}
        return next(text for text in ("000000", "111111", "222222") if text not in near)


def begin_a_half_minute() -> None:
    """Wait for the next half minute where this one is about to end.

    A code that arrives late is taken, but from then on the service allows for a slow clock, and no
    longer takes the code of the half minute to come.
    """
    left = STEP_S - time.time() % STEP_S
    if left < ENOUGH_S:
        time.sleep(left)


def wait(person: Person) -> None:
    """Let the half minute of a code that was used, and the pause after wrong ones, be over."""
    over = {"throttling_failure_timestamp": None, "throttling_failure_count": 0}
    TOTPDevice.objects.filter(user=person).update(last_t=-1, drift=0, **over)
    StaticDevice.objects.filter(user=person).update(**over)


def with_codes(person: Person) -> tuple[Authenticator, tuple[str, ...]]:
    """Turn somebody's codes on; return the app and the recovery codes."""
    app = Authenticator(start_codes(person=person).bin_key)
    now = datetime.datetime.now(datetime.UTC)
    actor = Actor.of_person(person, today=now.date())
    codes = turn_codes_on(actor=actor, person=person, code=app.code(), now=now)
    wait(person)
    person.refresh_from_db()
    return app, codes
