"""Quantities with units to SI and back, by pint; imported only at the edge.

The accepted spellings are a closed list: a unit that is not in it is refused with the list of
those that are. Conversion factors come from pint once, when this module is imported, so that a
conversion afterwards is one multiplication (and, for temperatures, one addition).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import pint

# Pint's definitions follow NIST SP 811 (2008). Two are set here because the trade means one of
# several: the conventional inch of water (1000 kg/m3 and standard gravity: 249.08891 Pa) and the
# ton of refrigeration (12,000 Btu an hour with the International Table Btu, 1055.05585262 J).
_REGISTRY: Final[pint.UnitRegistry[Any]] = pint.UnitRegistry()
_REGISTRY.define("inch_of_water_conventional = 25.4e-3 * 1000 * 9.80665 * pascal")
_REGISTRY.define("btu_it = 1055.05585262 * joule")
_REGISTRY.define("ton_of_cooling = 12000 * btu_it / hour")
# One inch of mercury is at 0 degC: density 13 595.1 kg/m3, standard gravity (NIST SP 811, App. B).
_REGISTRY.define("horsepower_mechanical = 550 * foot * pound_force / second")
_REGISTRY.define("inch_of_mercury_0c = 25.4e-3 * 13595.1 * 9.80665 * pascal")


class UnitError(ValueError):
    """A unit or a dimension that does not fit; the message names what is possible."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One accepted spelling: value in SI = value * factor + offset."""

    name: str
    factor: float
    offset: float = 0.0


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of quantity: its accepted units, the SI unit inside, and the two answer units."""

    name: str
    internal: str
    units: dict[str, Unit]
    si: str
    ip: str

    def answer_unit(self, system: str) -> str:
        """Return the unit in which this dimension is answered in `si` or `ip`."""
        return self.si if system == "si" else self.ip


def _unit(name: str, expression: str, internal: str) -> Unit:
    """Ask pint for factor and offset of one unit against the unit inside."""
    zero = float(_REGISTRY.Quantity(0.0, expression).to(internal).magnitude)
    if expression == "kelvin" and zero != 0.0:
        step = 1.0
    elif expression.startswith("deg") and internal == "degC":
        step = float(_REGISTRY.Quantity(1.0, f"delta_{expression}").to("kelvin").magnitude)
    else:
        step = float(_REGISTRY.Quantity(1.0, expression).to(internal).magnitude)
    return Unit(name, step, zero)


def _table(name: str, internal: str, si: str, ip: str, *lines: str) -> Dimension:
    """Build a dimension from lines `spelling := pint expression`."""
    units = {
        spelling: _unit(spelling, expression, internal)
        for spelling, expression in (line.split(" := ") for line in lines)
    }
    return Dimension(name, internal, units, si, ip)


VELOCITY: Final = _table(
    "velocity",
    "m/s",
    "m/s",
    "ft/min",
    "m/s := meter/second",
    "ft/min := foot/minute",
    "km/h := kilometer/hour",
    "mi/h := mile/hour",
)
PRESSURE: Final = _table(
    "pressure",
    "pascal",
    "Pa",
    "inH2O",
    "Pa := pascal",
    "inH2O := inch_of_water_conventional",
)
BAROMETRIC_PRESSURE: Final = _table(
    "barometric pressure",
    "pascal",
    "kPa",
    "inHg",
    "kPa := kilopascal",
    "hPa := hectopascal",
    "Pa := pascal",
    "inHg := inch_of_mercury_0c",
)
TEMPERATURE: Final = _table(
    "temperature",
    "degC",
    "degC",
    "degF",
    "degC := degC",
    "degF := degF",
    "K := kelvin",
)
TEMPERATURE_DIFFERENCE: Final = _table(
    "temperature difference",
    "kelvin",
    "K",
    "degF",
    "K := kelvin",
    "degF := delta_degF",
)
LENGTH: Final = _table(
    "length",
    "meter",
    "m",
    "in",
    "mm := millimeter",
    "cm := centimeter",
    "m := meter",
    "in := inch",
    "ft := foot",
)
ELEVATION: Final = _table("elevation", "meter", "m", "ft", "m := meter", "ft := foot")
AREA: Final = _table("area", "meter**2", "m2", "ft2", "m2 := meter**2", "ft2 := foot**2")
FLOW: Final = _table(
    "flow",
    "meter**3/second",
    "m3/s",
    "ft3/min",
    "m3/s := meter**3/second",
    "m3/h := meter**3/hour",
    "L/s := liter/second",
    "ft3/min := foot**3/minute",
)
CAPACITY: Final = _table(
    "capacity",
    "watt",
    "kW",
    "ton",
    "kW := kilowatt",
    "Btu/h := btu_it/hour",
    "ton := ton_of_cooling",
)
HEAT: Final = _table(
    "heat",
    "watt",
    "kW",
    "Btu/h",
    "kW := kilowatt",
    "Btu/h := btu_it/hour",
    "ton := ton_of_cooling",
)
ELECTRIC_POWER: Final = _table(
    "electric power",
    "watt",
    "W",
    "W",
    "W := watt",
    "kW := kilowatt",
    "hp := horsepower_mechanical",
)
FLOW_PER_CAPACITY: Final = _table(
    "flow per capacity",
    "meter**3/second/watt",
    "(L/s)/kW",
    "(ft3/min)/ton",
    "(L/s)/kW := liter/second/kilowatt",
    "(ft3/min)/ton := foot**3/minute/ton_of_cooling",
)
DENSITY: Final = _table(
    "density",
    "kilogram/meter**3",
    "kg/m3",
    "lb/ft3",
    "kg/m3 := kilogram/meter**3",
    "lb/ft3 := pound/foot**3",
)
MASS_FLOW: Final = _table(
    "mass flow",
    "kilogram/second",
    "kg/s",
    "lb/h",
    "kg/s := kilogram/second",
    "lb/h := pound/hour",
)
ROTATION: Final = _table("rotation", "rpm", "rpm", "rpm", "rpm := rpm")
TIME: Final = _table("time", "second", "s", "s", "s := second")
ANGLE: Final = _table("angle", "degree", "deg", "deg", "deg := degree")
RATIO: Final = _table(
    "ratio",
    "dimensionless",
    "1",
    "%",
    "% := percent",
    "1 := dimensionless",
)

DIMENSIONS: Final[tuple[Dimension, ...]] = (
    VELOCITY,
    PRESSURE,
    BAROMETRIC_PRESSURE,
    TEMPERATURE,
    TEMPERATURE_DIFFERENCE,
    LENGTH,
    ELEVATION,
    AREA,
    FLOW,
    CAPACITY,
    HEAT,
    ELECTRIC_POWER,
    FLOW_PER_CAPACITY,
    DENSITY,
    MASS_FLOW,
    ROTATION,
    TIME,
    ANGLE,
    RATIO,
)


def _refusal(dimension: Dimension, unit: str) -> str:
    possible = ", ".join(f"'{name}'" for name in dimension.units)
    others = [other.name for other in DIMENSIONS if unit in other.units]
    if others:
        return (
            f"'{unit}' is a unit of {' or '.join(others)}, but a {dimension.name} is due here: "
            f"give one of {possible}."
        )
    return f"'{unit}' is not a unit of {dimension.name} known here: give one of {possible}."


def to_si(value: float, unit: str, dimension: Dimension) -> float:
    """Convert a value with an accepted unit to the unit inside.

    Parameters
    ----------
    value
        The number as typed.
    unit
        One of the dimension's spellings.
    dimension
        What kind of quantity is due.

    Raises
    ------
    UnitError
        The unit is unknown, or belongs to another dimension; the message says which would do.
    """
    found = dimension.units.get(unit)
    if found is None:
        raise UnitError(_refusal(dimension, unit))
    return value * found.factor + found.offset


def from_si(value: float, unit: str, dimension: Dimension) -> float:
    """Convert a value in the unit inside to one of the accepted units (the inverse of `to_si`)."""
    found = dimension.units.get(unit)
    if found is None:
        raise UnitError(_refusal(dimension, unit))
    return (value - found.offset) / found.factor


def quantity(value: float | None, dimension: Dimension, system: str) -> dict[str, object] | None:
    """Return `{"value", "unit"}` in the answer unit of `si` or `ip`, or None for None."""
    if value is None:
        return None
    unit = dimension.answer_unit(system)
    return {"value": from_si(value, unit, dimension), "unit": unit}
