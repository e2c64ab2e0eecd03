"""Systems that are found outside again: how often, after what, and which beyond chance."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from uuid import UUID

from .shares import Share
from .systems import SystemName


@dataclass(frozen=True, slots=True)
class FoundOften:
    """One system: on how many visits it was found outside, and how that compares."""

    system: SystemName
    customer: str
    found: Share
    expected_share: float
    """Share of visits on which the others of its kind are found outside."""
    p_value: float | None
    """None with too few visits to compare."""
    is_marked: bool
    """Whether that is more than chance and its kind explain."""
    set_right: int
    """Visits that followed one that left it in range, same call and target."""
    returned: int
    """Of those, how many found it outside again."""
    never_between: int
    """Visits that found it outside without its having been in range since the time before."""
    last_found_on: datetime.date


@dataclass(frozen=True, slots=True)
class Side:
    """One end of a return: what was measured, in SI."""

    at: datetime.datetime
    on: datetime.date
    visit_id: UUID
    value: float
    low: float
    high: float
    verdict: str
    meter_id: UUID | None
    meter: str


@dataclass(frozen=True, slots=True)
class ChangeMade:
    """An adjustment, as far as returns go."""

    visit_id: UUID
    at: datetime.datetime
    kind: str
    kind_text: str
    from_value: str
    to_value: str


@dataclass(frozen=True, slots=True)
class Return:
    """A system that was left in range and found outside at the next visit."""

    system: SystemName
    call: str
    left: Side
    found: Side
    target_low: float
    target_high: float
    by_design_flow: bool
    is_below: bool
    made: tuple[ChangeMade, ...] = ()
    """What had been changed on the visit that left it in range."""
    undone: tuple[ChangeMade, ...] = ()
    """Of those, what the next visit found as it had been before, or otherwise than left."""
    between: tuple[ChangeMade, ...] = ()
    """What was changed between the two measurements, other than by the first visit."""

    @property
    def days(self) -> int:
        """How long it took, at most."""
        return (self.found.on - self.left.on).days

    @property
    def is_sure(self) -> bool:
        """Whether both ends are beyond doubt."""
        return self.left.verdict == "in_range" and self.found.verdict in ("low", "high")

    @property
    def has_another_meter(self) -> bool:
        """Whether the two were measured with different meters."""
        return self.left.meter_id != self.found.meter_id


@dataclass(frozen=True, slots=True)
class NeverRight:
    """A system found outside on two days or more, and not known to have been in range since."""

    system: SystemName
    call: str
    times: int
    """Days on which it was found outside: several visits of one day are one occasion."""
    since_on: datetime.date
    last_on: datetime.date
    left_outside: int
    """Of these days, those on which it was measured as left, outside."""
    changes: int
    """Adjustments made since the first of them."""
    is_changed_since: bool
    """Whether it was adjusted after the last measurement."""
    is_below: bool
    """On which side it was found the last time."""

    @property
    def not_measured_as_left(self) -> int:
        """Of these days, those on which it was not measured as left."""
        return self.times - self.left_outside


@dataclass(frozen=True, slots=True)
class Returning:
    """What the page of systems found outside again says."""

    systems: tuple[FoundOften, ...]
    """In the view, the surest first."""
    found: Share
    """All visits of the systems in the view."""
    compared: int
    """How many systems, in the view or not, were compared."""
    set_right: Share
    """Jobs left in range that have a next visit; inside is what was still in range then."""
    set_right_same_meter: Share
    set_right_other_meter: Share
    returned_surely: int
    days: tuple[int, ...]
    """How many days lay between, of each return, in order."""
    target_changed: int
    """Jobs left in range whose target was another one at the next visit; they are in no count."""
    returns: tuple[Return, ...]
    never_right: tuple[NeverRight, ...]

    @property
    def marked(self) -> tuple[FoundOften, ...]:
        """The systems beyond chance."""
        return tuple(one for one in self.systems if one.is_marked)
