"""A content as it was sent, field by field in words, and how two of them differ."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from .display import unbroken

Difference = Literal["same", "changed", "only_first", "only_second"]

OF_A_LINE: Final = ("values", "depths", "lines", "angles")
"""Lists that have an entry a line."""
NAMES: Final = {
    "duct_section": "Duct section",
    "taken_at": "Taken at",
    "operating_state": "Operating state",
    "dry_bulb": "dry bulb",
    "near_gap": "gap at the near wall",
    "far_gap": "gap at the far wall",
    "taken_in": "Taken in",
}


@dataclass(frozen=True, slots=True)
class Field:
    """One field of two contents; None where a content doesn't have it."""

    name: str
    first: str | None
    second: str | None

    @property
    def difference(self) -> Difference:
        """How the two stand to each other."""
        if self.first == self.second:
            return "same"
        if self.first is None:
            return "only_second"
        return "only_first" if self.second is None else "changed"


def compared(
    first: Mapping[str, Any], second: Mapping[str, Any], names: Mapping[str, str]
) -> list[Field]:
    """Return the fields of two contents in the order of the second, then what only the first has.

    Parameters
    ----------
    first, second
        Contents as they were sent.
    names
        Id -> what people call it.
    """
    one, other = dict(_fields(first, names)), dict(_fields(second, names))
    order = [*other, *(key for key in one if key not in other)]
    return [Field(key, one.get(key), other.get(key)) for key in order]


def _fields(content: Mapping[str, Any], names: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    for key, value in content.items():
        yield from _flat([key], value, names, "")


def _flat(
    path: list[str | int], value: Any, names: Mapping[str, str], unit: str
) -> Iterator[tuple[str, str]]:
    if value is None and path[0] != "readings":
        return
    if isinstance(value, Mapping):
        if set(value) == {"value", "unit"}:
            yield _label(path), f"{_text(value['value'], names)} {value['unit']}"
            return
        unit = str(value.get("unit") or unit)
        for key, item in value.items():
            if key != "unit":
                own = "s" if key == "seconds" else "°" if key == "angles" else unit
                yield from _flat([*path, key], item, names, "" if key == "stamps" else own)
        return
    if isinstance(value, Sequence) and not isinstance(value, str):
        if path == ["reasons"]:
            for line, point, text in value:
                yield f"Reason, line {line}, point {point}", str(text)
            return
        for number, item in enumerate(value, start=1):
            yield from _flat([*path, number], item, names, unit)
        return
    is_quantity = unit and isinstance(value, int | float) and not isinstance(value, bool)
    yield _label(path), unbroken(_text(value, names), unit) if is_quantity else _text(value, names)


def _label(path: list[str | int]) -> str:
    """Return a field's name in words: `Readings, line 2, point 3`."""
    said: list[str] = []
    within = ""
    numbers = 0
    for step in path:
        if isinstance(step, int):
            numbers += 1
            noun = ("line", "point")[numbers - 1] if within in OF_A_LINE and numbers < 3 else ""
            said.append(f"{noun} {step}".strip())
        else:
            within, numbers = step, 0
            if step not in ("values", "lines") or len(path) == 1:
                said.append(NAMES.get(step, step.replace("_", " ")))
            elif path[0] == "positions":
                said.append("hole")
    name = ", ".join(said)
    return name[:1].upper() + name[1:]


def _text(value: Any, names: Mapping[str, str]) -> str:
    if value is None:
        return "not taken"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return names.get(str(value), str(value))
