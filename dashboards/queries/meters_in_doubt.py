"""Which measurements rest on a meter that a later calibration found off."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Sequence
from typing import Final
from uuid import UUID

from airflow_jobs.found_off import CalibrationFound, calibrations

from ..values.meters import MeterInDoubt
from ..values.systems import Measurement
from .measured import rows

# A flow-set rests on each of its traverses.
_MEMBERS: Final = """
SELECT m.flow_set_id, t.instrument_id, (t.taken_at AT TIME ZONE s.time_zone)::date AS taken_on
FROM airflow_jobs_flowsetmember m
JOIN airflow_jobs_traverse t ON t.id = m.traverse_id
JOIN airflow_jobs_visit v ON v.id = t.visit_id
JOIN airflow_jobs_site s ON s.id = v.site_id
WHERE m.flow_set_id = ANY (%(flow_sets)s)
ORDER BY m.id
"""


def meters_in_doubt(measurements: Sequence[Measurement]) -> list[MeterInDoubt | None]:
    """Return for each measurement its meter if that was found off later; two statements at most.

    What a correction reaches is in doubt no longer.
    """
    used: dict[UUID | None, list[tuple[UUID, datetime.date]]] = defaultdict(list)
    flow_sets = [one.flow_set_id for one in measurements if one.flow_set_id]
    for row in rows(_MEMBERS, {"flow_sets": flow_sets}) if flow_sets else ():
        used[row["flow_set_id"]].append((row["instrument_id"], row["taken_on"]))
    for one in measurements:
        if one.traverse_id and one.instrument_id:
            used[one.traverse_id].append((one.instrument_id, one.taken_at.date()))
    meters = {meter for uses in used.values() for meter, _ in uses}
    found: dict[UUID, list[CalibrationFound]] = defaultdict(list)
    for calibration in calibrations(*meters) if meters else ():
        found[calibration.instrument_id].append(calibration)
    return [
        next(
            (
                MeterInDoubt(
                    id=calibration.instrument_id,
                    name=calibration.meter,
                    found_on=calibration.performed_on,
                    change=calibration.change or 0.0,
                )
                for meter, day in used.get(one.traverse_id or one.flow_set_id, ())
                for calibration in found.get(meter, ())
                if calibration.leaves_in_doubt(day)
            ),
            None,
        )
        for one in measurements
    ]
