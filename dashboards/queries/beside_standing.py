"""What the next step of a system rests on: the advice of its result, and what was changed since."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final
from uuid import UUID

from airflow_jobs.models import AdjustmentKind

from ..values.meters import MeterAstray, MeterInDoubt
from ..values.next_steps import BesideStanding, ChangedSince
from ..values.systems import Measurement, NeedsALook, OtherwiseJudged
from .measured import rows
from .meters_astray import judged_otherwise
from .meters_in_doubt import meters_in_doubt
from .standings import series_of_trends

_KINDS: Final = {str(kind): label for kind, label in AdjustmentKind.choices}

_BESIDE: Final = """
SELECT m.equipment_id, r.values -> 'blower_advice' AS advice,
       r.values ->> 'why_no_blower_advice' AS why_no_advice,
       jsonb_path_query_first(
           r.values, '$.findings[*] ? (@.severity == "serious")') ->> 'message' AS doubt,
       a.kind, a.from_value, a.to_value, (a.made_at AT TIME ZONE s.time_zone)::date AS made_on
FROM airflow_jobs_computation c
JOIN airflow_jobs_measurement m ON m.computation_id = c.id
JOIN airflow_jobs_equipment e ON e.id = m.equipment_id
JOIN airflow_jobs_site s ON s.id = e.site_id
LEFT JOIN airflow_jobs_result r ON r.id = m.result_id
LEFT JOIN LATERAL (
    SELECT a.kind, a.from_value, a.to_value, a.made_at FROM airflow_jobs_adjustment a
    WHERE a.equipment_id = m.equipment_id AND a.made_at > m.taken_at
    ORDER BY a.made_at DESC, a.id DESC LIMIT 1
) a ON TRUE
WHERE c.traverse_id = ANY (%(traverses)s) OR c.flow_set_id = ANY (%(flow_sets)s)
"""


def beside_standings(
    needing: Sequence[NeedsALook],
    *,
    today: datetime.date,
    astray: Mapping[UUID, MeterAstray] | None = None,
) -> dict[UUID, BesideStanding]:
    """Return system -> what its next step rests on; seven statements at most.

    Parameters
    ----------
    needing
        The systems that are shown; the measurement of each one's first reason counts.
    today
        The day from which the usual period of the page of instruments counts back.
    astray
        The meters that read high or low in it, where they are worked out already.
    """
    measured = [one.reasons[0].measurement for one in needing]
    found = rows(
        _BESIDE,
        {
            "traverses": [one.traverse_id for one in measured if one and one.traverse_id],
            "flow_sets": [one.flow_set_id for one in measured if one and one.flow_set_id],
        },
    )
    in_trends = _in_trends(needing)
    in_doubt, otherwise = _in_doubt(needing), _otherwise(needing, today, astray)
    beside = {
        row["equipment_id"]: BesideStanding(
            # Raw statements get JSON as text.
            advice=json.loads(row["advice"] or "null"),
            why_no_advice=row["why_no_advice"] or "",
            doubt=row["doubt"] or "",
            meter_in_doubt=in_doubt.get(row["equipment_id"]),
            otherwise=otherwise.get(row["equipment_id"]),
            changed=None
            if row["kind"] is None
            else ChangedSince(
                on=row["made_on"],
                kind=_KINDS.get(row["kind"], row["kind"]),
                from_value=row["from_value"],
                to_value=row["to_value"],
            ),
        )
        for row in found
    }
    for key, (meters, rests_on) in in_trends.items():
        # Where a trend is the first reason, no measurement is.
        known = beside.get(key, BesideStanding(None, "", "", None))
        beside[key] = replace(known, trend_in_doubt=meters, trend_rests_on=rests_on)
    return beside


def _in_trends(
    needing: Sequence[NeedsALook],
) -> dict[UUID, tuple[tuple[MeterInDoubt, ...], int]]:
    """Return system -> the meters in doubt that its trend rests on, of how many measurements."""
    drifting = [
        one.system.id for one in needing if any(reason.code == "drifting" for reason in one.reasons)
    ]
    if not drifting:
        return {}
    series = series_of_trends(drifting)
    found = iter(meters_in_doubt([one for each in series.values() for one in each]))
    meters = {key: [next(found) for _ in each] for key, each in series.items()}
    return {
        key: (tuple(one for one in each if one is not None), len(each))
        for key, each in meters.items()
        if any(each)
    }


def _in_doubt(needing: Sequence[NeedsALook]) -> dict[UUID, MeterInDoubt]:
    """Return system -> the meter that was found off after it measured there, if it was."""
    measured = _judged_by(needing)
    found = meters_in_doubt(list(measured.values()))
    return {key: meter for key, meter in zip(measured, found, strict=True) if meter is not None}


def _otherwise(
    needing: Sequence[NeedsALook],
    today: datetime.date,
    astray: Mapping[UUID, MeterAstray] | None,
) -> dict[UUID, OtherwiseJudged]:
    """Return system -> what it would be without its meter's offset, where that decides."""
    measured = _judged_by(needing)
    found = judged_otherwise(list(measured.values()), today=today, astray=astray)
    return {key: one for key, one in zip(measured, found, strict=True) if one is not None}


def _judged_by(needing: Sequence[NeedsALook]) -> dict[UUID, Measurement]:
    """Return system -> the measurement of its first reason."""
    return {
        one.system.id: one.reasons[0].measurement
        for one in needing
        if one.reasons[0].measurement is not None
    }
