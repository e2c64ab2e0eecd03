"""The common ground of the questions: what was measured, of which system, at which stage.

Traverses of sections that carry all of a system's flow and flow-sets are measurements of a
system alike; which of them were judged, the results say.
"""

from __future__ import annotations

from typing import Any, Final

from django.db import connection

from ..values.filters import Filters

# Both halves have one shape: computation, what was measured, when, at which stage.
MEASURED: Final = """
measured AS (
    SELECT c.id AS computation_id, c.state, c.failure, c.result_id, t.id AS traverse_id,
           NULL::uuid AS flow_set_id, t.visit_id, d.equipment_id, t.stage, t.call, t.taken_at,
           t.instrument_id, ARRAY[d.air_path] AS air_paths
    FROM airflow_jobs_computation c
    JOIN airflow_jobs_traverse t ON t.id = c.traverse_id
    JOIN airflow_jobs_ductsection d ON d.id = t.duct_section_id
    UNION ALL
    SELECT c.id, c.state, c.failure, c.result_id, NULL, f.id, f.visit_id, f.equipment_id,
           f.stage, m.call, m.taken_at, m.instrument_id, m.air_paths
    FROM airflow_jobs_computation c
    JOIN airflow_jobs_flowset f ON f.id = c.flow_set_id
    JOIN LATERAL (
        SELECT max(coalesce(t.taken_at, r.taken_at)) AS taken_at,
               CASE WHEN count(DISTINCT t.call) = 1 THEN min(t.call) ELSE 'unknown' END AS call,
               (array_agg(coalesce(t.instrument_id, r.instrument_id) ORDER BY m.id))[1]
                   AS instrument_id,
               array_agg(d.air_path) FILTER (WHERE d.id IS NOT NULL) AS air_paths
        FROM airflow_jobs_flowsetmember m
        LEFT JOIN airflow_jobs_traverse t ON t.id = m.traverse_id
        LEFT JOIN airflow_jobs_flowreading r ON r.id = m.flow_reading_id
        LEFT JOIN airflow_jobs_ductsection d ON d.id = t.duct_section_id
        WHERE m.flow_set_id = f.id
    ) m ON m.taken_at IS NOT NULL
)
"""

# Days are days where the equipment stands. The first bound is there for the index: no zone is
# further than 15 hours from UTC.
_PERIOD: Final = (
    (
        "from_on",
        "m.taken_at >= %(from_on)s::date - interval '1 day' "
        "AND (m.taken_at AT TIME ZONE s.time_zone)::date >= %(from_on)s",
    ),
    (
        "to_on",
        "m.taken_at < %(to_on)s::date + interval '2 days' "
        "AND (m.taken_at AT TIME ZONE s.time_zone)::date <= %(to_on)s",
    ),
)
_SYSTEM: Final = (
    ("customer", "s.customer_id = %(customer)s"),
    ("site", "s.id = %(site)s"),
    ("kind", "e.kind = %(kind)s"),
)
_MEASUREMENT: Final = (
    ("crew", "v.crew_id = %(crew)s"),
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
    """Return the conditions on measurement `m` of visit `v`, but for the period."""
    return _conditions(filters, _MEASUREMENT)


def in_period(filters: Filters) -> str:
    """Return the conditions on the day of measurement `m` at site `s`."""
    return _conditions(filters, _PERIOD)


def rows(sql: str, values: dict[str, Any]) -> list[dict[str, Any]]:
    """Run one statement and return its rows by column name."""
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        names = [column.name for column in cursor.description or ()]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
