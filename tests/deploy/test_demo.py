"""The demonstration from end to end, as a newcomer runs it."""

from __future__ import annotations

import json
import shlex
import signal
import stat
import time
from pathlib import Path

from .conftest import kill_tree
from .running import Running, still_there


def test_the_demo_measures_live_and_serves_and_keeps_everything_for_the_next_start(
    folder: Path,
) -> None:
    data = folder / "var"
    demo = Running(["demo"], data)
    try:
        demo.says("Ctrl-C stops it")

        # One live traverse, with everything that a newcomer should see.
        for label in ("Velocity indicated", "Velocity corrected"):
            assert demo.line(label).endswith(" ft/min")
        assert demo.line("Air density").endswith(" lb/ft3")
        assert demo.line("Area inside").endswith(" ft2")
        for label in ("Flow, actual", "Flow, standard", "Flow per ton"):
            assert "(95 %: " in demo.line(label)
        assert demo.line("Verdict")
        assert demo.line("Computed by the worker")
        assert demo.line("Open") == f"Open  {demo.url}"

        # Random sign-ins in their file, each of which opens what it should.
        kept = data / "demo_access.json"
        access = json.loads(kept.read_text())
        assert stat.S_IMODE(kept.stat().st_mode) == 0o600
        assert access["url"] == demo.url
        assert set(access) == {"url", "manager", "technician", "administrator", "field_app"}
        for role in ("manager", "technician", "administrator"):
            person = access[role]
            assert set(person) == {"username", "password", "token"}
            assert person["password"] in demo.line(f"{role} ")
            signed_in = {key: person[key] for key in ("username", "password")}
            assert demo.send("POST", "tokens/", body=signed_in)[0] == 201
            assert demo.send("GET", "traverses/?page_size=1", token=person["token"])[0] == 200
        field_app = access["field_app"]["token"]
        assert demo.send("GET", "sites/?page_size=1", token=field_app)[0] == 200

        # The line to post another one, as a shell takes it apart.
        words = shlex.split(demo.line("curl "))
        assert words[2] == f"{demo.url}/api/v1/traverses/"
        body = json.loads(words[-1])
        status, sent = demo.send("POST", "traverses/", token=field_app, body=body)
        assert (status, sent["result"]["state"]) == (201, "pending")
        deadline = time.monotonic() + 60
        while sent["result"]["state"] == "pending" and time.monotonic() < deadline:
            time.sleep(0.1)
            status, sent = demo.send("GET", f"traverses/{sent['id']}/", token=field_app)
        assert sent["result"]["state"] == "computed"

        processes = demo.processes()
        demo.process.send_signal(signal.SIGINT)
        assert demo.ends() == (0, "")
        assert still_there(processes) == []

        # Once more, to the end: the same data and sign-ins.
        demo = Running(["demo", "--once"], data, PORT=str(demo.port))
        assert demo.ends() == (0, "")
        assert demo.line("Verdict")
        assert demo.lines[0] == "The invented company is already there; nothing was changed."
        assert json.loads(kept.read_text()) == access
        assert json.loads((data / "demo_access.json").read_text())["url"] == demo.url
        assert not any("Ctrl-C" in line for line in demo.lines)
    finally:
        if demo.process.poll() is None:
            kill_tree(demo.process.pid)
        demo.process.communicate()
