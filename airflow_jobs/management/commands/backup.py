"""Back up the whole record into one file, while the service runs."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from airflow_jobs.end_requests import EndRequests
from airflow_jobs.management.progress import Progress
from airflow_jobs.management.record_backup import back_up
from airflow_jobs.management.service import database


class Command(BaseCommand):
    """Write a backup that is of one moment; interrupted, it leaves no file."""

    help = (
        "Back up the whole record, history and results included, into one file that only its "
        "owner may read. The service may go on running. SECRET_KEY is not in it: keep that "
        "separately, or everybody signs in again after a restore."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the file and --force."""
        parser.add_argument("file", type=Path, help="the file to write, such as record.backup")
        parser.add_argument("--force", action="store_true", help="replace the file if it is there")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write it."""
        path: Path = options["file"].absolute()
        progress = Progress(sys.stderr, "bytes dumped")
        try:
            with EndRequests().caught(), database():
                manifest = back_up(path, replace=options["force"], progress=progress.at)
        except KeyboardInterrupt as request:
            raise CommandError("Stopped; no backup was written.", returncode=130) from request
        finally:
            progress.clear()
        listed = ", ".join(f"{n:,} {what}" for what, n in manifest.contents.counts.items())
        self.stdout.write(
            f"Backed up {listed} into {path} ({path.stat().st_size / 1e6:,.1f} MB, "
            f"dump sha256 {manifest.dump_sha256})."
        )
