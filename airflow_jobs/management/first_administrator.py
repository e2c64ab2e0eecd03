"""The first administrator of a new installation."""

import getpass
import secrets
import sys
from collections.abc import Callable
from typing import Final

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import CommandError
from django.db import connections

from airflow_jobs.actions.constraints import RulesBroken
from airflow_jobs.actions.people import add_person
from airflow_jobs.models import Person, Role

USERNAME: Final = "admin"


def make_first_administrator(say: Callable[[str], None]) -> None:
    """Make the first administrator where there is none.

    The sign-in comes from ADMIN_USERNAME and ADMIN_PASSWORD; what is missing is asked for on a
    terminal, and made up elsewhere, where the password is said once and kept nowhere.

    Parameters
    ----------
    say
        Takes one short line for the operator.

    Raises
    ------
    CommandError
        If the sign-in cannot be had, in one line.
    """
    try:
        if Person.objects.filter(role=Role.ADMINISTRATOR, is_active=True).exists():
            return
        username, password = settings.ENV.admin_username, settings.ENV.admin_password
        if password is None and sys.stdin.isatty():
            say("This installation has no administrator yet.")
            username = username or input(f"User name [{USERNAME}]: ").strip()
            password = _asked_password(say)
        _add(username or USERNAME, password, say)
    finally:
        # The service's processes have connections of their own.
        connections.close_all()


def _add(username: str, password: str | None, say: Callable[[str], None]) -> None:
    made = secrets.token_urlsafe(12)
    try:
        add_person(
            username=username,
            name="Administrator",
            role=Role.ADMINISTRATOR,
            password=password or made,
        )
    except RulesBroken as error:
        raise CommandError(
            f"The first administrator {username!r} could not be made: {error}: set ADMIN_USERNAME "
            "and ADMIN_PASSWORD to others."
        ) from error
    if password is None:
        say(f"The first administrator signs in as {username} with the password {made}")
        say("It is shown only now: change it after signing in.")
    else:
        say(f"The first administrator is {username}.")


def _asked_password(say: Callable[[str], None]) -> str:
    while True:
        password = getpass.getpass("Password: ")
        try:
            validate_password(password)
        except ValidationError as error:
            say(" ".join(error.messages))
            continue
        if password == getpass.getpass("The same again: "):
            return password
        say("The two differ.")
