"""How fast traverses come in over HTTP, beside a view that does next to nothing on the same server.

    python -m benchmarks.over_http [--quick]

The service runs as `make serve` runs it, worker included, with data in a folder of its own. The
yardstick is the health address: one query, no token, no throttle. It runs in the same rounds.
"""

import argparse
import contextlib
import http.client
import json
import os
import secrets
import shutil
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).resolve().parent.parent
PATIENCE_S = 180.0
CONNECTIONS = 8
ROUNDS = 5
BATCH = 1000


@dataclass
class Line:
    """One connection that is kept open, as a client's library keeps it."""

    port: int
    token: str = ""
    connection: http.client.HTTPConnection = field(init=False)

    def __post_init__(self) -> None:
        self.connection = http.client.HTTPConnection("localhost", self.port, timeout=60)

    def open_anew(self) -> None:
        """Open the connection anew: the server closes one that was idle for long."""
        self.connection.close()
        self.ask("GET", "/healthz")

    def ask(self, method: str, path: str, body: bytes | None = None) -> tuple[int, Any]:
        """Send one request and read the whole answer."""
        headers = {"Authorization": f"Bearer {self.token}"} if self.token else {}
        if body is not None:
            headers["Content-Type"] = "application/json"
        self.connection.request(method, path, body, headers)
        answer = self.connection.getresponse()
        return answer.status, json.loads(answer.read())

    def add(self, resource: str, **body: Any) -> str:
        """Add something and return its id, or its token."""
        status, answer = self.ask("POST", f"/api/v1/{resource}/", json.dumps(body).encode())
        if status != 201:
            raise SystemExit(f"{resource}: {status} {answer}")
        return str(answer.get("token") or answer["id"])


@contextlib.contextmanager
def service() -> Iterator[Line]:
    """Have the service as `make serve` runs it; yield a line of its administrator."""
    folder = Path(tempfile.mkdtemp(prefix="duct-flow-bench-"))
    folder.chmod(0o711)
    with socket.create_server(("localhost", 0)) as free:
        port = int(free.getsockname()[1])
    password = secrets.token_urlsafe(12)
    settings = {"ADMIN_USERNAME": "office", "ADMIN_PASSWORD": password}
    process = subprocess.Popen(
        [sys.executable, "manage.py", "serve"],
        cwd=PROJECT,
        env={**os.environ, "DATA_DIR": str(folder), "PORT": str(port), **settings},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
    )
    try:
        _wait_until_well(port, process)
        line = Line(port)
        line.token = line.add("tokens", username="office", password=password)
        yield line
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(60)
        shutil.rmtree(folder, ignore_errors=True)


def _wait_until_well(port: int, process: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until and process.poll() is None:
        with contextlib.suppress(OSError, http.client.HTTPException):
            if Line(port).ask("GET", "/healthz")[0] == 200:
                return
        time.sleep(0.2)
    raise SystemExit("The service did not start; its log says why.")


def add_place(office: Line) -> dict[str, str]:
    """Add what a traverse needs; return the references of its content."""
    site = office.add("sites", name="Bench", time_zone="UTC")
    capacity = {"value": 3, "unit": "ton"}
    system = office.add(
        "equipment", site=site, tag="AH-1", kind="split_system", nominal_capacity=capacity
    )
    section = office.add(
        "duct-sections",
        equipment=system,
        name="Return drop",
        air_path="return",
        shape="rectangular",
        width={"value": 18, "unit": "in"},
        height={"value": 24, "unit": "in"},
    )
    meter = office.add(
        "instruments",
        serial="V-1",
        principle="vane",
        shows="actual_velocity",
        compensates={"temperature": False, "pressure": False, "humidity": False},
    )
    crew = office.add("crews", name="First crew")
    visit = office.add("visits", site=site, crew=crew, purpose="maintenance")
    return {"visit": visit, "duct_section": section, "instrument": meter}


def traverse(place: dict[str, str]) -> dict[str, Any]:
    """Return the content of a traverse of 25 points under an id of its own."""
    return {
        "id": str(uuid.uuid4()),
        **place,
        "stage": "as_found",
        "taken_at": "2026-06-03T14:12:00Z",
        "mode": "points",
        "operating_state": {"call": "cooling"},
        "conditions": {"dry_bulb": {"value": 70, "unit": "degF"}},
        "readings": {"unit": "ft/min", "values": [[510, 560, 590, 570, 500]] * 5},
    }


def post(line: Line, place: dict[str, str]) -> None:
    """Send one new traverse."""
    status, answer = line.ask("POST", "/api/v1/traverses/", json.dumps(traverse(place)).encode())
    if status != 201:
        raise SystemExit(f"{status} {answer}")


def health(line: Line) -> None:
    """Ask the yardstick."""
    line.ask("GET", "/healthz")


def times_of(number: int, work: Callable[[], object]) -> list[float]:
    """Times of so many runs one after the other, s."""
    times = []
    for _ in range(number):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return times


def rate_at_once(lines: Sequence[Line], number: int, work: Callable[[Line], object]) -> float:
    """Requests a second over several connections at once, so many on each."""
    start = threading.Barrier(len(lines) + 1)
    for line in lines:
        line.open_anew()

    def run(line: Line) -> None:
        start.wait()
        for _ in range(number):
            work(line)

    threads = [threading.Thread(target=run, args=(line,)) for line in lines]
    for thread in threads:
        thread.start()
    start.wait()
    begun = time.perf_counter()
    for thread in threads:
        thread.join()
    return len(lines) * number / (time.perf_counter() - begun)


def wait_for_results(office: Line) -> float:
    """Seconds until the worker has nothing left to do."""
    begun = time.perf_counter()
    office.open_anew()
    while office.ask("GET", "/api/v1/traverses/?state=pending&page_size=1")[1]["results"]:
        time.sleep(0.2)
    return time.perf_counter() - begun


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a fifth of the requests")
    options = parser.parse_args(arguments)
    number = 10 if options.quick else 50

    with service() as office:
        place = add_place(office)
        # A token each: the throttle counts by token.
        crew = office.ask("GET", "/api/v1/crews/")[1]["results"][0]["id"]
        lines = [
            Line(office.port, office.add("tokens/field-app", crew=crew)) for _ in range(CONNECTIONS)
        ]
        times_of(10, lambda: health(office))
        times_of(10, lambda: post(office, place))
        wait_for_results(office)
        alone: dict[str, list[float]] = {"health": [], "post": []}
        at_once: dict[str, list[float]] = {"health": [], "post": []}
        for _ in range(ROUNDS):
            lines[0].open_anew()
            alone["health"] += times_of(number, lambda: health(lines[0]))
            alone["post"] += times_of(number, lambda: post(lines[0], place))
            wait_for_results(office)
            at_once["health"].append(rate_at_once(lines, number // 2, health))
            at_once["post"].append(rate_at_once(lines, number // 2, lambda line: post(line, place)))
            wait_for_results(office)
        bodies = [
            json.dumps([traverse(place) for _ in range(BATCH)]).encode() for _ in range(ROUNDS)
        ]
        sent = iter(bodies * 2)
        office.open_anew()
        batch = times_of(ROUNDS, lambda: office.ask("POST", "/api/v1/traverses/batch/", next(sent)))
        computed = wait_for_results(office)
        again = times_of(ROUNDS, lambda: office.ask("POST", "/api/v1/traverses/batch/", next(sent)))

    print("One at a time, one connection, median")
    for name, label in (("health", "yardstick: health"), ("post", "POST a traverse")):
        middle = statistics.median(alone[name])
        print(f"  {label:22}{1e3 * middle:8.2f} ms   {1 / middle:7.0f} a second")
    ratio = statistics.median(alone["post"]) / statistics.median(alone["health"])
    print(f"  {'ratio':22}{ratio:8.1f}")
    print(f"{CONNECTIONS} connections at once, best of {ROUNDS} rounds")
    for name, label in (("health", "yardstick: health"), ("post", "POST a traverse")):
        print(f"  {label:22}{max(at_once[name]):8.0f} a second")
    print(f"A batch of {BATCH:,} traverses of 25 points, best of {ROUNDS}")
    print(f"  {'stored':22}{min(batch):8.2f} s    {BATCH / min(batch):7.0f} traverses a second")
    print(f"  {'the same again':22}{min(again):8.2f} s    {BATCH / min(again):7.0f} a second")
    print(f"  {'results of all':22}{computed:8.2f} s    after the last of {ROUNDS}")


if __name__ == "__main__":
    main()
