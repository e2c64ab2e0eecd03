"""History as JSON lines: what export_history writes, or bodies as the API takes them."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from airflow_jobs.api.parsers import Malformed, StrictJSONParser, TooLarge

from .history_rows import Problem, Row


class JsonHistory:
    """A file with one JSON object a line."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._read = 0
        self._parser = StrictJSONParser()

    def prepare(self) -> None:
        """Nothing has to be known before the first row."""

    def rows(self) -> Iterator[Row]:
        """Read the rows; empty lines count, but are no rows."""
        self._read = 0
        with self.path.open("rb") as file:
            for number, line in enumerate(file, start=1):
                self._read += len(line)
                if line.strip():
                    yield self._row(number, line)

    def bytes_read(self) -> int:
        """Say how far the reading is."""
        return self._read

    def summary(self) -> list[str]:
        """JSON can be read in one way only."""
        return []

    def place(self, row: Row, pointer: str) -> tuple[str, str]:
        """Take the pointer for the column."""
        value: Any = row.body
        for key in pointer.split("/")[1:]:
            try:
                value = value[int(key)] if isinstance(value, list) else value[key]
            except (KeyError, IndexError, ValueError, TypeError):
                return pointer, ""
        return pointer or "the whole", "" if isinstance(value, dict | list) else str(value)

    def write_head(self, file: IO[bytes]) -> None:
        """A file of lines has no head."""

    def write_row(self, file: IO[bytes], row: Row, problems: list[Problem]) -> None:
        """Write the line as it came."""
        line: bytes = row.came
        file.write(line.rstrip(b"\r\n") + b"\n")

    def _row(self, number: int, line: bytes) -> Row:
        row = Row(number, line)
        try:
            document = self._parser.parse(io.BytesIO(line))
        except (Malformed, TooLarge) as error:
            shown = line.decode(errors="replace")
            row.problems.append(Problem("the whole", shown, str(error.detail)))
            return row
        if not isinstance(document, dict):
            row.problems.append(Problem("the whole", str(document), "a JSON object is due"))
            return row
        content = document.get("content")
        if not isinstance(content, dict):
            row.body = document
        elif document.get("id") is None:
            row.body = content
        else:
            # An exported line: names and result stand beside the content for people.
            row.body = {**content, "id": document["id"]}
        return row
