"""What a file of history is made of: rows, and what is wrong with one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, Final, Protocol

LONGEST_SHOWN: Final = 60


class BadFile(ValueError):
    """A file that cannot be read as a whole; the text is one line that says what to do."""


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong with a row."""

    column: str
    value: str
    reason: str

    def in_words(self, line: int) -> str:
        """Say it in one line."""
        shown = " ".join(self.value.split())
        if len(shown) > LONGEST_SHOWN:
            shown = f"{shown[:LONGEST_SHOWN]}…"
        value = f', "{shown}"' if shown else ""
        return f"line {line:,}, {self.column}{value}: {self.reason}"


@dataclass
class Row:
    """One traverse of a file: what came, and the body that a client would send for it."""

    line: int
    """Counted from 1; of several lines the first."""
    came: Any
    """As it stands in the file, for a second try."""
    body: dict[str, Any] = field(default_factory=dict)
    """With the id, where there is one."""
    problems: list[Problem] = field(default_factory=list)
    """Where there are any, the body is not complete."""


class HistoryFile(Protocol):
    """A file of one kind, read row by row."""

    path: Path

    def prepare(self) -> None:
        """Look at the whole file once, as far as reading a row takes that."""

    def rows(self) -> Iterator[Row]:
        """Read the rows."""

    def bytes_read(self) -> int:
        """Say how far the reading is."""

    def summary(self) -> list[str]:
        """Say how things were read that could have been read otherwise."""

    def place(self, row: Row, pointer: str) -> tuple[str, str]:
        """Say in which column a part of the body stands, and with which value."""

    def write_head(self, file: IO[bytes]) -> None:
        """Begin a file of the same kind."""

    def write_row(self, file: IO[bytes], row: Row, problems: list[Problem]) -> None:
        """Write a row as it came."""
