"""Folders that any account can reach, and ways to act as another account or process."""

from __future__ import annotations

import contextlib
import os
import pickle
import pwd
import shutil
import signal
import socket
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import psutil
import pytest

from airflow_jobs import embedded
from airflow_jobs.system_accounts import Account


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder for embedded servers, which are stopped and removed at the end.

    Not pytest's own, which nobody but its owner can enter: as root another account runs
    PostgreSQL.
    """
    made = Path(tempfile.mkdtemp(prefix="duct-flow-deploy-"))
    made.chmod(0o711)
    yield made
    for data in [*made.rglob("data"), *made.rglob("*/postgres/data")]:
        if (data / "PG_VERSION").exists():
            shutil.rmtree(_stop_by_hand(data), ignore_errors=True)
    shutil.rmtree(made, ignore_errors=True)


def _stop_by_hand(data: Path) -> Path:
    """Kill the processes of a data folder; return the folder that holds everything."""
    real = data.resolve()
    for process in server_processes(real.parent):
        with contextlib.suppress(psutil.NoSuchProcess):
            process.kill()
    socket_directory = embedded.locate(data.parent).socket_directory
    if socket_directory.parent == Path("/tmp"):
        shutil.rmtree(socket_directory, ignore_errors=True)
    return real.parent


def server_processes(directory: Path) -> list[psutil.Process]:
    """List the processes whose working folder is the data of an embedded server."""
    data = str((directory / "data").resolve())
    found = []
    for process in psutil.process_iter():
        try:
            if process.cwd() == data and process.status() != psutil.STATUS_ZOMBIE:
                found.append(process)
        except psutil.Error:
            continue
    return found


def postmaster_of(directory: Path) -> psutil.Process:
    """Return the first of an embedded server's processes."""
    return psutil.Process(int((directory / "data" / "postmaster.pid").read_text().split()[0]))


def fork(action: Callable[[], Any], *, account: str | None = None) -> Callable[[], Any]:
    """Run an action in a process of its own, as another account if need be.

    Forked, not started anew: the other account may be unable to reach this interpreter.
    Returns a function that waits for the action's result, or raises what it raised.
    """
    reader, writer = os.pipe()
    process_id = os.fork()
    if process_id == 0:
        status = 1
        try:
            os.close(reader)
            if account is not None:
                entry = pwd.getpwnam(account)
                os.setgroups([])
                os.setgid(entry.pw_gid)
                os.setuid(entry.pw_uid)
            outcome: tuple[str, Any]
            try:
                outcome = ("result", action())
            except Exception as error:
                outcome = ("error", error)
            with os.fdopen(writer, "wb") as pipe:
                pipe.write(pickle.dumps(outcome))
            status = 0
        except BaseException:
            traceback.print_exc(file=sys.__stderr__)
        finally:
            os._exit(status)
    os.close(writer)

    def wait() -> Any:
        with os.fdopen(reader, "rb") as pipe:
            said = pipe.read()
        os.waitpid(process_id, 0)
        if not said:
            raise ChildProcessError(f"process {process_id} was ended")
        kind, value = pickle.loads(said)
        if kind == "error":
            raise value
        return value

    wait.process_id = process_id  # type: ignore[attr-defined]
    return wait


def kill_tree(process_id: int) -> None:
    """Kill a process and all that descend from it, at once."""
    process = psutil.Process(process_id)
    for each in [process, *process.children(recursive=True)]:
        try:
            each.send_signal(signal.SIGKILL)
        except psutil.NoSuchProcess:
            continue


def copy_wheel(into: Path) -> None:
    """Copy the wheel with PostgreSQL, libraries included."""
    installed = embedded.program("initdb").parents[2]
    for part in (installed, installed.with_name(f"{installed.name}.libs")):
        if part.exists():
            shutil.copytree(part, into / part.name)


@pytest.fixture
def reachable_wheel(folder: Path) -> Callable[[], None]:
    """A step for a forked process of another account: find the wheel where it can be reached.

    Where this environment lies below a folder closed to others, a copy of the wheel takes its
    place.
    """
    account = Account.named("nobody")
    assert account is not None
    if account.can_run(embedded.program("initdb")):
        return lambda: None
    copy_wheel(folder / "wheel")
    return lambda: sys.path.insert(0, str(folder / "wheel"))


def free_port() -> int:
    """Find a port that nothing listens on now."""
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])
