"""The list of systems, searched and in pages."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from ..values.filters import Filters
from ..values.systems import ListedSystem, SystemList, SystemName
from .measured import MEASURED, of_systems, parameters, rows
from .measurements import COLUMNS, JOINS, measurement_of, standing_measurements

PAGE_SIZE: Final = 50
# Enough to find the last visit's last measurement of each call.
LATEST: Final = 4

_FOUND: Final = """
    FROM airflow_jobs_equipment e
    JOIN airflow_jobs_site s ON s.id = e.site_id
    LEFT JOIN airflow_jobs_customer k ON k.id = s.customer_id
    WHERE e.retired_on IS NULL AND s.retired_on IS NULL AND {systems}
      AND (%(words)s::text[] IS NULL OR NOT EXISTS (
          SELECT FROM unnest(%(words)s::text[]) AS word
          WHERE position(word IN lower(concat_ws(' ', e.tag, s.name, k.name, s.address,
                                                 e.model_number, e.serial_number))) = 0))
"""

_COUNT: Final = f"SELECT count(*) AS total {_FOUND}"

_LIST: Final = f"""
WITH {MEASURED},
page AS (
    SELECT e.id, e.tag, e.kind, s.id AS site_id, s.name AS site, s.time_zone,
           coalesce(k.name, '') AS customer
    {_FOUND}
    ORDER BY lower(s.name), s.id, lower(e.tag), e.id
    LIMIT {PAGE_SIZE} OFFSET %(offset)s
)
SELECT page.id AS equipment_id, page.tag, page.kind, page.site_id, page.site, page.time_zone,
       page.customer, latest.*
FROM page
LEFT JOIN LATERAL (
    SELECT {COLUMNS}
    FROM measured m {JOINS}
    WHERE m.equipment_id = page.id AND m.stage <> 'check'
    ORDER BY m.taken_at DESC, m.computation_id DESC
    LIMIT {LATEST}
) latest ON TRUE
ORDER BY lower(page.site), page.site_id, lower(page.tag), page.id, latest.taken_at
"""


_NAMES: Final = """
SELECT e.id, e.tag, e.kind, s.id AS site_id, s.name AS site
FROM airflow_jobs_equipment e JOIN airflow_jobs_site s ON s.id = e.site_id
WHERE e.id = ANY(%(systems)s)
ORDER BY e.id
"""


def system_list(filters: Filters, *, search: str, page: int) -> SystemList:
    """Return one page of the systems in use; two statements.

    Parameters
    ----------
    filters
        Customer, site and kind.
    search
        Words that must all occur in tag, site, customer, address, model or serial number,
        whatever their case.
    page
        Counted from 1; past the end means the last one.
    """
    words = search.replace("\0", "").lower().split()
    values: dict[str, Any] = {**parameters(filters), "words": words or None}
    systems = of_systems(filters)
    total = rows(_COUNT.format(systems=systems), values)[0]["total"]
    pages = max(-(-total // PAGE_SIZE), 1)
    page = min(max(page, 1), pages)
    found = rows(_LIST.format(systems=systems), {**values, "offset": (page - 1) * PAGE_SIZE})
    grouped: dict[Any, list[dict[str, Any]]] = {}
    for row in found:
        grouped.setdefault(row["equipment_id"], []).append(row)
    return SystemList(
        rows=tuple(_listed(group) for group in grouped.values()),
        total=total,
        page=page,
        pages=pages,
        search=search,
    )


def system_names(systems: Sequence[UUID]) -> tuple[SystemName, ...]:
    """Return the names of systems in the order given; one statement, or none for none."""
    if not systems:
        return ()
    found = {
        row["id"]: SystemName(row["id"], row["tag"], row["kind"], row["site_id"], row["site"])
        for row in rows(_NAMES, {"systems": list(systems)})
    }
    return tuple(found[one] for one in systems if one in found)


def _listed(group: list[dict[str, Any]]) -> ListedSystem:
    first = group[0]
    zone = ZoneInfo(first["time_zone"])
    measurements = tuple(measurement_of(row, zone) for row in group if row["taken_at"] is not None)
    standing = standing_measurements(measurements)
    return ListedSystem(
        system=SystemName(
            first["equipment_id"], first["tag"], first["kind"], first["site_id"], first["site"]
        ),
        customer=first["customer"],
        standing=standing[0] if standing else None,
    )
