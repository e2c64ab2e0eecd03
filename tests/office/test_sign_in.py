"""Sign-in: who is let in, who waits, where it leads."""

import pytest
from django.test import Client

from airflow_jobs.models import Company
from airflow_jobs.office import sign_in_throttle
from tests import factories

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("own_cache")]
PASSWORD = "correct horse 7 battery"


def _try(client: Client, password: str, **more: str) -> int:
    return client.post("/sign-in/", {"username": "kim", "password": password, **more}).status_code


@pytest.fixture
def kim(ip_company: Company) -> None:
    """Somebody with a password."""
    factories.make_person(username="kim", password=PASSWORD)


@pytest.mark.usefixtures("kim")
def test_the_right_password_leads_to_the_fleet() -> None:
    client = Client()
    response = client.post("/sign-in/", {"username": "kim", "password": PASSWORD})
    assert response.status_code == 302
    assert response["Location"] == "/"
    assert client.get("/").status_code == 200


@pytest.mark.usefixtures("kim")
def test_the_user_name_s_case_does_not_matter() -> None:
    response = Client().post("/sign-in/", {"username": "KIM", "password": PASSWORD})
    assert response.status_code == 302


@pytest.mark.usefixtures("kim")
def test_a_wrong_password_says_so_and_names_nobody() -> None:
    client = Client()
    wrong = client.post("/sign-in/", {"username": "kim", "password": "no"})
    nobody = client.post("/sign-in/", {"username": "ghost", "password": "no"})
    assert wrong.status_code == nobody.status_code == 422
    assert b"don't belong together" in wrong.content
    assert b"don't belong together" in nobody.content


@pytest.mark.usefixtures("kim")
def test_after_wrong_passwords_even_the_right_one_waits() -> None:
    client = Client()
    for _ in range(sign_in_throttle.WRONG_FROM_ONE_ADDRESS):
        assert _try(client, "no") == 422
    response = client.post("/sign-in/", {"username": "kim", "password": PASSWORD})
    assert response.status_code == 429
    assert int(response["Retry-After"]) > 0
    assert b"Wait 5 minutes" in response.content


@pytest.mark.usefixtures("kim")
def test_the_pause_holds_for_one_address_only_until_many_try() -> None:
    client = Client()
    for _ in range(sign_in_throttle.WRONG_FROM_ONE_ADDRESS):
        _try(client, "no")
    elsewhere = Client(REMOTE_ADDR="198.51.100.7")
    assert _try(elsewhere, PASSWORD) == 302
    for number in range(sign_in_throttle.WRONG_FROM_ANYWHERE):
        sign_in_throttle.count_wrong(username="kim", address=f"203.0.113.{number}")
    assert _try(Client(REMOTE_ADDR="198.51.100.8"), PASSWORD) == 429


@pytest.mark.usefixtures("kim")
def test_a_right_password_forgets_the_wrong_ones() -> None:
    client = Client()
    for _ in range(sign_in_throttle.WRONG_FROM_ONE_ADDRESS - 1):
        _try(client, "no")
    assert _try(client, PASSWORD) == 302
    assert not sign_in_throttle.is_paused(username="kim", address="127.0.0.1")
    client = Client()
    for _ in range(sign_in_throttle.WRONG_FROM_ONE_ADDRESS - 1):
        assert _try(client, "no") == 422


@pytest.mark.usefixtures("kim")
def test_sign_in_leads_back_to_where_it_was_asked_for_but_nowhere_else() -> None:
    assert Client().get("/systems/").headers["Location"] == "/sign-in/?next=/systems/"
    back = Client().post(
        "/sign-in/", {"username": "kim", "password": PASSWORD, "next": "/systems/?q=a"}
    )
    assert back["Location"] == "/systems/?q=a"
    away = Client().post(
        "/sign-in/", {"username": "kim", "password": PASSWORD, "next": "https://example.org/"}
    )
    assert away["Location"] == "/"


@pytest.mark.usefixtures("kim")
def test_sign_out_needs_a_button_and_ends_the_session() -> None:
    client = Client()
    client.post("/sign-in/", {"username": "kim", "password": PASSWORD})
    assert client.get("/sign-out/").status_code == 405
    assert client.post("/sign-out/")["Location"] == "/sign-in/"
    assert client.get("/").status_code == 302


def test_somebody_who_left_is_not_let_in(ip_company: Company) -> None:
    factories.make_person(username="kim", password=PASSWORD, is_active=False)
    assert _try(Client(), PASSWORD) == 422
