"""Write the whole history into a file of JSON lines."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, ProgrammingError

from airflow_jobs.end_requests import EndRequests
from airflow_jobs.management.history_export import history_lines
from airflow_jobs.management.progress import Progress
from airflow_jobs.management.service import database
from airflow_jobs.management.whole_file import whole_file
from airflow_jobs.models import Traverse


class Command(BaseCommand):
    """Export every traverse; interrupted, it leaves no file."""

    help = (
        "Write every traverse into a file, one JSON object a line: its content as sent, the "
        "names of site, system, section and instrument, and its result in SI. The columns are "
        "described in docs/history-file.md; load_history reads such a file."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the file and --force."""
        parser.add_argument("file", type=Path, help="the file to write, such as history.jsonl")
        parser.add_argument("--force", action="store_true", help="replace the file if it is there")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write it."""
        path: Path = options["file"].absolute()
        try:
            with EndRequests().caught(), database():
                count = self._write(path, replace=options["force"])
        except KeyboardInterrupt as request:
            raise CommandError("Stopped; no file was written.", returncode=130) from request
        except ProgrammingError as error:
            raise CommandError(
                "There are no tables yet, so there is nothing to export: look at DATA_DIR and "
                "DATABASE_URL."
            ) from error
        except DatabaseError as error:
            reason = str(error).strip().splitlines()[0]
            raise CommandError(f"No file was written: {reason}") from error
        self.stdout.write(f"Exported {count:,} traverses into {path}.")

    def _write(self, path: Path, *, replace: bool) -> int:
        progress = Progress(sys.stderr, "traverses", Traverse.objects.count())
        count = 0
        try:
            with whole_file(path, replace=replace) as file:
                for line in history_lines():
                    file.write(line)
                    count += 1
                    progress.at(count)
        finally:
            progress.clear()
        return count
