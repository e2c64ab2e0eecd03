"""Quantities as somebody typed them: the number, its unit, and what it is in SI."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from airflow_jobs import units
from airflow_jobs.units import Dimension

# How the columns of the record name the unit inside.
COLUMN_ENDINGS: Final = (
    "_m3_s_per_w",
    "_kg_m3",
    "_m3_s",
    "_m_s",
    "_m2",
    "_pa",
    "_w",
    "_c",
    "_m",
    "_s",
)


# Columns that clients know under two keys.
IN_GROUPS: Final = {
    "accuracy_relative": ("accuracy", "relative"),
    "accuracy_absolute_m_s": ("accuracy", "absolute"),
    "range_low_m_s": ("range", "low"),
    "range_high_m_s": ("range", "high"),
}


@dataclass(frozen=True, slots=True)
class Typed:
    """One quantity as typed."""

    value: float
    unit: str
    dimension: Dimension

    @property
    def si(self) -> float:
        """The value in the unit inside."""
        return units.to_si(self.value, self.unit, self.dimension)

    def as_json(self) -> dict[str, Any]:
        """Return what a client sends."""
        return {"value": self.value, "unit": self.unit}


def read_off(value_si: float, unit: str, dimension: Dimension, step: float) -> Typed:
    """Return a value in SI as somebody reads it off a scale with this step.

    Parameters
    ----------
    value_si
        The value in the unit inside.
    unit
        One of the dimension's spellings.
    dimension
        What kind of quantity it is.
    step
        The scale's step, in `unit`, above 0.

    Returns
    -------
    Typed
    """
    return Typed(on_scale(units.from_si(value_si, unit, dimension), step), unit, dimension)


def on_scale(value: float, step: float) -> float:
    """Return the mark of a scale that is nearest to a value, free of binary dust."""
    marks = round(value / step)
    rounded = round(marks * step, 10)
    return int(rounded) if rounded == int(rounded) else rounded


def columns(**quantities: Typed | None) -> dict[str, Any]:
    """Return the SI columns of a row and, beside them, what was typed.

    Parameters
    ----------
    **quantities
        Column name, unit ending included, to quantity; None for what was not given.

    Returns
    -------
    dict
        Column values, and `as_sent` with the field names that clients use.
    """
    values: dict[str, Any] = {}
    as_sent: dict[str, Any] = {}
    for column, quantity in quantities.items():
        values[column] = None if quantity is None else quantity.si
        if quantity is None:
            continue
        if column in IN_GROUPS:
            group, name = IN_GROUPS[column]
            as_sent.setdefault(group, {})[name] = quantity.as_json()
        else:
            as_sent[_field_name(column)] = quantity.as_json()
    return {**values, "as_sent": as_sent}


def _field_name(column: str) -> str:
    for ending in COLUMN_ENDINGS:
        if column.endswith(ending):
            return column.removesuffix(ending)
    return column
