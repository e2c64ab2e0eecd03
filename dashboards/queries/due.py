"""What is due: planned visits, systems that wait to be measured, calibrations."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final, TypeVar
from uuid import UUID

from airflow_jobs.found_off import not_corrected

from ..due_days import months_after, next_by
from ..values.due import (
    CrewName,
    Due,
    DueMeter,
    DueSystem,
    Listed,
    MeasureBy,
    NextVisit,
    PlannedVisit,
)
from ..values.filters import Filters
from ..values.systems import Attention, SystemName
from .measured import of_systems, parameters, rows
from .meters import meters_astray, with_results
from .meters_astray import usual_filters

COMING_DAYS: Final = 30
EXPIRING_DAYS: Final = 60
# Whom to ask where a meter is: who had it in hand in its last traverses.
LATEST_USES: Final = 50
MOST_CREWS: Final = 3
# Each is a decision of its own, so that the shortest of lists names more than one.
MOST_FOUND_OFF: Final = 3

Item = TypeVar("Item")

# A plan older than the company's interval is no plan any more; its systems are due by then.
_VISITS: Final = """
WITH asked AS (
    SELECT v.id, v.site_id, s.name AS site, s.time_zone, v.crew_id, w.name AS crew, v.purpose,
           v.planned_for, v.started_at, v.finished_at, v.planned_for < %(today)s AS is_missed
    FROM airflow_jobs_visit v
    JOIN airflow_jobs_site s ON s.id = v.site_id
    JOIN airflow_jobs_crew w ON w.id = v.crew_id
    WHERE v.planned_for >= %(today)s::date - make_interval(months => %(months)s)
      AND v.planned_for <= %(today)s::date + %(coming_days)s
      AND s.retired_on IS NULL AND {conditions}
      AND NOT EXISTS (SELECT FROM airflow_jobs_traverse t WHERE t.visit_id = v.id)
      AND NOT EXISTS (SELECT FROM airflow_jobs_flowset f WHERE f.visit_id = v.id)
      AND NOT EXISTS (SELECT FROM airflow_jobs_flowreading r WHERE r.visit_id = v.id)
),
counted AS (
    SELECT asked.*, count(*) OVER (PARTITION BY is_missed) AS altogether,
           row_number() OVER (PARTITION BY is_missed
                              ORDER BY planned_for, lower(site), id) AS place
    FROM asked
)
SELECT c.*,
       (SELECT count(*) FROM airflow_jobs_equipment e
        WHERE e.site_id = c.site_id AND e.retired_on IS NULL) AS systems,
       CASE WHEN c.is_missed THEN (
           SELECT max((t.taken_at AT TIME ZONE c.time_zone)::date)
           FROM airflow_jobs_visit o
           JOIN airflow_jobs_traverse t ON t.visit_id = o.id
           WHERE o.site_id = c.site_id
             AND (t.taken_at AT TIME ZONE c.time_zone)::date >= c.planned_for
       ) END AS measured_since_on
FROM counted c
WHERE %(limit)s::int IS NULL OR c.place <= %(limit)s
ORDER BY c.is_missed DESC, c.place
"""

# Checks say nothing about how a system was found or left.
_SYSTEMS: Final = """
WITH coming AS (
    SELECT v.site_id, min(v.planned_for) AS planned_for
    FROM airflow_jobs_visit v WHERE v.planned_for >= %(today)s GROUP BY v.site_id
),
asked AS (
    SELECT e.id, e.tag, e.kind, s.id AS site_id, s.name AS site, s.time_zone, e.created_at,
           last.taken_on AS last_on, coming.planned_for
    FROM airflow_jobs_equipment e
    JOIN airflow_jobs_site s ON s.id = e.site_id
    LEFT JOIN coming ON coming.site_id = s.id
    LEFT JOIN LATERAL (
        SELECT m.taken_on, m.crew_id
        FROM airflow_jobs_measurement m
        WHERE m.equipment_id = e.id AND m.stage <> 'check'
          AND (%(air_path)s::text IS NULL OR %(air_path)s = ANY (m.air_paths))
        ORDER BY m.taken_at DESC, m.computation_id DESC LIMIT 1
    ) last ON TRUE
    WHERE e.retired_on IS NULL AND s.retired_on IS NULL AND {systems}
      AND (%(air_path)s::text IS NULL
           OR EXISTS (SELECT FROM airflow_jobs_ductsection d
                      WHERE d.equipment_id = e.id AND d.air_path = %(air_path)s))
      AND (last.taken_on IS NULL
           OR (last.taken_on < %(today)s::date - make_interval(months => %(months)s)
               AND (%(crew)s::uuid IS NULL OR last.crew_id = %(crew)s)))
),
counted AS (
    SELECT asked.*, last_on IS NULL AS is_never,
           count(*) OVER (PARTITION BY last_on IS NULL) AS altogether,
           count(*) FILTER (WHERE planned_for IS NULL) OVER (PARTITION BY last_on IS NULL)
               AS unplanned,
           row_number() OVER (PARTITION BY last_on IS NULL
                              ORDER BY last_on, created_at, lower(site), lower(tag), id) AS place
    FROM asked
)
SELECT c.*, (c.last_on + make_interval(months => %(months)s))::date AS due_on,
       (c.created_at AT TIME ZONE c.time_zone)::date AS on_record_since
FROM counted c
WHERE %(limit)s::int IS NULL OR c.place <= %(limit)s
ORDER BY c.is_never, c.place
"""

_METERS: Final = f"""
WITH asked AS (
    SELECT i.id, coalesce(nullif(i.label, ''), i.serial) AS name, i.serial, c.due_on,
           coalesce(c.due_on < %(today)s, TRUE) AS is_overdue, used.last_used_on,
           coalesce(used.crew_ids, '{{}}') AS crew_ids, coalesce(used.crews, '{{}}') AS crews
    FROM airflow_jobs_instrument i
    LEFT JOIN LATERAL (
        SELECT c.due_on FROM airflow_jobs_calibration c
        WHERE c.instrument_id = i.id AND c.retired_on IS NULL AND c.performed_on <= %(today)s
        ORDER BY c.performed_on DESC, c.id DESC LIMIT 1
    ) c ON TRUE
    LEFT JOIN LATERAL (
        SELECT max(by_crew.last_on) AS last_used_on,
               array_agg(by_crew.crew_id ORDER BY by_crew.last_at DESC, by_crew.crew_id)
                   AS crew_ids,
               array_agg(by_crew.crew ORDER BY by_crew.last_at DESC, by_crew.crew_id) AS crews
        FROM (
            SELECT v.crew_id, w.name AS crew, max(t.taken_at) AS last_at,
                   max((t.taken_at AT TIME ZONE s.time_zone)::date) AS last_on
            FROM (
                SELECT t.visit_id, t.taken_at FROM airflow_jobs_traverse t
                WHERE t.instrument_id = i.id ORDER BY t.taken_at DESC LIMIT {LATEST_USES}
            ) t
            JOIN airflow_jobs_visit v ON v.id = t.visit_id
            JOIN airflow_jobs_site s ON s.id = v.site_id
            JOIN airflow_jobs_crew w ON w.id = v.crew_id
            GROUP BY v.crew_id, w.name
            ORDER BY last_at DESC, v.crew_id LIMIT {MOST_CREWS}
        ) by_crew
    ) used ON TRUE
    WHERE (i.retired_on IS NULL OR i.retired_on > %(today)s)
      AND (c.due_on IS NULL OR c.due_on <= %(today)s::date + %(expiring_days)s)
),
counted AS (
    SELECT asked.*, count(*) OVER (PARTITION BY is_overdue) AS altogether,
           row_number() OVER (PARTITION BY is_overdue
                              ORDER BY due_on NULLS FIRST, lower(name), id) AS place
    FROM asked
    WHERE %(crew)s::uuid IS NULL OR %(crew)s = ANY (crew_ids)
)
SELECT * FROM counted
WHERE %(limit)s::int IS NULL OR place <= %(limit)s
ORDER BY is_overdue DESC, place
"""

_NEXT_VISITS: Final = """
SELECT DISTINCT ON (v.site_id) v.site_id, v.planned_for, v.crew_id, w.name AS crew
FROM airflow_jobs_visit v
JOIN airflow_jobs_crew w ON w.id = v.crew_id
WHERE v.planned_for >= %(today)s AND v.site_id = ANY (%(sites)s)
ORDER BY v.site_id, v.planned_for, v.id
"""


def due(
    filters: Filters,
    standing: Attention,
    *,
    today: datetime.date,
    months: int,
    limit: int | None,
) -> Due:
    """Return what is due today, whatever the period; seven statements at most.

    Parameters
    ----------
    filters
        Customer, site and kind narrow visits and systems, the crew what it is to do or did last,
        the air path which measurements of a system count.
    standing
        How the systems stand; their trends say which will leave their range.
    today
        The day in the company's time zone.
    months
        How long the company lets a system go without a measurement.
    limit
        How many of each list are wanted; None for all of them. Of meters found off always some.
    """
    values = {
        **parameters(filters),
        "today": today,
        "months": months,
        "limit": limit,
        "coming_days": COMING_DAYS,
        "expiring_days": EXPIRING_DAYS,
    }
    visits = rows(_VISITS.format(conditions=_of_visits(filters)), values)
    systems = rows(_SYSTEMS.format(systems=of_systems(filters)), values)
    meters = rows(_METERS, values)
    found_off, usual = not_corrected(), usual_filters(today)
    late = [row for row in systems if not row["is_never"]]
    never = [row for row in systems if row["is_never"]]
    expected = foreseen(standing, today=today, months=months)
    wanted = expected if limit is None else expected[:limit]
    planned = next_visits([one.system.site_id for one in wanted], today=today)
    return Due(
        missed=_listed([row for row in visits if row["is_missed"]], _visit),
        coming=_listed([row for row in visits if not row["is_missed"]], _visit),
        late=_listed(late, _system),
        never=_listed(never, _system),
        foreseen=Listed(
            tuple(
                replace(one, planned_for=planned[one.system.site_id].on)
                if one.system.site_id in planned
                else one
                for one in wanted
            ),
            len(expected),
        ),
        overdue=_listed([row for row in meters if row["is_overdue"]], _meter),
        expiring=_listed([row for row in meters if not row["is_overdue"]], _meter),
        found_off=Listed(
            found_off if limit is None else found_off[: max(limit, MOST_FOUND_OFF)], len(found_off)
        ),
        astray=with_results(usual, meters_astray(usual, today=today).values()),
        found_off_results=sum(one.between for one in found_off),
        late_unplanned=late[0]["unplanned"] if late else 0,
    )


def foreseen(standing: Attention, *, today: datetime.date, months: int) -> tuple[MeasureBy, ...]:
    """Return the systems that their trend asks to measure sooner than the interval does.

    Parameters
    ----------
    standing
        How the systems stand, with their trends.
    today
        The day from which the days count.
    months
        How long the company lets a system go without a measurement.
    """
    found = []
    for needs in standing.systems:
        trend = next((one.trend for one in needs.reasons if one.code == "drifting"), None)
        if trend is None or needs.standing is None:
            continue
        last_on = needs.standing.taken_at.date()
        by = next_by(trend, today)
        if by is not None and by < months_after(last_on, months):
            found.append(MeasureBy(needs.system, trend, last_on, by))
    return tuple(
        sorted(found, key=lambda one: (one.by, one.system.site, one.system.tag, one.system.id))
    )


def next_visits(sites: list[UUID], *, today: datetime.date) -> dict[UUID, NextVisit]:
    """Return the next planned visit of each site that has one; one statement."""
    found = rows(_NEXT_VISITS, {"sites": sites, "today": today})
    return {
        row["site_id"]: NextVisit(row["planned_for"], CrewName(row["crew_id"], row["crew"]))
        for row in found
    }


# A visit belongs to a site, so a kind narrows it to sites that have a system of that kind.
_VISIT_CONDITIONS: Final = (
    ("customer", "s.customer_id = %(customer)s"),
    ("site", "s.id = %(site)s"),
    ("crew", "v.crew_id = %(crew)s"),
    (
        "kind",
        "EXISTS (SELECT FROM airflow_jobs_equipment e WHERE e.site_id = s.id "
        "AND e.kind = %(kind)s AND e.retired_on IS NULL)",
    ),
)


def _of_visits(filters: Filters) -> str:
    found = [text for name, text in _VISIT_CONDITIONS if getattr(filters, name) is not None]
    return " AND ".join(found) or "TRUE"


def _listed(found: list[dict[str, Any]], make: Callable[[dict[str, Any]], Item]) -> Listed[Item]:
    return Listed(
        rows=tuple(make(row) for row in found), total=found[0]["altogether"] if found else 0
    )


def _visit(row: dict[str, Any]) -> PlannedVisit:
    return PlannedVisit(
        id=row["id"],
        site_id=row["site_id"],
        site=row["site"],
        systems=row["systems"],
        crew=CrewName(row["crew_id"], row["crew"]),
        purpose=row["purpose"],
        planned_for=row["planned_for"],
        is_begun=row["started_at"] is not None,
        is_finished=row["finished_at"] is not None,
        measured_since_on=row["measured_since_on"],
    )


def _system(row: dict[str, Any]) -> DueSystem:
    return DueSystem(
        system=SystemName(row["id"], row["tag"], row["kind"], row["site_id"], row["site"]),
        last_measured_on=row["last_on"],
        due_on=row["due_on"],
        on_record_since=row["on_record_since"],
        planned_for=row["planned_for"],
    )


def _meter(row: dict[str, Any]) -> DueMeter:
    return DueMeter(
        id=row["id"],
        name=row["name"],
        serial=row["serial"],
        due_on=row["due_on"],
        last_used_on=row["last_used_on"],
        crews=tuple(map(CrewName, row["crew_ids"], row["crews"])),
    )
