"""Logs of the processes: begun anew at each start, cut where they grow long, a few kept."""

import os
import shutil
from pathlib import Path
from typing import IO, Final

LOG_BYTES: Final = 20_000_000
LOGS_KEPT: Final = 4


def open_log(path: Path) -> IO[bytes]:
    """Open a log for a process to write at its end; only the owner may read it."""
    return open(path, "ab", buffering=0, opener=lambda name, flags: os.open(name, flags, 0o600))


def rotate(log: Path) -> None:
    """Begin a new log and keep the last few."""
    if not log.exists() or not log.stat().st_size:
        return
    for number in range(LOGS_KEPT - 1, 0, -1):
        older = log.with_name(f"{log.name}.{number}")
        if older.exists():
            older.rename(log.with_name(f"{log.name}.{number + 1}"))
    log.rename(log.with_name(f"{log.name}.1"))


def cut_if_long(log: Path) -> None:
    """Begin anew in the same file: its writer has it open, at the end wherever that is."""
    if log.stat().st_size > LOG_BYTES:
        shutil.copyfile(log, log.with_name(f"{log.name}.1"))
        os.truncate(log, 0)


def last_line(log: Path) -> str:
    """Return a log's last words, for a message of one line."""
    try:
        lines = log.read_text(errors="replace").strip().splitlines()
    except FileNotFoundError:
        lines = []
    return lines[-1].strip()[:300] if lines else "no word in its log"
