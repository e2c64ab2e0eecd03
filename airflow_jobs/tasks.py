"""What the worker is woken for; a message lost or doubled changes nothing."""

from __future__ import annotations

import logging

from celery import shared_task
from kombu.exceptions import OperationalError

from . import recompute

LOG = logging.getLogger(__name__)


@shared_task(name="airflow_jobs.tasks.compute_pending")
def compute_pending() -> None:
    """Compute what is pending until nothing is left."""
    recompute.drain()


@shared_task(name="airflow_jobs.tasks.sweep")
def sweep() -> None:
    """Find what was missed lately, and compute it."""
    recompute.sweep()


@shared_task(name="airflow_jobs.tasks.sweep_all")
def sweep_all() -> None:
    """Find what was ever missed, and compute it."""
    recompute.sweep(thorough=True)


def wake_worker() -> None:
    """Tell the worker that there is something to do; call it once the rows are committed.

    Where the broker is away the schedule finds the rows later, so that is only logged.
    """
    try:
        compute_pending.apply_async(expires=10, retry=False)
    except (OperationalError, OSError):
        LOG.warning("The broker is not reached; the worker will find the rows by its schedule")
