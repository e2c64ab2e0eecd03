"""The words of the distribution: what its columns show, and what they can't."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from airflow_jobs import units
from airflow_jobs.models import Call

from .display import Units, percent, unbroken
from .values.flows import Distribution, Flows, Spread, TargetUse
from .values.shares import FleetShares
from .words import CALLS, count_of, ends_text, interval_text, listed, range_of

# Below so many jobs of a stage nothing is said of their spread.
FEWEST: Final = 10


def rates_sentence(found: Flows, house_units: Units) -> str:
    """Say what the columns of flow per capacity show."""
    if not found.rates.total:
        return "No job here was judged by its flow per capacity."
    said = [_middles(found.rates, house_units)]
    ranges = _ranges(found)
    if len(ranges) == 1:
        said.append(f"The band is the range of all these jobs, {_range(ranges[0], house_units)}.")
    elif ranges:
        said.append(
            f"The band is the commonest range, {_range(ranges[0], house_units)} "
            f"({_jobs(ranges[:1])}). Others have their own, such as "
            f"{_range(ranges[1], house_units)} ({_jobs(ranges[1:2])}), so a column beside the band "
            "is not always out of its own range; the next chart goes by that."
        )
    if found.by_design_flow:
        by_design = [one for one in found.targets if one.by_design_flow]
        said.append(
            f"What was judged by a design flow ({_jobs(by_design)}) is only in the next chart."
        )
    return " ".join(said)


def places_sentence(found: Flows) -> str:
    """Say what the columns of the place in each job's own range show."""
    said = [f"Each job against the limits of its own target: {listed(_held_to(found))}."]
    middles = [
        f"{word} {place_text(spread.middle)}"
        for spread, word in ((found.places.found, "found"), (found.places.left, "left"))
        if spread is not None and spread.total >= FEWEST
    ]
    if middles:
        said.append(f"In the middle, with as many below as above, they were {listed(middles)}.")
    return " ".join(said)


def place_text(place: float) -> str:
    """Return a place in a range in words: 0 is the low limit, 1 the high one."""
    if place < 0.0:
        return f"{percent(-place)} of the target's width below the low limit"
    if place > 1.0:
        return f"{percent(place - 1.0)} of the target's width above the high limit"
    return f"{percent(place)} of the way from the low limit to the high one"


def short_place_text(place: float) -> str:
    """Return a place in a range for a drawing, where there is little room."""
    if place < 0.0:
        return f"{percent(-place)} below"
    return f"{percent(place - 1.0)} above" if place > 1.0 else f"{percent(place)} up"


def blur_sentence(found: Flows, shares: FleetShares) -> str:
    """Say how much of the spread is the measurements' own, and the share corrected for it."""
    spread = found.places.left or found.places.found
    if spread is None or spread.total < FEWEST:
        return (
            "With so few jobs nothing can be said of their spread, and each of them is blurred "
            "by what its measurement can't tell."
        )
    is_left = spread is found.places.left
    word = "left" if is_left else "found"
    said = [
        "Each measurement is uncertain, typically by "
        f"{unbroken('±', percent(2.0 * spread.u))} of the target's width (95 %), which makes "
        "both distributions wider than the truth:"
    ]
    if spread.real == 0.0:
        said.append(f"what was {word} scatters no more than that, and may be all alike.")
    else:
        said.append(f"that of what was {word} by {percent(1.0 / spread.real - 1.0)}.")
    share = shares.left if is_left else shares.found
    corrected = shares.left_corrected if is_left else shares.found_corrected
    if corrected is not None:
        said.append(
            f"Allowing for it, some {percent(corrected.share)} "
            f"({ends_text(corrected.low, corrected.high)}) were {word} in range; counted as "
            f"measured, {percent(share.share)} ({interval_text(share)})."
        )
    return " ".join(said)


def _middles(shown: Distribution, house_units: Units) -> str:
    parts = [
        _middle(spread, word, house_units)
        for spread, word in ((shown.found, "found"), (shown.left, "left"))
        if spread is not None
    ]
    said = "; ".join(parts)
    return f"{said[:1].upper()}{said[1:]}."


def _middle(spread: Spread, word: str, house_units: Units) -> str:
    if spread.total < FEWEST:
        verb = "was" if spread.total == 1 else "were"
        return f"{count_of(spread.total, 'job')} {verb} {word}, too few for a distribution"
    lower, middle, upper = (
        rate_written(value, house_units) for value in (spread.lower, spread.middle, spread.upper)
    )
    unit = house_units.name(units.FLOW_PER_CAPACITY)
    return (
        f"half of {count_of(spread.total, 'job')} were {word} between {lower} and "
        f"{unbroken(upper, unit)}, the median {middle}"
    )


def _ranges(found: Flows) -> list[TargetUse]:
    """Return the ranges whatever the call, the commonest first."""
    merged: dict[tuple[float, float], TargetUse] = {}
    for one in found.rate_targets:
        before = merged.get((one.low, one.high))
        merged[one.low, one.high] = TargetUse(
            one.call,
            one.low,
            one.high,
            False,
            found=one.found + (before.found if before else 0),
            left=one.left + (before.left if before else 0),
        )
    return sorted(merged.values(), key=lambda one: (-one.jobs, one.low, one.high))


def _held_to(found: Flows) -> list[str]:
    """Return what the jobs were held to, by call, with how many were."""
    counted: dict[tuple[str, bool], list[TargetUse]] = {}
    for one in found.targets:
        counted.setdefault((one.call, one.by_design_flow), []).append(one)
    ordered = sorted(counted.items(), key=lambda item: (-sum(one.jobs for one in item[1]), item[0]))
    return [
        f"{'a design flow' if by_design_flow else 'flow per capacity'}"
        f"{'' if call == Call.UNKNOWN else f' in {CALLS.get(call, call).lower()}'} "
        f"({_jobs(uses)})"
        for (call, by_design_flow), uses in ordered
    ]


def _range(one: TargetUse, house_units: Units) -> str:
    return range_of(one.low, one.high, units.FLOW_PER_CAPACITY, house_units)


def _jobs(uses: Sequence[TargetUse]) -> str:
    """Return how many jobs were found and left so: the two are never added up."""
    counts = (
        (sum(one.found for one in uses), "found"),
        (sum(one.left for one in uses), "left"),
    )
    return ", ".join(f"{count:,} {word}" for count, word in counts if count)


def rate_written(value: float, house_units: Units) -> str:
    """Return a flow per capacity as a number in the company's unit."""
    shown = house_units.show(value, units.FLOW_PER_CAPACITY)
    return shown.number if shown else "–"
