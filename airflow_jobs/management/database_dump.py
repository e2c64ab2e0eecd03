"""The database as one file and back, by PostgreSQL's own programs from the wheel."""

from __future__ import annotations

import os
import subprocess
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import IO, Final

from django.db import connection
from psycopg.conninfo import make_conninfo

from airflow_jobs import embedded

BLOCK_BYTES: Final = 1024 * 1024


class DumpFailed(RuntimeError):
    """One of PostgreSQL's programs failed; the text quotes what it said, in one line."""


def dumped(snapshot: str) -> Iterator[bytes]:
    """Dump the database, as one snapshot shows it, while others go on writing.

    Parameters
    ----------
    snapshot
        The snapshot that an open transaction exported.

    Yields
    ------
    bytes
        The dump in PostgreSQL's custom format, in blocks.

    Raises
    ------
    DumpFailed, DatabaseUnavailable
    """
    options = [
        "--format=custom",
        f"--snapshot={snapshot}",
        # The accounts, rights and additions of one server mean nothing on another.
        *("--no-owner", "--no-privileges", "--no-tablespaces", "--exclude-extension=*"),
        *("--no-publications", "--no-subscriptions", "--no-security-labels"),
    ]
    with _running("pg_dump", options, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        while block := process.stdout.read(BLOCK_BYTES):
            yield block


def restore(dump: Iterable[bytes]) -> None:
    """Bring a dump back in one transaction: all of it, or nothing.

    Parameters
    ----------
    dump
        The dump in blocks; none of its tables may exist.

    Raises
    ------
    DumpFailed, DatabaseUnavailable
    """
    options = [
        *("--single-transaction", "--exit-on-error"),
        *("--no-owner", "--no-privileges", "--no-tablespaces"),
    ]
    with _running("pg_restore", options, stdin=subprocess.PIPE) as process:
        assert process.stdin is not None
        try:
            for block in dump:
                process.stdin.write(block)
            process.stdin.close()
        except BrokenPipeError:
            # It has ended and said why.
            pass


@contextmanager
def _running(
    name: str,
    options: list[str],
    *,
    stdin: int = subprocess.DEVNULL,
    stdout: int = subprocess.DEVNULL,
) -> Iterator[subprocess.Popen[bytes]]:
    """Run a program for the length of a block; whatever ends the block early ends it too."""
    settings = connection.settings_dict
    # Not as an argument: every account of the machine could read it there.
    secret = {"PGPASSWORD": settings["PASSWORD"]} if settings.get("PASSWORD") else {}
    with tempfile.TemporaryFile() as complaints:
        process = subprocess.Popen(
            [embedded.program(name), *options, f"--dbname={_address()}"],
            stdin=stdin,
            stdout=stdout,
            stderr=complaints,
            env={**os.environ, "LC_ALL": "C", **secret},
            # Ctrl-C is for the command, which ends the program itself.
            start_new_session=True,
        )
        try:
            yield process
            status = process.wait()
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()
            for pipe in (process.stdin, process.stdout):
                _close(pipe)
        if status != 0:
            raise DumpFailed(f"{name} failed: {_complaint(complaints)}")


def _close(pipe: IO[bytes] | None) -> None:
    if pipe is not None:
        try:
            pipe.close()
        except BrokenPipeError:
            pass


def _address() -> str:
    """Say how the database that Django uses is reached, without its password."""
    settings = connection.settings_dict
    parts = {
        "dbname": settings["NAME"],
        "user": settings["USER"],
        "host": settings["HOST"],
        "port": settings["PORT"],
        **{
            name: value
            for name, value in settings.get("OPTIONS", {}).items()
            if isinstance(value, str | int) and not isinstance(value, bool)
        },
    }
    return make_conninfo(**{name: value for name, value in parts.items() if value})


def _complaint(file: IO[bytes]) -> str:
    file.seek(0)
    lines = file.read().decode(errors="replace").strip().splitlines()
    for line in lines:
        if "error:" in line:
            return line.partition("error:")[2].strip()
    return lines[-1].strip() if lines else "it said nothing"
