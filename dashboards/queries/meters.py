"""Meters held against each other, their calibrations, and the results that rest on each."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np

from airflow_jobs.models import Verdict

from ..statistics.meters import polished_meters
from ..values.filters import Filters
from ..values.meters import (
    MeterAstray,
    MeterStanding,
    Reads,
    Register,
    RestsOn,
    ResultNamed,
    allowed_of,
    reads_of,
)
from .measured import LAST_USED_ON, in_period, of_measurements, of_systems, parameters, rows
from .measurements import flow_half_width

# Below so many comparisons even the widest order statistics hold the median too seldom once all
# meters are compared.
FEWEST: Final = 10
FALSE_ALARMS: Final = 0.05

_TAKEN: Final = """
spans AS (
    SELECT c.instrument_id, range_agg(daterange(c.performed_on, c.due_on, '[]')) AS days
    FROM airflow_jobs_calibration c WHERE c.retired_on IS NULL GROUP BY c.instrument_id
),
taken AS NOT MATERIALIZED (
    SELECT m.*, m.traverse_id AS id,
           coalesce(spans.days @> m.taken_on, FALSE) AS is_in_calibration
    FROM airflow_jobs_measurement m
    LEFT JOIN spans ON spans.instrument_id = m.instrument_id
    WHERE m.traverse_id IS NOT NULL AND m.result_id IS NOT NULL AND {conditions}
)
"""

# Of meter `i`, on the day.
_LATEST_CALIBRATION: Final = """
LEFT JOIN LATERAL (
    SELECT c.performed_on, c.due_on, c.accuracy_relative
    FROM airflow_jobs_calibration c
    WHERE c.instrument_id = i.id AND c.retired_on IS NULL AND c.performed_on <= %(today)s
    ORDER BY c.performed_on DESC, c.id DESC LIMIT 1
) c ON TRUE
"""

_REGISTER: Final = f"""
WITH {_TAKEN},
used AS (
    SELECT by_crew.instrument_id, sum(by_crew.results)::bigint AS results,
           sum(by_crew.results_out)::bigint AS results_out, count(*) AS crews,
           (array_agg(by_crew.crew_id))[1] AS a_crew_id
    FROM (
        SELECT t.instrument_id, t.crew_id, count(*) AS results,
               count(*) FILTER (WHERE NOT t.is_in_calibration) AS results_out
        FROM taken t GROUP BY t.instrument_id, t.crew_id
    ) by_crew
    GROUP BY by_crew.instrument_id
)
SELECT i.id, coalesce(nullif(i.label, ''), i.serial) AS name, i.serial, i.retired_on,
       coalesce(c.accuracy_relative, i.accuracy_relative) AS accuracy_relative,
       c.performed_on, c.due_on,
       {LAST_USED_ON} AS last_used_on,
       coalesce(used.results, 0) AS results, coalesce(used.results_out, 0) AS results_out,
       coalesce(used.crews, 0) AS crews, used.a_crew_id, w.name AS a_crew
FROM airflow_jobs_instrument i
{_LATEST_CALIBRATION}
LEFT JOIN used ON used.instrument_id = i.id
LEFT JOIN airflow_jobs_crew w ON w.id = used.a_crew_id
ORDER BY lower(coalesce(nullif(i.label, ''), i.serial)), i.id
"""

# A paired check is of the same holes on the same visit; a section between two adjustments has
# one flow but for what time does to it. Flows and meters are numbered, so that they come as
# arrays, however many there are.
_CELLS: Final = f"""
WITH {_TAKEN},
meters AS (
    SELECT i.id, row_number() OVER (ORDER BY i.id) - 1 AS number,
           coalesce(nullif(i.label, ''), i.serial) AS name,
           coalesce(c.accuracy_relative, i.accuracy_relative) AS accuracy_relative
    FROM airflow_jobs_instrument i
    {_LATEST_CALIBRATION}
),
pairs AS MATERIALIZED (
    SELECT first.id AS flow, first.visit_id = second.visit_id AS is_of_one_visit,
           first.instrument_id AS first_meter, first.flow_standard_m3_s AS first_flow,
           second.instrument_id AS second_meter, second.flow_standard_m3_s AS second_flow
    FROM taken second JOIN taken first ON first.id = second.repeats_id
),
cells AS (
    SELECT 'paired' AS kind, pairs.flow, '' AS call, 0 AS adjustments, one.meter AS instrument_id,
           avg(ln(one.flow)) AS log_flow
    FROM pairs
    CROSS JOIN LATERAL (VALUES (first_meter, first_flow), (second_meter, second_flow))
        AS one (meter, flow)
    WHERE pairs.is_of_one_visit AND one.flow > 0
    GROUP BY pairs.flow, one.meter
    UNION ALL
    SELECT 'system', t.duct_section_id, t.call, t.adjustments_before, t.instrument_id,
           avg(ln(t.flow_standard_m3_s))
    FROM taken t
    WHERE t.flow_standard_m3_s > 0
    GROUP BY t.duct_section_id, t.call, t.adjustments_before, t.instrument_id
),
counted AS (
    SELECT kind, log_flow, meters.number AS meter,
           dense_rank() OVER (ORDER BY kind, flow, call, adjustments) AS stratum,
           count(*) OVER (PARTITION BY kind, flow, call, adjustments) AS compared
    FROM cells JOIN meters ON meters.id = cells.instrument_id
)
SELECT kind, array_agg(stratum) AS stratum, array_agg(meter) AS meter,
       array_agg(log_flow) AS log_flow,
       (SELECT array_agg(meters.id ORDER BY meters.number) FROM meters) AS meters,
       (SELECT array_agg(meters.name ORDER BY meters.number) FROM meters) AS names,
       (SELECT array_agg(meters.accuracy_relative ORDER BY meters.number) FROM meters)
           AS accuracies
FROM (SELECT * FROM counted WHERE compared > 1 ORDER BY kind, stratum, meter) several
GROUP BY kind
ORDER BY kind
"""

_RESULTS: Final = f"""
WITH {_TAKEN}
SELECT t.instrument_id, count(*) AS results FROM taken t
WHERE t.instrument_id = ANY (%(instruments)s) GROUP BY t.instrument_id
ORDER BY t.instrument_id
"""

_RESTS_ON: Final = f"""
WITH {_TAKEN}
SELECT t.*, count(*) OVER () AS total, e.tag, s.name AS site, s.time_zone, r.flow_relative_u,
       (SELECT c.corrects_from <= t.taken_on
        FROM airflow_jobs_calibration c
        WHERE c.instrument_id = t.instrument_id AND c.retired_on IS NULL
          AND c.performed_on > t.taken_on
        ORDER BY c.performed_on, c.created_at DESC, c.id DESC LIMIT 1) AS is_corrected_later
FROM taken t
JOIN airflow_jobs_result r ON r.id = t.result_id
JOIN airflow_jobs_equipment e ON e.id = t.equipment_id
JOIN airflow_jobs_site s ON s.id = e.site_id
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
    meters = rows(_REGISTER.format(conditions=_conditions(filters)), values)
    cells = _cells(filters, today)
    listed = [row["id"] for row in meters]
    paired = _reads(cells.get("paired"), listed)
    same_system = _reads(cells.get("system"), listed)
    standing = [
        _standing(row, paired[index], same_system[index], today) for index, row in enumerate(meters)
    ]
    standing.sort(key=lambda one: (one.reads not in ("high", "low"), one.is_in_calibration))
    return Register(tuple(standing))


def meters_astray(filters: Filters, *, today: datetime.date) -> dict[UUID, MeterAstray]:
    """Return the meters that read high or low, as the register has them; one statement.

    Parameters
    ----------
    filters
        Narrow the measurements that are compared.
    today
        The day on which a calibration holds.
    """
    cells = _cells(filters, today)
    if not cells:
        return {}
    known = next(iter(cells.values()))
    compared = zip(
        _reads(cells.get("paired"), known["meters"]),
        _reads(cells.get("system"), known["meters"]),
        strict=True,
    )
    meters = zip(known["meters"], known["names"], known["accuracies"], compared, strict=True)
    found = {}
    for key, name, accuracy, (paired, same_system) in meters:
        held = paired or same_system
        reads = reads_of(held, allowed_of(accuracy)) if held else ""
        if held is not None and reads in ("high", "low"):
            found[key] = MeterAstray(key, name, reads, held)
    return found


def with_results(filters: Filters, astray: Iterable[MeterAstray]) -> tuple[MeterAstray, ...]:
    """Return meters with how many results rest on each, the most first; one statement if any."""
    meters = {one.id: one for one in astray}
    if not meters:
        return ()
    found = rows(
        _RESULTS.format(conditions=_conditions(filters)),
        {**parameters(filters), "instruments": list(meters)},
    )
    results = {row["instrument_id"]: row["results"] for row in found}
    return tuple(
        sorted(
            (replace(one, results=results.get(key, 0)) for key, one in meters.items()),
            key=lambda one: (-one.results, one.name.casefold(), str(one.id)),
        )
    )


def _cells(filters: Filters, today: datetime.date) -> dict[str, dict[str, Any]]:
    """Return what several meters measured, by paired checks and on the same systems."""
    found = rows(
        _CELLS.format(conditions=_conditions(filters)), {**parameters(filters), "today": today}
    )
    return {row["kind"]: row for row in found}


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
    return tuple(map(_result, found)), found[0]["total"] if found else 0


def _result(row: dict[str, Any]) -> RestsOn:
    flow = row["flow_standard_m3_s"]
    ends = row["judged_value"], row["judged_low"], row["judged_high"]
    is_judged = row["verdict"] != Verdict.NOT_JUDGED and None not in ends
    half = flow_half_width(
        flow, judged=ends if is_judged else None, relative_u=row["flow_relative_u"]
    )
    return RestsOn(
        traverse_id=row["id"],
        taken_at=row["taken_at"].astimezone(ZoneInfo(row["time_zone"])),
        equipment_id=row["equipment_id"],
        tag=row["tag"],
        site=row["site"],
        stage=row["stage"],
        verdict=row["verdict"],
        flow_standard_m3_s=flow,
        flow_standard_low_m3_s=None if half is None else flow - half,
        flow_standard_high_m3_s=None if half is None else flow + half,
        is_in_calibration=row["is_in_calibration"],
        is_corrected_later=bool(row["is_corrected_later"]),
    )


def _conditions(filters: Filters) -> str:
    systems = of_systems(filters)
    if systems != "TRUE":
        systems = (
            "m.equipment_id IN (SELECT e.id FROM airflow_jobs_equipment e "
            f"JOIN airflow_jobs_site s ON s.id = e.site_id WHERE {systems})"
        )
    return " AND ".join((systems, of_measurements(filters), in_period(filters)))


def _reads(cells: dict[str, Any] | None, listed: list[UUID]) -> list[Reads | None]:
    """Return how each of the listed meters reads, by what several meters measured."""
    if cells is None:
        return [None] * len(listed)
    at = {key: index for index, key in enumerate(listed)}
    # A meter that came between the two statements is in none of the comparisons yet.
    place = np.array([at.get(key, -1) for key in cells["meters"]])
    meter = place[np.array(cells["meter"])]
    known = meter >= 0
    values = np.array(cells["log_flow"])[known]
    stratum = np.array(cells["stratum"])[known]

    polished = polished_meters(values, meter=meter[known], stratum=stratum, meters=len(listed))
    plain = polished.at(1.0 - FALSE_ALARMS)
    compared = int(np.count_nonzero(plain.comparisons >= FEWEST))
    strict = polished.at(1.0 - FALSE_ALARMS / max(compared, 1))
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
        for index in range(len(listed))
    ]


def _standing(
    row: dict[str, Any], paired: Reads | None, same_system: Reads | None, today: datetime.date
) -> MeterStanding:
    due = row["due_on"]
    only = row["crews"] == 1
    return MeterStanding(
        id=row["id"],
        name=row["name"],
        serial=row["serial"],
        retired_on=row["retired_on"],
        calibrated_on=row["performed_on"],
        due_on=due,
        last_used_on=row["last_used_on"],
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
