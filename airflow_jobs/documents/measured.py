"""A traverse or a flow-set of a visit, with its result and what is known of its meters."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from uuid import UUID
from zoneinfo import ZoneInfo

from airflow_jobs.found_off import CalibrationFound
from airflow_jobs.models import (
    Calibration,
    Computation,
    FlowReading,
    FlowSet,
    Result,
    State,
    Traverse,
    Verdict,
)

from . import report_words as said
from .values import MeterInDoubt


@dataclass(frozen=True, slots=True)
class Measured:
    """A traverse or a flow-set as something that was measured of a system."""

    row: Traverse | FlowSet
    stage: str
    call: str
    taken_at: datetime.datetime
    parts: tuple[Traverse | FlowReading, ...] = ()
    """What a flow-set adds up."""
    corrected_at: datetime.datetime | None = None
    calibrations: Mapping[UUID, Sequence[Calibration]] = field(default_factory=dict)
    """Instrument -> its calibrations."""
    found: Mapping[UUID, Sequence[CalibrationFound]] = field(default_factory=dict)
    """Instrument -> what each of its calibrations found."""

    @property
    def computation(self) -> Computation | None:
        """Where its result stands."""
        found: Computation | None = getattr(self.row, "computation", None)
        return found

    @property
    def state(self) -> str:
        """Where its result stands, in one word."""
        return self.computation.state if self.computation else State.PENDING.value

    @property
    def result(self) -> Result | None:
        """Its latest result, unless it can't be computed any more."""
        if self.computation is None or self.state == State.FAILED:
            return None
        return self.computation.result

    def in_doubt(self, zone: ZoneInfo) -> tuple[MeterInDoubt, ...]:
        """Return the meters that were found off after this day; it is not corrected."""
        found: dict[MeterInDoubt, None] = {}
        for one in (self.row, *self.parts):
            if not isinstance(one, Traverse):
                continue
            day = one.taken_at.astimezone(zone).date()
            for calibration in self.found.get(one.instrument_id, ()):
                if calibration.leaves_in_doubt(day):
                    meter = calibration.meter
                    text = said.in_doubt(calibration)
                    found[MeterInDoubt(one.instrument_id, meter, text)] = None
        return tuple(found)

    @property
    def is_judged(self) -> bool:
        """Whether it was held against a target, or still may be."""
        if self.result is None:
            return self.state == State.PENDING
        return self.result.verdict != Verdict.NOT_JUDGED
