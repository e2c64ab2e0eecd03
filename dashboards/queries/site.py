"""One site: its systems, where each stands and goes, its visits."""

from __future__ import annotations

from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from airflow_jobs.models import Site

from ..values.sites import SiteFacts, SitePicture, SiteVisit, SystemAtSite
from ..values.systems import Measurement, SystemName
from .measured import MEASURED, rows
from .measurements import COLUMNS, JOINS, measurement_of, standing_measurements
from .trend import trends

# Enough for a trend, and no more however long the history.
LATEST: Final = 12
MOST_VISITS: Final = 25

_SYSTEMS: Final = f"""
WITH {MEASURED}
SELECT e.id AS equipment_id, e.tag, e.kind, e.retired_on, latest.*
FROM airflow_jobs_equipment e
LEFT JOIN LATERAL (
    SELECT {COLUMNS}
    FROM measured m {JOINS}
    WHERE m.equipment_id = e.id AND m.stage <> 'check'
    ORDER BY m.taken_at DESC, m.computation_id DESC
    LIMIT {LATEST}
) latest ON TRUE
WHERE e.site_id = %(site)s
ORDER BY lower(e.tag), e.id, latest.taken_at, latest.traverse_id, latest.flow_set_id
"""

_VISITS: Final = f"""
WITH chosen AS (
    SELECT v.*, count(*) OVER () AS altogether
    FROM airflow_jobs_visit v WHERE v.site_id = %(site)s
    ORDER BY v.started_at IS NULL DESC, coalesce(v.started_at::date, v.planned_for) DESC NULLS LAST,
             v.id DESC
    LIMIT %(limit)s
), {MEASURED},
counted AS (
    SELECT m.visit_id, count(DISTINCT m.equipment_id) AS systems,
           count(*) FILTER (WHERE m.is_judged AND m.stage = 'as_found') AS found,
           count(*) FILTER (WHERE m.is_outside AND m.stage = 'as_found') AS found_outside,
           count(*) FILTER (WHERE m.is_judged AND m.stage = 'as_left') AS left_judged,
           count(*) FILTER (WHERE m.is_outside AND m.stage = 'as_left') AS left_outside
    FROM (
        SELECT DISTINCT ON (m.visit_id, m.equipment_id, m.call, m.stage)
               m.visit_id, m.equipment_id, m.stage,
               r.judged_u > 0 AND r.verdict <> 'not_judged' AS is_judged,
               r.judged_u > 0 AND r.verdict <> 'not_judged'
               AND (r.judged_value < r.target_low OR r.judged_value > r.target_high) AS is_outside
        FROM measured m
        LEFT JOIN airflow_jobs_result r ON r.id = m.result_id
        WHERE m.visit_id IN (SELECT id FROM chosen)
        ORDER BY m.visit_id, m.equipment_id, m.call, m.stage,
                 (r.judged_u > 0 AND r.verdict <> 'not_judged') DESC NULLS LAST,
                 CASE m.stage WHEN 'as_found' THEN 1 ELSE -1 END * extract(epoch FROM m.taken_at),
                 m.computation_id
    ) m
    GROUP BY m.visit_id
)
SELECT c.id, c.purpose, c.planned_for, c.started_at, c.crew_id, w.name AS crew, c.altogether,
       coalesce(n.systems, 0) AS systems, coalesce(n.found, 0) AS found,
       coalesce(n.found_outside, 0) AS found_outside, coalesce(n.left_judged, 0) AS left_judged,
       coalesce(n.left_outside, 0) AS left_outside
FROM chosen c
JOIN airflow_jobs_crew w ON w.id = c.crew_id
LEFT JOIN counted n ON n.visit_id = c.id
ORDER BY c.started_at IS NULL DESC, coalesce(c.started_at::date, c.planned_for) DESC NULLS LAST,
         c.id DESC
"""


def site_picture(site_id: UUID, *, limit: int | None = MOST_VISITS) -> SitePicture | None:
    """Return a site's page but its shares, or nothing where there is no such site.

    Three statements. `limit` is how many visits are read, the latest; None reads all.
    """
    site = Site.objects.select_related("customer").filter(pk=site_id).first()
    if site is None:
        return None
    zone = ZoneInfo(site.time_zone)
    visits = rows(_VISITS, {"site": site_id, "limit": limit})
    return SitePicture(
        facts=SiteFacts(
            id=site.pk,
            name=site.name,
            customer_id=site.customer_id,
            customer=site.customer.name if site.customer else "",
            address=site.address,
            elevation_m=site.elevation_m,
            time_zone=site.time_zone,
            climate=site.get_climate_display() if site.climate else "",
            notes=site.notes,
            retired_on=site.retired_on,
        ),
        systems=_systems(rows(_SYSTEMS, {"site": site_id}), site, zone),
        visits=tuple(
            SiteVisit(
                id=row["id"],
                purpose=row["purpose"],
                planned_for=row["planned_for"],
                began_on=row["started_at"].astimezone(zone).date() if row["started_at"] else None,
                crew_id=row["crew_id"],
                crew=row["crew"],
                systems=row["systems"],
                found=row["found"],
                found_outside=row["found_outside"],
                left=row["left_judged"],
                left_outside=row["left_outside"],
            )
            for row in visits
        ),
        visits_left_out=visits[0]["altogether"] - len(visits) if visits else 0,
    )


def _systems(found: list[dict[str, Any]], site: Site, zone: ZoneInfo) -> tuple[SystemAtSite, ...]:
    grouped: dict[UUID, list[dict[str, Any]]] = {}
    for row in found:
        grouped.setdefault(row["equipment_id"], []).append(row)
    histories: list[list[Measurement]] = [
        [measurement_of(row, zone) for row in group if row["taken_at"] is not None]
        for group in grouped.values()
    ]
    return tuple(
        SystemAtSite(
            system=SystemName(
                group[0]["equipment_id"], group[0]["tag"], group[0]["kind"], site.pk, site.name
            ),
            retired_on=group[0]["retired_on"],
            standing=standing_measurements(tuple(history)),
            trend=trend,
            last_measured_on=max((one.taken_at.date() for one in history), default=None),
        )
        for group, history, trend in zip(
            grouped.values(), histories, trends(histories), strict=True
        )
    )
