"""Positions of holes and depths at the edge: one unit, lists of numbers."""

from __future__ import annotations

from typing import Any, Final

from rest_framework import serializers

from airflow_jobs.units import LENGTH, UnitError, from_si, to_si

from .fields import is_number, possible_units, shown

KEYS: Final = ("unit", "lines", "angles", "depths")
MOST: Final = 64
LONGEST_M: Final = 20.0


class PositionsField(serializers.Field[dict[str, Any], Any, Any, Any]):
    """`{"unit", "lines" or "angles", "depths"}`; inside, metres and degrees."""

    keeps_as_sent = True
    default_error_messages = {
        "object": 'Positions are an object {{"unit", "lines" or "angles", "depths"}}; {came} came.',
        "unknown": "'{came}' is not known here; positions have unit, lines or angles, and depths.",
        "both": "Give lines (rectangle, oval) or angles (round), not both.",
        "empty": "Give lines, angles or depths, or leave positions out: the plan then stands.",
        "unit": "Positions need their unit: one of {units}.",
        "list": "A list of 1 to {most} numbers is due; {came} came.",
        "number": "A number is due; {came} came.",
        "far": "{came} is out of reach: at most 20 m.",
    }

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        """Parse positions and convert them to metres; angles stay degrees."""
        if not isinstance(data, dict):
            self.fail("object", came=shown(data))
        given = {key: item for key, item in data.items() if item is not None}
        for key in given:
            if key not in KEYS:
                self.fail("unknown", came=key[:60])
        if "lines" in given and "angles" in given:
            self.fail("both")
        if not given.keys() - {"unit"}:
            self.fail("empty")
        unit = given.get("unit")
        if unit is None and given.keys() & {"lines", "depths"}:
            self._refuse("unit", "unit", units=possible_units(LENGTH))
        if unit is not None:
            self._check_unit(unit)
        parsed: dict[str, Any] = {}
        if "lines" in given:
            parsed["lines"] = self._lengths(given["lines"], unit, ("lines",))
        if "angles" in given:
            parsed["angles"] = self._numbers(given["angles"], ("angles",))
        if "depths" in given:
            parsed["depths"] = [
                self._lengths(line, unit, ("depths", str(number)))
                for number, line in enumerate(self._list(given["depths"], ("depths",)))
            ]
        return parsed

    def _check_unit(self, unit: Any) -> None:
        try:
            to_si(0.0, unit if isinstance(unit, str) else shown(unit), LENGTH)
        except UnitError as error:
            raise serializers.ValidationError(
                {"unit": [serializers.ErrorDetail(str(error), code="unit")]}
            ) from error

    def _lengths(self, data: Any, unit: Any, place: tuple[str, ...]) -> list[float]:
        lengths = [to_si(value, unit, LENGTH) for value in self._numbers(data, place)]
        for number, value in enumerate(lengths):
            if abs(value) > LONGEST_M:
                self._refuse("far", *place, str(number), came=f"{data[number]:g} {unit}")
        return lengths

    def _numbers(self, data: Any, place: tuple[str, ...]) -> list[float]:
        for number, value in enumerate(self._list(data, place)):
            if not is_number(value) or abs(value) > 1e9:
                self._refuse("number", *place, str(number), came=shown(value))
        return [float(value) for value in data]

    def _list(self, data: Any, place: tuple[str, ...]) -> list[Any]:
        if not isinstance(data, list) or not 1 <= len(data) <= MOST:
            self._refuse("list", *place, most=MOST, came=shown(data))
        return list(data)

    def _refuse(self, code: str, *place: str, **words: Any) -> None:
        detail: Any = [
            serializers.ErrorDetail(str(self.error_messages[code]).format(**words), code=code)
        ]
        for key in reversed(place):
            detail = {key: detail}
        raise serializers.ValidationError(detail)

    def to_representation(self, value: dict[str, Any]) -> dict[str, Any]:
        """Answer in the units that were asked for."""
        unit = LENGTH.answer_unit(self.context["units"])
        answer: dict[str, Any] = {"unit": unit}
        if "lines" in value:
            answer["lines"] = [from_si(item, unit, LENGTH) for item in value["lines"]]
        if "angles" in value:
            answer["angles"] = value["angles"]
        if "depths" in value:
            answer["depths"] = [
                [from_si(item, unit, LENGTH) for item in line] for line in value["depths"]
            ]
        return answer
