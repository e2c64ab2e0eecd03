"""What the next step of a system rests on."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

from .meters import MeterInDoubt
from .systems import OtherwiseJudged


@dataclass(frozen=True, slots=True)
class ChangedSince:
    """The latest adjustment of a system that came after its last measurement."""

    on: datetime.date
    """The day where the system stands."""
    kind: str
    from_value: str
    to_value: str


@dataclass(frozen=True, slots=True)
class BesideStanding:
    """What stands beside the number that a system is judged by."""

    advice: dict[str, Any] | None
    """On the blower, as the result keeps it; in SI."""
    why_no_advice: str
    doubt: str
    """The serious finding that has to be cleared up first; empty where there is none."""
    changed: ChangedSince | None
    meter_in_doubt: MeterInDoubt | None = None
    otherwise: OtherwiseJudged | None = None
    """What it would be without its meter's offset against the others, where that decides."""
    trend_rests_on: int = 0
    """How many measurements its trend rests on, where that is a reason."""
    trend_in_doubt: tuple[MeterInDoubt, ...] = ()
    """The meter of each of these that was found off later and is not corrected."""
