"""Somebody who is locked out is let in again from the server's own shell."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from airflow_jobs.models import Person, Role, Token
from tests import factories
from tests.authenticators import with_codes

PASSWORD = "correct horse 7 battery"


@pytest.fixture
def chief(transactional_db: None, own_cache: None) -> Person:
    """The last administrator, whose phone is lost."""
    factories.make_company()
    person = factories.make_person(username="chief", role=Role.ADMINISTRATOR, password=PASSWORD)
    with_codes(person)
    return person


def _sign_in(password: str) -> tuple[int, str]:
    answer = Client().post("/sign-in/", {"username": "chief", "password": password})
    return answer.status_code, answer.headers.get("Location", "")


def test_the_codes_are_taken_away_and_the_password_stays(
    chief: Person, capsys: pytest.CaptureFixture[str]
) -> None:
    token, _ = factories.make_token(person=chief)
    assert _sign_in(PASSWORD) == (302, "/sign-in/code/")
    call_command("let_in", "Chief")
    assert capsys.readouterr().out == "The one-time codes of chief are off.\n"
    assert _sign_in(PASSWORD) == (302, "/")
    assert Token.objects.get(pk=token.pk).revoked_at is not None
    events = Person.pgh_event_model.objects.filter(  # type: ignore[attr-defined]
        pgh_obj_id=chief.pk
    ).order_by("-pgh_id")
    assert events[0].pgh_context.metadata["actor_name"] == "the server's shell"
    call_command("let_in", "chief")
    assert capsys.readouterr().out == "chief had no one-time codes on.\n"


def test_a_new_password_is_made_and_printed_where_it_is_asked_for(
    chief: Person, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("let_in", "chief", "--new-password")
    line = capsys.readouterr().out.splitlines()[1]
    assert line.startswith("chief signs in with the password ")
    assert _sign_in(PASSWORD)[0] == 422
    assert _sign_in(line.rpartition(" ")[2]) == (302, "/")


def test_who_is_not_there_or_not_active_is_said_in_one_line(chief: Person) -> None:
    with pytest.raises(CommandError, match="nobody with the user name 'ghost'"):
        call_command("let_in", "ghost")
    Person.objects.update(is_active=False)
    with pytest.raises(CommandError, match="set inactive"):
        call_command("let_in", "chief")
