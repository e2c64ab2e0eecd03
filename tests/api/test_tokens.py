"""Tokens: hashed, expiring, revocable, used; and how often one may knock."""

from __future__ import annotations

import datetime
import hashlib
from typing import Any

import pytest
from django.core.cache import cache
from django.utils import timezone

from airflow_jobs.actions.tokens import digest_of, issue_token
from airflow_jobs.api.throttling import Bucket
from airflow_jobs.models import Person, Token, new_id
from tests import factories
from tests.authenticators import with_codes
from tests.conftest import Actors, Caller

PASSWORD = "correct horse 7 battery"


def test_signing_in_answers_a_token_that_works_and_is_kept_as_a_digest(actors: Actors) -> None:
    answer = actors.stranger.post(
        "tokens/", {"username": "Owner", "password": PASSWORD, "label": "phone"}
    )
    assert answer.status_code == 201
    assert answer["Cache-Control"] == "no-store"
    secret = answer.json()["token"]
    token = Token.objects.get(pk=answer.json()["id"])
    assert token.digest == hashlib.sha256(secret.encode()).hexdigest()
    assert token.label == "phone"
    lifetime = token.expires_at - timezone.now()
    assert datetime.timedelta(days=29, hours=23) < lifetime <= datetime.timedelta(days=30)
    caller = Caller(actors.stranger.client, secret)
    assert caller.get("sites/").status_code == 200
    listed = caller.get("tokens/").json()["results"]
    assert "token" not in listed[0]
    assert "digest" not in listed[0]


@pytest.mark.parametrize(
    "body",
    [
        {"username": "owner", "password": "wrong"},
        {"username": "nobody", "password": PASSWORD},
        {"username": "sleeper", "password": PASSWORD},
    ],
)
def test_a_wrong_sign_in_is_401_and_says_no_more(actors: Actors, body: dict[str, str]) -> None:
    factories.make_person(username="sleeper", is_active=False)
    answer = actors.stranger.post("tokens/", body)
    assert answer.status_code == 401
    assert answer.json()["detail"] == "User name and password don't belong together."


def _code_of(answer: Any) -> str:
    """Return the one thing that an answer says of the one-time code."""
    (error,) = answer.json()["errors"]
    assert error["pointer"] == "/one_time_code"
    return str(error["code"])


def test_a_code_is_asked_for_and_opens_the_door_once(actors: Actors) -> None:
    assert actors.owner.person is not None
    app, recovery = with_codes(actors.owner.person)
    assert actors.owner.get("sites/").status_code == 401
    body = {"username": "owner", "password": PASSWORD}
    for nothing in (body, body | {"one_time_code": None}, body | {"one_time_code": ""}):
        due = actors.stranger.post("tokens/", nothing)
        assert due.status_code == 401
        assert due["WWW-Authenticate"].startswith("Bearer")
        assert _code_of(due) == "one_time_code_required"
    code = app.code()
    answer = actors.stranger.post("tokens/", body | {"one_time_code": code})
    assert answer.status_code == 201
    caller = Caller(actors.stranger.client, answer.json()["token"])
    assert caller.get("sites/").status_code == 200
    again = actors.stranger.post("tokens/", body | {"one_time_code": code})
    assert again.status_code == 401
    assert _code_of(again) == "one_time_code_wrong"
    with_recovery = body | {"one_time_code": recovery[0]}
    assert actors.stranger.post("tokens/", with_recovery).status_code == 201
    assert _code_of(actors.stranger.post("tokens/", with_recovery)) == "one_time_code_wrong"


def test_after_wrong_codes_the_right_one_is_told_how_long_to_wait(actors: Actors) -> None:
    assert actors.owner.person is not None
    app, _ = with_codes(actors.owner.person)
    body = {"username": "owner", "password": PASSWORD}
    wrong = actors.stranger.post("tokens/", body | {"one_time_code": app.wrong_code()})
    assert _code_of(wrong) == "one_time_code_wrong"
    early = actors.stranger.post("tokens/", body | {"one_time_code": app.code()})
    assert early.status_code == 429
    assert early["Retry-After"] == "1"
    assert _code_of(early) == "one_time_code_paused"


def test_without_the_right_password_nobody_learns_whether_a_code_is_due(actors: Actors) -> None:
    assert actors.owner.person is not None
    app, _ = with_codes(actors.owner.person)
    answers = [
        actors.stranger.post(
            "tokens/", {"username": name, "password": "wrong", "one_time_code": code}
        )
        for name in ("owner", "colleague", "ghost")
        for code in (None, app.code())
    ]
    assert {answer.status_code for answer in answers} == {401}
    assert len({answer.content for answer in answers}) == 1
    # A code that was sent with a wrong password isn't used up.
    body = {"username": "owner", "password": PASSWORD, "one_time_code": app.code()}
    assert actors.stranger.post("tokens/", body).status_code == 201


def test_a_code_from_somebody_who_has_none_on_is_not_looked_at(actors: Actors) -> None:
    body = {"username": "owner", "password": PASSWORD, "one_time_code": "123456"}
    assert actors.stranger.post("tokens/", body).status_code == 201


def test_the_same_person_again_is_the_same_after_codes_were_turned_on(actors: Actors) -> None:
    body = {"id": str(new_id()), "username": "robin", "name": "Robin", "role": "technician"}
    assert actors.administrator.post("people/", body).status_code == 201
    with_codes(Person.objects.get(username="robin"))
    assert actors.administrator.post("people/", body).status_code == 200


def test_an_old_token_does_not_stand_in_the_way_of_signing_in(actors: Actors) -> None:
    caller = Caller(actors.stranger.client, "expired or made up")
    assert caller.get("sites/").status_code == 401
    body = {"username": "owner", "password": PASSWORD}
    assert caller.post("tokens/", body).status_code == 201


@pytest.mark.parametrize(
    "header", ["Bearer", "Bearer ", "Basic abc", "Bearer a b", "Bearer \xff\xfe", "bearer x"]
)
def test_a_header_that_is_no_good_is_401(actors: Actors, header: str) -> None:
    answer = actors.stranger.client.get(
        "/api/v1/sites/", headers={"Authorization": header, "Accept": "*/*"}
    )
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"].startswith("Bearer")


def test_a_token_ends_by_time_by_revocation_and_with_its_person(actors: Actors) -> None:
    assert actors.owner.token is not None
    assert actors.colleague.token is not None
    assert actors.manager.person is not None
    Token.objects.filter(pk=actors.owner.token.pk).update(expires_at=timezone.now())
    assert actors.owner.get("sites/").status_code == 401
    given_back = actors.colleague.delete(f"tokens/{actors.colleague.token.pk}/")
    assert given_back.status_code == 204
    assert actors.colleague.get("sites/").status_code == 401
    Person.objects.filter(pk=actors.manager.person.pk).update(is_active=False)
    assert actors.manager.get("sites/").status_code == 401


def test_revoking_twice_changes_nothing(actors: Actors) -> None:
    token, _ = factories.make_token(person=actors.owner.person)
    path = f"tokens/{token.pk}/"
    assert actors.owner.delete(path).status_code == 204
    first = Token.objects.get(pk=token.pk).revoked_at
    assert actors.owner.delete(path).status_code == 204
    assert Token.objects.get(pk=token.pk).revoked_at == first


def test_last_use_is_written_down_once_a_minute(actors: Actors) -> None:
    assert actors.owner.token is not None
    actors.owner.get("sites/")
    token = Token.objects.get(pk=actors.owner.token.pk)
    first = token.last_used_at
    assert first is not None
    assert token.revision == 1
    actors.owner.get("sites/")
    assert Token.objects.get(pk=token.pk).last_used_at == first
    earlier = first - datetime.timedelta(minutes=2)
    Token.objects.filter(pk=token.pk).update(last_used_at=earlier)
    actors.owner.get("sites/")
    assert Token.objects.get(pk=token.pk).last_used_at > first


def test_a_field_apps_token_is_bound_to_its_crew_and_good_for_a_year(actors: Actors) -> None:
    body = {"crew": str(actors.crew.pk), "label": "tablet"}
    answer = actors.administrator.post("tokens/field-app/", body)
    assert answer.status_code == 201
    token = Token.objects.get(pk=answer.json()["id"])
    assert token.crew_id == actors.crew.pk
    assert token.expires_at - timezone.now() > datetime.timedelta(days=364)
    short = actors.administrator.post("tokens/field-app/", body | {"lifetime_days": 7})
    assert short.json()["expires_at"] < answer.json()["expires_at"]
    caller = Caller(actors.stranger.client, answer.json()["token"])
    assert caller.get("traverses/").status_code == 200
    unknown = actors.administrator.post("tokens/field-app/", {"crew": str(token.pk)})
    assert unknown.status_code == 422


def test_a_crew_that_lost_somebody_lost_the_persons_rights(actors: Actors) -> None:
    visit = factories.make_visit(crew=actors.crew)
    path = f"visits/{visit.pk}/"
    assert actors.owner.patch(path, {"planned_for": "2026-06-03"}, revision=1).status_code == 200
    actors.crew.memberships.update(to_on=timezone.now().date() - datetime.timedelta(days=1))
    assert actors.owner.patch(path, {"planned_for": None}, revision=2).status_code == 403


def test_tokens_issued_by_the_service_carry_their_lifetime(actors: Actors) -> None:
    now = factories.NOW
    token, secret = issue_token(
        person=actors.owner.person,
        label="demo",
        lifetime=datetime.timedelta(days=2),
        now=now,
    )
    assert token.expires_at == now + datetime.timedelta(days=2)
    assert token.digest == digest_of(secret)


def test_a_bucket_lets_a_burst_through_and_then_fills_up_steadily(company: object) -> None:
    bucket = Bucket("throttle-test", burst=5, per_second=2.0)
    now = 1_000_000.0
    assert [bucket.take(now) for _ in range(5)] == [0.0] * 5
    assert bucket.take(now) == pytest.approx(0.5)
    assert bucket.take(now + 0.25) == pytest.approx(0.25)
    assert bucket.take(now + 0.5) == 0.0
    assert bucket.take(now + 0.5) > 0.0
    assert [bucket.take(now + 100.0) for _ in range(5)] == [0.0] * 5
    assert bucket.take(now + 100.0) > 0.0


def test_who_asks_too_often_is_told_how_long_to_wait(own_cache: None, actors: Actors) -> None:
    assert actors.owner.token is not None
    # The bucket as after a burst: full again in eleven seconds.
    cache.set(f"throttle-token-{actors.owner.token.pk}", timezone.now().timestamp() + 11.0)
    answer = actors.owner.get("sites/")
    assert answer.status_code == 429
    assert answer["Content-Type"] == "application/problem+json"
    assert 1 <= int(answer["Retry-After"]) <= 2
    assert actors.colleague.get("sites/").status_code == 200


def test_callers_by_a_socket_file_who_have_no_address_are_answered(actors: Actors) -> None:
    answer = actors.stranger.client.get("/api/v1/problems/not-found/", REMOTE_ADDR=None)
    assert answer.status_code == 200


def test_trying_passwords_is_slowed_down_by_name(own_cache: None, actors: Actors) -> None:
    body = {"username": "owner", "password": "wrong"}
    codes = [actors.stranger.post("tokens/", body).status_code for _ in range(12)]
    assert codes[:10] == [401] * 10
    assert codes[11] == 429
    other = body | {"username": "colleague", "password": PASSWORD}
    assert actors.stranger.post("tokens/", other).status_code == 201
