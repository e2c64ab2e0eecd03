"""A system's flow over time, against its target range."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import plotly.graph_objects as go

from ..values.systems import AdjustmentMade, Judged, Measurement, Trend
from .look import BAND, INK, LINE, SOFT, VERDICT_COLOURS, VERDICT_MARKS, as_data, figure

STAGES: Final = (
    ("as_found", "As found", "circle"),
    ("as_left", "As left", "square"),
    ("check", "Check", "diamond"),
)
VERDICT_WORDS: Final = {
    "low": "low",
    "high": "high",
    "in_range": "in range",
    "undecided": "too close to call",
}


@dataclass(frozen=True, slots=True)
class Scale:
    """How judged values become numbers on the axis."""

    title: str
    number: Callable[[Judged, float], float]
    """Converts one of a judged value's SI numbers."""


def flow_over_time(
    measurements: Sequence[Measurement],
    adjustments: Sequence[AdjustmentMade],
    trend: Trend | None,
    *,
    call: str,
    scale: Scale,
    trend_number: Callable[[float], float],
) -> dict[str, Any]:
    """Return the judged measurements with intervals, target band, adjustments and trend.

    Shapes tell the stages apart; colours and the marks beside the points tell the verdicts.
    Measurements under another call have a cross in their shape: their band may be another one.
    """
    made = figure(height=420)
    judged = [one for one in measurements if one.judged is not None]
    _add_band(made, [one for one in judged if one.call == call], scale)
    for stage, name, symbol in STAGES:
        of_stage = [one for one in judged if one.stage == stage]
        same = [one for one in of_stage if one.call == call]
        other = [one for one in of_stage if one.call != call]
        _add_points(made, same, name, f"{symbol}-open" if stage == "as_found" else symbol, scale)
        _add_points(made, other, f"{name}, another call", f"{symbol}-cross-open", scale)
    if trend is not None and trend.is_certain and judged:
        _add_trend(made, trend, judged[-1].taken_at, trend_number)
    for one in adjustments:
        made.add_vline(
            x=_day(one.made_at), line={"color": LINE, "width": 1, "dash": "dot"}, layer="below"
        )
    if adjustments and judged:
        top = 1.0
        made.add_trace(
            go.Scatter(
                x=[_day(one.made_at) for one in adjustments],
                y=[top] * len(adjustments),
                yaxis="y2",
                name="Adjustment",
                mode="markers",
                marker={"symbol": "line-ns-open", "size": 10, "color": SOFT},
                customdata=[[_change(one)] for one in adjustments],
                hovertemplate="%{x|%d %b %Y}<br>%{customdata[0]}<extra></extra>",
            )
        )
    made.update_layout(
        yaxis2={"overlaying": "y", "range": [0, 1.02], "visible": False, "fixedrange": True}
    )
    made.update_layout(yaxis={"title": {"text": scale.title}})
    made.update_xaxes(type="date", tickformat="%b\n%Y", nticks=8)
    return as_data(made)


def _add_band(made: go.Figure, judged: Sequence[Measurement], scale: Scale) -> None:
    """Draw the target range as steps: what was the target at each measurement holds from there."""
    if not judged:
        return
    days = [_day(one.taken_at) for one in judged]
    span = max((judged[-1].taken_at - judged[0].taken_at).days, 30)
    days = [
        _day(judged[0].taken_at - datetime.timedelta(days=span * 0.03)),
        *days,
        _day(judged[-1].taken_at + datetime.timedelta(days=span * 0.08)),
    ]
    kept = [one.judged for one in judged if one.judged is not None]
    kept = [kept[0], *kept, kept[-1]]
    common = {
        "x": days,
        "mode": "lines",
        "line": {"width": 0, "shape": "hv", "color": BAND},
        "hoverinfo": "skip",
    }
    made.add_trace(
        go.Scatter(y=[scale.number(j, j.target_low) for j in kept], showlegend=False, **common)
    )
    made.add_trace(
        go.Scatter(
            y=[scale.number(j, j.target_high) for j in kept],
            name="Target range",
            fill="tonexty",
            fillcolor=BAND,
            **common,
        )
    )
    made.add_trace(
        go.Scatter(
            x=days,
            y=[scale.number(j, j.target_nominal) for j in kept],
            name="Nominal",
            mode="lines",
            line={"width": 1, "shape": "hv", "color": SOFT},
            hoverinfo="skip",
            showlegend=False,
        )
    )


def _add_points(
    made: go.Figure, points: Sequence[Measurement], name: str, symbol: str, scale: Scale
) -> None:
    kept = [(one, one.judged) for one in points if one.judged is not None]
    if not kept:
        return
    value = [scale.number(j, j.value) for _, j in kept]
    colours = [VERDICT_COLOURS.get(one.verdict, SOFT) for one, _ in kept]
    # The legend names the stage, which has no colour; the points' own entry would have the first's.
    made.add_trace(
        go.Scatter(
            x=[None],
            y=[None],
            name=name,
            mode="markers",
            marker={"symbol": symbol, "size": 11, "color": INK, "line": {"color": INK, "width": 2}},
        )
    )
    made.add_trace(
        go.Scatter(
            x=[_day(one.taken_at) for one, _ in kept],
            y=value,
            name=name,
            showlegend=False,
            mode="markers+text",
            text=[VERDICT_MARKS.get(one.verdict, "") for one, _ in kept],
            textposition="middle right",
            textfont={"color": colours, "size": 10},
            marker={
                "symbol": symbol,
                "size": 11,
                "color": colours,
                "line": {"color": colours, "width": 2},
            },
            error_y={
                "type": "data",
                "symmetric": False,
                "array": [
                    scale.number(j, j.high) - v for (_, j), v in zip(kept, value, strict=True)
                ],
                "arrayminus": [
                    v - scale.number(j, j.low) for (_, j), v in zip(kept, value, strict=True)
                ],
                "color": SOFT,
                "thickness": 1.2,
                "width": 0,
            },
            customdata=[[VERDICT_WORDS.get(one.verdict, "")] for one, _ in kept],
            hovertemplate=(
                f"%{{x|%d %b %Y}}, {name.lower()}<br>%{{y:.4g}}, %{{customdata[0]}}<extra></extra>"
            ),
        )
    )


def _add_trend(
    made: go.Figure,
    trend: Trend,
    last_at: datetime.datetime,
    number: Callable[[float], float],
) -> None:
    end = last_at + datetime.timedelta(days=180)
    if trend.leaves_on is not None:
        leaving = datetime.datetime.combine(trend.leaves_on, datetime.time(), tzinfo=last_at.tzinfo)
        end = min(max(end, leaving), last_at + datetime.timedelta(days=730))
    made.add_trace(
        go.Scatter(
            x=[_day(trend.since), _day(end)],
            y=[number(_value_at(trend, at)) for at in (trend.since, end)],
            name="Trend between adjustments",
            mode="lines",
            line={"color": INK, "width": 1.5, "dash": "dash"},
            hoverinfo="skip",
        )
    )


def _value_at(trend: Trend, at: datetime.datetime) -> float:
    years = (at - trend.centre_at).total_seconds() / (365.25 * 86400.0)
    return float(trend.centre_value * (1.0 + trend.per_year) ** years)


def _change(one: AdjustmentMade) -> str:
    if one.from_value or one.to_value:
        return f"{one.kind}: {one.from_value or '?'} to {one.to_value or '?'}"
    return one.kind


def _day(at: datetime.datetime) -> str:
    # Without its zone, which the browser would replace with the reader's own.
    return at.replace(tzinfo=None).isoformat(timespec="minutes")
