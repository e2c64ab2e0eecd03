"""Run the service for real use on one machine."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from airflow_jobs.embedded import DatabaseUnavailable
from airflow_jobs.management.first_administrator import make_first_administrator
from airflow_jobs.management.service import (
    MIGRATE,
    become_the_owner,
    make_folders,
    make_supervisor,
)
from airflow_jobs.supervisor import CannotRun


class Command(BaseCommand):
    """Start the database, the worker and the web server, and keep them running."""

    help = (
        "Start the service and keep it running until Ctrl-C. The first start makes the first "
        "administrator: from ADMIN_USERNAME and ADMIN_PASSWORD, else it asks; without a terminal "
        "to ask on it makes a password and prints it once."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        """Run until a request to end comes."""
        become_the_owner(self._say)
        make_folders()
        supervisor = make_supervisor(self._say)
        try:
            with supervisor.running(
                before=[MIGRATE], prepare=lambda: make_first_administrator(self._say)
            ):
                self._say(f"Serving at {supervisor.place.url} (Ctrl-C stops it)")
                supervisor.watch()
        except (CannotRun, DatabaseUnavailable) as error:
            raise CommandError(str(error)) from error
        except KeyboardInterrupt:
            self._say("Stopped.")

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
