"""Fields of requests and answers: quantities with units, instants with offsets, references."""

from __future__ import annotations

import datetime
import math
from typing import Any, Final
from uuid import UUID

from django.db import models
from rest_framework import serializers

from airflow_jobs import units
from airflow_jobs.units import Dimension, UnitError, quantity, to_si

FIRST_YEAR: Final = 1900
LAST_YEAR: Final = 2200
LARGEST: Final = 1e12
"""Beyond any number that a duct, a meter or a company could need."""


def is_number(value: Any) -> bool:
    """Return whether a JSON value is a number (a boolean isn't one)."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def shown(value: Any) -> str:
    """Show what came, short enough for a message."""
    text = repr(value) if not isinstance(value, str) else f"'{value}'"
    return text if len(text) <= 60 else f"{text[:57]}..."


def possible_units(dimension: Dimension) -> str:
    """List a dimension's units for a message."""
    return ", ".join(f"'{name}'" for name in dimension.units)


class QuantityField(serializers.Field[float, Any, Any, Any]):
    """`{"value", "unit"}` at the edge, the SI number inside.

    Parameters
    ----------
    dimension
        What kind of quantity is due.
    minimum, maximum
        Limits in SI, included unless `is_open` leaves them out.
    """

    keeps_as_sent = True
    default_error_messages = {
        "bare": (
            "{came} came without a unit; a {dimension} is written as "
            '{{"value": number, "unit": one of {units}}}.'
        ),
        "keys": "A quantity has the keys 'value' and 'unit' and no others; {came} came.",
        "value": "The value must be a number; {came} came.",
        "unit": "{problem}",
        "out_of_range": "{came} is out of reach: {limits}.",
    }

    def __init__(
        self,
        dimension: Dimension,
        *,
        minimum: float | None = None,
        maximum: float | None = None,
        is_open: bool = False,
        **options: Any,
    ) -> None:
        self.dimension = dimension
        self.minimum = minimum
        self.maximum = maximum
        self.is_open = is_open
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> float:
        """Check value and unit and return the number in SI."""
        if not isinstance(data, dict):
            self.fail(
                "bare",
                came=shown(data),
                dimension=self.dimension.name,
                units=possible_units(self.dimension),
            )
        if set(data) != {"value", "unit"}:
            self.fail("keys", came=shown(sorted(data)))
        if not is_number(data["value"]):
            raise serializers.ValidationError(
                {
                    "value": [
                        _error(self.error_messages["value"], "value", came=shown(data["value"]))
                    ]
                }
            )
        return self.in_si(data["value"], data["unit"])

    def in_si(self, value: float, unit: Any) -> float:
        """Convert a typed number and hold it to the limits."""
        try:
            result = to_si(
                float(value), unit if isinstance(unit, str) else shown(unit), self.dimension
            )
        except UnitError as error:
            raise serializers.ValidationError(
                {"unit": [serializers.ErrorDetail(str(error), code="unit")]}
            ) from error
        except OverflowError:
            result = math.inf
        if not math.isfinite(result) or abs(result) > LARGEST or self._is_out(result):
            raise serializers.ValidationError(
                {
                    "value": [
                        _error(
                            self.error_messages["out_of_range"],
                            "out_of_range",
                            came=f"{value:g} {unit}"
                            if abs(value) < 1e15
                            else "A number this large",
                            limits=self.limits(unit),
                        )
                    ]
                }
            )
        return result

    def _is_out(self, value: float) -> bool:
        below = self.minimum is not None and (
            value <= self.minimum if self.is_open else value < self.minimum - _slack(self.minimum)
        )
        above = self.maximum is not None and value > self.maximum + _slack(self.maximum)
        return below or above

    def limits(self, unit: str) -> str:
        """Say the limits in the unit that came."""
        parts = []
        if self.minimum is not None:
            word = "more than" if self.is_open else "at least"
            parts.append(f"{word} {units.from_si(self.minimum, unit, self.dimension):g} {unit}")
        if self.maximum is not None:
            parts.append(f"at most {units.from_si(self.maximum, unit, self.dimension):g} {unit}")
        return f"it must be {' and '.join(parts)}" if parts else "it must be a plausible number"

    def to_representation(self, value: float) -> Any:
        """Answer in the units that were asked for, full precision."""
        return quantity(value, self.dimension, self.context["units"])


def _slack(limit: float) -> float:
    """A limit typed in another unit must not fail for the last digit of its conversion."""
    return abs(limit) * 1e-12


def _error(template: Any, code: str, **words: Any) -> Any:
    return serializers.ErrorDetail(str(template).format(**words), code=code)


class NumberField(serializers.Field[float, Any, Any, Any]):
    """A plain number without a unit."""

    default_error_messages = {
        "invalid": "A number is due; {came} came.",
        "out_of_range": "{came} is out of range: {limits}.",
    }

    def __init__(
        self, *, minimum: float | None = None, maximum: float | None = None, **options: Any
    ) -> None:
        self.minimum = minimum
        self.maximum = maximum
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> float:
        """Check that it is a number within limits."""
        if not is_number(data):
            self.fail("invalid", came=shown(data))
        if (self.minimum is not None and data < self.minimum) or (
            self.maximum is not None and data > self.maximum
        ):
            limits = f"{self.minimum:g} to {self.maximum:g}"
            self.fail("out_of_range", came=shown(data), limits=limits)
        return float(data)

    def to_representation(self, value: float) -> float:
        """Answer it as it is."""
        return value


class CountField(serializers.Field[int, Any, Any, Any]):
    """A whole number."""

    default_error_messages = {
        "invalid": "A whole number from {minimum} to {maximum} is due; {came} came.",
    }

    def __init__(self, *, minimum: int, maximum: int, **options: Any) -> None:
        self.minimum = minimum
        self.maximum = maximum
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> int:
        """Check that it is a whole number within limits."""
        is_whole = is_number(data) and float(data).is_integer()
        if not is_whole or not self.minimum <= data <= self.maximum:
            self.fail("invalid", came=shown(data), minimum=self.minimum, maximum=self.maximum)
        return int(data)

    def to_representation(self, value: int) -> int:
        """Answer it as it is."""
        return value


class FlagField(serializers.Field[bool, Any, Any, Any]):
    """True or false, and nothing that merely looks like it."""

    default_error_messages = {"invalid": "true or false is due; {came} came."}

    def to_internal_value(self, data: Any) -> bool:
        """Check that it is a boolean."""
        if not isinstance(data, bool):
            self.fail("invalid", came=shown(data))
        return bool(data)

    def to_representation(self, value: bool) -> bool:
        """Answer it as it is."""
        return value


class TextField(serializers.CharField):
    """Text; a number is not taken for one."""

    default_error_messages = {"invalid": "Text is due."}

    def __init__(self, *, max_length: int, **options: Any) -> None:
        super().__init__(max_length=max_length, **options)

    def to_internal_value(self, data: Any) -> str:
        """Check that it is text, and trim it."""
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


def note(*, max_length: int = 200, **options: Any) -> TextField:
    """Return optional text, empty where nothing is given."""
    return TextField(
        max_length=max_length,
        required=False,
        allow_blank=True,
        **options,
    )


class WordField(serializers.ChoiceField):
    """One word of a closed list."""

    default_error_messages = {"invalid_choice": "{input} is not one of {words}."}

    def __init__(self, choices: type[models.TextChoices] | list[str], **options: Any) -> None:
        listed = choices if isinstance(choices, list) else [str(item) for item in choices.values]
        super().__init__(choices=listed, **options)

    def to_internal_value(self, data: Any) -> str:
        """Check that the word is in the list."""
        if not isinstance(data, str) or data not in self.choices:
            words = ", ".join(f"'{word}'" for word in self.choices)
            self.fail("invalid_choice", input=shown(data), words=words)
        return data

    def to_representation(self, value: Any) -> Any:
        """Answer it as it is."""
        return value


class InstantField(serializers.Field[datetime.datetime, Any, Any, Any]):
    """An instant with its offset from UTC (RFC 3339); a time without one could be anything."""

    default_error_messages = {
        "invalid": ("{came} is no instant: write it as 2026-06-03T14:12:00-05:00 (RFC 3339)."),
        "offset": (
            "{came} has no offset from UTC, so it could be any of many instants: "
            "write it as 2026-06-03T14:12:00-05:00, or end it with Z for UTC."
        ),
        "out_of_range": "{came} is not between the years {first} and {last}.",
    }

    def to_internal_value(self, data: Any) -> datetime.datetime:
        """Parse it and return it in UTC."""
        if not isinstance(data, str) or ("T" not in data.upper() and " " not in data):
            self.fail("invalid", came=shown(data))
        try:
            moment = datetime.datetime.fromisoformat(data)
        except ValueError:
            self.fail("invalid", came=shown(data))
        if moment.tzinfo is None:
            self.fail("offset", came=shown(data))
        if not FIRST_YEAR <= moment.year < LAST_YEAR:
            self.fail("out_of_range", came=shown(data), first=FIRST_YEAR, last=LAST_YEAR)
        return moment.astimezone(datetime.UTC)

    def to_representation(self, value: datetime.datetime) -> str:
        """Answer it in UTC."""
        return value.astimezone(datetime.UTC).isoformat().replace("+00:00", "Z")


class DayField(serializers.Field[datetime.date, Any, Any, Any]):
    """A calendar day."""

    default_error_messages = {
        "invalid": "{came} is no day: write it as 2026-06-03.",
        "out_of_range": "{came} is not between the years {first} and {last}.",
    }

    def to_internal_value(self, data: Any) -> datetime.date:
        """Parse a day."""
        if not isinstance(data, str) or len(data) != 10:
            self.fail("invalid", came=shown(data))
        try:
            day = datetime.date.fromisoformat(data)
        except ValueError:
            self.fail("invalid", came=shown(data))
        if not FIRST_YEAR <= day.year < LAST_YEAR:
            self.fail("out_of_range", came=shown(data), first=FIRST_YEAR, last=LAST_YEAR)
        return day

    def to_representation(self, value: datetime.date) -> str:
        """Answer it as year, month and day."""
        return value.isoformat()


class IdField(serializers.Field[UUID, Any, Any, Any]):
    """A UUID, of any version."""

    default_error_messages = {"invalid": "{came} is no UUID."}

    def to_internal_value(self, data: Any) -> UUID:
        """Parse a UUID in its usual form."""
        if not isinstance(data, str) or len(data) != 36:
            self.fail("invalid", came=shown(data))
        try:
            return UUID(data)
        except ValueError:
            self.fail("invalid", came=shown(data))

    def to_representation(self, value: UUID) -> str:
        """Answer it in its usual form."""
        return str(value)


class ReferenceField(IdField):
    """The id of another row; whether it exists is for the action to say."""

    def __init__(self, to: str, **options: Any) -> None:
        self.to = to
        super().__init__(**options)

    def bind(self, field_name: str, parent: Any) -> None:
        """Read and write the column that holds the id."""
        if self.source is None:
            self.source = f"{field_name}_id"
        super().bind(field_name, parent)
