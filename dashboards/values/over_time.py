"""How the company went over time: months, calendar months, kinds, and a day that may matter."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final

from .shares import MonthShare, Share

WIDE_BAND: Final = 0.5
"""Where a month like the others may lie anywhere over half of the scale, only a month unlike all
of them would stand out: that none does says nothing."""
WHOLE_SCALE: Final = 0.95
"""A month whose band covers as much can't stand out at all."""
FEWEST_COMPARED: Final = 5
"""On either side: fewer part cleanly by chance alone more often than one time in a hundred."""
NOTHING_TOLD: Final = 0.5
"""Nor does an interval that holds no change and is half of the scale wide: it holds a rise or a
fall of a quarter of all jobs too."""


@dataclass(frozen=True, slots=True)
class HeldStep:
    """One month, quarter or year, held against the others of its stage."""

    first: datetime.date
    """Its first day."""
    share: Share
    low: float | None
    high: float | None
    """Where it would lie if it were like the others; none where there are too few to say."""
    differs: bool

    @property
    def can_tell(self) -> bool:
        """Whether it has jobs enough to stand out by less than half of the scale."""
        return self.low is not None and self.high is not None and self.high - self.low < WIDE_BAND

    @property
    def is_lower(self) -> bool:
        """Whether its share lies under the limit."""
        return self.differs and self.low is not None and (self.share.share or 0.0) < self.low


@dataclass(frozen=True, slots=True)
class HeldSteps:
    """One stage over time: found and left have one each and are never added up."""

    stage: str
    step: str
    """`month`, `quarter` or `year`."""
    whole: Share
    steps: tuple[HeldStep, ...]
    centre: float
    """Share of the steps that don't differ, together."""
    spread_sd: float
    has_spread: bool
    """How much they scatter beyond chance, and whether they show it at all."""

    @property
    def differing(self) -> tuple[HeldStep, ...]:
        """The steps that differ from the others more than chance explains."""
        return tuple(one for one in self.steps if one.differs)

    @property
    def untold(self) -> tuple[HeldStep, ...]:
        """The steps of which too few jobs can tell nothing."""
        return tuple(one for one in self.steps if not one.differs and not one.can_tell)

    @property
    def is_comparable(self) -> bool:
        """Whether there are enough steps to hold one against the others."""
        return any(one.low is not None for one in self.steps)


@dataclass(frozen=True, slots=True)
class DriftStep:
    """The mean place in the target range of one step, and the smoothed one with its limits."""

    first: datetime.date
    jobs: int
    mean: float
    """0 at the low limit of the target range, 1 at the high one."""
    smoothed: float
    low: float
    high: float

    @property
    def is_beyond(self) -> bool:
        """Whether the smoothed mean lies beyond its limits."""
        return not self.low <= self.smoothed <= self.high


@dataclass(frozen=True, slots=True)
class SlowDrift:
    """The mean place in the target range, as left, smoothed."""

    step: str
    steps: tuple[DriftStep, ...]
    centre: float
    sigmas: float


@dataclass(frozen=True, slots=True)
class CalendarMonth:
    """One month of the calendar over all years."""

    number: int
    found: Share
    left: Share


@dataclass(frozen=True, slots=True)
class Contrast:
    """The share left in range of one group of jobs less that of another, like with like."""

    first: Share
    second: Share
    """All jobs of either group, whatever they are compared with."""
    difference: float | None
    """Second less first, at the same sites with the same kinds; none where none has both."""
    low: float | None
    high: float | None
    """95 % interval; none where there are too few months to give one."""
    compared: tuple[int, int]
    """Jobs that have something to be compared with."""
    alone: tuple[int, int]
    """Jobs at sites, or of kinds, that only one group has."""
    strata: int
    months: int
    month_sd: float
    site_sd: float
    """What months and sites that differ add to the standard error."""

    @property
    def is_sure(self) -> bool:
        """Whether it is more than chance, months and the mix of sites and kinds explain."""
        if self.low is None or self.high is None or self.are_few:
            return False
        return not self.low <= 0.0 <= self.high

    @property
    def are_few(self) -> bool:
        """Whether so few jobs are compared that they may all agree by chance, interval and all."""
        return min(self.compared) < FEWEST_COMPARED

    @property
    def can_tell(self) -> bool:
        """Whether the interval says anything."""
        if self.low is None or self.high is None or self.are_few:
            return False
        return self.is_sure or self.high - self.low < NOTHING_TOLD


@dataclass(frozen=True, slots=True)
class Campaign:
    """A day and what the share left in range did before and after it."""

    on: datetime.date
    name: str
    contrast: Contrast
    plain_low: float | None
    plain_high: float | None
    """95 % interval of the difference of the two shares as they are, the mix not allowed for."""
    lately: Share
    earlier: Share
    """What was left in the months just before the day, and before those."""
    without_lately: Contrast | None
    """The same with the months just before the day left out."""


@dataclass(frozen=True, slots=True)
class Part:
    """Jobs of one kind of equipment, or under one call, over time."""

    key: str
    found: Share
    left: Share
    steps: tuple[MonthShare, ...]
    """Left in range by quarter, or whatever the parts are shown by."""
    per_year: float | None
    low: float | None
    high: float | None
    """Change of the share left a year, its interval widened for the number of parts."""

    @property
    def is_sure(self) -> bool:
        """Whether it changes more than chance explains."""
        return self.low is not None and self.high is not None and not self.low <= 0.0 <= self.high

    @property
    def can_tell(self) -> bool:
        """Whether the interval says anything."""
        if self.low is None or self.high is None:
            return False
        return self.is_sure or self.high - self.low < NOTHING_TOLD


@dataclass(frozen=True, slots=True)
class OverTime:
    """All of it, for one view."""

    left: HeldSteps
    found: HeldSteps
    drift: SlowDrift | None
    calendar: tuple[CalendarMonth, ...]
    months_spanned: int
    """From the first month with a job as left to the last, both counted."""
    halves: Contrast | None
    """October to March less April to September."""
    calls: Contrast | None
    """Heating less cooling."""
    kinds: tuple[Part, ...]
    by_call: tuple[Part, ...]
    part_step: str
    """What kinds and calls go by."""
    campaign: Campaign | None
    pending: int
