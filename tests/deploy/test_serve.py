"""Serving for real use: the first administrator, other servers, and an end that leaves nothing."""

from __future__ import annotations

import os
import pty
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from airflow_jobs import embedded
from airflow_jobs.system_accounts import Account
from config.env import PROJECT_DIRECTORY

from .conftest import free_port, kill_tree
from .first_start import put_tables
from .running import Running, still_there

KEY = "vB7" + "qW3nZ8xK5jR1" * 5


@pytest.fixture
def serve(folder: Path) -> Iterator[Callable[..., Running]]:
    started: list[Running] = []

    def begin(data: str = "var", **settings: str) -> Running:
        started.append(Running(["serve"], folder / data, **settings))
        return started[-1]

    yield begin
    for running in started:
        if running.process.poll() is None:
            kill_tree(running.process.pid)
        running.process.communicate()


def test_a_first_start_without_a_terminal_prints_a_sign_in_that_works_and_is_made_once(
    serve: Callable[..., Running],
) -> None:
    first = serve()
    assert first.says("Serving at") == f"Serving at {first.url} (Ctrl-C stops it)"
    said = re.fullmatch(
        r"The first administrator signs in as (\S+) with the password (\S+)", first.lines[0]
    )
    assert said
    username, password = said.groups()
    body = {"username": username, "password": password}
    status, answer = first.send("POST", "tokens/", body=body)
    assert status == 201, answer
    processes = first.processes()
    first.process.send_signal(signal.SIGINT)
    assert first.ends() == (0, "")
    assert first.lines[-1] == "Stopped."
    assert still_there(processes) == []
    again = serve()
    again.says("Serving at")
    assert len(again.lines) == 1
    assert again.send("POST", "tokens/", body=body)[0] == 201


def test_the_first_administrator_may_come_from_the_environment(
    serve: Callable[..., Running], folder: Path
) -> None:
    put_tables(folder / "var" / "postgres")
    running = serve(ADMIN_USERNAME="boss", ADMIN_PASSWORD="seven-quiet-ducts")
    running.says("Serving at")
    assert running.lines[0] == "The first administrator is boss."
    body = {"username": "boss", "password": "seven-quiet-ducts"}
    assert running.send("POST", "tokens/", body=body)[0] == 201


def test_a_weak_password_ends_the_start_with_one_line(
    serve: Callable[..., Running], folder: Path
) -> None:
    put_tables(folder / "var" / "postgres")
    running = serve(ADMIN_PASSWORD="12345678")
    status, errors = running.ends()
    assert status == 1
    assert errors.startswith("CommandError: The first administrator 'admin' could not be made")
    assert "ADMIN_PASSWORD" in errors
    assert "12345678" not in errors
    assert "\n" not in errors


def test_a_first_start_on_a_terminal_asks_for_the_sign_in(folder: Path) -> None:
    put_tables(folder / "var" / "postgres")
    ours, theirs = pty.openpty()
    environment = {key: value for key, value in os.environ.items() if key != "ADMIN_PASSWORD"}
    environment |= {"DATA_DIR": str(folder / "var"), "PORT": str(free_port())}
    environment["DJANGO_SETTINGS_MODULE"] = "config.settings"
    process = subprocess.Popen(
        [sys.executable, "manage.py", "serve"],
        cwd=PROJECT_DIRECTORY,
        env=environment,
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        start_new_session=True,
        # The password is asked for on the terminal that controls the session.
        preexec_fn=lambda: os.close(os.open(os.ttyname(0), os.O_RDWR)),
    )
    os.close(theirs)
    said = ""

    def read_until(text: str) -> None:
        nonlocal said
        while text not in said:
            said += os.read(ours, 1000).decode()
        said = said.partition(text)[2]

    try:
        read_until("User name [admin]: ")
        os.write(ours, b"dispatcher\n")
        read_until("Password: ")
        os.write(ours, b"password\n")
        read_until("too common")
        read_until("Password: ")
        os.write(ours, b"seven-quiet-ducts\n")
        read_until("The same again: ")
        os.write(ours, b"seven-quiet-ducts\n")
        read_until("The first administrator is dispatcher.")
        read_until("Serving at")
        # As the terminal does on Ctrl-C.
        os.write(ours, b"\x03")
        read_until("Stopped.")
        assert process.wait(30) == 0
    finally:
        if process.poll() is None:
            kill_tree(process.pid)
        process.wait()
        os.close(ours)


def test_a_server_of_ones_own_is_used_and_left_running(
    serve: Callable[..., Running], folder: Path
) -> None:
    put_tables(folder / "server")
    server = embedded.ensure(folder / "server")
    running = serve(
        DATABASE_URL=f"postgresql://{server.user}@/{server.database}?host={server.socket_directory}",
        SECRET_KEY=KEY,
    )
    running.says("Serving at")
    assert not (running.data / "postgres").exists()
    running.process.send_signal(signal.SIGTERM)
    assert running.ends() == (0, "")
    assert embedded.listens(folder / "server")


def test_a_server_that_is_away_ends_the_start_with_one_line(
    serve: Callable[..., Running],
) -> None:
    running = serve(
        DATABASE_URL=f"postgresql://record@localhost:{free_port()}/record", SECRET_KEY=KEY
    )
    status, errors = running.ends()
    assert status == 1
    assert errors.startswith("CommandError: The step migrate failed:")
    assert str(running.data / "log" / "migrate.log") in errors
    assert "\n" not in errors


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can act for another account")
def test_root_in_somebodys_folder_goes_on_as_that_somebody(
    serve: Callable[..., Running], folder: Path
) -> None:
    nobody = Account.named("nobody")
    assert nobody is not None
    (folder / "home").mkdir()
    os.chown(folder / "home", nobody.user_id, nobody.group_id)
    running = serve("home/var")
    if nobody.can_run(sys.executable):
        running.says("Serving at")
        assert running.lines[0] == f"Running as nobody, the owner of {running.data}."
        assert {process.username() for process in running.processes()} == {"nobody"}
    else:
        # An interpreter in root's home, say.
        status, errors = running.ends()
        assert status == 1
        assert f"{running.data} belongs to nobody, who cannot run {sys.executable}" in errors
        assert "\n" not in errors
    assert {path.owner() for path in (folder / "home").rglob("*")} == {"nobody"}


def test_the_first_administrator_can_be_made_apart_once_there_are_tables(folder: Path) -> None:
    data = folder / "var"
    apart = Running(["first_administrator"], data)
    assert apart.ends() == (
        1,
        "CommandError: There are no tables yet: run manage.py migrate first.",
    )
    with embedded.running(data / "postgres"):
        assert Running(["migrate", "--no-input"], data).ends() == (0, "")
    for said in (2, 0):
        apart = Running(["first_administrator"], data)
        assert apart.ends() == (0, "")
        assert len(apart.lines) == said
    assert not embedded.listens(data / "postgres")
