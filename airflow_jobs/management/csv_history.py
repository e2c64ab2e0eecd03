"""History as CSV with one traverse a row, as spreadsheets and scripts write it."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, BinaryIO, Final

from .csv_columns import NUMBERS, PROBLEM, Header, delimiter_of, header_of
from .csv_row import Cells, body_of
from .history_rows import BadFile, Problem, Row
from .named_rows import NamedRows
from .typed_numbers import DecimalSigns, Sign

# Where a part of the body stands, if not in the column of the same name.
_GROUPS: Final = ("conditions", "operating_state")


class CsvHistory:
    """A file with a header, and one traverse a row."""

    def __init__(
        self,
        path: Path,
        *,
        decimal: Sign | None = None,
        encoding: str = "utf-8",
        ignored: Sequence[str] = (),
    ) -> None:
        self.path = path
        self.signs = DecimalSigns(given=decimal)
        try:
            known = codecs.lookup(encoding).name
        except LookupError as error:
            raise BadFile(f"{error}: leave --encoding out for UTF-8.") from error
        # A spreadsheet marks UTF-8 with a sign that is no part of the first title.
        self._encoding = "utf-8-sig" if known == "utf-8" else known
        self._ignored = ignored
        self._named = NamedRows()
        self._buffer: BinaryIO | None = None

    def prepare(self) -> None:
        """Read the header, and learn from all numbers which decimal sign the file has."""
        with self._opened() as (reader, header):
            self.header = header
            for cells in reader:
                for name, cell in zip(header.names, cells, strict=False):
                    if name in NUMBERS:
                        for text in cell.replace("|", ";").split(";"):
                            self.signs.look(text)

    def rows(self) -> Iterator[Row]:
        """Read the rows; rows without anything in them are read over."""
        with self._opened() as (reader, header):
            line = reader.line_num + 1
            for cells in reader:
                if any(cell.strip() for cell in cells):
                    yield self._row(line, cells, header)
                line = reader.line_num + 1

    def bytes_read(self) -> int:
        """Say how far the reading is."""
        return self._buffer.tell() if self._buffer is not None else 0

    def summary(self) -> list[str]:
        """Say how numbers were read."""
        return self.signs.summary()

    def place(self, row: Row, pointer: str) -> tuple[str, str]:
        """Find the column that a part of the body was read from."""
        cells = self._cells(row.came, self.header)
        group, _, rest = pointer.removeprefix("/").partition("/")
        name, _, part = (rest or group if group in _GROUPS else group).partition("/")
        if part == "unit":
            return f"{name}_unit", cells.unit(name)
        if group == "readings":
            key, _, place = rest.partition("/")
            if key == "values" and place.count("/") == 1:
                line, point = (int(part) for part in place.split("/"))
                text = cells.text("readings").split("|")[line].split(";")[point]
                return f"readings (line {line + 1}, point {point + 1})", text.strip()
            if key == "unit":
                return "readings_unit", cells.unit("readings")
            name = key if key in {"seconds", "lines"} else "readings"
        if name == "visit" and not cells.text("visit"):
            name = "site"
        return name or "the whole", cells.text(name)

    def write_head(self, file: IO[bytes]) -> None:
        """Write the same header, with a column for what is wrong."""
        titles = [
            title
            for title, name in zip(self.header.titles, self.header.names, strict=True)
            if name != PROBLEM
        ]
        file.write(self._line([*titles, PROBLEM]))

    def write_row(self, file: IO[bytes], row: Row, problems: list[Problem]) -> None:
        """Write the cells as they came, and what is wrong behind them."""
        names = self.header.names
        cells = [
            cell
            for number, cell in enumerate(row.came)
            if number >= len(names) or names[number] != PROBLEM
        ]
        cells += [""] * (len(names) - (PROBLEM in names) - len(cells))
        reasons = "; ".join(f"{item.column}: {item.reason}" for item in problems)
        file.write(self._line([*cells, reasons]))

    def _line(self, cells: list[str]) -> bytes:
        text = io.StringIO()
        csv.writer(text, delimiter=self.delimiter, lineterminator="\n").writerow(cells)
        return text.getvalue().encode()

    @contextmanager
    def _opened(self) -> Iterator[tuple[Any, Header]]:
        try:
            with self.path.open("rb") as self._buffer:
                text = io.TextIOWrapper(self._buffer, self._encoding, newline="")
                first = text.readline()
                if not first.strip():
                    raise BadFile(
                        "its first line is empty: the names of the columns are due there."
                    )
                self.delimiter = delimiter_of(first)
                text.seek(0)
                reader = csv.reader(text, delimiter=self.delimiter, strict=True)
                yield reader, header_of(next(reader), self._ignored)
        except UnicodeDecodeError as error:
            raise BadFile(
                f"it is not {error.encoding}: save it as CSV in UTF-8, or name its encoding with "
                "--encoding, such as cp1252."
            ) from error
        except csv.Error as error:
            raise BadFile(
                f"line {reader.line_num:,} is no CSV ({error}): look at its quotes."
            ) from error
        finally:
            self._buffer = None

    def _row(self, line: int, came: list[str], header: Header) -> Row:
        row = Row(line, came)
        if len(came) != len(header.names):
            row.problems.append(
                Problem(
                    "the whole",
                    self.delimiter.join(came),
                    f"it has {len(came)} cells, and the first line names {len(header.names)} "
                    f"columns: put a cell that contains {self.delimiter!r} into quotes",
                )
            )
            return row
        if any("\x00" in cell for cell in came):
            row.problems.append(
                Problem("the whole", "", "it holds the character NUL, which can't be kept")
            )
            return row
        row.body, row.problems = body_of(self._cells(came, header), self.signs, self._named)
        return row

    @staticmethod
    def _cells(came: list[str], header: Header) -> Cells:
        texts = {
            name: cell.strip()
            for name, cell in zip(header.names, came, strict=False)
            if name and name != PROBLEM
        }
        return Cells(texts, header.units)
