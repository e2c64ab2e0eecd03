"""One-time codes: good once, for their time, for their person; and what turning them on ends."""

from __future__ import annotations

import datetime
import threading

import pytest
from django.db import connection
from django.utils import timezone
from django_otp.plugins.otp_static.models import StaticToken
from django_otp.plugins.otp_totp.models import TOTPDevice

from airflow_jobs.actions import redaction
from airflow_jobs.actions.access import Actor, NotAllowed
from airflow_jobs.actions.one_time_codes import (
    RECOVERY_CODES,
    CodePaused,
    CodeWrong,
    recovery_codes_left,
    renew_recovery_codes,
    start_codes,
    started_codes,
    take_codes_away,
    turn_codes_off,
    turn_codes_on,
    use_code,
)
from airflow_jobs.models import Person, Role, Token
from tests import factories
from tests.authenticators import Authenticator, wait, with_codes


@pytest.fixture
def kim(db: None) -> Person:
    """Somebody with a sign-in."""
    return factories.make_person(username="kim")


def _actor(person: Person) -> Actor:
    return Actor.of_person(person, today=factories.TODAY)


def test_a_secret_counts_only_after_its_first_code(kim: Person) -> None:
    app = Authenticator(start_codes(person=kim).bin_key)
    with pytest.raises(CodeWrong):
        use_code(person=kim, code=app.code())
    with pytest.raises(CodeWrong):
        turn_codes_on(actor=_actor(kim), person=kim, code=app.wrong_code(), now=timezone.now())
    kim.refresh_from_db()
    assert not kim.needs_one_time_code
    wait(kim)
    codes = turn_codes_on(actor=_actor(kim), person=kim, code=app.code(), now=timezone.now())
    kim.refresh_from_db()
    assert kim.needs_one_time_code
    assert len(set(codes)) == RECOVERY_CODES
    with pytest.raises(NotAllowed):
        start_codes(person=kim)


def test_a_secret_that_was_shown_long_ago_can_not_be_turned_on(kim: Person) -> None:
    app = Authenticator(start_codes(person=kim).bin_key)
    long_ago = timezone.now() - datetime.timedelta(hours=2)
    TOTPDevice.objects.update(created_at=long_ago)
    assert started_codes(person=kim, now=timezone.now()) is None
    with pytest.raises(CodeWrong):
        turn_codes_on(actor=_actor(kim), person=kim, code=app.code(), now=timezone.now())


def test_a_code_is_good_once_even_the_one_that_turned_them_on(kim: Person) -> None:
    app = Authenticator(start_codes(person=kim).bin_key)
    first = app.code()
    turn_codes_on(actor=_actor(kim), person=kim, code=first, now=timezone.now())
    with pytest.raises(CodeWrong):
        use_code(person=kim, code=first)
    wait(kim)
    code = app.code()
    use_code(person=kim, code=f" {code[:3]} {code[3:]} ")
    with pytest.raises(CodeWrong):
        use_code(person=kim, code=code)


def test_a_clock_that_is_a_step_off_is_borne_and_two_steps_are_not(kim: Person) -> None:
    app, _ = with_codes(kim)
    with pytest.raises(CodeWrong):
        use_code(person=kim, code=app.code(-3))
    wait(kim)
    use_code(person=kim, code=app.code(-1))


def test_wrong_codes_make_even_the_right_one_wait(kim: Person) -> None:
    app, recovery = with_codes(kim)
    for _ in range(5):
        TOTPDevice.objects.update(throttling_failure_timestamp=None)
        with pytest.raises(CodeWrong):
            use_code(person=kim, code=app.wrong_code())
    with pytest.raises(CodePaused) as caught:
        use_code(person=kim, code=app.code())
    assert 1 <= caught.value.wait_s <= 16
    # Whoever has a recovery code isn't kept out by it.
    use_code(person=kim, code=recovery[0])


@pytest.mark.parametrize(
    "text", ["", " ", "１２３４５６", "12345", "1234567", "\x00", "\ud83d", "a" * 40, "-" * 40]
)
def test_what_is_no_code_is_wrong_and_nothing_else(kim: Person, text: str) -> None:
    with_codes(kim)
    with pytest.raises(CodeWrong):
        use_code(person=kim, code=text)


def test_a_recovery_code_is_good_once_however_it_is_typed(kim: Person) -> None:
    _, codes = with_codes(kim)
    use_code(person=kim, code=codes[3].upper().replace("-", " "))
    assert recovery_codes_left(person=kim) == RECOVERY_CODES - 1
    with pytest.raises(CodeWrong):
        use_code(person=kim, code=codes[3])
    wait(kim)
    use_code(person=kim, code=codes[4])


def test_a_code_is_of_no_use_to_somebody_else(kim: Person) -> None:
    app, codes = with_codes(kim)
    other = factories.make_person()
    with_codes(other)
    for code in (app.code(), codes[0]):
        with pytest.raises(CodeWrong):
            use_code(person=other, code=code)


def test_recovery_codes_are_kept_as_digests_and_new_ones_end_the_old(kim: Person) -> None:
    _, old = with_codes(kim)
    kept = set(StaticToken.objects.values_list("token", flat=True))
    assert not {code.replace("-", "").upper() for code in old} & kept
    assert not {code.replace("-", "") for code in old} & kept
    new = renew_recovery_codes(actor=_actor(kim), person=kim)
    assert recovery_codes_left(person=kim) == RECOVERY_CODES
    with pytest.raises(CodeWrong):
        use_code(person=kim, code=old[0])
    wait(kim)
    use_code(person=kim, code=new[0])


def test_turning_codes_on_and_off_ends_tokens_and_sessions_of_before(kim: Person) -> None:
    without, _ = factories.make_token(person=kim)
    of_others, _ = factories.make_token(person=factories.make_person())
    first = kim.get_session_auth_hash()
    with_codes(kim)
    second = kim.get_session_auth_hash()
    assert Token.objects.get(pk=without.pk).revoked_at is not None
    token, _ = factories.make_token(person=kim)
    turn_codes_off(actor=_actor(kim), person=kim, now=timezone.now())
    kim.refresh_from_db()
    assert Token.objects.get(pk=token.pk).revoked_at is not None
    assert Token.objects.get(pk=of_others.pk).revoked_at is None
    # A session of before codes were on does not come back to life once they are off.
    assert len({first, second, kim.get_session_auth_hash()}) == 3
    assert TOTPDevice.objects.count() == StaticToken.objects.count() == 0


def test_the_history_tells_who_turned_codes_on_and_took_them_away_but_no_secret(
    kim: Person,
) -> None:
    app, codes = with_codes(kim)
    chief = factories.make_person(role=Role.ADMINISTRATOR, name="Chief")
    take_codes_away(actor=_actor(chief), person_id=kim.pk, now=timezone.now())
    events = Person.pgh_event_model.objects.filter(  # type: ignore[attr-defined]
        pgh_obj_id=kim.pk
    ).order_by("pgh_id")
    assert [event.one_time_codes_since is None for event in events] == [True, False, True]
    assert events[1].pgh_context.metadata["actor_name"] == kim.name
    assert events[2].pgh_context.metadata["actor_name"] == "Chief"
    with connection.cursor() as cursor:
        cursor.execute("SELECT string_agg(e::text, '') FROM airflow_jobs_personevent e")
        (told,) = cursor.fetchone()
    assert app.key.hex() not in told
    assert codes[0] not in told


def test_only_an_administrator_takes_codes_away_and_never_the_own_ones(kim: Person) -> None:
    with_codes(kim)
    manager = factories.make_person(role=Role.MANAGER)
    with pytest.raises(NotAllowed):
        take_codes_away(actor=_actor(manager), person_id=kim.pk, now=timezone.now())
    chief = factories.make_person(role=Role.ADMINISTRATOR)
    with_codes(chief)
    with pytest.raises(NotAllowed):
        take_codes_away(actor=_actor(chief), person_id=chief.pk, now=timezone.now())


def test_redaction_takes_the_secrets_along(kim: Person) -> None:
    with_codes(kim)
    chief = factories.make_person(role=Role.ADMINISTRATOR)
    redaction.redact(
        actor=_actor(chief), model=Person, record_id=kim.pk, reason="asked", now=timezone.now()
    )
    assert TOTPDevice.objects.count() == StaticToken.objects.count() == 0


@pytest.mark.django_db(transaction=True)
def test_of_two_who_send_the_same_code_at_once_one_comes_in(transactional_db: None) -> None:
    person = factories.make_person()
    app, codes = with_codes(person)
    for code in (app.code(), codes[0]):
        outcomes: list[str] = []
        start = threading.Barrier(4)

        def send(code: str = code, start: threading.Barrier = start) -> None:
            start.wait()
            try:
                use_code(person=person, code=code)
                outcomes.append("in")  # noqa: B023
            except (CodeWrong, CodePaused):
                outcomes.append("out")  # noqa: B023
            finally:
                connection.close()

        threads = [threading.Thread(target=send) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(outcomes) == ["in", "out", "out", "out"]
