"""Compute again: everything, or what is pending; can be interrupted and run twice."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from airflow_jobs import recompute
from airflow_jobs.management.service import database
from airflow_jobs.models import Computation, State, Traverse

STEP = 1500
"""About how many rows between two lines of progress."""


class Command(BaseCommand):
    """Compute pending results; with `--all`, put every result on the work list first."""

    help = "Compute pending results; with --all, every result again (for a new engine, say)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take `--all`."""
        parser.add_argument(
            "--all", action="store_true", help="put every result on the work list first"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Work through the list beside any worker; Ctrl-C loses nothing."""
        with database():
            self._work(options)

    def _work(self, options: dict[str, Any]) -> None:
        if options["all"]:
            recompute.measure_anew()
            marked = recompute.mark_pending(Traverse.objects.all())
            self.stdout.write(f"{marked} results are on the work list.")
        computed = failed = 0
        while True:
            done = recompute.drain(most=STEP)
            if not done.computed and not done.failed:
                break
            computed += done.computed
            failed += done.failed
            left = Computation.objects.filter(state=State.PENDING).count()
            self.stdout.write(f"{computed} computed, {failed} could not be, {left} left.")
        self.stdout.write(f"Done: {computed} computed, {failed} could not be.")
