"""The service's parts for tests: its processes, a client, and something to measure."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import uuid4

import httpx

from airflow_jobs import embedded
from config.env import PROJECT_DIRECTORY
from tests.deploy.conftest import free_port
from tests.deploy.first_start import put_tables
from tests.settings import RUN_DIRECTORY

PASSWORD = "quiet-Ducts-574"
PATIENCE_S = 60.0


class Parts:
    """The service's processes, each started and killed by itself."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self.environment = {
            **os.environ,
            "DATA_DIR": str(folder),
            "PORT": str(self.port),
            "ADMIN_USERNAME": "office",
            "ADMIN_PASSWORD": PASSWORD,
            "DJANGO_SETTINGS_MODULE": "config.settings",
        }
        for name in ("messages", "control"):
            (folder / "broker" / name).mkdir(parents=True)
        self.running: list[subprocess.Popen[bytes]] = []

    def run(self, *command: str) -> None:
        """Run something to its end."""
        subprocess.run(
            [sys.executable, *command], check=True, cwd=PROJECT_DIRECTORY, env=self.environment
        )

    def start(self, *command: str) -> subprocess.Popen[bytes]:
        """Start something that stays."""
        process = subprocess.Popen(
            [sys.executable, "-m", *command],
            cwd=PROJECT_DIRECTORY,
            env=self.environment,
            start_new_session=True,
        )
        self.running.append(process)
        return process

    def start_web(self) -> None:
        """Start the web server and wait until it answers."""
        self.start(
            "granian", "--interface", "wsgi", "--port", str(self.port), "config.wsgi:application"
        )
        wait_for(lambda: self._is_well(), "the web server answers")

    def start_worker(self) -> subprocess.Popen[bytes]:
        """Start a worker with its schedule."""
        schedule = str(Path(self.environment["DATA_DIR"]) / f"beat-{uuid4().hex}")
        return self.start(
            "celery", "-A", "config", "worker", "-B", "-s", schedule, "--concurrency", "1"
        )

    def kill(self, process: subprocess.Popen[bytes]) -> None:
        """Kill a process and its children, as a power cut would."""
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def _is_well(self) -> bool:
        try:
            return httpx.get(f"http://localhost:{self.port}/healthz").status_code == 200
        except httpx.TransportError:
            return False


def wait_for(ready: Callable[[], Any], what: str) -> Any:
    """Ask until the answer is true; fail with what was waited for."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        answer = ready()
        if answer:
            return answer
        time.sleep(0.1)
    raise AssertionError(f"waited {PATIENCE_S:.0f} s in vain: {what}")


@contextmanager
def running_without_worker(name: str) -> Iterator[Parts]:
    """Have PostgreSQL and the web server, but no worker, with data of their own."""
    data = Path(tempfile.mkdtemp(prefix=f"{name}-", dir=RUN_DIRECTORY))
    # As root another account runs PostgreSQL and must get through to its folder.
    data.chmod(0o711)
    put_tables(data / "postgres")
    service = Parts(data)
    with embedded.running(data / "postgres"):
        service.run("manage.py", "first_administrator")
        try:
            service.start_web()
            yield service
        finally:
            for process in service.running:
                if process.poll() is None:
                    service.kill(process)


class Api:
    """A client as a newcomer would write it."""

    def __init__(self, port: int) -> None:
        self.http = httpx.Client(base_url=f"http://localhost:{port}/api/v1", timeout=30)
        answer = self.http.post("/tokens/", json={"username": "office", "password": PASSWORD})
        answer.raise_for_status()
        self.http.headers["Authorization"] = f"Bearer {answer.json()['token']}"

    def add(self, resource: str, **body: Any) -> str:
        """Create something and return its id."""
        answer = self.http.post(f"/{resource}/", json=body)
        assert answer.status_code == 201, answer.text
        identifier: str = answer.json()["id"]
        return identifier

    def result(self, traverse: str) -> dict[str, Any]:
        """Return a traverse's result as it stands, in SI."""
        answer = self.http.get(f"/traverses/{traverse}/", params={"units": "si"})
        answer.raise_for_status()
        result: dict[str, Any] = answer.json()["result"]
        return result

    def computed(self, traverse: str) -> dict[str, Any]:
        """Wait for the worker's result."""

        def ready() -> dict[str, Any] | None:
            result = self.result(traverse)
            assert result["state"] != "failed", result
            return result if result["state"] == "computed" else None

        found: dict[str, Any] = wait_for(ready, "a computed result")
        return found


def length(value: float, unit: str = "in") -> dict[str, Any]:
    return {"value": value, "unit": unit}


def add_place(api: Api, **site: Any) -> tuple[str, str]:
    """Add a site with a three-ton system and its 18 x 24 in return; return visit and section."""
    where = api.add("sites", name=f"Site {uuid4()}", time_zone="America/Denver", **site)
    system = api.add(
        "equipment",
        site=where,
        tag="AH-1",
        kind="split_system",
        nominal_capacity={"value": 3, "unit": "ton"},
    )
    section = api.add(
        "duct-sections",
        equipment=system,
        name="Return drop",
        air_path="return",
        shape="rectangular",
        width=length(18),
        height=length(24),
        layout_rule="log_tchebycheff",
    )
    crew = api.add("crews", name=f"Crew {uuid4()}")
    visit = api.add("visits", site=where, crew=crew, purpose="maintenance")
    return visit, section


def add_meter(api: Api, principle: str, **more: Any) -> str:
    """Add an instrument; unless said, it compensates for nothing and shows actual velocity."""
    body = {
        "serial": str(uuid4()),
        "principle": principle,
        "shows": "actual_velocity",
        "compensates": {"temperature": False, "pressure": False, "humidity": False},
        **more,
    }
    return api.add("instruments", **body)


def content(
    visit: str, section: str, meter: str, reading: float = 574.0, unit: str = "ft/min", **more: Any
) -> dict[str, Any]:
    return {
        "id": str(uuid4()),
        "visit": visit,
        "duct_section": section,
        "instrument": meter,
        "stage": "as_found",
        "taken_at": "2026-06-03T14:12:00-06:00",
        "mode": "points",
        "operating_state": {"call": "cooling"},
        "conditions": {
            "dry_bulb": {"value": 70, "unit": "degF"},
            "relative_humidity": {"value": 0, "unit": "%"},
            "barometric_pressure": {"value": 29.921, "unit": "inHg"},
        },
        "readings": {"unit": unit, "values": [[reading] * 5] * 5},
        **more,
    }
