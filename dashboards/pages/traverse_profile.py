"""The drawing of what was read at each point."""

from __future__ import annotations

from typing import Any

from airflow_jobs import units as dimensions
from airflow_jobs.models import Mode, ReadingKind, Shape

from ..charts.profile import Grid, line_by_point, one_per_line, round_section
from ..display import Units, percent, write_significant
from ..values.traverses import TraverseRecord


def reading_dimension(record: TraverseRecord) -> dimensions.Dimension:
    """Return what the readings are."""
    if record.readings.kind == ReadingKind.VELOCITY_PRESSURE:
        return dimensions.PRESSURE
    return dimensions.VELOCITY


def reading_text(record: TraverseRecord, units: Units, value: float | None) -> str:
    """Return a reading as meters show it."""
    if value is None:
        return "–"
    return write_significant(units.number(value, reading_dimension(record)), 3)


def profile_chart(record: TraverseRecord, units: Units) -> dict[str, Any]:
    """Return the drawing: a heat map, the points of a round section, or a bar a line."""
    readings = record.readings
    dimension = reading_dimension(record)
    grid = Grid(
        values=tuple(units.numbers(line, dimension) for line in readings.values),
        texts=tuple(
            tuple(reading_text(record, units, value) for value in line) for line in readings.values
        ),
        unit=units.name(dimension),
    )
    chart: dict[str, Any] = {
        "id": "chart-profile",
        "data_id": "chart-profile-data",
        "title": "What was read",
        "sentence": _sentence(record),
    }
    if readings.mode == Mode.AVERAGE or not readings.values:
        return chart
    if readings.mode == Mode.SWEEPS:
        return {**chart, "figure": one_per_line(grid)}
    if _has_round_places(record):
        assert record.section.diameter_m is not None
        inside = record.section.diameter_m - 2.0 * record.section.lining_m
        return {
            **chart,
            "figure": round_section(
                grid,
                diameter_m=inside,
                angles_deg=readings.angles_deg,
                depths_m=readings.depths_m,
            ),
        }
    return {**chart, "figure": line_by_point(grid)}


def _has_round_places(record: TraverseRecord) -> bool:
    readings = record.readings
    return (
        record.section.shape == Shape.ROUND
        and record.section.diameter_m is not None
        and len(readings.angles_deg) == len(readings.values)
        and len(readings.depths_m) == len(readings.values)
        and all(
            len(depths) == len(line)
            for depths, line in zip(readings.depths_m, readings.values, strict=True)
        )
    )


def _sentence(record: TraverseRecord) -> str:
    readings = record.readings
    if readings.mode == Mode.AVERAGE:
        return "Only the meter's overall average is known, so there is no profile to draw."
    if not readings.values:
        return "There are no readings."
    profile = record.outcome.profile if record.outcome else {}
    said = {
        Mode.POINTS: (
            "Each field is one reading as the meter showed it; the stronger its shade, the "
            "faster the air."
        ),
        Mode.SWEEPS: "Each bar is the mean of one swept line as the meter showed it.",
    }[Mode(readings.mode)]
    variation, peak = profile.get("variation"), profile.get("max_over_mean")
    if variation is not None and peak is not None:
        said += (
            f" They vary by {percent(variation)} about their mean; the highest is "
            f"{write_significant(peak, 3)} times the mean."
        )
    missing = sum(value is None for line in readings.values for value in line)
    if missing:
        said += f" {missing} {'was' if missing == 1 else 'were'} not taken."
    return said
