"""A phone with the example client on it, its line to the service, and the office beside."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from config.env import PROJECT_DIRECTORY
from examples.field_client import exchange
from examples.field_client.service import Service
from examples.field_client.store import Store
from tests.api.faulty_proxy import HELD, FaultyProxy
from tests.service_parts import Api, add_meter, add_place, content


@dataclass(frozen=True)
class Place:
    """What is measured, with what, by whom."""

    site: str
    crew: str
    section: str
    meter: str

    @classmethod
    def added(cls, api: Api) -> Place:
        """Add a place of its own."""
        visit, section = add_place(api)
        row = api.http.get(f"/visits/{visit}/").json()
        return cls(row["site"], row["crew"], section, add_meter(api, "vane"))


class Phone:
    """A device on a visit: its file, its line, and waits that are only written down."""

    def __init__(self, folder: Path, api: Api, line: FaultyProxy, place: Place) -> None:
        self.api = api
        self.file = folder / "field.sqlite3"
        self.token = api.http.headers["Authorization"].removeprefix("Bearer ")
        self.store = Store(self.file)
        self.waits: list[float] = []
        self.service = Service(
            line.url, self.token, sleep=self.waits.append, say=lambda _: None, patience_s=1e9
        )
        self.section, self.meter = place.section, place.meter
        self.visit = api.add("visits", site=place.site, crew=place.crew, purpose="maintenance")

    def content(self, reading: float = 574.0, **more: Any) -> dict[str, Any]:
        """Return what a technician would enter; the id is made when it is kept."""
        body = {**content(self.visit, self.section, self.meter, reading), **more}
        del body["id"]
        return body

    def take(self, reading: float = 574.0, **more: Any) -> str:
        """Keep a traverse on the phone; return its id."""
        return self.store.take(self.content(reading, **more))

    def send(self) -> None:
        """Send what waits on the phone."""
        exchange.send(self.service, self.store)

    def stored(self) -> dict[str, dict[str, Any]]:
        """Return id -> traverse of what the service has of this visit."""
        query = {"visit": self.visit, "page_size": "200"}
        rows = self.api.http.get("/traverses/", params=query).json()["results"]
        assert len({row["id"] for row in rows}) == len(rows)
        return {row["id"]: row for row in rows}

    def readings_sent(self, traverse: str) -> list[float]:
        """Return the first reading of each content that was stored, oldest first."""
        answer = self.api.http.get(f"/traverses/{traverse}/revisions/").json()
        return [row["content"]["readings"]["values"][0][0] for row in answer["results"]]

    def environment(self, line: FaultyProxy) -> dict[str, str]:
        """Return what the commands read from the environment."""
        return {
            **os.environ,
            "FIELD_URL": line.url,
            "FIELD_TOKEN": self.token,
            "FIELD_FILE": str(self.file),
        }

    def correct_in_the_office(self, traverse: str, reading: float, revision: int) -> None:
        """Have somebody else correct what was sent, past the phone."""
        done = self.api.http.post(
            f"/traverses/{traverse}/corrections/",
            json={"reason": "By the paper.", "content": self.content(reading)},
            headers={"If-Match": f'"{revision}"'},
        )
        assert done.status_code == 201, done.text

    def killed_while_sending(self, line: FaultyProxy) -> None:
        """Send in a process of its own and kill it when the service has answered."""
        line.do(HELD)
        process = subprocess.Popen(
            [sys.executable, "-m", "examples.field_client", "send"],
            cwd=PROJECT_DIRECTORY,
            env=self.environment(line),
        )
        assert line.is_held.wait(30)
        process.send_signal(signal.SIGKILL)
        assert process.wait() == -signal.SIGKILL
