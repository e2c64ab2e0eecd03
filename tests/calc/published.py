"""The published values in `tests/published/`, and which test modules read which of them.

A test names rows by literal ids or patterns (`published.each("AD-PWS*")`, `published.row("VP-K")`).
The count in `test_published_rows.py` reads those literals from the source of the test modules.
"""

import ast
import csv
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

TESTS = Path(__file__).resolve().parents[1]
FOLDER = TESTS / "published"
UNUSED = "unused.csv"
READERS = ("each", "rows", "row")

# Rows whose tests are still to be written, by the module that will read them. A promise holds
# only while the module doesn't exist; after that the module itself must name the rows.
PROMISED: dict[str, tuple[str, ...]] = {
    "tests/dashboards/test_published_statistics.py": ("ST-*",),
}


@dataclass(frozen=True)
class Row:
    """One published value."""

    topic: str
    id: str
    quantity: str
    inputs: dict[str, Any]
    expected: Any
    unit: str
    tolerance: str
    source: str
    how_known: str

    def assert_matches(self, value: Any) -> None:
        """Fail unless the value agrees with the published one within the stated tolerance."""
        kind, _, size = self.tolerance.partition(" ")
        message = f"{self.id} ({self.source}): {value!r} against {self.expected!r} {self.unit}"
        if kind == "exact":
            got = value.tolist() if isinstance(value, np.ndarray | np.generic) else value
            assert got == self.expected, message
            return
        got = np.asarray(value, dtype=np.float64)
        expected = np.asarray(self.expected, dtype=np.float64)
        assert got.shape == expected.shape, message
        # A published figure has no more digits than it has: a half-unit slip of binary fractions
        # at the edge of an absolute tolerance is no disagreement.
        limit = float(size) * (np.abs(expected) if kind == "rel" else 1.0) * (1.0 + 1e-9)
        assert kind in ("rel", "abs"), f"{self.id}: tolerance {self.tolerance!r} is unreadable"
        assert np.all(np.abs(got - expected) <= limit), f"{message}, tolerance {self.tolerance}"


@cache
def all_rows() -> dict[str, Row]:
    """Return every published row by its id."""
    table: dict[str, Row] = {}
    for path in sorted(FOLDER.glob("*.csv")):
        if path.name == UNUSED:
            continue
        with path.open(newline="", encoding="utf-8") as file:
            for record in csv.DictReader(file):
                assert record["id"] not in table, f"{record['id']} stands in two files"
                table[record["id"]] = Row(
                    topic=path.stem,
                    id=record["id"],
                    quantity=record["quantity"],
                    inputs=json.loads(record["inputs"]),
                    expected=_value(record["expected"]),
                    unit=record["unit"],
                    tolerance=record["tolerance"],
                    source=record["source"],
                    how_known=record["how_known"],
                )
    return table


def rows(*patterns: str) -> list[Row]:
    """Return the rows whose ids match one of the patterns; a pattern without a row is an error."""
    found: dict[str, Row] = {}
    for pattern in patterns:
        matching = {id_: r for id_, r in all_rows().items() if fnmatchcase(id_, pattern)}
        assert matching, f"no published row matches {pattern!r}"
        found.update(matching)
    return list(found.values())


def row(id_: str) -> Row:
    """Return one row."""
    return all_rows()[id_]


def each(*patterns: str) -> Callable[[Callable[..., None]], pytest.MarkDecorator]:
    """Parametrize a test over the rows that match, as its argument `row`."""
    return pytest.mark.parametrize("row", [pytest.param(r, id=r.id) for r in rows(*patterns)])


@cache
def unused() -> dict[str, str]:
    """Return the reason of each row that no test reads, by id."""
    with (FOLDER / UNUSED).open(newline="", encoding="utf-8") as file:
        return {record["id"]: record["reason"] for record in csv.DictReader(file)}


def named_in(path: Path) -> set[str]:
    """Return the ids and patterns that a test module reads, from its source."""
    return set(_literals(ast.parse(path.read_text(encoding="utf-8"))))


def read_by_tests() -> dict[str, set[str]]:
    """Return the ids that each test module reads."""
    claims: dict[str, set[str]] = {}
    for path in sorted(TESTS.rglob("test_*.py")):
        patterns = named_in(path)
        if patterns:
            name = str(path.relative_to(TESTS.parent))
            claims[name] = {id_ for id_ in all_rows() if any(fnmatchcase(id_, p) for p in patterns)}
    return claims


def _literals(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and node.func.attr in READERS
            and isinstance(node.func.value, ast.Name)
            and node.func.value.id == "published"
        ):
            for argument in node.args:
                if isinstance(argument, ast.Constant) and isinstance(argument.value, str):
                    yield argument.value


def _value(text: str) -> Any:
    try:
        return json.loads(text)
    except json.JSONDecodeError:
        return text
