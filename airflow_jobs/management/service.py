"""The service as the commands run it: which processes it is made of, and where."""

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connections

from airflow_jobs import embedded
from airflow_jobs.supervisor import Place, Program, Supervisor
from airflow_jobs.system_accounts import account_that_owns

# Two processes of four threads were the fastest on two cores, and leave one for the worker
# while requests wait for the database.
WEB_PROCESSES: Final = 2
WEB_THREADS: Final = 4
WORKER_PROCESSES: Final = 2

# Its processes share the cores already; with threads of its own in each of them, linear algebra
# on the small matrices of a traverse takes two and a half times the processor time.
ONE_THREAD: Final = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}

MIGRATE: Final = Program(
    name="migrate", command=[sys.executable, "manage.py", "migrate", "--no-input"]
)


def make_supervisor(say: Callable[[str], None]) -> Supervisor:
    """Make the supervisor of this installation.

    Parameters
    ----------
    say
        Takes one short line for the operator.

    Returns
    -------
    Supervisor
        Ready to run; nothing is started yet.
    """
    environment = settings.ENV
    python = (sys.executable, "-m")
    celery = (*python, "celery", "-A", "config")
    web = Program(
        name="web",
        command=[
            *(*python, "granian", "--interface", "wsgi", "--no-ws"),
            *("--host", environment.listen_address, "--port", str(environment.port)),
            *("--workers", str(WEB_PROCESSES), "--blocking-threads", str(WEB_THREADS)),
            *("--respawn-failed-workers", "--respawn-interval", "0.5"),
            *("--workers-kill-timeout", "5"),
            "config.wsgi:application",
        ],
        environment=ONE_THREAD,
    )
    worker = Program(
        name="worker",
        command=[
            *(*celery, "worker", "--loglevel", "INFO"),
            *("--concurrency", str(WORKER_PROCESSES)),
            # One worker has no others to talk to.
            *("--without-gossip", "--without-mingle", "--without-heartbeat"),
        ],
        environment=ONE_THREAD,
    )
    # The supervisor knows whether it runs; a note of its process would only be in the way.
    beat = Program(name="beat", command=[*celery, "beat", "--loglevel", "WARNING", "--pidfile="])
    return Supervisor(
        place=Place(
            project_directory=settings.BASE_DIR,
            data_directory=environment.data_directory,
            log_directory=environment.log_directory,
            postgres_directory=(
                environment.postgres_directory if environment.database is None else None
            ),
            address=environment.listen_address,
            port=environment.port,
            url=environment.site_url,
        ),
        programs=[web, worker, beat],
        say=say,
    )


def become_the_owner(say: Callable[[str], None]) -> None:
    """As root in somebody's folder, go on as that somebody, so that nothing there becomes root's.

    Parameters
    ----------
    say
        Takes one short line for the operator.

    Raises
    ------
    CommandError
        If that account cannot run this Python.
    """
    directory = settings.ENV.data_directory
    account = account_that_owns(directory) if os.geteuid() == 0 else None
    if account is None:
        return
    if not account.can_run(sys.executable):
        raise CommandError(
            f"{directory} belongs to {account.name}, who cannot run {sys.executable}: install "
            "the project where that account can reach it, or name another folder with DATA_DIR."
        )
    account.become()
    say(f"Running as {account.name}, the owner of {directory}.")


@contextmanager
def database() -> Iterator[None]:
    """Have the database for the length of a command, where it is the embedded one.

    Yields
    ------
    None
        While it runs; whoever leaves last, a command or the service, stops it.

    Raises
    ------
    CommandError
        If it cannot run, in one line.
    """
    environment = settings.ENV
    if environment.database is not None:
        yield
        return
    try:
        with embedded.running(environment.postgres_directory):
            try:
                yield
            finally:
                connections.close_all()
    except embedded.DatabaseUnavailable as error:
        raise CommandError(str(error)) from error


def make_folders() -> None:
    """Make the folders that the processes share and that no database or broker server keeps."""
    environment = settings.ENV
    environment.data_directory.mkdir(parents=True, exist_ok=True)
    if environment.broker_url is None:
        for key in ("data_folder_in", "data_folder_out", "control_folder"):
            os.makedirs(settings.CELERY_BROKER_TRANSPORT_OPTIONS[key], mode=0o700, exist_ok=True)
