"""Make the first administrator, where the service is not started by `serve`."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import ProgrammingError

from airflow_jobs.management.first_administrator import make_first_administrator
from airflow_jobs.management.service import database


class Command(BaseCommand):
    """Make the first administrator; does nothing where there is one."""

    help = (
        "Make the first administrator where there is none: from ADMIN_USERNAME and "
        "ADMIN_PASSWORD, else it asks; without a terminal to ask on it makes a password and "
        "prints it once."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        """Make the administrator."""
        try:
            with database():
                make_first_administrator(self.stdout.write)
        except ProgrammingError as error:
            raise CommandError("There are no tables yet: run manage.py migrate first.") from error
