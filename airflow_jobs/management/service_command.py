"""What the commands that start the service have in common."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from airflow_jobs.embedded import DatabaseUnavailable
from airflow_jobs.management.service import become_the_owner, make_folders, make_supervisor
from airflow_jobs.supervisor import CannotRun, Supervisor


class ServiceCommand(BaseCommand):
    """Starts the service; what stops it is one line, and Ctrl-C is no error."""

    def execute(self, *args: Any, **options: Any) -> str | None:
        """Run as the data folder's owner, system checks included: they make folders too."""
        become_the_owner(self.say)
        return super().execute(*args, **options)

    def handle(self, *args: Any, **options: Any) -> None:
        """Run until the work is done or a request to end comes."""
        make_folders()
        try:
            self.run(make_supervisor(self.say), **options)
        except (CannotRun, DatabaseUnavailable) as error:
            raise CommandError(str(error)) from error
        except KeyboardInterrupt:
            self.say("Stopped.")

    def run(self, supervisor: Supervisor, **options: Any) -> None:
        """Do what this command is for."""
        raise NotImplementedError

    def say(self, line: str) -> None:
        """Say a line at once, also where the output is no terminal."""
        self.stdout.write(line)
        self.stdout.flush()
