"""Systems: where each stands, which need a look, and one system's history."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from airflow_jobs.calc.conformity import DECIDING_PROBABILITY

from .meters import MeterAstray, MeterInDoubt

# Two meters of 4 % each (common practice, from memory) differ by no more nineteen times in twenty.
METERS_DIFFER_BY: Final = 0.11


@dataclass(frozen=True, slots=True)
class Judged:
    """A value held against its target, in SI: flow per capacity, or flow by design flow."""

    value: float
    low: float
    high: float
    """95 % interval."""
    target_low: float
    target_nominal: float
    target_high: float
    verdict: str
    leaning: str
    probability_in_range: float
    probability_most: float
    """Of the likeliest of low, in range and high."""
    by_design_flow: bool

    @property
    def hangs_on_basis(self) -> bool:
        """Whether one side is sure, but for what the target's flow is: standard or actual."""
        return self.verdict == "undecided" and self.probability_most >= DECIDING_PROBABILITY

    @property
    def widths_outside(self) -> float:
        """How far beyond its limit the value lies, in widths of the range; 0 inside."""
        beyond = max(self.target_low - self.value, self.value - self.target_high, 0.0)
        return beyond / (self.target_high - self.target_low)


@dataclass(frozen=True, slots=True)
class Measurement:
    """One traverse or flow-set of a system."""

    traverse_id: UUID | None
    flow_set_id: UUID | None
    visit_id: UUID
    taken_at: datetime.datetime
    """In the site's time zone."""
    stage: str
    call: str
    state: str
    failure: str
    verdict: str
    judged: Judged | None
    flow_standard: float | None
    flow_standard_low: float | None
    flow_standard_high: float | None
    indicative: bool
    instrument_id: UUID | None
    instrument: str
    crew_id: UUID | None
    crew: str
    adjustments_before: int
    """How many adjustments the system had seen by then."""
    air_paths: tuple[str, ...] = ()
    is_doubtful: bool = False
    """Whether something serious has to be cleared up before anybody acts on it. This and the
    next are only known where a system's standing is read."""
    is_changed_since: bool = False
    """Whether the system was adjusted after it."""
    in_doubt: MeterInDoubt | None = None
    """Its meter, where a later calibration found it off and it is not corrected. Only known where
    a system's history is read."""


@dataclass(frozen=True, slots=True)
class OtherwiseJudged:
    """What a measurement would be, without what its meter reads high or low by; in SI."""

    meter: MeterAstray
    value: float
    low: float
    high: float
    by_design_flow: bool
    verdict: str
    leaning: str
    probability_most: float


@dataclass(frozen=True, slots=True)
class Trend:
    """Where a system's flow is going, between adjustments; relative, per year."""

    per_year: float
    per_year_low: float
    per_year_high: float
    pairs: int
    since: datetime.datetime
    """When the last stretch without adjustments began to be measured."""
    centre_at: datetime.datetime
    centre_value: float
    """In the unit of the judged values."""
    leaves_on: datetime.date | None
    leaves_earliest_on: datetime.date | None
    leaves_latest_on: datetime.date | None
    """None where the slower end of the interval never leaves."""

    @property
    def is_certain(self) -> bool:
        """Whether the interval of the slope leaves zero out."""
        return self.per_year_low > 0 or self.per_year_high < 0


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a system needs a look; the page finds the words."""

    code: str
    weight: float
    measurement: Measurement | None = None
    trend: Trend | None = None


@dataclass(frozen=True, slots=True)
class SystemName:
    """A system as lists name it."""

    id: UUID
    tag: str
    kind: str
    site_id: UUID
    site: str


@dataclass(frozen=True, slots=True)
class NeedsALook:
    """A system with what is wrong, worst reason first."""

    system: SystemName
    reasons: tuple[Reason, ...]
    standing: Measurement | None

    @property
    def weight(self) -> float:
        """What the list is ranked by."""
        return sum(reason.weight for reason in self.reasons)


@dataclass(frozen=True, slots=True)
class Attention:
    """Everything that needs a look now."""

    systems: tuple[NeedsALook, ...]
    looked_at: int
    """How many systems were looked at."""
    never_measured: int
    instruments_overdue: tuple[InstrumentDue, ...]


@dataclass(frozen=True, slots=True)
class InstrumentDue:
    """An instrument in use whose calibration has run out, or that has none."""

    id: UUID
    name: str
    serial: str
    due_on: datetime.date | None
    last_used_on: datetime.date | None


@dataclass(frozen=True, slots=True)
class AdjustmentMade:
    """A change to a system."""

    made_at: datetime.datetime
    kind: str
    from_value: str
    to_value: str
    notes: str
    visit_id: UUID | None = None


@dataclass(frozen=True, slots=True)
class SystemFacts:
    """What is known of a system itself."""

    name: SystemName
    customer: str
    time_zone: str
    elevation_m: float | None
    model_number: str
    serial_number: str
    capacity_w: float | None
    is_rated: bool
    fan_drive: str
    commissioned_on: datetime.date | None
    retired_on: datetime.date | None


@dataclass(frozen=True, slots=True)
class LevelChange:
    """A change of level between two measurements that no adjustment on record explains."""

    before: Measurement
    after: Measurement
    size: float
    low: float
    high: float
    """Relative, -0.13 is 13 % down; with its 95 % interval."""
    is_step: bool
    """Whether it came at once; else it may as well be a slow change."""
    may_be_step: bool
    """Whether a straight line explains it badly, surely or not."""
    has_another_meter: bool
    """Whether one meter took over from another there."""
    has_another_section: bool
    """Whether it was measured in another air path from there on."""
    calibrated_on: datetime.date | None
    """A calibration of the meter in between."""
    corrected: bool
    """Whether one of the two measurements was corrected."""

    @property
    def is_explained(self) -> bool:
        """Whether the record names something that may be all of it."""
        meters_may = self.has_another_meter and abs(self.size) <= METERS_DIFFER_BY
        return meters_may or self.has_another_section


@dataclass(frozen=True, slots=True)
class CallHistory:
    """What was measured under one call; calls are never mixed."""

    call: str
    measurements: tuple[Measurement, ...]
    """Judged ones, in order of time."""
    trend: Trend | None
    changes: tuple[LevelChange, ...]
    rests_on: int = 0
    """How many measurements the trend rests on."""
    in_doubt: tuple[MeterInDoubt, ...] = ()
    """The meter of each of these that was measured with one found off later."""


@dataclass(frozen=True, slots=True)
class HistoryEvent:
    """Something that happened beside the measurements."""

    at: datetime.datetime
    """In the site's time zone; a day without an hour is its noon."""
    kind: str
    """`visit`, `adjustment`, `meter`, `calibration` or `correction`."""
    what: str
    detail: str = ""
    has_hour: bool = True


@dataclass(frozen=True, slots=True)
class SystemHistory:
    """A system with all that was measured and changed, in order of time."""

    facts: SystemFacts
    measurements: tuple[Measurement, ...]
    adjustments: tuple[AdjustmentMade, ...]
    calls: tuple[CallHistory, ...] = ()
    """Each call that was judged, the usual one first."""
    events: tuple[HistoryEvent, ...] = ()
    left_out: int = 0
    """How many older measurements are not read."""

    @property
    def trend(self) -> Trend | None:
        """The trend under the usual call."""
        return self.calls[0].trend if self.calls else None


@dataclass(frozen=True, slots=True)
class ListedSystem:
    """A row of the list of systems."""

    system: SystemName
    customer: str
    standing: Measurement | None


@dataclass(frozen=True, slots=True)
class SystemList:
    """One page of the list of systems."""

    rows: tuple[ListedSystem, ...]
    total: int
    page: int
    pages: int
    search: str = ""
