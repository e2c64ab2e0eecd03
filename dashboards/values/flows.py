"""How the flows of jobs are distributed: found and left, two facts that are never mixed."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bin:
    """A column: how many jobs lie from its start up to its end, the end not included."""

    start: float | None
    """None: everything below the end."""
    end: float | None
    """None: everything from the start up."""
    found: int
    left: int


@dataclass(frozen=True, slots=True)
class Spread:
    """Where the jobs of one stage lie."""

    total: int
    lower: float
    middle: float
    upper: float
    """Quartiles: half of the jobs lie between the lower and the upper one."""
    u: float
    """The median of their standard uncertainties."""
    real: float
    """Which part of the spread is not the measurements' own blur, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Distribution:
    """Jobs in columns of one width, found and left on one axis."""

    bins: tuple[Bin, ...]
    width: float
    found: Spread | None
    left: Spread | None
    """None where there is no job of that stage."""

    @property
    def total(self) -> int:
        """Jobs of both stages."""
        return sum(spread.total for spread in (self.found, self.left) if spread)


@dataclass(frozen=True, slots=True)
class TargetUse:
    """A target that jobs were held to, and how many were."""

    call: str
    low: float
    high: float
    by_design_flow: bool
    found: int
    left: int
    """Jobs of either stage: two facts, never added up in what people read."""

    @property
    def jobs(self) -> int:
        """Jobs of both stages, to put the commonest first."""
        return self.found + self.left


@dataclass(frozen=True, slots=True)
class Flows:
    """The flows of a view: per capacity, and as the place in each job's own range."""

    rates: Distribution
    """Flow per capacity, of the jobs that were judged by it; SI."""
    places: Distribution
    """Of all judged jobs: 0 at the low limit of the job's own target, 1 at the high one."""
    targets: tuple[TargetUse, ...]
    """What the jobs were held to, the commonest first."""

    @property
    def rate_targets(self) -> tuple[TargetUse, ...]:
        """The ranges of flow per capacity, the commonest first."""
        return tuple(one for one in self.targets if not one.by_design_flow)

    @property
    def by_design_flow(self) -> int:
        """Jobs of both stages that were judged by a design flow."""
        return sum(one.jobs for one in self.targets if one.by_design_flow)

    @property
    def ranges(self) -> frozenset[tuple[float, float]]:
        """The different ranges of flow per capacity."""
        return frozenset((one.low, one.high) for one in self.rate_targets)

    @property
    def targets_differ(self) -> bool:
        """Whether jobs were held to different targets."""
        return len(self.ranges) > 1 or self.by_design_flow > 0
