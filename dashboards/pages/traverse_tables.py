"""The tables of a traverse's page."""

from __future__ import annotations

from collections.abc import Sequence

from django.urls import reverse

from airflow_jobs import units as dimensions
from airflow_jobs.models import TakenIn

from .. import words
from ..display import Units, percent, unbroken, write, write_significant
from ..strips import BarStrip
from ..tables import Cell, Column, Table
from ..values.traverses import Interval, TraverseRecord
from .method import method_link
from .traverse_profile import reading_dimension, reading_text


def flows_table(record: TraverseRecord, units: Units) -> Table:
    """Return best estimates with their intervals beside the rule's averages."""
    outcome = record.outcome
    assert outcome is not None
    relative = _relative_half(outcome.flow_actual)
    velocity = outcome.velocity_mean
    half = None if velocity is None or relative is None else abs(relative * velocity)
    lines = (
        ("Actual flow", outcome.flow_actual, outcome.rule_flow_actual, dimensions.FLOW),
        ("Standard flow", outcome.flow_standard, outcome.rule_flow_standard, dimensions.FLOW),
        (
            "Flow per capacity",
            outcome.flow_per_capacity,
            outcome.rule_flow_per_capacity,
            dimensions.FLOW_PER_CAPACITY,
        ),
        (
            "Mean velocity",
            _around(velocity, half),
            outcome.rule_velocity_mean,
            dimensions.VELOCITY,
        ),
        ("Mass flow", Interval(None), outcome.mass_flow, dimensions.MASS_FLOW),
        ("Highest velocity", Interval(None), outcome.velocity_max, dimensions.VELOCITY),
        ("Mean of the readings", Interval(None), outcome.velocity_indicated, dimensions.VELOCITY),
    )
    return Table(
        slug="flows",
        caption="Best estimate with its 95 % interval, and the rule's average beside it",
        columns=(
            Column("Quantity"),
            Column("Best estimate", is_number=True),
            Column("Low end", is_number=True, only_in_file=True),
            Column("High end", is_number=True, only_in_file=True),
            Column("Rule's average", is_number=True),
            Column("Unit"),
        ),
        rows=tuple(
            _flow_row(name, best, by_rule, dimension, units)
            for name, best, by_rule, dimension in lines
            if best.value is not None or by_rule is not None
        ),
        href=_file(record, "flows"),
    )


def _around(value: float | None, half: float | None) -> Interval:
    if value is None or half is None:
        return Interval(value)
    return Interval(value, value - half, value + half)


def _relative_half(interval: Interval) -> float | None:
    if not interval.value or interval.low is None or interval.high is None:
        return None
    return 0.5 * (interval.high - interval.low) / interval.value


def _flow_row(
    name: str,
    best: Interval,
    by_rule: float | None,
    dimension: dimensions.Dimension,
    units: Units,
) -> tuple[Cell, ...]:
    shown = units.show(best.value, dimension, low_si=best.low, high_si=best.high)
    half = None if best.low is None or best.high is None else 0.5 * (best.high - best.low)

    def raw(value: float | None) -> float | str:
        return "" if value is None else units.number(value, dimension)

    return (
        Cell(name),
        Cell(
            shown.number if shown else "–",
            raw(best.value),
            note=unbroken("±", shown.half_width) if shown and shown.half_width else "",
        ),
        Cell("", raw(best.low)),
        Cell("", raw(best.high)),
        Cell(units.write_alike(by_rule, dimension, half_width_si=half), raw(by_rule)),
        Cell(units.name(dimension)),
    )


def corrections_table(record: TraverseRecord, units: Units) -> Table:
    """Return the steps from the readings to the best estimate, in order."""
    outcome = record.outcome
    assert outcome is not None
    return Table(
        slug="corrections",
        caption="From the mean of the readings to the best estimate, step by step",
        columns=(
            Column("Step"),
            Column("Factor", is_number=True),
            Column(f"Velocity after it, {units.name(dimensions.VELOCITY)}", is_number=True),
            Column("Why"),
        ),
        rows=tuple(
            (
                Cell(words.step_text(one.step), one.step, href=method_link(one.step)),
                Cell("–" if one.factor is None else write(one.factor, 4), one.factor),
                Cell(
                    "–"
                    if one.velocity_after_m_s is None
                    else write_significant(
                        units.number(one.velocity_after_m_s, dimensions.VELOCITY), 4
                    ),
                    ""
                    if one.velocity_after_m_s is None
                    else units.number(one.velocity_after_m_s, dimensions.VELOCITY),
                ),
                Cell(one.note or "–"),
            )
            for one in outcome.corrections
        ),
        href=_file(record, "corrections"),
    )


def budget_table(record: TraverseRecord, _units: Units) -> Table:
    """Return what the uncertainty is made of, the largest share first."""
    outcome = record.outcome
    assert outcome is not None
    return Table(
        slug="budget",
        caption="What the uncertainty is made of",
        columns=(
            Column("Component"),
            Column("Share of the variance", is_number=True),
            Column("Standard uncertainty", is_number=True),
        ),
        rows=tuple(
            (
                Cell(
                    words.component_text(one.component),
                    one.component,
                    href=method_link(f"budget-{one.component}"),
                ),
                Cell(percent(one.share), one.share, strip=BarStrip(f"{100 * one.share:.2f}")),
                Cell(
                    unbroken(write(100 * one.relative_standard_uncertainty, 2), "%"),
                    one.relative_standard_uncertainty,
                ),
            )
            for one in outcome.budget
        ),
        href=_file(record, "budget"),
    )


def readings_table(record: TraverseRecord, units: Units) -> Table:
    """Return what was read: a row a point and a column a line as drawn, else a row a line."""
    if record.readings.mode == "points":
        return _points_table(record, units)
    return _means_table(record, units)


def _points_table(record: TraverseRecord, units: Units) -> Table:
    values = record.readings.values
    return Table(
        slug="readings",
        caption=f"Readings as shown by the meter, {units.name(reading_dimension(record))}; a "
        "column is a line in the order of the holes, its points count from the drilled wall. "
        f"{_order(record)}",
        columns=(
            Column("Point"),
            *(Column(f"Line {line + 1}", is_number=True) for line in range(len(values))),
        ),
        rows=tuple(
            (
                Cell(f"{point + 1}"),
                *(_reading_cell(record, units, line, point) for line in range(len(values))),
            )
            for point in range(max((len(line) for line in values), default=0))
        ),
        href=_file(record, "readings"),
        is_grid=True,
    )


def _means_table(record: TraverseRecord, units: Units) -> Table:
    readings = record.readings
    is_average = readings.mode == "average"
    has_seconds = any(seconds is not None for seconds in readings.seconds)
    return Table(
        slug="readings",
        caption=f"Readings as shown by the meter, {units.name(reading_dimension(record))}",
        columns=(
            Column("What" if is_average else "Line"),
            Column("Mean", is_number=True),
            *((Column("Seconds", is_number=True),) if has_seconds else ()),
        ),
        rows=tuple(
            (
                Cell("Overall average" if is_average else f"{number + 1}"),
                _reading_cell(record, units, number, 0),
                *((_seconds(readings.seconds, number),) if has_seconds else ()),
            )
            for number in range(len(readings.values))
        ),
        href=_file(record, "readings"),
        is_grid=True,
    )


def _reading_cell(record: TraverseRecord, units: Units, number: int, point: int) -> Cell:
    line = record.readings.values[number]
    reasons = {(one, at): text for one, at, text in record.readings.reasons}
    value = line[point] if point < len(line) else None
    return Cell(
        reading_text(record, units, value),
        "" if value is None else units.number(value, reading_dimension(record)),
        note=_why_missing(line, number, point, reasons),
    )


def _order(record: TraverseRecord) -> str:
    """Say in which order the points were read."""
    if record.readings.taken_in == TakenIn.BACK_AND_FORTH:
        return "Read back and forth: every second line from its far end."
    return "Read line by line, each from its first point."


def _why_missing(
    line: Sequence[float | None], number: int, point: int, reasons: dict[tuple[int, int], str]
) -> str:
    if point < len(line) and line[point] is not None:
        return ""
    return reasons.get((number + 1, point + 1), "not read")


def _seconds(seconds: Sequence[float | None], number: int) -> Cell:
    taken = seconds[number] if number < len(seconds) else None
    return Cell("–", "") if taken is None else Cell(write(taken, 1), taken)


def _file(record: TraverseRecord, slug: str) -> str:
    return reverse("traverse-file", args=[record.id, slug])
