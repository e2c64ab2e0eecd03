"""The common ground of the questions: what was measured, of which system, at which stage.

Traverses of sections that carry all of a system's flow and flow-sets are measurements of a
system alike; which of them were judged, the results say.
"""

from __future__ import annotations

from typing import Any, Final

from django.db import connection

from ..values.filters import Filters

# The kept measurements beside the state of their computations. What counts over all of them takes
# the table itself, see `jobs`.
MEASURED: Final = """
measured AS NOT MATERIALIZED (
    SELECT k.*, c.state, c.failure
    FROM airflow_jobs_measurement k
    JOIN airflow_jobs_computation c ON c.id = k.computation_id
)
"""

# The day, where that was, on which meter `i` was used last.
LAST_USED_ON: Final = """
       (SELECT (t.taken_at AT TIME ZONE s.time_zone)::date
        FROM airflow_jobs_traverse t
        JOIN airflow_jobs_visit v ON v.id = t.visit_id
        JOIN airflow_jobs_site s ON s.id = v.site_id
        WHERE t.instrument_id = i.id ORDER BY t.taken_at DESC, t.id DESC LIMIT 1)"""

# Days are days where the equipment stands.
_PERIOD: Final = (
    ("from_on", "m.taken_on >= %(from_on)s"),
    ("to_on", "m.taken_on <= %(to_on)s"),
)
_SYSTEM: Final = (
    ("customer", "s.customer_id = %(customer)s"),
    ("site", "s.id = %(site)s"),
    ("kind", "e.kind = %(kind)s"),
)
_MEASUREMENT: Final = (
    ("crew", "m.crew_id = %(crew)s"),
    ("air_path", "%(air_path)s = ANY (m.air_paths)"),
)


def parameters(filters: Filters) -> dict[str, Any]:
    """Return the parameters that the conditions name."""
    return {
        "from_on": filters.from_on,
        "to_on": filters.to_on,
        "customer": filters.customer,
        "site": filters.site,
        "crew": filters.crew,
        "kind": filters.kind,
        "air_path": filters.air_path,
    }


def _conditions(filters: Filters, table: tuple[tuple[str, str], ...]) -> str:
    found = [text for name, text in table if getattr(filters, name) is not None]
    return " AND ".join(found) or "TRUE"


def of_systems(filters: Filters) -> str:
    """Return the conditions on equipment `e` at site `s`."""
    return _conditions(filters, _SYSTEM)


def of_measurements(filters: Filters) -> str:
    """Return the conditions on measurement `m`, but for the period."""
    return _conditions(filters, _MEASUREMENT)


def in_period(filters: Filters) -> str:
    """Return the conditions on the day of measurement `m`."""
    return _conditions(filters, _PERIOD)


def rows(sql: str, values: dict[str, Any]) -> list[dict[str, Any]]:
    """Run one statement and return its rows by column name."""
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        names = [column.name for column in cursor.description or ()]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
