"""Show the service at work, with an invented company's years of history."""

import argparse
import datetime
import time
from collections.abc import Mapping
from typing import Any, Final
from urllib.parse import urlsplit

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connections

from airflow_jobs.demo.fill import RecordInUse, fill_demo_company
from airflow_jobs.management.demo_access import (
    Access,
    crew_of_field_app,
    grant_access,
    keep_access,
    read_access,
)
from airflow_jobs.management.live_traverse import (
    FieldApp,
    LiveTraverseFailed,
    Sent,
    choose_spot,
    curl_line,
    measure,
)
from airflow_jobs.management.service import MIGRATE
from airflow_jobs.management.service_command import ServiceCommand
from airflow_jobs.management.traverse_table import table_of
from airflow_jobs.models import Computation
from airflow_jobs.supervisor import Supervisor

SEED: Final = 1
SECONDS_BETWEEN_COUNTS: Final = 5.0


class Command(ServiceCommand):
    """Start everything, fill it with the invented company, measure once, keep serving."""

    help = (
        "Start the service with an invented company, post one live traverse, print its result "
        "and the sign-ins, and keep serving until Ctrl-C. Starting again keeps the data."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """Take --once."""
        parser.add_argument(
            "--once", action="store_true", help="end after printing the result, with status 0"
        )

    def run(self, supervisor: Supervisor, **options: Any) -> None:
        """Run until a request to end comes, or once."""
        self._access: Access = {}
        try:
            with supervisor.running(before=[MIGRATE], prepare=self._prepare):
                keep_access(settings.ENV.data_directory / "demo_access.json", self._access)
                self._wait_for_results(supervisor)
                self._show(self._measure())
                if not options["once"]:
                    self.say("Ctrl-C stops it; starting again keeps the data.")
                    supervisor.watch()
        except LiveTraverseFailed as error:
            raise CommandError(
                f"{error} The logs are in {supervisor.place.log_directory}."
            ) from error
        except RecordInUse as error:
            raise CommandError(str(error)) from error

    def _prepare(self) -> None:
        """Fill the record and give its people their sign-ins."""
        now = datetime.datetime.now(datetime.UTC)
        fill_demo_company(seed=SEED, today=now.date(), progress=self.say)
        path = settings.ENV.data_directory / "demo_access.json"
        self._access = grant_access(kept=read_access(path), url=settings.ENV.site_url, now=now)
        connections.close_all()

    def _wait_for_results(self, supervisor: Supervisor) -> None:
        """Let the worker compute the history first: what is sent now comes last in its list."""
        said, said_at = 0, time.monotonic()
        while left := Computation.objects.pending().count():
            now = time.monotonic()
            if left != said and now - said_at > SECONDS_BETWEEN_COUNTS:
                said, said_at = left, now
                self.say(f"{left:,} results of the history are still to be computed.")
            supervisor.tend()
            time.sleep(0.2)
        connections.close_all()

    def _measure(self) -> Sent:
        now = datetime.datetime.now(datetime.UTC)
        environment = settings.ENV
        app = FieldApp(
            address="127.0.0.1",
            port=environment.port,
            host=urlsplit(environment.site_url).netloc,
            token=self._access["field_app"]["token"],
        )
        spot = choose_spot(crew_of_field_app(now))
        self.say(
            f"Measuring {spot.section.equipment.tag} at {spot.section.equipment.site.name}, "
            f"{spot.section.name}, with {spot.instrument}."
        )
        connections.close_all()
        return measure(app, spot, now=now)

    def _show(self, sent: Sent) -> None:
        url = settings.ENV.site_url
        self.say("")
        self.say(table_of(sent.answer))
        self.say(f"Computed by the worker {sent.seconds:.2f} s after it was sent.")
        self.say("")
        self.say(f"Open  {url}")
        for role in ("manager", "technician", "administrator"):
            self.say(_sign_in_line(role, self._access[role]))
        self.say("")
        self.say("Post another one:")
        self.say(curl_line(url, self._access["field_app"]["token"], sent.content))
        self.say("")


def _sign_in_line(role: str, access: Mapping[str, str]) -> str:
    return f"  {role:<13}  user name {access['username']:<13}  password {access['password']}"
