"""Next steps: what to do about a system that needs a look, when, and on which page it says how."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from .display import write
from .filters import day_text
from .values.systems import Judged, NeedsALook, Reason

# No blower is so far from its target: a unit or a capacity was entered wrongly.
UNLIKELY_RISE, UNLIKELY_FALL = 1.5, -0.6
# Below that, "about so many percent" would be no more than the measurement's own blur.
LEAST_CHANGE: Final = 0.03
ASK_FOR_BASIS: Final = (
    "Ask the maker whether the target is of standard or of actual flow, and enter that: the two "
    "are judged differently here."
)


@dataclass(frozen=True, slots=True)
class Page:
    """Where it says how: one of the service's pages and what to look at there."""

    name: str
    id: UUID
    text: str


def next_step(needs: NeedsALook, *, today: datetime.date, planned: str = "") -> str:
    """Say what to do about the worst reason.

    Parameters
    ----------
    needs
        The system with its reasons.
    today
        The day from which it is said.
    planned
        The visit that comes anyway, such as `On 3 Dec 2026, North:`; empty where none is planned.
    """
    reason = needs.reasons[0]
    visit = planned or "Plan a visit:"
    match reason.code:
        case "low" | "high":
            return _towards_nominal(reason, visit)
        case "undecided" if _hangs_on_basis(reason):
            return ASK_FOR_BASIS
        case "undecided":
            return f"{visit} set it nearer to nominal, or measure again with a narrower interval."
        case "drifting":
            return _before_it_leaves(reason, visit if planned else "", today)
        case "failed":
            return "Correct what was entered, or measure again; its page says what is wrong."
        case "pending":
            return (
                "Wait some minutes; if it stays so, ask an administrator whether the worker runs."
            )
        case "not_judged":
            return "Enter the system's capacity, or a target for that call."
        case "calibration":
            return f"Have the meter calibrated and enter that. {visit} measure with another."
        case _:
            return f"{visit} measure as found."


def page_of(needs: NeedsALook) -> Page:
    """Return the page that says how."""
    reason = needs.reasons[0]
    one = reason.measurement
    if reason.code == "calibration" and one is not None and one.instrument_id is not None:
        return Page("instrument", one.instrument_id, "The meter")
    if reason.code in ("not_judged", "drifting") or one is None or one.traverse_id is None:
        text = "Its history and trend" if reason.code == "drifting" else "The system"
        return Page("system", needs.system.id, text)
    text = {
        "low": "How: measurement and advice",
        "high": "How: measurement and advice",
        "undecided": "The measurement" if _hangs_on_basis(reason) else "What would narrow it",
    }.get(reason.code, "The measurement")
    return Page("traverse", one.traverse_id, text)


def _hangs_on_basis(reason: Reason) -> bool:
    judged = reason.measurement.judged if reason.measurement else None
    return judged is not None and judged.hangs_on_basis


def _towards_nominal(reason: Reason, visit: str) -> str:
    judged = reason.measurement.judged if reason.measurement else None
    change = _change(judged)
    if change is not None and not UNLIKELY_FALL < change < UNLIKELY_RISE:
        return (
            "Check what was entered, units and capacity first: no blower is so far from its "
            "target. If it is true, plan a visit."
        )
    verb = "raise" if reason.code == "low" else "lower"
    if change is None or abs(change) < LEAST_CHANGE:
        return f"{visit} {verb} the airflow towards nominal, then measure as left."
    by = f"some {write(abs(change) * 100.0, 0)} %"
    return f"{visit} {verb} the airflow by {by}, to nominal, then measure as left."


def _change(judged: Judged | None) -> float | None:
    if judged is None or judged.value <= 0.0:
        return None
    return judged.target_nominal / judged.value - 1.0


def _before_it_leaves(reason: Reason, planned: str, today: datetime.date) -> str:
    earliest = reason.trend.leaves_earliest_on if reason.trend else None
    what = "look at filter, coil and belt, and measure as found."
    if planned:
        return f"{planned} {what}"
    if earliest is None or earliest <= today:
        return f"Plan a visit now: {what}"
    return f"Plan a visit before {day_text(earliest)}: {what}"
