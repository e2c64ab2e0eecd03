"""What the schedule wakes of the office's acts; a message lost or doubled changes nothing."""

from __future__ import annotations

from celery import shared_task

from .digest import send_weekly_digests


@shared_task(name="airflow_jobs.office.tasks.send_digests")
def send_digests() -> None:
    """Send this week's digest to whoever waits for it."""
    send_weekly_digests()
