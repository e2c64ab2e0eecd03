"""Tables: what stands under each chart, and the same as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from .strips import BarStrip, JudgedStrip, ShareStrip

# What a spreadsheet would take for a formula.
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")
_DIGITS: Final = 12


@dataclass(frozen=True, slots=True)
class Column:
    """A column; numbers stand to the right, and some columns are only in the file."""

    label: str
    is_number: bool = False
    is_short: bool = False
    """Not to be broken into lines, such as a day."""
    only_in_file: bool = False
    only_on_page: bool = False


@dataclass(frozen=True, slots=True)
class Tick:
    """A box to tick in a form that holds the table."""

    name: str
    value: str
    label: str
    is_ticked: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: text for the page, the value as it is for the file."""

    text: str
    value: str | float | int | None = None
    href: str = ""
    mark: str = ""
    """A verdict, which gives the cell its mark and colour."""
    strip: ShareStrip | JudgedStrip | BarStrip | None = None
    note: str = ""
    """A second line in small."""
    note_href: str = ""
    """Where the second line leads."""
    tick: Tick | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """A table with its name in the address of the file."""

    slug: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    href: str = ""
    """Where the CSV is."""
    is_grid: bool = False
    """Kept as a grid on a narrow screen, where the others become cards."""
    more: int = 0
    """Rows that are in the file but not on the page."""
    all_href: str = ""
    """The page that shows them too, where there is one."""

    @property
    def altogether(self) -> int:
        """All rows, on the page or not."""
        return len(self.rows) + self.more

    @property
    def page_columns(self) -> tuple[Column, ...]:
        """The columns that the page shows."""
        return tuple(column for column in self.columns if not column.only_in_file)

    def page_rows(self) -> Iterator[list[tuple[Column, Cell]]]:
        """Yield the rows as the page shows them, each cell with its column."""
        for row in self.rows:
            yield [
                (column, cell)
                for column, cell in zip(self.columns, row, strict=True)
                if not column.only_in_file
            ]

    def as_csv(self) -> str:
        """Return the table as CSV (RFC 4180), numbers to twelve significant digits.

        Those are more than any measurement has; what a conversion of units leaves beyond is noise.
        Text that a spreadsheet would run as a formula is quoted with an apostrophe.
        """
        kept = [index for index, column in enumerate(self.columns) if not column.only_on_page]
        file = io.StringIO()
        writer = csv.writer(file)
        writer.writerow([_harmless(self.columns[index].label) for index in kept])
        for row in self.rows:
            writer.writerow([_raw(row[index]) for index in kept])
        return file.getvalue()


def _raw(cell: Cell) -> str:
    if isinstance(cell.value, float):
        return repr(float(f"{cell.value:.{_DIGITS}g}"))
    if isinstance(cell.value, int):
        return repr(cell.value)
    return _harmless(cell.text if cell.value is None else cell.value)


def _harmless(text: str) -> str:
    # Only lines on the page are to be kept from breaking.
    text = text.replace("\N{NO-BREAK SPACE}", " ")
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
