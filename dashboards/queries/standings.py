"""How systems stand and where they go, worked out from their latest measurements."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from ..values.systems import Measurement, SystemName, Trend
from .measured import MEASURED, rows
from .measurements import COLUMNS, JOINS, measurement_of, standing_measurements
from .series import series_of, usual_call
from .trend import trends

# Enough for a trend, and no more however long the history.
LATEST: Final = 12

# Standings that other code worked out may be others; the text of all that could matter says which
# code it was.
_HERE: Final = Path(__file__).parent
MADE_BY: Final = hashlib.sha256(
    b"".join(
        path.read_bytes()
        for folder in (_HERE, _HERE.parent / "statistics")
        for path in sorted(folder.glob("*.py"))
    )
).hexdigest()

SYSTEM: Final = """
    e.id AS equipment_id, e.tag, e.kind, s.id AS site_id, s.name AS site, s.time_zone
"""

_HISTORIES: Final = f"""
WITH {MEASURED}
SELECT {SYSTEM}, latest.*
FROM airflow_jobs_equipment e
JOIN airflow_jobs_site s ON s.id = e.site_id
LEFT JOIN LATERAL (
    SELECT m.computation_id, {COLUMNS}
    FROM measured m {JOINS}
    WHERE m.equipment_id = e.id AND m.stage <> 'check'
    ORDER BY m.taken_at DESC, m.computation_id DESC
    LIMIT {LATEST}
) latest ON TRUE
WHERE e.id = ANY (%(equipment)s)
ORDER BY e.id, latest.taken_at, latest.traverse_id, latest.flow_set_id
"""


@dataclass(frozen=True, slots=True)
class Stands:
    """One system with what its last visit says of it, and its trend."""

    system: SystemName
    standing: tuple[Measurement, ...]
    trend: Trend | None


def stand(found: Sequence[dict[str, Any]]) -> list[Stands]:
    """Return how systems stand, from rows of their latest measurements in order of time."""
    names: dict[UUID, SystemName] = {}
    histories: dict[UUID, list[Measurement]] = {}
    for row in found:
        key = row["equipment_id"]
        names[key] = name_of(row)
        history = histories.setdefault(key, [])
        if row["taken_at"] is not None:
            history.append(measurement_of(row, ZoneInfo(row["time_zone"])))
    lines = trends(list(histories.values()))
    return [
        Stands(names[key], standing_measurements(tuple(history)), line)
        for (key, history), line in zip(histories.items(), lines, strict=True)
    ]


def name_of(row: dict[str, Any]) -> SystemName:
    """Return the name of the system in a row with the columns `SYSTEM`."""
    return SystemName(row["equipment_id"], row["tag"], row["kind"], row["site_id"], row["site"])


def series_of_trends(equipment_ids: Sequence[UUID]) -> dict[UUID, list[Measurement]]:
    """Return system -> the measurements that its kept trend rests on; one statement."""
    histories: dict[UUID, list[Measurement]] = {}
    for row in rows(_HISTORIES, {"equipment": list(equipment_ids)}):
        if row["taken_at"] is not None:
            one = measurement_of(row, ZoneInfo(row["time_zone"]))
            histories.setdefault(row["equipment_id"], []).append(one)
    return {key: series_of(one, usual_call(one)) for key, one in histories.items()}


def standings_of(equipment_ids: Sequence[UUID]) -> dict[UUID, tuple[list[int], Trend | None]]:
    """Return system -> the computations that say how it stands, and its trend; one statement.

    Systems that are not there are left out.
    """
    found = rows(_HISTORIES, {"equipment": list(equipment_ids)})
    at = {(row["traverse_id"], row["flow_set_id"]): row["computation_id"] for row in found}
    return {
        one.system.id: (
            [at[each.traverse_id, each.flow_set_id] for each in one.standing],
            one.trend,
        )
        for one in stand(found)
    }
