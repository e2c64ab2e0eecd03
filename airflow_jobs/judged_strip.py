"""The small drawing of a value with its interval against its target range; 0 to 100 across.

Pages draw it in SVG, documents on paper; where everything stands is worked out here, once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

# The drawing spans a little more than a range's width to either side of the range.
_LEFT: Final = -1.1
_RIGHT: Final = 2.1
_INSIDE: Final = 2.5


@dataclass(frozen=True, slots=True)
class JudgedStrip:
    """A value with its interval against the target range."""

    kind = "judged"
    band_start: str
    band_width: str
    band_end: str
    interval_start: str
    interval_width: str
    value: str
    mark: str
    low_label: str = ""
    high_label: str = ""
    """The limits in words, where the drawing is large enough for them."""


def strip_of(
    *,
    value: float,
    low: float,
    high: float,
    target_low: float,
    target_high: float,
    verdict: str,
    low_label: str = "",
    high_label: str = "",
) -> JudgedStrip:
    """Return the drawing of a judged value; far outside it stands at the edge.

    Parameters
    ----------
    value, low, high
        The value and the ends of its interval.
    target_low, target_high
        The limits, in the unit of the value.
    verdict
        Which mark the value gets.
    low_label, high_label
        The limits in words, if they are to stand under the band.
    """
    width = target_high - target_low

    def x(number: float) -> float:
        position = (number - target_low) / width
        return min(max((position - _LEFT) / (_RIGHT - _LEFT), 0.0), 1.0) * 100.0

    # A mark has a width of its own: it stands inside the edge, and its interval ends with it.
    at = min(max(x(value), _INSIDE), 100.0 - _INSIDE)
    start, end = x(low), x(high)
    if at != x(value):
        start, end = (min(max(side, _INSIDE), 100.0 - _INSIDE) for side in (start, end))
    return JudgedStrip(
        band_start=place(x(target_low)),
        band_width=place(x(target_high) - x(target_low)),
        band_end=place(x(target_high)),
        interval_start=place(start),
        interval_width=place(max(end - start, 0.5)),
        value=place(at),
        mark=verdict,
        low_label=low_label,
        high_label=high_label,
    )


def place(number: float) -> str:
    """Return a coordinate as text.

    Written here: a template would write the decimal sign of a locale.
    """
    return f"{number:.2f}"
