"""What a first start takes its time for: data of an embedded PostgreSQL, and every table in them.

Made once in a run, by the real commands; services whose first start is not what a test is about
begin with a copy.
"""

from __future__ import annotations

import fcntl
import subprocess
from pathlib import Path
from typing import Final

from airflow_jobs import embedded
from tests.settings import RUN_DIRECTORY

from .running import Running

MADE: Final = Path(RUN_DIRECTORY) / "first-start"


def put_tables(directory: Path) -> None:
    """Put data with every table and no rows where an embedded PostgreSQL looks for its own."""
    with MADE.with_name("first-start.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not MADE.exists():
            _make()
    directory.parent.mkdir(parents=True, exist_ok=True)
    # As root the data belong to the account that runs PostgreSQL, and must go on doing so.
    subprocess.run(["cp", "-a", MADE / "postgres", directory], check=True)


def _make() -> None:
    draft = MADE.with_name("first-start-draft")
    with embedded.running(draft / "postgres"):
        migration = Running(["migrate", "--no-input"], draft)
        assert migration.ends() == (0, "")
    draft.rename(MADE)
