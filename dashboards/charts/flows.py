"""How flows are distributed: what was found above what was left, on one axis."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import plotly.graph_objects as go

from ..values.flows import Bin, Distribution, Spread
from .look import BAND, INK, PAPER, SOFT, as_data, figure

HEIGHT: Final = 420
# What each stage has of the height, what was found above.
PANELS: Final = {"found": (0.55, 1.0), "left": (0.0, 0.45)}


@dataclass(frozen=True, slots=True)
class Scale:
    """How values become numbers and words on the axis."""

    title: str
    number: Callable[[float], float]
    written: Callable[[float], str]
    """A limit of a column."""
    median: Callable[[float], str]
    band: tuple[float, float] | None
    """The range, in the values' own unit."""
    band_name: str
    ticks: tuple[tuple[float, str], ...] = ()
    """Where the axis is marked, and with what; empty for numbers at even distances."""


def flows_found_and_left(distribution: Distribution, scale: Scale) -> dict[str, Any]:
    """Return the columns of both stages, the range behind them and their medians.

    What was found is an outline, what was left is filled: the two can be told apart without
    colour. Each has its own panel, so that they are never mixed; the numbers of jobs are on one
    scale.
    """
    made = figure(height=HEIGHT)
    shown = distribution.bins
    made.update_yaxes(domain=PANELS["found"], title={"text": "Jobs"})
    made.update_layout(
        yaxis2={
            **made.layout.yaxis.to_plotly_json(),
            "domain": PANELS["left"],
            "anchor": "x",
        },
        xaxis={"anchor": "y2", "title": {"text": scale.title}},
        bargap=0.0,
    )
    most = max((max(one.found, one.left) for one in shown), default=1)
    made.update_layout(
        yaxis={"range": [0, most * 1.18], "rangemode": "tozero"},
        yaxis2={"range": [0, most * 1.18], "rangemode": "tozero"},
    )
    if scale.band is not None:
        _add_band(made, scale)
    _add_columns(made, distribution, scale, stage="found")
    _add_columns(made, distribution, scale, stage="left")
    start, end = _extent(distribution)
    for stage, spread in (("found", distribution.found), ("left", distribution.left)):
        if spread is not None:
            # Written towards the middle, so that a narrow screen cuts nothing off.
            is_right = spread.middle > 0.5 * (start + end)
            _add_median(made, spread, scale, stage=stage, is_right=is_right)
    if scale.ticks:
        made.update_xaxes(
            tickvals=[scale.number(at) for at, _ in scale.ticks],
            ticktext=[text for _, text in scale.ticks],
        )
    margin = 0.15 * distribution.width
    made.update_xaxes(range=[scale.number(start - margin), scale.number(end + margin)])
    return as_data(made)


def _add_band(made: go.Figure, scale: Scale) -> None:
    assert scale.band is not None
    low, high = scale.band
    made.add_shape(
        type="rect",
        x0=scale.number(low),
        x1=scale.number(high),
        y0=0,
        y1=1,
        yref="paper",
        layer="below",
        line={"width": 0},
        fillcolor=BAND,
        name=scale.band_name,
        showlegend=True,
    )


def _add_columns(made: go.Figure, distribution: Distribution, scale: Scale, *, stage: str) -> None:
    is_found = stage == "found"
    name = "As found" if is_found else "As left"
    places = [_place(one, distribution.width) for one in distribution.bins]
    counts = [one.found if is_found else one.left for one in distribution.bins]
    made.add_trace(
        go.Bar(
            x=[scale.number(at) for at in places],
            y=counts,
            width=[0.92 * (scale.number(distribution.width) - scale.number(0.0))] * len(places),
            name=name,
            yaxis="y" if is_found else "y2",
            marker={
                "color": PAPER if is_found else SOFT,
                "line": {"color": INK, "width": 1.5 if is_found else 0},
            },
            customdata=[[bin_text(one, scale.written)] for one in distribution.bins],
            hovertemplate=f"%{{customdata[0]}}<br>%{{y}} {name.lower()}<extra></extra>",
        )
    )


def _add_median(
    made: go.Figure, spread: Spread, scale: Scale, *, stage: str, is_right: bool
) -> None:
    bottom, top = PANELS[stage]
    at = scale.number(spread.middle)
    made.add_shape(
        type="line",
        x0=at,
        x1=at,
        y0=bottom,
        y1=top,
        yref="paper",
        line={"color": INK, "width": 2.5, "dash": "dot"},
    )
    made.add_annotation(
        x=at,
        y=top,
        yref="paper",
        xanchor="right" if is_right else "left",
        yanchor="top",
        xshift=-4 if is_right else 4,
        showarrow=False,
        bgcolor=PAPER,
        text=f"Median {stage}: {scale.median(spread.middle)}",
        font={"size": 12},
    )


def bin_text(one: Bin, written: Callable[[float], str]) -> str:
    """Return a column's limits in words."""
    if one.start is None:
        assert one.end is not None
        return f"under {written(one.end)}"
    if one.end is None:
        return f"{written(one.start)} and over"
    return f"{written(one.start)} to {written(one.end)}"


def _place(one: Bin, width: float) -> float:
    """Return the middle of a column; an open one stands beside its neighbour."""
    if one.start is None:
        assert one.end is not None
        return one.end - 0.5 * width
    return one.start + 0.5 * width


def _extent(distribution: Distribution) -> tuple[float, float]:
    places = [_place(one, distribution.width) for one in distribution.bins]
    return min(places) - 0.5 * distribution.width, max(places) + 0.5 * distribution.width
