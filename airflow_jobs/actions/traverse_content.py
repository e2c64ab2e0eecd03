"""The content of a traverse: parsed and in SI, with what was sent and the digest of both."""

from __future__ import annotations

import datetime
import hashlib
import json
from dataclasses import dataclass, field
from typing import Any, Final
from uuid import UUID

from airflow_jobs.models import Call, Mode, ReadingKind, Stage, TakenIn, Traverse

COLUMNS: Final = (
    "visit_id",
    "duct_section_id",
    "instrument_id",
    "repeats_id",
    "stage",
    "taken_at",
    "mode",
    "call",
    "operating_state",
    "dry_bulb_c",
    "relative_humidity",
    "wet_bulb_c",
    "dew_point_c",
    "barometric_pressure_pa",
    "elevation_m",
    "duct_static_pa",
    "reading_kind",
    "readings",
    "positions",
    "reasons",
    "taken_in",
    "notes",
)
_KEPT_AS_SENT: Final = ("conditions", "readings", "positions")


@dataclass(frozen=True, kw_only=True)
class TraverseContent:
    """What a technician entered, parsed: one field a column, and the whole as it was sent."""

    visit_id: UUID
    duct_section_id: UUID
    instrument_id: UUID
    stage: Stage | str
    taken_at: datetime.datetime
    mode: Mode | str
    reading_kind: ReadingKind | str
    readings: dict[str, Any]
    """In SI; see `Traverse.readings`."""
    sent: dict[str, Any]
    """Exactly as sent, units included, without the id."""
    repeats_id: UUID | None = None
    call: Call | str = Call.UNKNOWN
    operating_state: dict[str, Any] = field(default_factory=dict)
    """Without the call."""
    dry_bulb_c: float | None = None
    relative_humidity: float | None = None
    wet_bulb_c: float | None = None
    dew_point_c: float | None = None
    barometric_pressure_pa: float | None = None
    elevation_m: float | None = None
    duct_static_pa: float | None = None
    positions: dict[str, Any] | None = None
    """In SI; see `Traverse.positions`."""
    reasons: list[list[Any]] = field(default_factory=list)
    """[line, point, text], lines and points counted from 1."""
    taken_in: TakenIn | str = TakenIn.LINE_BY_LINE
    notes: str = ""

    def columns(self) -> dict[str, Any]:
        """Return the values of the traverse's columns."""
        return {name: getattr(self, name) for name in COLUMNS}

    def unsaved(self, identifier: UUID) -> Traverse:
        """Return the traverse as a row that isn't stored."""
        return Traverse(pk=identifier, **self.columns())

    def digest(self) -> str:
        """Return the digest of the content after parsing.

        Absent and null are the same, numbers count by value, times by instant; units count,
        because what was sent is kept as it was sent.
        """
        canonical = {
            name: _canonical(getattr(self, name))
            for name in COLUMNS
            if name not in {"readings", "positions", "reading_kind"} and not _is_quantity(name)
        }
        canonical |= {name: _canonical(self.sent.get(name)) for name in _KEPT_AS_SENT}
        text = json.dumps(_without_nothing(canonical), sort_keys=True, separators=(",", ":"))
        return f"sha256:{hashlib.sha256(text.encode()).hexdigest()}"


def _is_quantity(name: str) -> bool:
    return name.endswith(("_c", "_pa", "_m")) or name == "relative_humidity"


def _canonical(value: Any) -> Any:
    """Return a value in the one form that equal values share."""
    match value:
        case bool() | None:
            return value
        case int() | float():
            return float(value) + 0.0  # minus zero is zero
        case str():
            return str(value)
        case UUID():
            return str(value)
        case datetime.datetime():
            return value.astimezone(datetime.UTC).isoformat()
        case dict():
            return _without_nothing({key: _canonical(item) for key, item in value.items()})
        case list() | tuple():
            return [_canonical(item) for item in value]
        case _:
            raise TypeError(f"{type(value).__name__} has no canonical form")


def _without_nothing(content: dict[str, Any]) -> dict[str, Any]:
    return {key: item for key, item in content.items() if item is not None and item != {}}
