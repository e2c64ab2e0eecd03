"""One-time codes on the pages: turned on, asked for at sign-in, and no way around them."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from airflow_jobs.models import Company, Person, Role, Token
from airflow_jobs.office import sign_in_throttle
from tests import factories
from tests.authenticators import Authenticator, wait, with_codes

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("own_cache")]
PASSWORD = "correct horse 7 battery"
START, ON = "/office/account/codes/start/", "/office/account/codes/on/"
OFF, RECOVERY = "/office/account/codes/off/", "/office/account/codes/recovery/"


@pytest.fixture
def kim(ip_company: Company) -> Person:
    """Somebody with a password."""
    return factories.make_person(username="kim", password=PASSWORD)


@pytest.fixture
def browser(kim: Person) -> Client:
    """Kim's browser, signed in."""
    client = Client()
    assert _password(client).status_code == 302
    return client


def _password(client: Client, **more: str) -> Any:
    return client.post("/sign-in/", {"username": "kim", "password": PASSWORD, **more})


def _text(response: Any) -> str:
    return str(response.content.decode())


def _is_signed_in(client: Client) -> bool:
    return bool(client.get("/").status_code == 200)


def test_codes_are_turned_on_with_the_key_as_text_and_then_asked_for(
    kim: Person, browser: Client
) -> None:
    token, _ = factories.make_token(person=kim)
    elsewhere = Client()
    _password(elsewhere)
    assert "Turn one-time codes on" in _text(browser.get("/office/account/"))
    assert browser.post(START, {"password": PASSWORD})["Location"] == ON
    page = _text(browser.get(ON))
    assert 'src="data:image/svg+xml' in page
    found = re.search(r'id="key">([A-Z2-7 ]+)<', page)
    assert found is not None
    app = Authenticator.typed(found[1])
    wrong = browser.post(ON, {"code": app.wrong_code()})
    assert wrong.status_code == 422
    assert "This code is not good" in _text(wrong)
    wait(kim)
    made = browser.post(ON, {"code": app.code()})
    codes = re.findall(r"<li>([a-z2-7]{4}(?:-[a-z2-7]{4}){3})</li>", _text(made))
    assert len(codes) == 10
    assert "no-store" in made["Cache-Control"]
    # This browser stays signed in, the other does not, and what got in by the password is out.
    account = _text(browser.get("/office/account/"))
    assert "10 recovery codes left" in account
    assert codes[0] not in account
    assert not _is_signed_in(elsewhere)
    assert Token.objects.get(pk=token.pk).revoked_at is not None
    wait(kim)
    again = Client()
    assert _password(again)["Location"] == "/sign-in/code/"
    assert not _is_signed_in(again)
    assert again.post("/sign-in/code/", {"code": app.code()})["Location"] == "/"
    assert _is_signed_in(again)


def test_the_secret_is_shown_to_nobody_who_does_not_know_the_password(browser: Client) -> None:
    assert browser.get(ON)["Location"] == START
    wrong = browser.post(START, {"password": "no"})
    assert wrong.status_code == 422
    assert "not your present password" in _text(wrong)
    assert browser.get(ON)["Location"] == START


def test_sign_in_leads_where_it_was_asked_for_after_the_code_too(kim: Person) -> None:
    app, _ = with_codes(kim)
    client = Client()
    to_code = _password(client, next="/systems/?q=a")["Location"]
    assert to_code == "/sign-in/code/?next=%2Fsystems%2F%3Fq%3Da"
    assert 'value="/systems/?q=a"' in _text(client.get(to_code))
    back = client.post("/sign-in/code/", {"code": app.code(), "next": "/systems/?q=a"})
    assert back["Location"] == "/systems/?q=a"
    wait(kim)
    other = Client()
    _password(other)
    away = other.post("/sign-in/code/", {"code": app.code(), "next": "https://example.org/"})
    assert away["Location"] == "/"


def test_nobody_learns_of_codes_before_the_password_is_right(kim: Person) -> None:
    without = _text(Client().post("/sign-in/", {"username": "kim", "password": "no"}))
    with_codes(kim)
    wrong = Client().post("/sign-in/", {"username": "kim", "password": "no"})
    assert wrong.status_code == 422
    token = re.compile(r'name="csrfmiddlewaretoken" value="\w+"')
    assert token.sub("", _text(wrong)) == token.sub("", without)


def test_the_code_page_is_closed_to_who_did_not_show_the_password(kim: Person) -> None:
    app, _ = with_codes(kim)
    client = Client()
    assert client.get("/sign-in/code/")["Location"] == "/sign-in/?late=1"
    assert client.post("/sign-in/code/", {"code": app.code()})["Location"] == "/sign-in/?late=1"
    assert "sign in\n    again from the start" in _text(client.get("/sign-in/?late=1"))
    assert not _is_signed_in(client)


def test_a_password_shown_before_it_was_changed_or_too_long_ago_is_not_enough(
    kim: Person,
) -> None:
    app, _ = with_codes(kim)
    early, late = Client(), Client()
    _password(early)
    _password(late)
    session = late.session
    session["signing_in"] = {**session["signing_in"], "until": 0.0}
    session.save()
    assert late.post("/sign-in/code/", {"code": app.code()})["Location"].startswith("/sign-in/?")
    kim.set_password("another horse 7 battery")
    kim.save()
    assert early.post("/sign-in/code/", {"code": app.code()})["Location"].startswith("/sign-in/?")
    assert not _is_signed_in(early)


def test_a_code_that_was_used_does_not_sign_in_a_second_time(kim: Person) -> None:
    app, _ = with_codes(kim)
    code = app.code()
    first, second = Client(), Client()
    _password(first)
    _password(second)
    assert first.post("/sign-in/code/", {"code": code}).status_code == 302
    refused = second.post("/sign-in/code/", {"code": code})
    assert refused.status_code == 422
    assert "used already" in _text(refused)
    assert not _is_signed_in(second)


def test_a_recovery_code_signs_in_once(kim: Person) -> None:
    _, codes = with_codes(kim)
    client = Client()
    _password(client)
    assert client.post("/sign-in/code/", {"recovery_code": codes[0]}).status_code == 302
    assert _is_signed_in(client)
    again = Client()
    _password(again)
    refused = again.post("/sign-in/code/", {"recovery_code": codes[0]})
    assert refused.status_code == 422
    assert "This recovery code is not good" in _text(refused)
    assert "<details open>" in _text(refused)


def test_wrong_codes_pause_the_sign_in_and_the_right_password_does_not_end_the_pause(
    kim: Person,
) -> None:
    app, _ = with_codes(kim)
    client = Client()
    for _ in range(sign_in_throttle.WRONG_FROM_ONE_ADDRESS):
        wait(kim)
        # Showing the password again and again must not forget the wrong codes.
        assert _password(client).status_code == 302
        assert client.post("/sign-in/code/", {"code": app.wrong_code()}).status_code == 422
    paused = client.post("/sign-in/code/", {"code": app.code()})
    assert paused.status_code == 429
    assert int(paused["Retry-After"]) > 0
    assert "Wait 5 minutes" in _text(paused)
    assert _password(client).status_code == 429
    assert not _is_signed_in(client)


def test_the_library_s_own_pause_is_told_in_words(kim: Person) -> None:
    app, _ = with_codes(kim)
    client = Client()
    _password(client)
    client.post("/sign-in/code/", {"code": app.wrong_code()})
    soon = client.post("/sign-in/code/", {"code": app.code()})
    assert soon.status_code == 429
    assert "Wait 1 second" in _text(soon)


def test_the_administration_has_no_door_of_its_own(kim: Person) -> None:
    Person.objects.filter(pk=kim.pk).update(role=Role.ADMINISTRATOR)
    app, _ = with_codes(kim)
    client = Client()
    to = client.get("/administration/")["Location"]
    assert client.get(to)["Location"] == "/sign-in/?next=/administration/"
    body = {"username": "kim", "password": PASSWORD, "next": "/administration/"}
    posted = client.post("/administration/login/?next=/administration/", body)
    assert posted["Location"] == "/sign-in/?next=/administration/"
    assert client.get("/administration/").status_code == 302
    _password(client)
    assert client.get("/administration/").status_code == 302
    client.post("/sign-in/code/", {"code": app.code()})
    assert client.get("/administration/").status_code == 200
    changed = client.get("/administration/password_change/")
    assert changed["Location"] == "/office/account/password/"


def test_somebody_else_is_told_that_the_administration_is_not_for_them(browser: Client) -> None:
    to = browser.get("/administration/")["Location"]
    assert browser.get(to).status_code == 403


def test_the_library_s_pages_of_secrets_are_not_there(kim: Person, browser: Client) -> None:
    Person.objects.filter(pk=kim.pk).update(role=Role.ADMINISTRATOR)
    with_codes(factories.make_person())
    for path in ("otp_totp/totpdevice/", "otp_static/staticdevice/"):
        assert browser.get(f"/administration/{path}").status_code == 404


def test_turning_off_and_new_recovery_codes_ask_for_password_and_code(
    kim: Person, browser: Client
) -> None:
    app, old = with_codes(kim)
    client = Client()
    _password(client)
    client.post("/sign-in/code/", {"recovery_code": old[0]})
    for path in (OFF, RECOVERY):
        assert client.get(path).status_code == 200
        assert client.post(path, {"password": "no", "code": app.code()}).status_code == 422
        wrong = client.post(path, {"password": PASSWORD, "code": app.wrong_code()})
        assert wrong.status_code == 422
        assert "This code is not good" in _text(wrong)
        wait(kim)
    made = client.post(RECOVERY, {"password": PASSWORD, "code": app.code()})
    assert "The earlier ones are void" in _text(made)
    kim.refresh_from_db()
    assert kim.needs_one_time_code
    wait(kim)
    assert client.post(OFF, {"password": PASSWORD, "code": app.code()}).status_code == 302
    assert "One-time codes are off" in _text(client.get("/office/account/"))
    assert _password(Client())["Location"] == "/"
    for path in (OFF, RECOVERY):
        assert client.get(path)["Location"] == "/office/account/"


def test_codes_that_are_on_are_not_started_anew(kim: Person) -> None:
    app, _ = with_codes(kim)
    client = Client()
    _password(client)
    client.post("/sign-in/code/", {"code": app.code()})
    for path in (START, ON):
        assert client.get(path)["Location"] == "/office/account/"
        assert client.post(path, {"password": PASSWORD})["Location"] == "/office/account/"


def test_an_administrator_takes_codes_away_and_the_person_is_signed_out(kim: Person) -> None:
    app, _ = with_codes(kim)
    theirs = Client()
    _password(theirs)
    theirs.post("/sign-in/code/", {"code": app.code()})
    chief = factories.make_person(username="chief", role=Role.ADMINISTRATOR, name="Chief")
    office = Client()
    office.force_login(chief)
    address = f"/administration/airflow_jobs/person/{kim.pk}/change/"
    assert "Take the one-time codes away" in _text(office.get(address))
    form = {"username": "kim", "name": kim.name, "role": kim.role, "is_active": "on"}
    assert office.post(address, form).status_code == 302
    assert _is_signed_in(theirs)
    assert office.post(address, {**form, "takes_codes_away": "on"}).status_code == 302
    assert not _is_signed_in(theirs)
    assert _password(Client())["Location"] == "/"
    history = _text(office.get(f"/administration/airflow_jobs/person/{kim.pk}/history/"))
    assert "one_time_codes_since" in history
    assert "Chief" in history
    assert "Take the one-time codes away" not in _text(office.get(address))


def test_an_administrator_s_own_codes_are_not_taken_away_there(ip_company: Company) -> None:
    chief = factories.make_person(username="chief", role=Role.ADMINISTRATOR)
    with_codes(chief)
    office = Client()
    office.force_login(chief)
    address = f"/administration/airflow_jobs/person/{chief.pk}/change/"
    assert "Take the one-time codes away" not in _text(office.get(address))
    form = {"username": "chief", "name": "Chief", "role": "administrator", "is_active": "on"}
    office.post(address, {**form, "takes_codes_away": "on"})
    chief.refresh_from_db()
    assert chief.needs_one_time_code


def test_the_account_lists_only_own_tokens_that_are_good_and_revokes_them(
    kim: Person, browser: Client
) -> None:
    assert "You have none" in _text(browser.get("/office/account/"))
    mine, _ = factories.make_token(person=kim)
    second, _ = factories.make_token(person=kim)
    third, _ = factories.make_token(person=kim)
    other, _ = factories.make_token(person=factories.make_person())
    Token.objects.filter(pk=third.pk).update(label="<b>tablet</b>")
    gone, _ = factories.make_token(person=kim)
    Token.objects.filter(pk=gone.pk).update(expires_at=timezone.now())
    page = _text(browser.get("/office/account/"))
    assert str(mine.pk) in page
    assert "&lt;b&gt;tablet" in page
    assert str(other.pk) not in page
    assert str(gone.pk) not in page
    revoke = "/office/account/tokens/revocation/"
    browser.post(revoke, {"token": str(mine.pk)})
    assert Token.objects.get(pk=mine.pk).revoked_at is not None
    for nonsense in (str(other.pk), "none", ""):
        browser.post(revoke, {"token": nonsense})
        assert "no such token of yours" in _text(browser.get("/office/account/"))
    browser.post(revoke, {"token": "all"})
    assert "Revoked: 2 tokens." in _text(browser.get("/office/account/"))
    assert Token.objects.get(pk=second.pk).revoked_at is not None
    assert Token.objects.get(pk=other.pk).revoked_at is None


def test_an_administrator_revokes_no_stranger_s_token_from_the_own_account(
    kim: Person, browser: Client
) -> None:
    Person.objects.filter(pk=kim.pk).update(role=Role.ADMINISTRATOR)
    other, _ = factories.make_token(person=factories.make_person())
    browser.post("/office/account/tokens/revocation/", {"token": str(other.pk)})
    assert Token.objects.get(pk=other.pk).revoked_at is None


def test_the_password_is_changed_by_the_rules_and_ends_everything_else(
    kim: Person, browser: Client
) -> None:
    token, _ = factories.make_token(person=kim)
    elsewhere = Client()
    _password(elsewhere)
    path = "/office/account/password/"
    new = "seven quiet ducts"

    def send(present: str, password: str, again: str) -> Any:
        return browser.post(path, {"present": present, "password": password, "again": again})

    assert browser.get(path).status_code == 200
    assert "not your present password" in _text(send("no", new, new))
    assert "The two differ" in _text(send(PASSWORD, new, new + "s"))
    weak = send(PASSWORD, "password", "password")
    assert weak.status_code == 422
    assert "too common" in _text(weak)
    assert _is_signed_in(elsewhere)
    assert send(PASSWORD, new, new)["Location"] == "/office/account/"
    assert "Your password is changed" in _text(browser.get("/office/account/"))
    assert not _is_signed_in(elsewhere)
    assert Token.objects.get(pk=token.pk).revoked_at is not None
    assert _password(Client()).status_code == 422
    assert Client().post("/sign-in/", {"username": "kim", "password": new}).status_code == 302


def test_guessing_the_present_password_is_paused(kim: Person, browser: Client) -> None:
    body = {"present": "no", "password": "seven quiet ducts", "again": "seven quiet ducts"}
    for _ in range(sign_in_throttle.WRONG_FROM_ONE_ADDRESS):
        assert browser.post("/office/account/password/", body).status_code == 422
    right = {**body, "present": PASSWORD}
    assert browser.post("/office/account/password/", right).status_code == 429
    assert browser.post(START, {"password": PASSWORD}).status_code == 429


@pytest.mark.parametrize("path", ["", "password/", "codes/start/", "codes/on/", "codes/off/"])
def test_the_account_is_nobody_s_who_is_not_signed_in(ip_company: Company, path: str) -> None:
    address = f"/office/account/{path}"
    assert Client().get(address)["Location"] == f"/sign-in/?next={address}"


def test_what_the_account_costs_does_not_grow_with_tokens(
    kim: Person, browser: Client, django_assert_num_queries: Any
) -> None:
    for count in (3, 30):
        for _ in range(count):
            factories.make_token(person=kim)
        with django_assert_num_queries(7):
            browser.get("/office/account/")
