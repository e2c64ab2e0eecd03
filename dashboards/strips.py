"""Strips: the small drawings beside a number, in SVG coordinates from 0 to 100.

One shows where a value lies against its range, the other how a share is made up. Both are
drawn by the server, need no script, and print.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from .values.shares import Share
from .values.systems import Judged

# The drawing spans a little more than a range's width to either side of the range.
_LEFT: Final = -1.1
_RIGHT: Final = 2.1


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


def judged_strip(judged: Judged, *, low_label: str = "", high_label: str = "") -> JudgedStrip:
    """Return the drawing of a judged value; far outside it stands at the edge."""
    width = judged.target_high - judged.target_low

    def x(value: float) -> float:
        position = (value - judged.target_low) / width
        return min(max((position - _LEFT) / (_RIGHT - _LEFT), 0.0), 1.0) * 100.0

    low, high = x(judged.low), x(judged.high)
    return JudgedStrip(
        band_start=_text(x(judged.target_low)),
        band_width=_text(x(judged.target_high) - x(judged.target_low)),
        band_end=_text(x(judged.target_high)),
        interval_start=_text(low),
        interval_width=_text(max(high - low, 0.5)),
        value=_text(min(max(x(judged.value), 2.5), 97.5)),
        mark=judged.verdict,
        low_label=low_label,
        high_label=high_label,
    )


@dataclass(frozen=True, slots=True)
class Segment:
    """One piece of a share's bar."""

    start: str
    width: str
    mark: str
    """`in_range`, `low` or `high`, with `-undecided` where the interval straddles a limit."""


@dataclass(frozen=True, slots=True)
class ShareStrip:
    """What a share is made of, and the interval of the part in range."""

    kind = "share"
    segments: tuple[Segment, ...]
    low_end: str
    interval_width: str


def share_strip(share: Share) -> ShareStrip | None:
    """Return the drawing of a share; none where there are no jobs."""
    if not share.total:
        return None
    parts = (
        ("in_range", share.inside - share.inside_undecided),
        ("in_range-undecided", share.inside_undecided),
        ("low-undecided", share.below_undecided),
        ("low", share.below - share.below_undecided),
        ("high-undecided", share.above_undecided),
        ("high", share.above - share.above_undecided),
    )
    segments = []
    start = 0.0
    for mark, count in parts:
        if count:
            width = 100.0 * count / share.total
            segments.append(Segment(_text(start), _text(width), mark))
            start += width
    return ShareStrip(
        segments=tuple(segments),
        low_end=_text(100.0 * share.low_end),
        interval_width=_text(100.0 * (share.high_end - share.low_end)),
    )


def _text(value: float) -> str:
    # Written here: a template would write the decimal sign of a locale.
    return f"{value:.2f}"


@dataclass(frozen=True, slots=True)
class BarStrip:
    """A bar from zero, such as a share of the variance."""

    kind = "bar"
    width: str
