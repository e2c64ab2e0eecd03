"""The PostgreSQL server of one folder: its data, its processes, its start and its end."""

import os
import shlex
import shutil
import signal
import subprocess
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal
from urllib.parse import quote

import psutil
import psycopg
from psycopg import sql

from airflow_jobs.system_accounts import CLEAN_ENVIRONMENT, Account

MAJOR: Final = 18
USER: Final = "duct_flow_record"
DATABASE: Final = "duct_flow_record"
PORT: Final = 5432
SOCKET_NAME: Final = f".s.PGSQL.{PORT}"

START_SECONDS: Final = 600
STOP_SECONDS: Final = 60
ORPHAN_SECONDS: Final = 10
LOG_BYTES: Final = 5_000_000


class DatabaseUnavailable(RuntimeError):
    """The embedded PostgreSQL cannot run; the text is one line that says what to do."""


@dataclass(frozen=True, kw_only=True)
class Connection:
    """How to reach the embedded PostgreSQL of one folder."""

    directory: Path
    socket_directory: Path
    user: str = USER
    database: str = DATABASE
    port: int = PORT

    @property
    def url(self) -> str:
        """Address for a PostgreSQL client."""
        host = quote(str(self.socket_directory), safe="")
        return f"postgresql://{self.user}@/{self.database}?host={host}&port={self.port}"


@dataclass(frozen=True, kw_only=True)
class Server:
    """PostgreSQL in a folder that is in place; every method expects the lock to be held."""

    connection: Connection
    directory: Path
    account: Account | None
    programs: Path

    @property
    def data(self) -> Path:
        return self.directory / "data"

    @property
    def socket_directory(self) -> Path:
        # As the server sees it: its account may be unable to follow a link in root's home.
        return Path(os.path.realpath(self.connection.socket_directory))

    def start(self) -> Connection:
        self._make_data()
        self._refuse_other_major()
        deadline = time.monotonic() + START_SECONDS
        while not self._accepts():
            if self._postmaster() is None:
                self._launch()
            elif time.monotonic() > deadline:
                raise self._failed(f"has not become ready in {START_SECONDS} s")
            elif self._listens_elsewhere():
                self.stop()
            else:
                time.sleep(0.05)
        self._make_database()
        return self.connection

    def stop(self) -> None:
        if self._postmaster() is None:
            return
        deadline = time.monotonic() + STOP_SECONDS
        done = self._run(
            "pg_ctl", "stop", "-D", "data", "-m", "fast", "-w", "-t", str(STOP_SECONDS)
        )
        # pg_ctl goes by the server's note, which the server removes a moment before it ends: on a
        # busy machine a long one.
        while self._postmaster() is not None:
            if time.monotonic() > deadline:
                raise self._failed(f"does not stop ({done})")
            time.sleep(0.05)

    def _make_data(self) -> None:
        if self.data.exists() and not any(self.data.iterdir()):
            self.data.rmdir()
        if not self.data.exists():
            # Made under another name and renamed when whole: an interruption leaves a draft,
            # never half a database that looks like one.
            draft = self.directory / "data.draft"
            shutil.rmtree(draft, ignore_errors=True)
            # The server's own locale tables sort and fold alike on every system, for ever; the
            # operating system's change under an index with its next upgrade.
            said = self._run(
                *("initdb", "-D", draft.name, "-U", USER, "-A", "trust", "-E", "UTF8"),
                *("--locale=C", "--locale-provider=builtin", "--builtin-locale=C.UTF-8"),
                *("--set", "timezone=UTC", "--set", "log_timezone=UTC"),
            )
            if not (draft / "global" / "pg_control").exists():
                raise self._failed(f"could not make its data ({said})")
            draft.rename(self.data)
            _sync(self.directory)

    def _refuse_other_major(self) -> None:
        try:
            major = (self.data / "PG_VERSION").read_text("ascii").strip()
        except FileNotFoundError:
            major = ""
        if not major or not (self.data / "global" / "pg_control").exists():
            raise DatabaseUnavailable(
                f"{self.data} is not a complete PostgreSQL data folder: move it away and restore "
                "a backup, or name another folder with DATA_DIR."
            )
        if major != str(MAJOR):
            raise DatabaseUnavailable(
                f"{self.data} was made by PostgreSQL {major} and this release brings {MAJOR}: "
                "make a backup with the release that made it and restore that into a new folder "
                "named with DATA_DIR."
            )

    def _launch(self) -> None:
        self._dismiss_orphans()
        # Both name a process that is gone, or by now a stranger's.
        (self.data / "postmaster.pid").unlink(missing_ok=True)
        for name in (SOCKET_NAME, f"{SOCKET_NAME}.lock"):
            (self.socket_directory / name).unlink(missing_ok=True)
        log = self.directory / "server.log"
        if log.exists() and log.stat().st_size > LOG_BYTES:
            log.rename(log.with_suffix(".log.1"))
        options = {
            "listen_addresses": "",
            "unix_socket_directories": f'"{self.socket_directory}"',
            "unix_socket_permissions": "0700",
            "port": str(PORT),
        }
        words = [word for name, value in options.items() for word in ("-c", f"{name}={value}")]
        # Relative paths: pg_ctl hands them to a shell.
        said = self._run(
            *("pg_ctl", "start", "-D", "data", "-l", log.name, "-w", "-t", str(START_SECONDS)),
            *("-o", shlex.join(words)),
        )
        if self._postmaster() is None:
            raise self._failed(f"did not start ({_last_complaint(log) or said})")

    def _postmaster(self) -> psutil.Process | None:
        for process, title in self._processes():
            if not title.startswith("postgres:"):
                return process
        return None

    def _processes(self) -> list[tuple[psutil.Process, str]]:
        """List PostgreSQL's processes in this folder; the dead but unreaped don't count."""
        data = str(self.data)
        noted = self._noted("pid")
        found = []
        for process in psutil.process_iter():
            try:
                if not process.name().startswith("postgres"):
                    continue
                if process.status() == psutil.STATUS_ZOMBIE:
                    continue
                try:
                    is_here = process.cwd() == data
                except psutil.AccessDenied:
                    # Root in a container may be kept from looking at another account's
                    # processes; then the server's own note has to do.
                    is_here = str(process.pid) == noted
                if is_here:
                    found.append((process, "".join(process.cmdline()[:1])))
            except psutil.Error:
                continue
        return found

    def _noted(self, what: Literal["pid", "socket"]) -> str:
        """Read what the server noted about itself; nothing where there is no server."""
        try:
            lines = (self.data / "postmaster.pid").read_text().splitlines()
        except FileNotFoundError:
            return ""
        line = {"pid": 0, "socket": 4}[what]
        return lines[line].strip() if len(lines) > line else ""

    def _dismiss_orphans(self) -> None:
        """Wait for processes whose server was killed: they notice, unless they are busy."""
        deadline = time.monotonic() + ORPHAN_SECONDS
        while orphans := self._processes():
            if time.monotonic() > deadline + ORPHAN_SECONDS:
                raise self._failed(f"left process {orphans[0][0].pid} behind, which does not end")
            if time.monotonic() > deadline:
                for process, _ in orphans:
                    try:
                        process.send_signal(signal.SIGQUIT)
                    except psutil.NoSuchProcess:
                        continue
            time.sleep(0.05)

    def _listens_elsewhere(self) -> bool:
        """Whether the server runs with another socket: the folder was moved meanwhile."""
        return self._noted("socket") not in {"", str(self.socket_directory)}

    def _accepts(self) -> bool:
        done = subprocess.run(
            [
                *(self.programs / "pg_isready", "-q", "-U", USER, "-d", "postgres"),
                *("-h", self.socket_directory, "-p", str(PORT)),
            ],
            stdin=subprocess.DEVNULL,
            env=CLEAN_ENVIRONMENT,
            check=False,
        )
        return done.returncode == 0

    def _make_database(self) -> None:
        with psycopg.connect(
            host=str(self.connection.socket_directory),
            port=PORT,
            user=USER,
            dbname="postgres",
            autocommit=True,
        ) as connection:
            there = connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE])
            if there.fetchone() is None:
                connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(DATABASE)))

    def _run(self, name: str, *arguments: str) -> str:
        """Run a program as the account in the folder; return the last line it wrote."""
        # Not a pipe: the server inherits it and would hold its end open.
        with tempfile.TemporaryFile() as output:
            try:
                subprocess.run(
                    [self.programs / name, *arguments],
                    stdin=subprocess.DEVNULL,
                    stdout=output,
                    stderr=subprocess.STDOUT,
                    cwd=self.directory,
                    env=CLEAN_ENVIRONMENT,
                    umask=0o077,
                    # Ctrl-C is for the caller, which stops the server in its own time.
                    start_new_session=True,
                    user=self.account.user_id if self.account else None,
                    group=self.account.group_id if self.account else None,
                    extra_groups=[] if self.account else None,
                    check=False,
                )
            except PermissionError as error:
                raise self._failed(f"could not be run ({error})") from error
            output.seek(0)
            lines = output.read().decode(errors="replace").strip().splitlines()
        return lines[-1].strip() if lines else f"{name} said nothing"

    def _failed(self, what: str) -> DatabaseUnavailable:
        log = self.directory / "server.log"
        return DatabaseUnavailable(f"PostgreSQL in {self.directory} {what}; its log is {log}.")


def _last_complaint(log: Path) -> str:
    try:
        lines = log.read_text(errors="replace").splitlines()[-40:]
    except FileNotFoundError:
        return ""
    complaints = [line for line in lines if "FATAL:" in line or "PANIC:" in line]
    return complaints[-1].partition(": ")[2].strip() if complaints else ""


def _sync(directory: Path) -> None:
    descriptor = os.open(directory, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
