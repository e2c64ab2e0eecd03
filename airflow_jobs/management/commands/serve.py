"""Run the service for real use on one machine."""

from typing import Any

from airflow_jobs.management.first_administrator import make_first_administrator
from airflow_jobs.management.service import MIGRATE
from airflow_jobs.management.service_command import ServiceCommand
from airflow_jobs.supervisor import Supervisor


class Command(ServiceCommand):
    """Start the database, the worker and the web server, and keep them running."""

    help = (
        "Start the service and keep it running until Ctrl-C. The first start makes the first "
        "administrator: from ADMIN_USERNAME and ADMIN_PASSWORD, else it asks; without a terminal "
        "to ask on it makes a password and prints it once."
    )

    def run(self, supervisor: Supervisor, **options: Any) -> None:
        """Run until a request to end comes."""
        with supervisor.running(
            before=[MIGRATE], prepare=lambda: make_first_administrator(self.say)
        ):
            self.say(f"Serving at {supervisor.place.url} (Ctrl-C stops it)")
            supervisor.watch()
