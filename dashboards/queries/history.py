"""One system: its facts, all that was measured and changed, its trend."""

from __future__ import annotations

from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from airflow_jobs.models import Adjustment, Equipment

from ..values.systems import AdjustmentMade, SystemFacts, SystemHistory, SystemName
from .measured import MEASURED, rows
from .measurements import COLUMNS, JOINS, measurement_of
from .trend import trends, usual_call

# A page with more lines than this is read by nobody; the newest are shown and the rest counted.
MOST: Final = 1000

_HISTORY: Final = f"""
WITH {MEASURED},
all_of_it AS (
    SELECT m.*, count(*) OVER () AS altogether
    FROM measured m WHERE m.equipment_id = %(equipment)s
    ORDER BY m.taken_at DESC, m.computation_id DESC LIMIT {MOST}
)
SELECT {COLUMNS}, m.altogether
FROM all_of_it m {JOINS}
ORDER BY m.taken_at, m.computation_id
"""


def system_history(equipment_id: UUID) -> SystemHistory | None:
    """Return a system's page, or nothing where there is no such system; three statements."""
    equipment = Equipment.objects.select_related("site__customer").filter(pk=equipment_id).first()
    if equipment is None:
        return None
    site = equipment.site
    zone = ZoneInfo(site.time_zone)
    found = rows(_HISTORY, {"equipment": equipment_id})
    measurements = tuple(measurement_of(row, zone) for row in found)
    adjustments = Adjustment.objects.filter(equipment_id=equipment_id).order_by("made_at", "id")
    return SystemHistory(
        facts=SystemFacts(
            name=SystemName(equipment.pk, equipment.tag, equipment.kind, site.pk, site.name),
            customer=site.customer.name if site.customer else "",
            time_zone=site.time_zone,
            elevation_m=site.elevation_m,
            model_number=equipment.model_number,
            serial_number=equipment.serial_number,
            capacity_w=equipment.cooling_capacity_w,
            is_rated=equipment.rated_capacity_w is not None,
            fan_drive=equipment.fan_drive,
            commissioned_on=equipment.commissioned_on,
            retired_on=equipment.retired_on,
        ),
        measurements=measurements,
        adjustments=tuple(
            AdjustmentMade(
                made_at=one.made_at.astimezone(zone),
                kind=one.get_kind_display(),
                from_value=one.from_value,
                to_value=one.to_value,
                notes=one.notes,
            )
            for one in adjustments
        ),
        trend=trends([measurements])[0],
        trend_call=usual_call(measurements),
        left_out=found[0]["altogether"] - len(found) if found else 0,
    )
