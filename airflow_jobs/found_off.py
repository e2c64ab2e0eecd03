"""Calibrations against those before them: what each found, how many results lie in between."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from django.db import connection

from .calc.meter_changes import allowed_error, relative_change

USUAL_M_S: Final = 4.0
"""Some 800 ft/min, where nothing was read in between. Common practice."""
SLOWEST_M_S: Final = 0.5
"""Readings slower than this are not looked for when a calibration changed next to nothing."""

# What lies in between is counted only where it may matter: where the change could be more than
# the accuracy allows at the slowest of readings, or where the calibration corrects.
_CALIBRATIONS: Final = """
SELECT c.*, coalesce(nullif(i.label, ''), i.serial) AS meter, i.serial,
       coalesce(c.found_gain, c.gain) AS came_gain,
       coalesce(c.found_offset_m_s, c.offset_m_s) AS came_offset_m_s,
       i.accuracy_relative AS meter_relative, i.accuracy_absolute_m_s AS meter_absolute,
       before.performed_on AS before_on, before.gain AS before_gain,
       before.offset_m_s AS before_offset_m_s,
       lay.number, lay.usual_m_s, lay.first_on, lay.corrected, lay.pending
FROM airflow_jobs_calibration c
JOIN airflow_jobs_instrument i ON i.id = c.instrument_id
LEFT JOIN LATERAL (
    SELECT b.performed_on, b.gain, b.offset_m_s FROM airflow_jobs_calibration b
    WHERE b.instrument_id = c.instrument_id AND b.performed_on < c.performed_on
      AND b.retired_on IS NULL
    ORDER BY b.performed_on DESC, b.created_at DESC, b.id DESC LIMIT 1
) before ON TRUE
LEFT JOIN LATERAL (
    SELECT count(*) AS number,
           percentile_cont(0.5) WITHIN GROUP (ORDER BY abs(t.mean_reading_m_s)) AS usual_m_s,
           min(t.taken_on) AS first_on,
           count(*) FILTER (WHERE t.taken_on >= c.corrects_from) AS corrected,
           count(*) FILTER (WHERE t.taken_on >= c.corrects_from AND p.state = 'pending') AS pending
    FROM (
        SELECT t.id, t.mean_reading_m_s, (t.taken_at AT TIME ZONE s.time_zone)::date AS taken_on
        FROM airflow_jobs_traverse t
        JOIN airflow_jobs_ductsection d ON d.id = t.duct_section_id
        JOIN airflow_jobs_equipment e ON e.id = d.equipment_id
        JOIN airflow_jobs_site s ON s.id = e.site_id
        WHERE t.instrument_id = c.instrument_id
          AND t.taken_at < c.performed_on + interval '2 days'
          AND t.taken_at >= coalesce(before.performed_on, '2000-01-01'::date) - interval '1 day'
    ) t
    JOIN airflow_jobs_computation p ON p.traverse_id = t.id
    WHERE t.taken_on < c.performed_on
      AND t.taken_on >= coalesce(before.performed_on, '2000-01-01'::date)
      AND (c.corrects_from IS NOT NULL
           OR abs(coalesce(c.found_gain, c.gain) - coalesce(before.gain, 1))
            + abs(coalesce(c.found_offset_m_s, c.offset_m_s) - coalesce(before.offset_m_s, 0))
              / %(slowest)s > 0.5 * coalesce(i.accuracy_relative, 0.05))
) lay ON TRUE
WHERE {which}
ORDER BY lower(coalesce(nullif(i.label, ''), i.serial)), i.id, c.performed_on DESC, c.id
"""


@dataclass(frozen=True, slots=True)
class CalibrationFound:
    """One calibration against the one before."""

    id: UUID
    revision: int
    instrument_id: UUID
    meter: str
    serial: str
    performed_on: datetime.date
    due_on: datetime.date
    retired_on: datetime.date | None
    gain: float
    offset_m_s: float
    is_adjusted: bool
    """Whether the laboratory adjusted the meter, so that it left otherwise than it came."""
    found_gain: float
    found_offset_m_s: float
    accuracy_relative: float | None
    accuracy_absolute_m_s: float | None
    """Of the calibration, else of the instrument."""
    certificate: str
    before_on: datetime.date | None
    """The day of the calibration before."""
    before_gain: float
    before_offset_m_s: float
    change: float | None
    """By how much a usual reading changes with what was found, relative."""
    allowed: float
    """What the instrument's stated accuracy allows, relative."""
    at_m_s: float
    """The velocity that the two are for: a usual reading in between."""
    between: int
    """Results in between, where it was found off or corrects them."""
    first_used_on: datetime.date | None
    """The first day in between on which it was used."""
    corrects_from: datetime.date | None
    corrects_wholly: bool
    corrects_because: str
    corrected: int
    """Readings that the correction is about."""
    corrected_pending: int
    """Of these, those still to be computed."""

    @property
    def counts(self) -> bool:
        """Whether it is not retired: a retired one says nothing of earlier days."""
        return self.retired_on is None

    @property
    def is_off(self) -> bool:
        """Whether it found the meter off by more than its accuracy allows."""
        return self.counts and self.change is not None and abs(self.change) > self.allowed

    @property
    def corrects(self) -> bool:
        """Whether it corrects earlier readings."""
        return self.counts and self.corrects_from is not None

    @property
    def is_open(self) -> bool:
        """Whether results rest on what it found off, and nobody has corrected them."""
        return self.is_off and self.between > 0 and not self.corrects

    def leaves_in_doubt(self, day: datetime.date) -> bool:
        """Whether it found the meter off after a reading of that day, which is not corrected."""
        is_between = self.before_on is None or self.before_on <= day
        corrects = self.corrects_from is not None and self.corrects_from <= day
        return self.is_off and is_between and day < self.performed_on and not corrects

    @property
    def since(self) -> datetime.date | None:
        """The earliest day since which the meter may have been off."""
        return self.before_on or self.first_used_on


def calibrations(*instrument_ids: UUID) -> tuple[CalibrationFound, ...]:
    """Return calibrations by meter, the latest first; one statement.

    Parameters
    ----------
    instrument_ids
        Only of these meters; without any, of all.
    """
    return _calibrations(
        "c.instrument_id = ANY (%(instruments)s)" if instrument_ids else "TRUE", instrument_ids
    )


def not_corrected() -> tuple[CalibrationFound, ...]:
    """Return the calibrations that found a meter off and correct nothing; one statement.

    Those with the most results in between come first.
    """
    found = _calibrations("c.retired_on IS NULL AND c.corrects_from IS NULL")
    return tuple(
        sorted(
            (one for one in found if one.is_open),
            key=lambda one: (-one.between, one.meter.casefold(), one.performed_on, str(one.id)),
        )
    )


def _calibrations(which: str, instrument_ids: Sequence[UUID] = ()) -> tuple[CalibrationFound, ...]:
    with connection.cursor() as cursor:
        cursor.execute(
            _CALIBRATIONS.format(which=which),
            {"instruments": list(instrument_ids), "slowest": SLOWEST_M_S},
        )
        names = [column.name for column in cursor.description or ()]
        return tuple(_found(dict(zip(names, row, strict=True))) for row in cursor.fetchall())


def _found(row: dict[str, Any]) -> CalibrationFound:
    usual = row["usual_m_s"] or USUAL_M_S
    gain = 1.0 if row["before_gain"] is None else row["before_gain"]
    offset = row["before_offset_m_s"] or 0.0
    change = float(
        relative_change(
            gain_before=gain,
            offset_before_m_s=offset,
            gain_found=row["came_gain"],
            offset_found_m_s=row["came_offset_m_s"],
            indicated_m_s=usual,
        )
    )
    allowed = allowed_error(
        accuracy_relative=_known(row["meter_relative"]),
        accuracy_absolute_m_s=_known(row["meter_absolute"]),
        velocity_m_s=usual,
    )
    own = row["accuracy_relative"] is not None or row["accuracy_absolute_m_s"] is not None
    return CalibrationFound(
        id=row["id"],
        revision=row["revision"],
        instrument_id=row["instrument_id"],
        meter=row["meter"],
        serial=row["serial"],
        performed_on=row["performed_on"],
        due_on=row["due_on"],
        retired_on=row["retired_on"],
        gain=row["gain"],
        offset_m_s=row["offset_m_s"],
        is_adjusted=row["found_gain"] is not None,
        found_gain=row["came_gain"],
        found_offset_m_s=row["came_offset_m_s"],
        accuracy_relative=row["accuracy_relative"] if own else row["meter_relative"],
        accuracy_absolute_m_s=row["accuracy_absolute_m_s"] if own else row["meter_absolute"],
        certificate=row["certificate"],
        before_on=row["before_on"],
        before_gain=gain,
        before_offset_m_s=offset,
        change=change if math.isfinite(change) else None,
        allowed=float(allowed),
        at_m_s=usual,
        between=row["number"] or 0,
        first_used_on=row["first_on"],
        corrects_from=row["corrects_from"],
        corrects_wholly=row["corrects_wholly"],
        corrects_because=row["corrects_because"],
        corrected=row["corrected"] or 0,
        corrected_pending=row["pending"] or 0,
    )


def _known(value: float | None) -> float:
    return math.nan if value is None else value
