"""Signing in with the example client: a one-time code only where one is due."""

from __future__ import annotations

import re
import stat
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

import httpx
import pytest

from examples.field_client import signing_in
from examples.field_client.__main__ import main
from examples.field_client.service import Service
from examples.field_client.store import Store
from tests.api.faulty_proxy import AFTER, PASS, FaultyProxy
from tests.authenticators import Authenticator, begin_a_half_minute
from tests.service_parts import Api, Parts

PASSWORD = "seven quiet ducts"


@pytest.fixture
def kim(api: Api) -> str:
    """Somebody with a sign-in; the user name."""
    username = f"kim-{uuid4().hex[:8]}"
    api.add("people", username=username, name="Kim", role="technician", password=PASSWORD)
    return username


class Pages:
    """The service's pages as a browser without scripts uses them."""

    def __init__(self, port: int) -> None:
        self.http = httpx.Client(base_url=f"http://localhost:{port}", follow_redirects=True)

    def send(self, path: str, **fields: str) -> str:
        """Fill a form in and send it; return the page that comes."""
        found = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', self.http.get(path).text)
        assert found is not None
        answer = self.http.post(path, data={"csrfmiddlewaretoken": found[1], **fields})
        answer.raise_for_status()
        return answer.text


@dataclass(frozen=True)
class Handset:
    """What Kim has at hand once codes are on."""

    app: Authenticator
    recovery_code: str


@pytest.fixture
def phone_of_kim(parts: Parts, kim: str) -> Handset:
    """Turn codes on over the pages."""
    pages = Pages(parts.port)
    pages.send("/sign-in/", username=kim, password=PASSWORD)
    shown = pages.send("/office/account/codes/start/", password=PASSWORD)
    key = re.search(r'id="key">([A-Z2-7 ]+)<', shown)
    assert key is not None
    app = Authenticator.typed(key[1])
    begin_a_half_minute()
    made = pages.send("/office/account/codes/on/", code=app.code())
    recovery = re.search(r"<li>([a-z2-7]{4}(?:-[a-z2-7]{4}){3})</li>", made)
    assert recovery is not None
    pages.http.close()
    return Handset(app, recovery[1])


def _typed(answers: list[str]) -> Callable[[str], str]:
    given = iter(answers)
    return lambda _: next(given)


def test_a_code_is_asked_for_where_one_is_due_until_one_is_good(
    parts: Parts, kim: str, phone_of_kim: Handset
) -> None:
    said: list[str] = []
    service = Service(f"http://localhost:{parts.port}", "", say=said.append)
    # The code of now is used up by turning codes on; that of the next half minute is good already.
    app = phone_of_kim.app
    token = signing_in.signed_in(
        service,
        _typed([kim, app.wrong_code(), app.code(1)]),
        lambda _: PASSWORD,
        label="phone",
    )
    assert said[0] == signing_in.AGAIN
    service.token = token
    answer = service.ask("GET", "tokens/")
    assert [row["label"] for row in answer.body["results"]] == ["phone"]


def test_who_has_no_codes_on_is_asked_for_none_and_the_command_keeps_the_token(
    parts: Parts,
    kim: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    file = tmp_path / "field.sqlite3"
    monkeypatch.setenv("FIELD_URL", f"http://localhost:{parts.port}")
    monkeypatch.setenv("FIELD_FILE", str(file))
    monkeypatch.delenv("FIELD_TOKEN", raising=False)
    monkeypatch.setattr("builtins.input", lambda _: kim)
    assert main(["sync"]) == 1
    assert "Sign in first" in capsys.readouterr().err
    monkeypatch.setattr("getpass.getpass", lambda _: "wrong")
    assert main(["sign-in"]) == 1
    assert "don't belong together" in capsys.readouterr().err
    monkeypatch.setattr("getpass.getpass", lambda _: PASSWORD)
    assert main(["sign-in"]) == 0
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert main(["sync"]) == 0
    store = Store(file)
    assert store.token(f"http://localhost:{parts.port}")
    assert store.token("http://elsewhere") == ""
    store.close()


def test_a_code_whose_answer_got_lost_is_asked_for_anew(
    kim: str, phone_of_kim: Handset, line: FaultyProxy
) -> None:
    said: list[str] = []
    line.do(PASS, AFTER)
    service = Service(line.url, "", sleep=lambda _: None, say=said.append)
    token = signing_in.signed_in(
        service,
        _typed([kim, phone_of_kim.app.code(1), phone_of_kim.recovery_code]),
        lambda _: PASSWORD,
        label="phone",
    )
    assert line.is_done
    assert signing_in.AGAIN in said
    service.token = token
    assert service.ask("GET", "tokens/").status == 200
