"""Standings worked out ahead, so that a page need not look at every system's history."""

from __future__ import annotations

from typing import Final
from uuid import UUID

from django.db import connection, transaction

from airflow_jobs.models import Standing

from .queries.standings import MADE_BY, standings_of
from .values.systems import Trend

STEP: Final = 500
"""How many systems one transaction takes."""
# One at a time: of two, the slower one could write what it read before the other one did.
LOCK: Final = 7_160_231

# What is marked first, and then what was never worked out by this code.
_TO_DO: Final = """
(SELECT x.equipment_id, array_agg(x.id) AS marks
 FROM airflow_jobs_changedsystem x
 GROUP BY x.equipment_id ORDER BY min(x.id) LIMIT %(most)s)
UNION ALL
(SELECT e.id, '{}' FROM airflow_jobs_equipment e
 LEFT JOIN airflow_jobs_standing k ON k.equipment_id = e.id AND k.made_by = %(made_by)s
 WHERE k.equipment_id IS NULL
   AND NOT EXISTS (SELECT FROM airflow_jobs_changedsystem x WHERE x.equipment_id = e.id)
 ORDER BY e.id LIMIT %(most)s)
"""

_TREND: Final = (
    "per_year",
    "per_year_low",
    "per_year_high",
    "pairs",
    "since",
    "centre_at",
    "centre_value",
    "leaves_on",
    "leaves_earliest_on",
    "leaves_latest_on",
)


def renew_standings() -> int:
    """Work out again how systems stand of which a measurement changed; return how many.

    Stops where another process does it already. What changes meanwhile is marked again: marks
    are read before the measurements, and only those that were read are taken away.
    """
    done = 0
    while part := _renew_some():
        done += part
    return done


def _renew_some() -> int:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [LOCK])
        if not cursor.fetchone()[0]:
            return 0
        cursor.execute(_TO_DO, {"most": STEP, "made_by": MADE_BY})
        marks: dict[UUID, list[int]] = dict(cursor.fetchall())
        found = standings_of(list(marks))
        Standing.objects.bulk_create(
            [_row(key, measurements, trend) for key, (measurements, trend) in found.items()],
            update_conflicts=True,
            unique_fields=["equipment"],
            update_fields=["made_by", "measurements", *_TREND],
        )
        taken = [mark for listed in marks.values() for mark in listed]
        cursor.execute("DELETE FROM airflow_jobs_changedsystem WHERE id = ANY (%s)", [taken])
        return len(marks)


def _row(equipment_id: UUID, measurements: list[int], trend: Trend | None) -> Standing:
    kept = {name: getattr(trend, name) for name in _TREND} if trend else {}
    return Standing(equipment_id=equipment_id, made_by=MADE_BY, measurements=measurements, **kept)
