"""Bring a backup back into an empty record."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from airflow_jobs.end_requests import EndRequests
from airflow_jobs.management.record_backup import bring_back
from airflow_jobs.management.service import become_the_owner, database


class Command(BaseCommand):
    """Restore a backup, all of it or nothing."""

    help = (
        "Restore a backup into an empty record: a new DATA_DIR, or an empty database named with "
        "DATABASE_URL. The backup is checked first; a failure leaves the record empty. The "
        "embedded database is started if need be."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the file and --across-majors."""
        parser.add_argument("file", type=Path, help="a file made by the backup command")
        parser.add_argument(
            "--across-majors",
            action="store_true",
            help="also take a backup made by an older major version of PostgreSQL",
        )

    def execute(self, *args: Any, **options: Any) -> str | None:
        """Open the file, then go on as the data folder's owner, who may be unable to."""
        path: Path = options["file"].absolute()
        try:
            self.file = path.open("rb")
        except OSError as error:
            raise CommandError(
                f"{path} cannot be read ({error.strerror}): name a file made by the backup command."
            ) from error
        with self.file:
            become_the_owner(self.stdout.write)
            return super().execute(*args, **options)

    def handle(self, *args: Any, **options: Any) -> None:
        """Restore it."""
        try:
            with EndRequests().caught(), database():
                manifest = bring_back(
                    self.file,
                    str(options["file"]),
                    across_majors=options["across_majors"],
                    say=self._say,
                )
        except KeyboardInterrupt as request:
            raise CommandError(
                "Stopped; nothing was restored, and the record is still empty.", returncode=130
            ) from request
        listed = ", ".join(f"{n:,} {what}" for what, n in manifest.contents.counts.items())
        self._say(f"Restored {listed}, backed up at {manifest.contents.made_at}.")
        self._say("Start it with: manage.py serve")

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
