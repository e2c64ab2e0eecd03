"""Starting and stopping: no process is left, whoever is killed."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil
import psycopg
import pytest

from airflow_jobs import embedded
from config.env import PROJECT_DIRECTORY

from .conftest import free_port, kill_tree, postmaster_of, server_processes


class Service:
    """The small service, started as an operator would start the real one."""

    def __init__(self, directory: Path, port: int, fault: str = "") -> None:
        self.directory = directory
        self.port = port
        self.seen: list[psutil.Process] = []
        self.process = subprocess.Popen(
            [
                *(sys.executable, "-m", "tests.deploy.small_service"),
                *(str(directory), str(port), fault),
            ],
            cwd=PROJECT_DIRECTORY,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def says(self, text: str) -> str:
        """Read lines until one contains a text."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if text in line:
                return line.strip()
        raise AssertionError(f"it ended without saying {text!r}: {self.errors()}")

    def errors(self) -> str:
        """Wait for the end and read what it complained of."""
        return self.process.communicate()[1].strip()

    def processes(self) -> list[psutil.Process]:
        """List everything it has started, PostgreSQL included."""
        started = psutil.Process(self.process.pid).children(recursive=True)
        self.seen += [*started, *server_processes(self.directory / "postgres")]
        return self.seen

    def child(self, name: str) -> psutil.Process:
        """Find the process that the supervisor started with a word in its command line."""
        (found,) = self._children(name)
        return found

    def has_child(self, name: str) -> bool:
        """Whether such a process runs."""
        return bool(self._children(name))

    def _children(self, name: str) -> list[psutil.Process]:
        found = []
        for child in psutil.Process(self.process.pid).children():
            try:
                if any(name in word for word in child.cmdline()):
                    found.append(child)
            except psutil.Error:
                continue
        return found


@pytest.fixture
def start(folder: Path) -> Iterator[Callable[..., Service]]:
    started: list[Service] = []

    def begin(name: str = "data", port: int | None = None, fault: str = "") -> Service:
        started.append(Service(folder / name, port or free_port(), fault))
        return started[-1]

    yield begin
    for service in started:
        if service.process.poll() is None:
            kill_tree(service.process.pid)
        for process in filter(_lives, service.seen):
            process.kill()
        service.process.communicate()


def gone(processes: list[psutil.Process], *, seconds: float) -> bool:
    """Whether processes have ended after a while; the dead but unreaped have."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if not any(_lives(process) for process in processes):
            return True
        time.sleep(0.05)
    return False


def _lives(process: psutil.Process) -> bool:
    try:
        return process.is_running() and process.status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_request_to_end_leaves_no_process(
    start: Callable[..., Service], number: signal.Signals
) -> None:
    service = start()
    service.says("up")
    processes = service.processes()
    assert len(processes) > 5
    service.process.send_signal(number)
    assert service.process.communicate(timeout=30) == ("stopped\n", "")
    assert service.process.returncode == 0
    assert gone(processes, seconds=1)


def test_ctrl_c_during_the_start_leaves_no_process(start: Callable[..., Service]) -> None:
    service = start()
    while not embedded.listens(service.directory / "postgres"):
        time.sleep(0.002)
    service.process.send_signal(signal.SIGINT)
    processes = service.processes()
    assert service.process.communicate(timeout=30)[0] == "stopped\n"
    assert gone(processes, seconds=1)
    assert server_processes(service.directory / "postgres") == []


def test_a_killed_supervisor_leaves_no_process(start: Callable[..., Service]) -> None:
    service = start()
    service.says("up")
    processes = service.processes()
    service.process.kill()
    assert gone(processes, seconds=20)


def test_after_a_kill_the_next_start_takes_over_with_every_row(
    start: Callable[..., Service],
) -> None:
    service = start()
    service.says("up")
    url = embedded.locate(service.directory / "postgres").url
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute("CREATE TABLE kept AS SELECT 42 AS number")
    service.process.kill()
    again = start(port=service.port)
    again.says("up")
    with psycopg.connect(url) as connection:
        assert connection.execute("SELECT number FROM kept").fetchall() == [(42,)]


def test_a_killed_guardian_is_replaced(start: Callable[..., Service]) -> None:
    service = start()
    service.says("up")
    killed = service.child("guardian")
    killed.kill()
    assert gone([killed], seconds=10)
    deadline = time.monotonic() + 10
    while not service.has_child("guardian"):
        assert time.monotonic() < deadline
        time.sleep(0.05)
    processes = service.processes()
    service.process.kill()
    assert gone(processes, seconds=20)


def test_a_killed_process_is_started_again_and_said(start: Callable[..., Service]) -> None:
    service = start()
    service.says("up")
    killed = service.child("web")
    descendants = killed.children()
    killed.kill()
    assert service.says("web") == "The web process ended (signal 9) and starts again in 0.5 s."
    assert gone(descendants, seconds=1)
    deadline = time.monotonic() + 10
    while time.monotonic() < deadline:
        with socket.socket() as client:
            if client.connect_ex(("127.0.0.1", service.port)) == 0:
                return
        time.sleep(0.05)
    pytest.fail("the web server did not come back")


def test_a_killed_database_is_started_again_and_said(start: Callable[..., Service]) -> None:
    service = start()
    service.says("up")
    postmaster_of(service.directory / "postgres").kill()
    service.says("PostgreSQL had ended and was started again.")
    assert embedded.listens(service.directory / "postgres")


def test_a_process_that_crashes_again_and_again_ends_the_service_with_one_line(
    start: Callable[..., Service],
) -> None:
    service = start(fault="crash")
    processes = service.processes()
    message = service.errors()
    assert service.process.returncode == 1
    assert message.startswith("The worker process ended 6 times in a row (status 1), at last with")
    assert "no luck" in message
    assert str(service.directory / "log" / "worker.log") in message
    assert "\n" not in message
    assert gone(processes, seconds=1)


def test_a_failed_step_ends_the_start_with_one_line(start: Callable[..., Service]) -> None:
    service = start(fault="step")
    message = service.errors()
    assert message == (
        "The step step failed: this step is broken; its log is "
        f"{service.directory / 'log' / 'step.log'}."
    )
    assert server_processes(service.directory / "postgres") == []


def test_a_port_in_use_is_said_with_another_one(start: Callable[..., Service]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        service = start(port=port)
        message = service.errors()
    assert message.startswith(f"Port {port} is in use by another program: choose another, such as")
    assert "PORT=" in message
    assert service.process.returncode == 1


def test_a_second_start_on_the_same_data_says_what_runs(start: Callable[..., Service]) -> None:
    first = start()
    first.says("up")
    second = start()
    assert second.errors() == (
        f"The service already runs on {first.directory} (process {first.process.pid}, "
        f"http://localhost:{first.port}): stop it, or name another folder with DATA_DIR and "
        "another port with PORT."
    )
    assert first.process.poll() is None


def test_two_services_on_two_folders_do_not_meet(start: Callable[..., Service]) -> None:
    first, second = start("one"), start("two")
    first.says("up")
    second.says("up")
    second.process.terminate()
    assert second.process.wait(30) == 0
    assert embedded.listens(first.directory / "postgres")


def test_a_new_start_begins_a_new_log_and_keeps_the_last(start: Callable[..., Service]) -> None:
    for _ in range(2):
        service = start()
        service.says("up")
        service.process.terminate()
        service.process.wait(30)
    logs = {path.name for path in (service.directory / "log").iterdir()}
    assert {"step.log", "step.log.1"} <= logs
    assert (service.directory / "log" / "step.log").read_text() == "done\n"
    assert os.stat(service.directory / "log" / "step.log").st_mode & 0o077 == 0
