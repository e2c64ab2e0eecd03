"""Numbers as people read them: in the company's units, rounded by their uncertainty."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from . import units

MINUS: Final = "\N{MINUS SIGN}"

_LABELS: Final = {
    "m2": "m²",
    "ft2": "ft²",
    "m3/s": "m³/s",
    "ft3/min": "ft³/min",
    "inH2O": "inH₂O",
    "degC": "°C",
    "degF": "°F",
    "kg/m3": "kg/m³",
    "lb/ft3": "lb/ft³",
    "(L/s)/kW": "L/s per kW",
    "(ft3/min)/ton": "ft³/min per ton",
    "deg": "°",
}


@dataclass(frozen=True, slots=True)
class Shown:
    """A number with its unit and, where it has one, its interval, as text."""

    number: str
    unit: str
    half_width: str = ""
    low: str = ""
    high: str = ""

    @property
    def plain(self) -> str:
        """The whole, never broken but within the unit."""
        return unbroken(self.number, self.spread or self.unit)

    @property
    def spread(self) -> str:
        """What stands behind the number: half the interval and the unit; or nothing."""
        return unbroken("±", self.half_width, self.unit) if self.half_width else ""


def unbroken(*parts: str) -> str:
    """Return parts, such as a number and its unit, joined by spaces that never break a line."""
    return "\N{NO-BREAK SPACE}".join(part for part in parts if part)


def label(unit: str) -> str:
    """Return a unit as people write it."""
    return _LABELS.get(unit, unit)


def decimals_for(uncertainty: float, digits: int = 2) -> int:
    """Return how many decimals leave `digits` significant digits of an uncertainty.

    Negative for tens and hundreds. Common practice, after JCGM 100:2008, 7.2.6.
    """
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return 6
    exponent = math.floor(math.log10(uncertainty))
    # 0.0996 with two digits is 0.10, which has one decimal more than it needs.
    if round(uncertainty / 10.0**exponent, digits - 1) >= 10:
        exponent += 1
    return digits - 1 - exponent


def write(value: float, decimals: int) -> str:
    """Return a number with so many decimals (negative: rounded to tens, hundreds …)."""
    if not math.isfinite(value):
        return "–"
    exact = Decimal(repr(float(value)))
    rounded = exact.quantize(Decimal(1).scaleb(-decimals))
    text = f"{abs(rounded):,.{max(decimals, 0)}f}"
    return f"{MINUS}{text}" if rounded < 0 else text


def write_significant(value: float, digits: int = 3) -> str:
    """Return a number that has no uncertainty to round by, with so many significant digits."""
    if value == 0:
        return "0"
    return write(value, decimals_for(abs(value), digits))


def percent(share: float | None, decimals: int = 0) -> str:
    """Return a share in percent, never broken before the sign; 100 and 0 only where exactly so."""
    if share is None or not math.isfinite(share):
        return "–"
    step = 10.0**-decimals
    if 0 < share < step / 200:
        return f"<{write(step, decimals)}\N{NO-BREAK SPACE}%"
    if 1 - step / 200 < share < 1:
        return f">{write(100.0 - step, decimals)}\N{NO-BREAK SPACE}%"
    return f"{write(share * 100.0, decimals)}\N{NO-BREAK SPACE}%"


def day_text(day: datetime.date) -> str:
    """Return a day as people write it, the month in letters so that nobody misreads it."""
    return f"{day.day} {day:%b %Y}"


def month_or_quarter(first: datetime.date, step: str) -> str:
    """Return a month, or the quarter or year that begins with it, as people write it."""
    if step == "year":
        return f"{first:%Y}"
    if step == "quarter":
        last = first.replace(month=first.month + 2)
        return f"{first:%b} to {last:%b %Y}"
    return f"{first:%b %Y}"


@dataclass(frozen=True, slots=True)
class Units:
    """The company's units: `si` or `ip`."""

    system: str

    def name(self, dimension: units.Dimension) -> str:
        """Return the unit of a dimension as people write it."""
        return label(dimension.answer_unit(self.system))

    def number(self, value_si: float, dimension: units.Dimension) -> float:
        """Return a plain SI number in the company's unit, unrounded."""
        return units.from_si(value_si, dimension.answer_unit(self.system), dimension)

    def numbers(
        self, values_si: tuple[float | None, ...], dimension: units.Dimension
    ) -> tuple[float | None, ...]:
        """Return plain SI numbers in the company's unit, unrounded."""
        return tuple(
            None if value is None else self.number(value, dimension) for value in values_si
        )

    def write_alike(
        self,
        value_si: float | None,
        dimension: units.Dimension,
        *,
        half_width_si: float | None,
    ) -> str:
        """Return a number rounded as one beside it, whose interval has that half-width."""
        if value_si is None:
            return "–"
        value = self.number(value_si, dimension)
        if half_width_si is None or half_width_si <= 0:
            return write_significant(value)
        scale = self.number(half_width_si, dimension) - self.number(0.0, dimension)
        return write(value, decimals_for(scale))

    def show(
        self,
        value_si: float | None,
        dimension: units.Dimension,
        *,
        low_si: float | None = None,
        high_si: float | None = None,
        digits: int = 3,
    ) -> Shown | None:
        """Return a quantity as text, or nothing where there is none.

        Parameters
        ----------
        value_si
            The value in the unit inside.
        dimension
            What kind of quantity it is.
        low_si, high_si
            Its 95 % interval; the number is rounded to two digits of the half-width.
        digits
            Significant digits where there is no interval.
        """
        if value_si is None:
            return None
        value = self.number(value_si, dimension)
        unit = self.name(dimension)
        if low_si is None or high_si is None or not high_si > low_si:
            return Shown(write_significant(value, digits), unit)
        low, high = self.number(low_si, dimension), self.number(high_si, dimension)
        half = (high - low) / 2.0
        places = decimals_for(half)
        return Shown(
            write(value, places),
            unit,
            half_width=write(half, places),
            low=write(low, places),
            high=write(high, places),
        )
