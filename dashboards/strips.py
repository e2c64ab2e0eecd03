"""Strips: the small drawings beside a number, in SVG coordinates from 0 to 100.

One shows where a value lies against its range, the other how a share is made up. Both are
drawn by the server, need no script, and print.
"""

from __future__ import annotations

from dataclasses import dataclass

from airflow_jobs.judged_strip import JudgedStrip, place, strip_of

from .values.shares import Share
from .values.systems import Judged


def judged_strip(judged: Judged, *, low_label: str = "", high_label: str = "") -> JudgedStrip:
    """Return the drawing of a judged value; far outside it stands at the edge."""
    return strip_of(
        value=judged.value,
        low=judged.low,
        high=judged.high,
        target_low=judged.target_low,
        target_high=judged.target_high,
        verdict=judged.verdict,
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
            segments.append(Segment(place(start), place(width), mark))
            start += width
    return ShareStrip(
        segments=tuple(segments),
        low_end=place(100.0 * share.low_end),
        interval_width=place(100.0 * (share.high_end - share.low_end)),
    )


@dataclass(frozen=True, slots=True)
class BarStrip:
    """A bar from zero, such as a share of the variance."""

    kind = "bar"
    width: str
