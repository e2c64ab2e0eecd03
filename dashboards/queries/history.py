"""One system: its facts, all that was measured and changed, its trend."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from airflow_jobs.models import Adjustment, Equipment, Purpose, Stage

from ..change_words import setting_text
from ..values.systems import (
    AdjustmentMade,
    CallHistory,
    HistoryEvent,
    Measurement,
    SystemFacts,
    SystemHistory,
    SystemName,
)
from .changes import level_changes
from .measured import MEASURED, rows
from .measurements import COLUMNS, JOINS, measurement_of
from .meters_in_doubt import meters_in_doubt
from .series import series_of
from .trend import trends_by_call

# A page with more lines than this is read by nobody; the newest are shown and the rest counted.
MOST: Final = 1000

_HISTORY: Final = f"""
WITH {MEASURED},
all_of_it AS (
    SELECT m.*, count(*) OVER () AS altogether
    FROM measured m WHERE m.equipment_id = %(equipment)s
    ORDER BY m.taken_at DESC, m.computation_id DESC LIMIT %(limit)s
)
SELECT {COLUMNS}, m.altogether
FROM all_of_it m {JOINS}
ORDER BY m.taken_at, m.computation_id
"""

# What happened beside the measurements, of three kinds in one shape.
_BESIDE: Final = """
SELECT 'visit' AS kind, v.id, coalesce(v.started_at, v.planned_for::timestamptz) AS at,
       NULL::date AS on_day, v.purpose AS what, '' AS detail
FROM airflow_jobs_visit v
WHERE v.started_at IS NOT NULL AND v.id = ANY(%(visits)s)
UNION ALL
SELECT 'calibration', c.instrument_id, NULL, c.performed_on,
       coalesce(nullif(i.label, ''), i.serial), c.certificate
FROM airflow_jobs_calibration c
JOIN airflow_jobs_instrument i ON i.id = c.instrument_id
WHERE c.retired_on IS NULL AND c.instrument_id = ANY(%(meters)s)
  AND c.performed_on BETWEEN %(from_on)s AND %(to_on)s
UNION ALL
SELECT 'correction', r.traverse_id, r.recorded_at, NULL, '', r.reason
FROM airflow_jobs_traverserevision r
WHERE r.number > 1 AND r.traverse_id = ANY(%(traverses)s)
ORDER BY 3, 4, 1, 2
"""

_PURPOSES: Final = {str(purpose): label for purpose, label in Purpose.choices}


def system_history(equipment_id: UUID, *, limit: int | None = MOST) -> SystemHistory | None:
    """Return a system's page, or nothing where there is no such system; six statements at most.

    `limit` is how many measurements are read, the latest; None reads all.
    """
    equipment = Equipment.objects.select_related("site__customer").filter(pk=equipment_id).first()
    if equipment is None:
        return None
    site = equipment.site
    zone = ZoneInfo(site.time_zone)
    found = rows(_HISTORY, {"equipment": equipment_id, "limit": limit})
    read = tuple(measurement_of(row, zone) for row in found)
    measurements = tuple(
        replace(one, in_doubt=meter) for one, meter in zip(read, meters_in_doubt(read), strict=True)
    )
    changed = Adjustment.objects.filter(equipment_id=equipment_id).order_by("made_at", "id")
    adjustments = tuple(
        AdjustmentMade(
            made_at=one.made_at.astimezone(zone),
            kind=one.get_kind_display(),
            from_value=one.from_value,
            to_value=one.to_value,
            notes=one.notes,
            visit_id=one.visit_id,
        )
        for one in changed
    )
    beside = _beside(measurements, adjustments)
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
        adjustments=adjustments,
        calls=_calls(measurements, beside),
        events=_events(measurements, adjustments, beside, zone),
        left_out=found[0]["altogether"] - len(found) if found else 0,
    )


def _beside(
    measurements: Sequence[Measurement], adjustments: Sequence[AdjustmentMade]
) -> list[dict[str, Any]]:
    days = [one.taken_at.date() for one in measurements] or [datetime.date.min]
    return rows(
        _BESIDE,
        {
            "visits": list(
                {one.visit_id for one in measurements} | {one.visit_id for one in adjustments}
            ),
            # A meter that only checked another changes nothing in the history.
            "meters": list(
                {
                    one.instrument_id
                    for one in measurements
                    if one.instrument_id and one.stage != Stage.CHECK
                }
            ),
            "traverses": [one.traverse_id for one in measurements if one.traverse_id],
            "from_on": days[0],
            "to_on": days[-1],
        },
    )


def _calls(
    measurements: Sequence[Measurement], beside: Sequence[dict[str, Any]]
) -> tuple[CallHistory, ...]:
    trends = trends_by_call(measurements)
    calibrated: dict[UUID, list[datetime.date]] = {}
    corrected = set()
    for row in beside:
        if row["kind"] == "calibration":
            calibrated.setdefault(row["id"], []).append(row["on_day"])
        elif row["kind"] == "correction":
            corrected.add(row["id"])
    rests_on = {call: series_of(measurements, call) for call in trends}
    return tuple(
        CallHistory(
            call=call,
            measurements=tuple(
                one for one in measurements if one.call == call and one.judged is not None
            ),
            trend=trend,
            changes=level_changes(
                measurements, call, calibrated_on=calibrated, corrected=corrected
            ),
            rests_on=len(rests_on[call]),
            in_doubt=tuple(one.in_doubt for one in rests_on[call] if one.in_doubt is not None),
        )
        for call, trend in trends.items()
    )


def _events(
    measurements: Sequence[Measurement],
    adjustments: Sequence[AdjustmentMade],
    beside: Sequence[dict[str, Any]],
    zone: ZoneInfo,
) -> tuple[HistoryEvent, ...]:
    """Return everything beside the measurements, in order of time."""
    events = [
        HistoryEvent(
            one.made_at, "adjustment", one.kind, setting_text(one.from_value, one.to_value)
        )
        for one in adjustments
    ]
    # Checks are made with a second meter on purpose; they change nothing.
    with_meter = [one for one in measurements if one.instrument_id and one.stage != Stage.CHECK]
    events += [
        HistoryEvent(
            later.taken_at,
            "meter",
            f"{later.instrument} after {earlier.instrument}",
        )
        for earlier, later in pairwise(with_meter)
        if earlier.instrument_id != later.instrument_id
    ]
    for row in beside:
        if row["kind"] == "calibration":
            noon = datetime.datetime.combine(row["on_day"], datetime.time(12), zone)
            events.append(
                HistoryEvent(noon, "calibration", row["what"], row["detail"], has_hour=False)
            )
        elif row["kind"] == "visit":
            what = _PURPOSES.get(row["what"], row["what"])
            events.append(HistoryEvent(row["at"].astimezone(zone), "visit", what))
        else:
            events.append(
                HistoryEvent(
                    row["at"].astimezone(zone), "correction", "A traverse corrected", row["detail"]
                )
            )
    return tuple(sorted(events, key=lambda one: (one.at, one.kind, one.what, one.detail)))
