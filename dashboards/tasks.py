"""What the worker does for the pages; a message lost or doubled changes nothing."""

from __future__ import annotations

from celery import shared_task

from .standings import renew_standings


@shared_task(name="dashboards.tasks.renew")
def renew() -> None:
    """Work out again how systems stand of which a measurement changed."""
    renew_standings()
