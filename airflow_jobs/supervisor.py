"""Starts the service's processes, keeps them running, and stops every one of them.

Each process leads a session of its own, so that Ctrl-C reaches only this one, which then stops
the others, PostgreSQL last. Should this process be killed, the guardian does the same.
"""

import errno
import fcntl
import http.client
import os
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import psutil

from airflow_jobs import embedded
from airflow_jobs.end_requests import EndRequests
from airflow_jobs.guardian import GOODBYE, GRACE_SECONDS, kill_group, stop_groups
from airflow_jobs.process_logs import cut_if_long, last_line, open_log, rotate
from airflow_jobs.system_accounts import account_name

POLL_SECONDS: Final = 0.2
POSTGRES_POLL_SECONDS: Final = 2.0
LOG_POLL_SECONDS: Final = 60.0
HEALTHY_SECONDS: Final = 90
TAKE_OVER_SECONDS: Final = 30

# A process that ran for so long is not in a loop of crashes.
STEADY_SECONDS: Final = 60
FAILURES_ALLOWED: Final = 5
FIRST_PAUSE_SECONDS: Final = 0.5


class CannotRun(RuntimeError):
    """The service cannot run; the text is one line that says what to do."""


@dataclass(frozen=True, kw_only=True)
class Program:
    """A process to keep running; started, and asked to end, in the order given."""

    name: str
    command: Sequence[str]
    environment: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where the service runs and under which address.

    `postgres_directory` is None where a PostgreSQL server of its own is used.
    """

    project_directory: Path
    data_directory: Path
    log_directory: Path
    postgres_directory: Path | None
    address: str
    port: int
    url: str


@dataclass(kw_only=True)
class _Child:
    program: Program
    process: subprocess.Popen[bytes] | None = None
    started_at: float = 0.0
    failures: int = 0
    start_at: float = 0.0


class Supervisor:
    """Runs the service in one place.

    Parameters
    ----------
    place
        Where, and under which address.
    programs
        What to keep running once the database is ready.
    say
        Takes one short line for the operator.
    """

    def __init__(
        self, *, place: Place, programs: Sequence[Program], say: Callable[[str], None]
    ) -> None:
        self.place = place
        self.say = say
        self._requests = EndRequests()
        self._children = [_Child(program=program) for program in programs]
        self._guardian: subprocess.Popen[bytes] | None = None
        self._lock = -1
        self._next_look = {"postgres": 0.0, "logs": 0.0}

    @contextmanager
    def running(
        self, *, before: Sequence[Program] = (), prepare: Callable[[], None] = lambda: None
    ) -> Iterator[None]:
        """Run the service for the length of a block.

        Parameters
        ----------
        before
            Programs to run to their end, one after the other, once PostgreSQL is there.
        prepare
            Called after them and before the service answers.

        Yields
        ------
        None
            Once the service answers.

        Raises
        ------
        CannotRun
            If it cannot start, in one line.
        Interrupted
            If Ctrl-C or a request to end came; everything is stopped by then.
        """
        with self._requests.caught(), ExitStack() as stack:
            self._take_folder(stack)
            self._refuse_busy_port()
            stack.callback(self._say_goodbye)
            self._start_guardian()
            if self.place.postgres_directory is not None:
                self._start_postgres(stack, self.place.postgres_directory)
            stack.callback(self._stop_children)
            for program in before:
                self._run_to_end(program)
            prepare()
            for child in self._children:
                self._start(child)
            self._wait_until_healthy()
            try:
                yield
            finally:
                self._requests.hold_for_good()

    def watch(self) -> None:
        """Keep everything running until a request to end comes.

        Raises
        ------
        CannotRun
            If a process ends again and again.
        Interrupted
            At the request to end.
        """
        while True:
            self.tend()
            time.sleep(POLL_SECONDS)

    def tend(self) -> None:
        """Look after the processes once: start again what has ended.

        Raises
        ------
        CannotRun
            If a process ends again and again.
        """
        for child in self._children:
            if child.process is None:
                if time.monotonic() >= child.start_at:
                    self._start(child)
            elif child.process.poll() is not None:
                self._note_end(child)
        if self._guardian is not None and self._guardian.poll() is not None:
            self._start_guardian()
        if self._is_due("postgres", POSTGRES_POLL_SECONDS):
            self._tend_postgres()
        if self._is_due("logs", LOG_POLL_SECONDS):
            for log in self.place.log_directory.glob("*.log"):
                cut_if_long(log)

    def log_of(self, name: str) -> Path:
        """Say where a program's log is."""
        return self.place.log_directory / f"{name}.log"

    def _take_folder(self, stack: ExitStack) -> None:
        """Hold the data folder: one service runs on it at a time."""
        folder = self.place.data_directory
        path = folder / "service.lock"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self.place.log_directory.mkdir(mode=0o700, exist_ok=True)
            self._lock = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
        except PermissionError as error:
            nearest = next(found for found in (folder, *folder.parents) if found.exists())
            raise CannotRun(
                f"{nearest} belongs to {account_name(nearest.stat().st_uid)}: run as that "
                "account, or name another folder with DATA_DIR."
            ) from error
        stack.callback(os.close, self._lock)
        deadline = time.monotonic() + TAKE_OVER_SECONDS
        while not _try_lock(self._lock):
            process_id, _, url = os.pread(self._lock, 1000, 0).decode().strip().partition(" ")
            if _is_alive(process_id) or time.monotonic() > deadline:
                raise CannotRun(
                    f"The service already runs on {folder} (process {process_id}, {url}): stop "
                    "it, or name another folder with DATA_DIR and another port with PORT."
                )
            # Its starter was killed; the guardian is still stopping what it left.
            time.sleep(POLL_SECONDS)
        os.ftruncate(self._lock, 0)
        os.pwrite(self._lock, f"{os.getpid()} {self.place.url}\n".encode(), 0)

    def _refuse_busy_port(self) -> None:
        port = self.place.port
        with socket.socket() as trial:
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                trial.bind((self.place.address, port))
            except OSError as error:
                problem = {
                    errno.EADDRINUSE: "is in use by another program",
                    errno.EACCES: "may only be used by root",
                }.get(error.errno or 0, f"cannot be used ({error.strerror})")
                raise CannotRun(
                    f"Port {port} {problem}: choose another, such as PORT={_other_port(port)}."
                ) from error

    def _start_postgres(self, stack: ExitStack, directory: Path) -> None:
        with self._requests.held():
            stack.enter_context(embedded.running(directory))
        if directory.is_symlink():
            self.say(
                f"The data are in {directory.resolve()}: the account that runs PostgreSQL for "
                f"root cannot enter {directory.parent}."
            )

    def _start_guardian(self) -> None:
        command = [sys.executable, "-m", "airflow_jobs.guardian"]
        with self._requests.held(), open_log(self.log_of("guardian")) as log:
            self._guardian = subprocess.Popen(
                [*command, str(self.place.postgres_directory or "")],
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=subprocess.STDOUT,
                cwd=self.place.project_directory,
                # It holds the folder too, until what is left has ended.
                pass_fds=(self._lock,),
                start_new_session=True,
                bufsize=0,
            )
            for child in self._children:
                if child.process is not None:
                    self._tell_guardian(f"started {child.process.pid}")

    def _tell_guardian(self, line: str) -> None:
        if self._guardian is None or self._guardian.stdin is None:
            return
        try:
            self._guardian.stdin.write(f"{line}\n".encode())
        except BrokenPipeError:
            # It was killed; the next look starts another and tells it all.
            pass

    def _say_goodbye(self) -> None:
        if self._guardian is not None:
            self._tell_guardian(GOODBYE)
            self._guardian.wait()

    def _run_to_end(self, program: Program) -> None:
        log = self.log_of(program.name)
        rotate(log)
        child = _Child(program=program)
        self._launch(child)
        assert child.process is not None
        try:
            status = child.process.wait()
        except BaseException:
            stop_groups([child.process.pid], grace_seconds=GRACE_SECONDS)
            child.process.wait()
            raise
        finally:
            self._tell_guardian(f"ended {child.process.pid}")
        if status != 0:
            raise CannotRun(f"The step {program.name} failed: {last_line(log)}; its log is {log}.")

    def _start(self, child: _Child) -> None:
        if child.failures == 0:
            rotate(self.log_of(child.program.name))
        self._launch(child)

    def _launch(self, child: _Child) -> None:
        with self._requests.held(), open_log(self.log_of(child.program.name)) as log:
            child.process = subprocess.Popen(
                child.program.command,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                cwd=self.place.project_directory,
                env={**os.environ, "PYTHONUNBUFFERED": "1", **child.program.environment},
                umask=0o077,
                start_new_session=True,
            )
            child.started_at = time.monotonic()
            self._tell_guardian(f"started {child.process.pid}")

    def _note_end(self, child: _Child) -> None:
        assert child.process is not None
        now = time.monotonic()
        name, status = child.program.name, child.process.returncode
        # Its own children would hold the port, or work on beside their successors.
        kill_group(child.process.pid)
        self._tell_guardian(f"ended {child.process.pid}")
        child.process = None
        was_steady = now - child.started_at > STEADY_SECONDS
        child.failures = 1 if was_steady else child.failures + 1
        how = f"signal {-status}" if status < 0 else f"status {status}"
        if child.failures > FAILURES_ALLOWED:
            raise CannotRun(
                f"The {name} process ended {child.failures} times in a row ({how}), at last "
                f"with: {last_line(self.log_of(name))}; its log is {self.log_of(name)}."
            )
        pause = FIRST_PAUSE_SECONDS * 2 ** (child.failures - 1)
        child.start_at = now + pause
        self.say(f"The {name} process ended ({how}) and starts again in {pause:g} s.")

    def _stop_children(self) -> None:
        self._requests.hold_for_good()
        left = [(child, child.process) for child in self._children if child.process is not None]
        for _, process in left:
            process.terminate()
        deadline = time.monotonic() + GRACE_SECONDS
        # Who asks twice does not want to wait.
        while (
            any(process.poll() is None for _, process in left)
            and time.monotonic() < deadline
            and self._requests.count < 2
        ):
            time.sleep(0.02)
        for child, process in left:
            kill_group(process.pid)
            process.wait()
            self._tell_guardian(f"ended {process.pid}")
            child.process = None

    def _tend_postgres(self) -> None:
        directory = self.place.postgres_directory
        if directory is None or embedded.listens(directory):
            return
        embedded.ensure(directory)
        self.say("PostgreSQL had ended and was started again.")

    def _wait_until_healthy(self) -> None:
        deadline = time.monotonic() + HEALTHY_SECONDS
        while (status := self._health()) != http.client.OK:
            if time.monotonic() > deadline:
                answer = f"answers {status}" if status else "does not answer"
                raise CannotRun(
                    f"The web server {answer} after {HEALTHY_SECONDS} s: "
                    f"{last_line(self.log_of('web'))}; its log is {self.log_of('web')}."
                )
            self.tend()
            time.sleep(0.05)

    def _health(self) -> int:
        address = "127.0.0.1" if self.place.address == "0.0.0.0" else self.place.address
        connection = http.client.HTTPConnection(address, self.place.port, timeout=5)
        try:
            connection.request("GET", "/healthz")
            return connection.getresponse().status
        except (OSError, http.client.HTTPException):
            return 0
        finally:
            connection.close()

    def _is_due(self, what: str, period_seconds: float) -> bool:
        now = time.monotonic()
        if now < self._next_look[what]:
            return False
        self._next_look[what] = now + period_seconds
        return True


def _try_lock(descriptor: int) -> bool:
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _is_alive(process_id: str) -> bool:
    try:
        return psutil.Process(int(process_id)).status() != psutil.STATUS_ZOMBIE
    except (ValueError, psutil.NoSuchProcess):
        return False


def _other_port(port: int) -> int:
    return port + 1 if 1024 <= port < 65535 else 8000
