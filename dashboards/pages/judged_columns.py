"""Where a system stands, as files have it: numbers with their unit, where pages have a drawing."""

from __future__ import annotations

from typing import Final

from .. import words
from ..display import Units
from ..tables import Cell, Column
from ..values.systems import Judged

FILE_COLUMNS: Final = (
    Column("Value", is_number=True, only_in_file=True),
    Column("Interval, low end", is_number=True, only_in_file=True),
    Column("Interval, high end", is_number=True, only_in_file=True),
    Column("Target low", is_number=True, only_in_file=True),
    Column("Target high", is_number=True, only_in_file=True),
    Column("Unit", only_in_file=True),
)


def file_cells(judged: Judged | None, units: Units) -> tuple[Cell, ...]:
    """Return the cells of these columns; empty ones where nothing was judged."""
    if judged is None:
        return tuple(Cell("", "") for _ in FILE_COLUMNS)
    numbers = (judged.value, judged.low, judged.high, judged.target_low, judged.target_high)
    return (
        *(Cell("", words.judged_number(judged, number, units)) for number in numbers),
        Cell(words.judged_shown(judged, units).unit),
    )
