"""Counted rows added up to fewer: months to quarters, calls and kinds to all of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any

from ..values.shares import Share
from .shares import shares_of

Row = dict[str, Any]


def added(given: Iterable[Row]) -> Row:
    """Add up the counts of rows."""
    total: Row = {}
    for row in given:
        for name in (
            "total",
            "below",
            "above",
            "below_undecided",
            "above_undecided",
            "inside_undecided",
        ):
            total[name] = total.get(name, 0) + row[name]
    return total


def grouped(given: Iterable[Row], key: Callable[[Row], Any]) -> dict[Any, Row]:
    """Add up rows by what they have in common, in its order."""
    groups: dict[Any, list[Row]] = {}
    for row in given:
        groups.setdefault(key(row), []).append(row)
    return {one: added(group) for one, group in sorted(groups.items())}


def added_share(given: Iterable[Row]) -> Share:
    """Return the share of rows together."""
    return shares_of([added(given)])[0]


def known(value: float) -> float | None:
    """Return a number, or none where there is none."""
    return float(value) if math.isfinite(value) else None


def known_change(value: float) -> float | None:
    """Return a change of a share or an end of its interval: from all to none at most."""
    return min(max(float(value), -1.0), 1.0) if math.isfinite(value) else None
