"""The contents that were sent of one traverse, and what came of each."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from .systems import SystemName
from .traverses import Interval


@dataclass(frozen=True, slots=True)
class RevisionResult:
    """What was computed last from one content."""

    computed_at: datetime.datetime
    engine: str
    verdict: str
    leaning: str
    probability_most: float | None
    flow_standard: Interval
    flow_per_capacity: float | None
    computations: int
    """How many results this content had: its inputs were changed, or the engine was."""


@dataclass(frozen=True, slots=True)
class Revision:
    """One content of a traverse, as it was sent."""

    number: int
    content: Mapping[str, Any]
    reason: str
    actor: str
    is_redacted: bool
    """Who sent it was taken out on request."""
    recorded_at: datetime.datetime
    """In the site's time zone."""
    result: RevisionResult | None


@dataclass(frozen=True, slots=True)
class TraverseRevisions:
    """All contents of a traverse, the first one first."""

    traverse_id: UUID
    system: SystemName
    crew_id: UUID
    taken_at: datetime.datetime
    stage: str
    state: str
    revisions: tuple[Revision, ...]
    names: Mapping[str, str]
    """Id in a content -> what people call it, for sections and meters."""

    def numbered(self, number: int | None) -> Revision | None:
        """Return the revision of that number."""
        return next((one for one in self.revisions if one.number == number), None)
