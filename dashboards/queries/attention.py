"""Which systems need a look now, and why; which meters are overdue."""

from __future__ import annotations

import datetime
import math
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from airflow_jobs.models import State, Verdict

from ..values.filters import Filters
from ..values.systems import (
    Attention,
    InstrumentDue,
    Measurement,
    NeedsALook,
    Reason,
    SystemName,
    Trend,
)
from .measured import MEASURED, of_measurements, of_systems, parameters, rows
from .measurements import COLUMNS, JOINS, measurement_of, standing_measurements
from .trend import trends

# Enough for a trend, and no more however long the history.
LATEST: Final = 12

# What a reason weighs: a system surely out of range first, then what can't be known, then what
# is coming. The weight of the first three grows with how far, how surely, how soon.
OUTSIDE_WEIGHT: Final = 3.0
UNDECIDED_WEIGHT: Final = 1.5
DRIFTING_WEIGHT: Final = 2.0
FAILED_WEIGHT: Final = 1.5
NOT_JUDGED_WEIGHT: Final = 0.6
CALIBRATION_WEIGHT: Final = 0.5
PENDING_WEIGHT: Final = 0.2
SOON_YEARS: Final = 2.0
# Four measurements in a row: three fall in a row once in six times by chance alone.
FEWEST_PAIRS: Final = 6

_SYSTEMS: Final = f"""
WITH {MEASURED}
SELECT e.id AS equipment_id, e.tag, e.kind, s.id AS site_id, s.name AS site, s.time_zone,
       latest.*
FROM airflow_jobs_equipment e
JOIN airflow_jobs_site s ON s.id = e.site_id
LEFT JOIN LATERAL (
    SELECT {COLUMNS}
    FROM measured m {JOINS}
    WHERE m.equipment_id = e.id AND m.stage <> 'check' AND {{measurements}}
    ORDER BY m.taken_at DESC, m.computation_id DESC
    LIMIT {LATEST}
) latest ON TRUE
WHERE e.retired_on IS NULL AND s.retired_on IS NULL AND {{systems}}
ORDER BY e.id, latest.taken_at, latest.traverse_id, latest.flow_set_id
"""

_CALIBRATIONS: Final = """
SELECT i.id, coalesce(nullif(i.label, ''), i.serial) AS name, i.serial,
       array_agg(c.performed_on ORDER BY c.performed_on, c.id)
           FILTER (WHERE c.id IS NOT NULL) AS performed_on,
       array_agg(c.due_on ORDER BY c.performed_on, c.id)
           FILTER (WHERE c.id IS NOT NULL) AS due_on,
       (SELECT max(t.taken_at) FROM airflow_jobs_traverse t WHERE t.instrument_id = i.id)
           AS last_used_at,
       i.retired_on
FROM airflow_jobs_instrument i
LEFT JOIN airflow_jobs_calibration c ON c.instrument_id = i.id AND c.retired_on IS NULL
GROUP BY i.id
ORDER BY lower(i.serial), i.id
"""


def attention(filters: Filters, *, today: datetime.date) -> Attention:
    """Return what needs a look now, whatever the period; two statements.

    Parameters
    ----------
    filters
        Customer, site and kind narrow the systems, crew and air path the measurements.
    today
        The day on which calibrations are due or not, and from which drifts are foreseen.
    """
    meters = rows(_CALIBRATIONS, {})
    spans = {row["id"]: _spans(row) for row in meters}
    found = rows(
        _SYSTEMS.format(systems=of_systems(filters), measurements=of_measurements(filters)),
        parameters(filters),
    )
    names: dict[UUID, SystemName] = {}
    histories: dict[UUID, list[Measurement]] = {}
    for row in found:
        key = row["equipment_id"]
        names[key] = SystemName(key, row["tag"], row["kind"], row["site_id"], row["site"])
        history = histories.setdefault(key, [])
        if row["taken_at"] is not None:
            history.append(measurement_of(row, ZoneInfo(row["time_zone"])))
    lines = trends(list(histories.values()))
    needing = [
        _needs(names[key], history, trend, spans, today)
        for (key, history), trend in zip(histories.items(), lines, strict=True)
    ]
    return Attention(
        systems=tuple(
            sorted(
                (one for one in needing if one.reasons),
                key=lambda one: (-one.weight, one.system.site, one.system.tag, one.system.id),
            )
        ),
        looked_at=len(histories),
        never_measured=sum(not history for history in histories.values()),
        instruments_overdue=_overdue(meters, today),
    )


def _needs(
    system: SystemName,
    history: list[Measurement],
    trend: Trend | None,
    spans: dict[UUID, list[tuple[datetime.date, datetime.date]]],
    today: datetime.date,
) -> NeedsALook:
    standing = standing_measurements(tuple(history))
    reasons = [reason for one in standing for reason in _reasons(one, spans)]
    drifting = _drifting(trend, today)
    is_outside = any(reason.code in ("low", "high") for reason in reasons)
    if drifting is not None and not is_outside:
        reasons.append(drifting)
    reasons.sort(key=lambda reason: -reason.weight)
    worst = reasons[0].measurement if reasons else None
    return NeedsALook(system, tuple(reasons), worst or (standing[0] if standing else None))


def _reasons(
    one: Measurement, spans: dict[UUID, list[tuple[datetime.date, datetime.date]]]
) -> list[Reason]:
    reasons = []
    if one.state == State.FAILED:
        reasons.append(Reason("failed", FAILED_WEIGHT, one))
    elif one.state == State.PENDING:
        reasons.append(Reason("pending", PENDING_WEIGHT, one))
    if one.judged is not None:
        outside = 1.0 - one.judged.probability_in_range
        if one.verdict in (Verdict.LOW, Verdict.HIGH):
            far = 1.0 + min(one.judged.widths_outside, 2.0)
            reasons.append(Reason(one.verdict, OUTSIDE_WEIGHT * outside * far, one))
        elif one.verdict == Verdict.UNDECIDED:
            reasons.append(Reason("undecided", UNDECIDED_WEIGHT * outside, one))
    elif one.verdict == Verdict.NOT_JUDGED:
        reasons.append(Reason("not_judged", NOT_JUDGED_WEIGHT, one))
    if one.instrument_id is not None and not _in_calibration(
        spans.get(one.instrument_id, []), one.taken_at.date()
    ):
        reasons.append(Reason("calibration", CALIBRATION_WEIGHT, one))
    return reasons


def _drifting(trend: Trend | None, today: datetime.date) -> Reason | None:
    if trend is None or not trend.is_certain or trend.leaves_on is None:
        return None
    if trend.pairs < FEWEST_PAIRS:
        return None
    years = (trend.leaves_on - today).days / 365.25
    if years > SOON_YEARS:
        return None
    return Reason("drifting", DRIFTING_WEIGHT * math.exp(-max(years, 0.0)), trend=trend)


def _spans(row: dict[str, Any]) -> list[tuple[datetime.date, datetime.date]]:
    return list(zip(row["performed_on"] or (), row["due_on"] or (), strict=True))


def _in_calibration(spans: list[tuple[datetime.date, datetime.date]], day: datetime.date) -> bool:
    return any(performed <= day <= due for performed, due in spans)


def _overdue(meters: list[dict[str, Any]], today: datetime.date) -> tuple[InstrumentDue, ...]:
    found = []
    for row in meters:
        if row["retired_on"] is not None and row["retired_on"] <= today:
            continue
        spans = _spans(row)
        if not _in_calibration(spans, today):
            used = row["last_used_at"]
            found.append(
                InstrumentDue(
                    id=row["id"],
                    name=row["name"],
                    serial=row["serial"],
                    due_on=max((due for _, due in spans), default=None),
                    last_used_on=used.date() if used else None,
                )
            )
    return tuple(sorted(found, key=lambda one: (one.due_on or datetime.date.min, one.serial)))
