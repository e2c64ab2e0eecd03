"""Let somebody in again who is locked out, from the server's own shell."""

from __future__ import annotations

import secrets
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from airflow_jobs.actions.access import Actor
from airflow_jobs.actions.one_time_codes import take_codes_away
from airflow_jobs.actions.people import change_person
from airflow_jobs.management.service import become_the_owner, database
from airflow_jobs.models import Person


class Command(BaseCommand):
    """Take one person's one-time codes away; with `--new-password`, make a new password too."""

    help = (
        "Let somebody in again who lost the phone and the recovery codes: the password alone "
        "signs them in then. With --new-password a new password is made and printed once. Their "
        "sessions and tokens end. It may run while the service does."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the user name and `--new-password`."""
        parser.add_argument("username")
        parser.add_argument(
            "--new-password", action="store_true", help="make a new password and print it once"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Do it and say what was done."""
        become_the_owner(self.stdout.write)
        with database():
            self._let_in(options["username"], makes_password=options["new_password"])

    def _let_in(self, username: str, *, makes_password: bool) -> None:
        person = Person.objects.filter(username__iexact=username).first()
        if person is None:
            raise CommandError(f"There is nobody with the user name {username!r}.")
        if not person.is_active:
            raise CommandError(
                f"{person.username} is set inactive: an administrator sets that back under "
                "Administration."
            )
        actor = Actor.service("the server's shell")
        if person.needs_one_time_code:
            take_codes_away(actor=actor, person_id=person.pk, now=timezone.now())
            self.stdout.write(f"The one-time codes of {person.username} are off.")
        else:
            self.stdout.write(f"{person.username} had no one-time codes on.")
        if makes_password:
            made = secrets.token_urlsafe(12)
            change_person(
                actor=actor,
                person_id=person.pk,
                values={},
                password=made,
                expected_revision=None,
                now=timezone.now(),
            )
            self.stdout.write(f"{person.username} signs in with the password {made}")
            self.stdout.write("It is shown only now: change it after signing in.")
