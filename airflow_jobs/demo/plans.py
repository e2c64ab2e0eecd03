"""Plans: visits of the next weeks, and a few of the last ones that nobody made."""

from __future__ import annotations

import datetime
from typing import Final

from airflow_jobs.models import Purpose, Visit

from .calendar import Outing
from .record import Invented
from .seeded import Seeded

PLANNED: Final = 12
MISSED_DAYS_AGO: Final = (4, 9, 17, 26)
MADE_ANYWAY: Final = 2
"""Plans that nobody closed: the site was visited some days later, on another visit."""
ASKED_AHEAD: Final = datetime.timedelta(days=30)


def plan_visits(seeded: Seeded, record: Invented, today: datetime.date) -> None:
    """Plan visits where nobody was for the longest time; some of the plans came to nothing.

    Parameters
    ----------
    seeded
        Where chance comes from.
    record
        With all its outings.
    today
        Its last day.
    """
    last_at = {job.outing.place.row.pk: job.outing for job in record.jobs}
    waiting = sorted(last_at.values(), key=lambda outing: outing.day)
    for number, outing in enumerate(waiting[:PLANNED]):
        day = today + datetime.timedelta(days=1 + 2 * number)
        _plan(seeded, record, outing, day, asked_on=today)
    forgotten = waiting[PLANNED : PLANNED + len(MISSED_DAYS_AGO)]
    for days_ago, outing in zip(MISSED_DAYS_AGO, forgotten, strict=True):
        # Where somebody was after that day all the same, the plan was for a day after the visit.
        day = max(today - datetime.timedelta(days=days_ago), outing.day + datetime.timedelta(1))
        _plan(seeded, record, outing, day, asked_on=day - ASKED_AHEAD)
    for outing in waiting[-MADE_ANYWAY:]:
        day = outing.day - datetime.timedelta(days=3)
        _plan(seeded, record, outing, day, asked_on=day - ASKED_AHEAD)


def _plan(
    seeded: Seeded,
    record: Invented,
    outing: Outing,
    day: datetime.date,
    *,
    asked_on: datetime.date,
) -> None:
    while day.weekday() >= 5:
        day += datetime.timedelta(days=1)
    at = datetime.datetime.combine(asked_on, datetime.time(), datetime.UTC)
    record.visits.append(
        Visit(
            id=seeded.new_id(at),
            site=outing.place.row,
            crew=next(crew for crew in record.crews if crew.name == outing.crew_name),
            purpose=Purpose.MAINTENANCE,
            planned_for=day,
            created_at=at,
            updated_at=at,
        )
    )
