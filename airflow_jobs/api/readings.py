"""Readings at the edge: points, sweeps or an average, in the unit they were read in."""

from __future__ import annotations

from typing import Any, Final, NoReturn

from rest_framework import serializers

from airflow_jobs.models import Mode, ReadingKind, Traverse
from airflow_jobs.units import (
    LENGTH,
    PRESSURE,
    VELOCITY,
    Dimension,
    UnitError,
    from_si,
    quantity,
    to_si,
)

from .fields import QuantityField, is_number, possible_units, shown

MOST: Final = 64
MOST_STAMPS: Final = 2000
LONGEST_S: Final = 86400.0
KEYS: Final[dict[str, tuple[str, ...]]] = {
    Mode.POINTS: ("unit", "values"),
    Mode.SWEEPS: ("unit", "lines", "near_gap", "far_gap", "depth_unit"),
    Mode.AVERAGE: ("unit", "mean", "seconds", "lines"),
}
_DIMENSIONS: Final[dict[str, Dimension]] = {
    ReadingKind.VELOCITY: VELOCITY,
    ReadingKind.VELOCITY_PRESSURE: PRESSURE,
}
_GAP: Final = QuantityField(LENGTH, minimum=0.0, maximum=20.0)


class ReadingsField(serializers.Field[Any, Any, Any, Any]):
    """The readings of a traverse; their shape depends on the mode, so the body parses them."""

    default_error_messages = {"object": "Readings are an object with their unit; {came} came."}

    def get_attribute(self, instance: Any) -> Any:
        """Answer from the whole row: kind and mode say how to read the numbers."""
        return instance

    def to_internal_value(self, data: Any) -> Any:
        """Take an object; `parsed` reads it once the mode is known."""
        if not isinstance(data, dict):
            self.fail("object", came=shown(data))
        return data

    def to_representation(self, value: Traverse) -> dict[str, Any]:
        """Answer in the units that were asked for."""
        units = self.context["units"]
        dimension = _DIMENSIONS[value.reading_kind]
        unit = dimension.answer_unit(units)
        kept = value.readings

        def converted(number: float | None) -> float | None:
            return None if number is None else from_si(number, unit, dimension)

        if value.mode == Mode.POINTS:
            return {
                "unit": unit,
                "values": [[converted(item) for item in line] for line in kept["values"]],
            }
        if value.mode == Mode.AVERAGE:
            return {"unit": unit, **kept, "mean": converted(kept["mean"])}
        depth_unit = LENGTH.answer_unit(units)
        return {
            "unit": unit,
            "depth_unit": depth_unit,
            "lines": [
                {
                    **line,
                    "mean": converted(line["mean"]),
                    **(
                        {
                            "stamps": [
                                [at, from_si(depth, depth_unit, LENGTH), converted(number)]
                                for at, depth, number in line["stamps"]
                            ]
                        }
                        if line.get("stamps")
                        else {}
                    ),
                }
                for line in kept["lines"]
            ],
            "near_gap": quantity(kept["near_gap_m"], LENGTH, units),
            "far_gap": quantity(kept["far_gap_m"], LENGTH, units),
        }


def parsed(data: dict[str, Any], mode: str, positions: Any) -> tuple[str, dict[str, Any]]:
    """Return what kind of reading came, and the readings in SI.

    Parameters
    ----------
    data
        The readings as sent.
    mode
        `points`, `sweeps` or `average`.
    positions
        The positions as sent: their unit stands for that of depths in stamps.

    Raises
    ------
    ValidationError
        With the place of what is wrong below `readings`.
    """
    given = {key: item for key, item in data.items() if item is not None}
    for key in given:
        if key not in KEYS[mode]:
            known = ", ".join(KEYS[mode])
            _refuse(
                f"'{key[:60]}' is not known here; readings of mode {mode} have {known}.",
                "unknown",
                key,
            )
    if "unit" not in given:
        _refuse(
            f"Readings need their unit: one of {possible_units(VELOCITY)}, or "
            f"{possible_units(PRESSURE)} for a velocity pressure.",
            "required",
            "unit",
        )
    kind = _kind(given["unit"])
    if mode == Mode.POINTS:
        return kind, _points(given, kind)
    if mode == Mode.SWEEPS:
        return kind, _sweeps(given, kind, positions)
    return kind, _average(given, kind)


def _kind(unit: Any) -> str:
    if isinstance(unit, str) and unit in VELOCITY.units:
        return ReadingKind.VELOCITY.value
    if isinstance(unit, str) and unit in PRESSURE.units:
        return ReadingKind.VELOCITY_PRESSURE.value
    try:
        to_si(0.0, unit if isinstance(unit, str) else shown(unit), VELOCITY)
    except UnitError as error:
        _refuse(f"{error} A pitot tube may give {possible_units(PRESSURE)}.", "unit", "unit")
    raise AssertionError("a unit that converts is in the table")


def _points(given: dict[str, Any], kind: str) -> dict[str, Any]:
    unit = given["unit"]
    lines = []
    for number, line in enumerate(_listed(given, "values", MOST)):
        place = ("values", str(number))
        if not isinstance(line, list) or not 1 <= len(line) <= MOST:
            _refuse(
                f"A line is a list of 1 to {MOST} readings; {shown(line)} came.", "list", *place
            )
        lines.append(
            [
                None if item is None else _reading(item, unit, kind, *place, str(index))
                for index, item in enumerate(line)
            ]
        )
    return {"values": lines}


def _sweeps(given: dict[str, Any], kind: str, positions: Any) -> dict[str, Any]:
    lines = []
    for number, line in enumerate(_listed(given, "lines", MOST)):
        place = ("lines", str(number))
        if not isinstance(line, dict):
            _refuse(
                'A sweep is an object {"mean", "seconds"}; ' + f"{shown(line)} came.",
                "object",
                *place,
            )
        lines.append(_sweep(line, given, kind, positions, place))
    return {
        "lines": lines,
        "near_gap_m": _gap(given.get("near_gap"), "near_gap"),
        "far_gap_m": _gap(given.get("far_gap"), "far_gap"),
    }


def _sweep(
    line: dict[str, Any], given: dict[str, Any], kind: str, positions: Any, place: tuple[str, ...]
) -> dict[str, Any]:
    for key in line:
        if key not in {"mean", "seconds", "stamps"}:
            _refuse(
                f"'{key[:60]}' is not known here; a sweep has mean, seconds and stamps.",
                "unknown",
                *place,
                key,
            )
    if line.get("mean") is None:
        _refuse("A sweep needs its mean.", "required", *place, "mean")
    parsed_line: dict[str, Any] = {
        "mean": _reading(line["mean"], given["unit"], kind, *place, "mean")
    }
    if line.get("seconds") is not None:
        parsed_line["seconds"] = _seconds(line["seconds"], *place, "seconds")
    if line.get("stamps") is not None:
        depth_unit = _depth_unit(given, positions)
        parsed_line["stamps"] = [
            _stamp(stamp, given["unit"], depth_unit, kind, *place, "stamps", str(index))
            for index, stamp in enumerate(_stamps(line["stamps"], *place, "stamps"))
        ]
    return parsed_line


def _stamps(stamps: Any, *place: str) -> list[Any]:
    if not isinstance(stamps, list) or not 2 <= len(stamps) <= MOST_STAMPS:
        _refuse(
            f"Stamps are a list of 2 to {MOST_STAMPS} items [seconds, depth, velocity].",
            "list",
            *place,
        )
    return list(stamps)


def _stamp(stamp: Any, unit: str, depth_unit: str, kind: str, *place: str) -> list[float]:
    if (
        not isinstance(stamp, list)
        or len(stamp) != 3
        or not all(is_number(item) for item in stamp)
        or abs(stamp[1]) > 1e9
    ):
        _refuse(
            f"A stamp is [seconds, depth, velocity], three numbers; {shown(stamp)} came.",
            "list",
            *place,
        )
    return [
        _seconds(stamp[0], *place, "0", least=0.0),
        to_si(float(stamp[1]), depth_unit, LENGTH),
        _reading(stamp[2], unit, kind, *place, "2"),
    ]


def _depth_unit(given: dict[str, Any], positions: Any) -> str:
    unit = given.get("depth_unit")
    if unit is None and isinstance(positions, dict):
        unit = positions.get("unit")
    if unit is None:
        _refuse(
            f"Depths in stamps need their unit: give depth_unit, one of {possible_units(LENGTH)}, "
            "or positions with their unit.",
            "required",
            "depth_unit",
        )
    try:
        to_si(0.0, unit if isinstance(unit, str) else shown(unit), LENGTH)
    except UnitError as error:
        _refuse(str(error), "unit", "depth_unit")
    return str(unit)


def _average(given: dict[str, Any], kind: str) -> dict[str, Any]:
    if "mean" not in given:
        _refuse("An average needs its mean.", "required", "mean")
    result: dict[str, Any] = {"mean": _reading(given["mean"], given["unit"], kind, "mean")}
    if "seconds" in given:
        result["seconds"] = _seconds(given["seconds"], "seconds")
    if "lines" in given:
        lines = given["lines"]
        if not is_number(lines) or not float(lines).is_integer() or not 1 <= lines <= MOST:
            _refuse(
                f"The number of lines, 1 to {MOST}, is due; {shown(lines)} came.",
                "invalid",
                "lines",
            )
        result["lines"] = int(lines)
    return result


def _listed(given: dict[str, Any], key: str, most: int) -> list[Any]:
    value = given.get(key)
    if value is None:
        _refuse(f"Readings need their {key}.", "required", key)
    if not isinstance(value, list) or not 1 <= len(value) <= most:
        _refuse(f"A list of 1 to {most} lines is due; {shown(value)} came.", "list", key)
    return list(value)


def _reading(value: Any, unit: str, kind: str, *place: str) -> float:
    if not is_number(value) or abs(value) > 1e9:
        _refuse(f"A reading is a number, or null where none was taken; {shown(value)} came.",
                "number", *place)  # fmt: skip
    return to_si(float(value), unit, _DIMENSIONS[kind])


def _seconds(value: Any, *place: str, least: float = 1e-9) -> float:
    if not is_number(value) or not least <= value <= LONGEST_S:
        _refuse(f"A time in seconds, up to a day, is due; {shown(value)} came.", "invalid", *place)
    return float(value)


def _gap(value: Any, name: str) -> float:
    if value is None:
        return 0.0
    try:
        gap: float = _GAP.run_validation(value)
    except serializers.ValidationError as error:
        raise serializers.ValidationError({name: error.detail}) from error
    return gap


def _refuse(message: str, code: str, *place: str) -> NoReturn:
    detail: Any = [serializers.ErrorDetail(message, code=code)]
    for key in reversed(place):
        detail = {key: detail}
    raise serializers.ValidationError(detail)
