"""The example client's commands, and the first steps by hand."""

from __future__ import annotations

import json
import shlex
import string
from pathlib import Path

import httpx
import pytest

from config.env import PROJECT_DIRECTORY
from examples.field_client.__main__ import main
from tests.api.faulty_proxy import (
    FaultyProxy,
)
from tests.api.field_client.phones import Phone
from tests.service_parts import (
    PASSWORD,
    Api,
    Parts,
)


def test_the_commands_take_a_traverse_from_the_sync_to_its_result(
    phone: Phone,
    line: FaultyProxy,
    parts: Parts,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    for name, value in phone.environment(line).items():
        monkeypatch.setenv(name, value)
    assert main(["sync"]) == 0
    written = tmp_path / "traverse.json"
    # Three tons at 450 a ton: just on the limit.
    written.write_text(json.dumps(phone.content(450.0)))
    assert main(["take", str(written)]) == 0
    assert main(["queue"]) == 1
    (item,) = phone.store.items()
    assert main(["show", item.traverse[:8]]) == 0
    assert main(["change", item.traverse[:8], str(written), "--reason", "None at all."]) == 0
    capsys.readouterr()
    assert main(["send"]) == 0
    assert "The queue is empty" in capsys.readouterr().out
    assert main(["results", "--patience", "0"]) == 0
    assert "Being computed; ask again" in capsys.readouterr().out
    parts.start_worker()
    assert main(["results", "--patience", "60"]) == 0
    shown = capsys.readouterr().out
    assert "Return drop as_found" in shown
    assert "Too close to call, probably" in shown
    assert main(["settle", item.traverse[:8], "again"]) == 1
    assert main(["show", "no-such-id"]) == 1
    assert "0 traverses here" in capsys.readouterr().err


def test_the_first_steps_of_the_readme_lead_to_a_stored_traverse(api: Api) -> None:
    text = (PROJECT_DIRECTORY / "examples" / "README.md").read_text()
    block = text.split("```sh\n")[1].split("```")[0].replace("\\\n", " ")
    block = block.replace("YOUR NAME", "office").replace("YOUR PASSWORD", PASSWORD)
    known = {"API": str(api.http.base_url).rstrip("/"), "TOKEN": ""}
    statuses = []
    for command in block.split("curl ")[1:]:
        words_given = shlex.split(string.Template(command).safe_substitute(known))
        headers = dict(
            words_given[place + 1].split(": ", 1)
            for place, word in enumerate(words_given)
            if word == "-H"
        )
        body = words_given[words_given.index("-d") + 1]
        (url,) = (word for word in words_given if word.startswith("http"))
        answered = httpx.post(url, headers=headers, content=body)
        statuses.append(answered.status_code)
        known["TOKEN"] = known["TOKEN"] or answered.json()["token"]
    assert statuses == [201] * 8
    assert answered.json()["result"]["state"] in ("pending", "computed")
