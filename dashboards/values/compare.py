"""A few systems beside each other, each against its own target."""

from __future__ import annotations

from dataclasses import dataclass

from .shares import Share
from .systems import Judged, Measurement, SystemName, Trend


@dataclass(frozen=True, slots=True)
class ComparedSystem:
    """One system with what was judged of it under the call that is compared."""

    system: SystemName
    customer: str
    measurements: tuple[Measurement, ...]
    """Judged ones under the call, in order of time; of a visit the first as found and the last
    as left."""
    found: Share
    left: Share
    trend: Trend | None
    other_calls: tuple[str, ...]
    """Calls under which it was judged besides."""

    def at(self, stage: str) -> tuple[Judged, ...]:
        """Return what was judged at one stage."""
        return tuple(
            one.judged for one in self.measurements if one.stage == stage and one.judged is not None
        )


@dataclass(frozen=True, slots=True)
class PairDifference:
    """The second system less the first, at one stage."""

    first: SystemName
    second: SystemName
    stage: str
    size: float
    low: float
    high: float
    """95 % interval, all pairs at once; infinite where one was measured once, NaN where never."""
    is_sure: bool


@dataclass(frozen=True, slots=True)
class Comparison:
    """What a comparison shows."""

    systems: tuple[ComparedSystem, ...]
    call: str
    calls: tuple[str, ...]
    """Calls under which any of them was judged, the commonest first."""
    pairs: tuple[PairDifference, ...]
    """In widths of the target range, or in SI where flows are compared."""
    is_relative: bool
    """Whether positions in the own target range are compared."""
    has_capacities: bool
    """Whether flow per capacity could be compared."""
