"""The sentences about systems beside each other."""

from __future__ import annotations

import math

from airflow_jobs import units
from airflow_jobs.models import Stage

from . import words
from .display import Units, unbroken, write
from .values.compare import Comparison, PairDifference
from .values.systems import SystemName


def chart_sentence(compared: Comparison) -> str:
    """Say what the small charts show."""
    measured = [one for one in compared.systems if one.measurements]
    if not measured:
        return "Nothing was judged of these systems in this period, so there is nothing to draw."
    call = words.CALLS.get(compared.call, compared.call).lower()
    axis = (
        "0 % is each one's own low limit and 100 % its high limit"
        if compared.is_relative
        else "the band is each one's own target range"
    )
    silent = [name_of(one.system) for one in compared.systems if not one.measurements]
    hang = any(
        each.judged is not None and each.judged.hangs_on_basis
        for one in measured
        for each in one.measurements
    )
    undecided = "too close to call, or the target's basis decides" if hang else "too close to call"
    said = (
        f"Judged measurements under {call}, each with its 95 % interval; {axis}. Open circles are "
        f"as found, filled squares as left; ▼ is low, ▲ high, ▨ {undecided}."
    )
    if silent:
        said += f" Nothing was judged under {call} of {words.listed(silent)}."
    return said


def difference_sentences(compared: Comparison, house_units: Units) -> list[str]:
    """Say what differs, as found and as left apart, or that there is no evidence of it."""
    return [
        _stage_sentence(compared, str(stage), house_units)
        for stage in (Stage.AS_FOUND, Stage.AS_LEFT)
        if compared.pairs
    ]


def _stage_sentence(compared: Comparison, stage: str, house_units: Units) -> str:
    pairs = [pair for pair in compared.pairs if pair.stage == stage]
    stage_word = words.STAGES[stage]
    if all(math.isnan(pair.size) for pair in pairs):
        return f"{stage_word}: nothing to hold against each other."
    if not any(math.isfinite(pair.low) for pair in pairs):
        return f"{stage_word}: too few measurements to say; it takes two of each."
    sure = [pair for pair in pairs if pair.is_sure]
    if not sure:
        return f"{stage_word}: no evidence that they differ."
    said = [
        f"{name_of(pair.second)} lies {size_text(pair, compared, house_units)} "
        f"{'above' if pair.size > 0 else 'below'} {name_of(pair.first)}"
        for pair in sure
    ]
    rest = "" if len(sure) == len(pairs) else " Otherwise no evidence that they differ."
    return f"{stage_word}: {'; '.join(said)}.{rest}"


def size_text(pair: PairDifference, compared: Comparison, house_units: Units) -> str:
    """Return how far apart a pair lies, without its sign, and the interval."""
    ends = sorted((abs(pair.low), abs(pair.high)))
    if compared.is_relative:
        return (
            f"{in_percent(abs(pair.size))} of the target's width "
            f"({unbroken(write(100.0 * ends[0], 0), 'to', in_percent(ends[1]))})"
        )
    numbers = [
        write(house_units.number(value, units.FLOW_PER_CAPACITY), 0)
        for value in (abs(pair.size), *ends)
    ]
    unit = house_units.name(units.FLOW_PER_CAPACITY)
    return f"{unbroken(numbers[0], unit)} ({unbroken(numbers[1], 'to', numbers[2])})"


def in_percent(widths: float) -> str:
    """Return widths of a target range in percent, which may be below 0 and beyond 100."""
    return unbroken(write(100.0 * widths, 0), "%") if math.isfinite(widths) else "–"


def pair_text(pair: PairDifference) -> str:
    """Say what a pair's difference means."""
    if math.isnan(pair.size):
        return "Nothing to hold against each other"
    if not math.isfinite(pair.low):
        return "Too few measurements"
    return "Differs more than chance explains" if pair.is_sure else "No evidence that they differ"


def name_of(system: SystemName) -> str:
    """Return a system as sentences name it."""
    return f"{system.tag} at {system.site}"
