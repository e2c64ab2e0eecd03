"""The tables of systems beside each other."""

from __future__ import annotations

import math

from django.urls import reverse

from airflow_jobs import units as dimensions
from airflow_jobs.models import Stage

from .. import compare_words, words
from ..display import Units, percent, unbroken, write
from ..queries.compare import position
from ..tables import Cell, Column, Table
from ..values.compare import ComparedSystem, Comparison, PairDifference
from ..values.shares import Share
from ..values.systems import Judged


def summary_table(compared: Comparison, units: Units) -> Table:
    """Return what is known of each system."""
    unit = (
        "percent of the way from the low limit to the high one"
        if compared.is_relative
        else _unit(units)
    )
    return Table(
        slug="summary",
        caption=f"Each system under {words.CALLS.get(compared.call, compared.call).lower()}; "
        f"means as {unit}",
        columns=(
            Column("System"),
            Column("Site", only_in_file=True),
            Column("Target"),
            Column("As found, mean", is_number=True),
            Column("Found in range", is_number=True),
            Column("As left, mean", is_number=True),
            Column("Left in range", is_number=True),
            Column("Trend a year", is_number=True),
        ),
        rows=tuple(_summary_row(one, compared, units) for one in compared.systems),
    )


def _summary_row(one: ComparedSystem, compared: Comparison, units: Units) -> tuple[Cell, ...]:
    judged = [held.judged for held in one.measurements if held.judged is not None]
    last = judged[-1] if judged else None
    trend = one.trend
    return (
        Cell(
            one.system.tag,
            href=reverse("system", args=[one.system.id]),
            note=f"{one.system.site}, {words.KINDS.get(one.system.kind, '').lower()}",
        ),
        Cell(one.system.site),
        Cell(
            unbroken(words.range_text(last, units), words.judged_shown(last, units).unit)
            if last
            else "–"
        ),
        _mean(one.at(Stage.AS_FOUND), compared, units),
        _share(one.found),
        _mean(one.at(Stage.AS_LEFT), compared, units),
        _share(one.left),
        Cell(
            unbroken(_signed(trend.per_year_low), "to", _signed(trend.per_year_high)),
            trend.per_year,
        )
        if trend
        else Cell("–", ""),
    )


def _mean(judged: tuple[Judged, ...], compared: Comparison, units: Units) -> Cell:
    if not judged:
        return Cell("–", "")
    values = [_number(one, compared, units) for one in judged]
    mean = sum(values) / len(values)
    return Cell(
        compare_words.in_percent(mean) if compared.is_relative else write(mean, 0),
        mean,
        note=words.count_of(len(values), "visit"),
    )


def _share(share: Share) -> Cell:
    if not share.total:
        return Cell("–", "")
    return Cell(
        f"{share.inside} of {share.total}",
        share.share,
        note=f"{percent(share.share)}, {words.interval_text(share)}",
    )


def _signed(relative: float) -> str:
    sign = "+" if relative > 0 else ""
    return unbroken(f"{sign}{write(relative * 100.0, 0)}", "%")


def differences_table(compared: Comparison, units: Units) -> Table:
    """Return the differences of all pairs, as found and as left apart."""
    unit = "percent of the target's width" if compared.is_relative else _unit(units)
    return Table(
        slug="differences",
        caption=f"The second less the first, in {unit}; the 95 % intervals of a stage hold for "
        "all pairs at once",
        columns=(
            Column("First"),
            Column("Second"),
            Column("Stage"),
            Column("Difference", is_number=True),
            Column("Low end", is_number=True, only_in_file=True),
            Column("High end", is_number=True, only_in_file=True),
            Column("What it says"),
        ),
        rows=tuple(
            _pair_row(one, compared, units) for one in compared.pairs if not math.isnan(one.size)
        ),
    )


def _pair_row(pair: PairDifference, compared: Comparison, units: Units) -> tuple[Cell, ...]:
    numbers = [
        value if compared.is_relative else _difference(value, units)
        for value in (pair.size, pair.low, pair.high)
    ]
    texts = [
        compare_words.in_percent(one) if compared.is_relative else write(one, 0) for one in numbers
    ]
    has_ends = math.isfinite(pair.low)
    return (
        Cell(pair.first.tag, compare_words.name_of(pair.first), note=pair.first.site),
        Cell(pair.second.tag, compare_words.name_of(pair.second), note=pair.second.site),
        Cell(words.STAGES[pair.stage]),
        Cell(
            "–" if math.isnan(pair.size) else texts[0],
            "" if math.isnan(pair.size) else numbers[0],
            note=unbroken(texts[1], "to", texts[2]) if has_ends else "",
        ),
        Cell("", numbers[1] if has_ends else ""),
        Cell("", numbers[2] if has_ends else ""),
        Cell(compare_words.pair_text(pair)),
    )


def points_table(compared: Comparison, units: Units) -> Table:
    """Return every point that is drawn, with its own target."""
    return Table(
        slug="points",
        caption="Measurements",
        columns=tuple(
            Column(label)
            for label in (
                "System",
                "Site",
                "Taken at",
                "Stage",
                "Call",
                "Value",
                "Low end",
                "High end",
                "Unit",
                "Target low",
                "Target high",
                "Position in the range",
                "Verdict",
            )
        ),
        rows=tuple(
            (
                Cell(one.system.tag),
                Cell(one.system.site),
                Cell(held.taken_at.isoformat()),
                Cell(words.STAGES[held.stage]),
                Cell(words.CALLS.get(held.call, held.call)),
                *(
                    Cell("", words.judged_number(judged, value, units))
                    for value in (judged.value, judged.low, judged.high)
                ),
                Cell(words.judged_shown(judged, units).unit),
                *(
                    Cell("", words.judged_number(judged, value, units))
                    for value in (judged.target_low, judged.target_high)
                ),
                Cell("", position(judged, judged.value)),
                Cell(held.verdict),
            )
            for one in compared.systems
            for held in one.measurements
            if (judged := held.judged) is not None
        ),
    )


def _number(judged: Judged, compared: Comparison, units: Units) -> float:
    if compared.is_relative:
        return position(judged, judged.value)
    return units.number(judged.value, dimensions.FLOW_PER_CAPACITY)


def _difference(value: float, units: Units) -> float:
    if not math.isfinite(value):
        return value
    return units.number(value, dimensions.FLOW_PER_CAPACITY)


def _unit(units: Units) -> str:
    return units.name(dimensions.FLOW_PER_CAPACITY)
