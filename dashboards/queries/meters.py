"""Meters held against each other, their calibrations, and the results that rest on each."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np

from ..statistics.meters import Offsets, meter_offsets
from ..values.filters import Filters
from ..values.meters import MeterStanding, Reads, Register, RestsOn, ResultNamed
from .measured import in_period, of_measurements, of_systems, parameters, rows

# Below so many comparisons even the widest order statistics hold the median too seldom once all
# meters are compared.
FEWEST: Final = 10
FALSE_ALARMS: Final = 0.05

_TAKEN: Final = """
taken AS (
    SELECT m.*, e.tag, s.name AS site, s.time_zone, v.crew_id,
           r.flow_standard_m3_s, r.verdict,
           EXISTS (SELECT FROM airflow_jobs_calibration c
                   WHERE c.instrument_id = m.instrument_id AND c.retired_on IS NULL
                     AND (m.taken_at AT TIME ZONE s.time_zone)::date
                         BETWEEN c.performed_on AND c.due_on) AS is_in_calibration
    FROM (
        SELECT t.id, t.visit_id, t.repeats_id, t.duct_section_id, t.instrument_id, t.call,
               t.stage, t.taken_at, d.equipment_id, ARRAY[d.air_path] AS air_paths, c.result_id
        FROM airflow_jobs_traverse t
        JOIN airflow_jobs_ductsection d ON d.id = t.duct_section_id
        JOIN airflow_jobs_computation c ON c.traverse_id = t.id
    ) m
    JOIN airflow_jobs_result r ON r.id = m.result_id
    JOIN airflow_jobs_visit v ON v.id = m.visit_id
    JOIN airflow_jobs_equipment e ON e.id = m.equipment_id
    JOIN airflow_jobs_site s ON s.id = e.site_id
    WHERE {conditions}
)
"""

_REGISTER: Final = f"""
WITH {_TAKEN},
used AS (
    SELECT t.instrument_id, count(*) AS results,
           count(*) FILTER (WHERE NOT t.is_in_calibration) AS results_out,
           count(DISTINCT t.crew_id) AS crews, (array_agg(t.crew_id))[1] AS a_crew_id
    FROM taken t GROUP BY t.instrument_id
)
SELECT i.id, coalesce(nullif(i.label, ''), i.serial) AS name, i.serial, i.retired_on,
       coalesce(c.accuracy_relative, i.accuracy_relative) AS accuracy_relative,
       c.performed_on, c.due_on,
       (SELECT max(t.taken_at) FROM airflow_jobs_traverse t WHERE t.instrument_id = i.id)
           AS last_used_at,
       coalesce(used.results, 0) AS results, coalesce(used.results_out, 0) AS results_out,
       coalesce(used.crews, 0) AS crews, used.a_crew_id, w.name AS a_crew
FROM airflow_jobs_instrument i
LEFT JOIN LATERAL (
    SELECT c.performed_on, c.due_on, c.accuracy_relative
    FROM airflow_jobs_calibration c
    WHERE c.instrument_id = i.id AND c.retired_on IS NULL AND c.performed_on <= %(today)s
    ORDER BY c.performed_on DESC, c.id DESC LIMIT 1
) c ON TRUE
LEFT JOIN used ON used.instrument_id = i.id
LEFT JOIN airflow_jobs_crew w ON w.id = used.a_crew_id
ORDER BY lower(coalesce(nullif(i.label, ''), i.serial)), i.id
"""

# A paired check is of the same holes on the same visit; a section between two adjustments has
# one flow but for what time does to it.
_CELLS: Final = f"""
WITH {_TAKEN},
pairs AS (
    SELECT second.repeats_id AS stratum, one.instrument_id, ln(one.flow_standard_m3_s) AS log_flow
    FROM taken second
    JOIN taken first ON first.id = second.repeats_id AND first.visit_id = second.visit_id
    JOIN taken one ON one.id IN (first.id, second.id)
    WHERE one.flow_standard_m3_s > 0
),
cells AS (
    SELECT 'paired' AS kind, p.stratum::text AS stratum, p.instrument_id,
           avg(p.log_flow) AS log_flow
    FROM pairs p GROUP BY p.stratum, p.instrument_id
    UNION ALL
    SELECT 'system', concat_ws('/', t.duct_section_id, t.call, a.number), t.instrument_id,
           avg(ln(t.flow_standard_m3_s))
    FROM taken t
    CROSS JOIN LATERAL (
        SELECT count(*) AS number FROM airflow_jobs_adjustment a
        WHERE a.equipment_id = t.equipment_id AND a.made_at <= t.taken_at
    ) a
    WHERE t.flow_standard_m3_s > 0
    GROUP BY t.duct_section_id, t.call, a.number, t.instrument_id
)
SELECT kind, stratum, instrument_id, log_flow
FROM (SELECT cells.*, count(*) OVER (PARTITION BY kind, stratum) AS meters FROM cells) counted
WHERE meters > 1
ORDER BY kind, stratum, instrument_id
"""

_RESTS_ON: Final = f"""
WITH {_TAKEN}
SELECT t.*, count(*) OVER () AS total,
       (SELECT c.corrects_from <= (t.taken_at AT TIME ZONE t.time_zone)::date
        FROM airflow_jobs_calibration c
        WHERE c.instrument_id = t.instrument_id AND c.retired_on IS NULL
          AND c.performed_on > (t.taken_at AT TIME ZONE t.time_zone)::date
        ORDER BY c.performed_on, c.created_at DESC, c.id DESC LIMIT 1) AS is_corrected_later
FROM taken t
WHERE t.instrument_id = %(instrument)s
ORDER BY t.taken_at DESC, t.id
LIMIT %(limit)s
"""


_NAMED: Final = """
SELECT t.id, t.taken_at, t.stage, d.equipment_id, e.tag, s.name AS site, s.time_zone
FROM airflow_jobs_traverse t
JOIN airflow_jobs_ductsection d ON d.id = t.duct_section_id
JOIN airflow_jobs_equipment e ON e.id = d.equipment_id
JOIN airflow_jobs_site s ON s.id = e.site_id
WHERE t.id = ANY (%(traverses)s)
"""


def register(filters: Filters, *, today: datetime.date) -> Register:
    """Return all meters with how they read against each other; two statements.

    Parameters
    ----------
    filters
        Narrow the measurements that are compared and counted, not the list of meters.
    today
        The day on which a calibration is due or not.
    """
    values = {**parameters(filters), "today": today}
    conditions = _conditions(filters)
    meters = rows(_REGISTER.format(conditions=conditions), values)
    cells = rows(_CELLS.format(conditions=conditions), values)
    at = {row["id"]: index for index, row in enumerate(meters)}
    paired = _reads([row for row in cells if row["kind"] == "paired"], at)
    same_system = _reads([row for row in cells if row["kind"] == "system"], at)
    standing = [
        _standing(row, paired[index], same_system[index], today) for index, row in enumerate(meters)
    ]
    standing.sort(key=lambda one: (one.reads not in ("high", "low"), one.is_in_calibration))
    return Register(tuple(standing))


def results_named(traverse_ids: Sequence[UUID]) -> dict[UUID, ResultNamed]:
    """Return traverse -> what people call it; one statement."""
    found = rows(_NAMED, {"traverses": list(traverse_ids)})
    return {
        row["id"]: ResultNamed(
            taken_at=row["taken_at"].astimezone(ZoneInfo(row["time_zone"])),
            equipment_id=row["equipment_id"],
            tag=row["tag"],
            site=row["site"],
            stage=row["stage"],
        )
        for row in found
    }


def rests_on(
    filters: Filters, instrument_id: UUID, *, limit: int | None
) -> tuple[tuple[RestsOn, ...], int]:
    """Return the latest results that rest on a meter, and how many there are; one statement."""
    found = rows(
        _RESTS_ON.format(conditions=_conditions(filters)),
        {**parameters(filters), "instrument": instrument_id, "limit": limit},
    )
    results = tuple(
        RestsOn(
            traverse_id=row["id"],
            taken_at=row["taken_at"].astimezone(ZoneInfo(row["time_zone"])),
            equipment_id=row["equipment_id"],
            tag=row["tag"],
            site=row["site"],
            stage=row["stage"],
            verdict=row["verdict"],
            flow_standard_m3_s=row["flow_standard_m3_s"],
            is_in_calibration=row["is_in_calibration"],
            is_corrected_later=bool(row["is_corrected_later"]),
        )
        for row in found
    )
    return results, found[0]["total"] if found else 0


def _conditions(filters: Filters) -> str:
    return " AND ".join((of_systems(filters), of_measurements(filters), in_period(filters)))


def _reads(cells: list[dict[str, Any]], at: dict[UUID, int]) -> list[Reads | None]:
    strata = {
        key: index for index, key in enumerate(dict.fromkeys(row["stratum"] for row in cells))
    }
    values = [row["log_flow"] for row in cells]
    meter = [at[row["instrument_id"]] for row in cells]
    stratum = [strata[row["stratum"]] for row in cells]

    def offsets(level: float) -> Offsets:
        return meter_offsets(values, meter=meter, stratum=stratum, meters=len(at), level=level)

    plain = offsets(1.0 - FALSE_ALARMS)
    compared = int(np.count_nonzero(plain.comparisons >= FEWEST))
    strict = offsets(1.0 - FALSE_ALARMS / max(compared, 1))
    return [
        Reads(
            offset=float(np.expm1(plain.offset[index])),
            low=float(np.expm1(plain.low[index])),
            high=float(np.expm1(plain.high[index])),
            comparisons=int(plain.comparisons[index]),
            is_sure=bool(strict.low[index] > 0.0 or strict.high[index] < 0.0),
        )
        if plain.comparisons[index] >= FEWEST
        else None
        for index in range(len(at))
    ]


def _standing(
    row: dict[str, Any], paired: Reads | None, same_system: Reads | None, today: datetime.date
) -> MeterStanding:
    used = row["last_used_at"]
    due = row["due_on"]
    only = row["crews"] == 1
    return MeterStanding(
        id=row["id"],
        name=row["name"],
        serial=row["serial"],
        retired_on=row["retired_on"],
        calibrated_on=row["performed_on"],
        due_on=due,
        last_used_on=used.date() if used else None,
        is_in_calibration=due is not None and due >= today,
        accuracy_relative=row["accuracy_relative"],
        results=row["results"],
        results_out=row["results_out"],
        crews=row["crews"],
        only_crew_id=row["a_crew_id"] if only else None,
        only_crew=(row["a_crew"] or "") if only else "",
        paired=paired,
        same_system=same_system,
    )
