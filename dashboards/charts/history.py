"""A system's flow over time, against its target range."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import plotly.graph_objects as go

from ..values.systems import (
    CallHistory,
    HistoryEvent,
    Judged,
    LevelChange,
    Measurement,
    Trend,
)
from .look import BAND, INK, LINE, PAPER, SOFT, VERDICT_COLOURS, VERDICT_MARKS, as_data, figure

STAGES: Final = (
    ("as_found", "As found", "circle"),
    ("as_left", "As left", "square"),
    ("check", "Check", "diamond"),
)
# Kinds of event, the name of their lane, the shape in it; the first lies on top.
LANES: Final = (
    ("visit", "Visit", "line-ns-open"),
    ("adjustment", "Adjusted", "triangle-up"),
    ("meter", "Meter changed", "x-thin-open"),
    ("calibration", "Calibrated", "star"),
    ("correction", "Corrected", "hash-open"),
)
LANE_HEIGHT: Final = 22
MOST_POINTS: Final = 180
FURTHEST: Final = datetime.timedelta(days=730)
"""How far ahead of the last measurement a trend is drawn."""
IN_DOUBT: Final = "?"
"""Stands at what rests on a meter that was found off later."""
VERDICT_WORDS: Final = {
    "low": "low",
    "high": "high",
    "in_range": "in range",
    "undecided": "too close to call",
}
HANGS_ON_BASIS: Final = "the target's basis decides"


@dataclass(frozen=True, slots=True)
class Scale:
    """How judged values become numbers on the axis."""

    title: str
    number: Callable[[Judged, float], float]
    """Converts one of a judged value's SI numbers."""


def flow_over_time(
    history: CallHistory,
    events: Sequence[HistoryEvent],
    *,
    scale: Scale,
    trend_number: Callable[[float], float],
) -> dict[str, Any]:
    """Return one call's judged measurements, and what happened beside them on the same axis.

    Shapes tell the stages apart, colours the verdicts; where a point lies against the band says
    the same without colour. Below, each kind of event has a lane with its name and a shape.
    """
    drawn = thinned(history.measurements)
    lanes = [lane for lane in LANES if any(one.kind == lane[0] for one in events)]
    made = figure(height=400 + LANE_HEIGHT * len(lanes))
    _add_band(made, drawn, scale)
    for stage, name, symbol in STAGES:
        of_stage = [one for one in drawn if one.stage == stage]
        _add_points(
            made, of_stage, name, f"{symbol}-open" if stage == "as_found" else symbol, scale
        )
    if history.trend is not None and history.trend.is_certain and history.measurements:
        _add_trend(made, history.trend, history.measurements[-1], trend_number, scale)
    for change in history.changes:
        _add_change(made, change, scale)
    made.update_layout(yaxis={"title": {"text": scale.title}})
    _add_lanes(made, lanes, events)
    made.update_xaxes(type="date", tickformat="%b\n%Y", nticks=8)
    return as_data(made)


def thinned(measurements: Sequence[Measurement]) -> list[Measurement]:
    """Return what is drawn of a long history: of each stage and stretch of time the two extremes.

    A drawing of a thousand points hides what matters; the lowest and the highest show how far
    it went. Up to `MOST_POINTS` all are drawn.
    """
    if len(measurements) <= MOST_POINTS:
        return list(measurements)
    first, last = measurements[0].taken_at, measurements[-1].taken_at
    span = (last - first) / (MOST_POINTS // (2 * len(STAGES)))
    kept: dict[tuple[str, int], list[Measurement]] = {}
    for one in measurements:
        number = int((one.taken_at - first) / span) if span else 0
        kept.setdefault((one.stage, number), []).append(one)
    chosen: dict[int, Measurement] = {}
    for group in kept.values():
        for one in (min(group, key=_value), max(group, key=_value)):
            chosen[id(one)] = one
    return [one for one in measurements if id(one) in chosen]


def _value(one: Measurement) -> float:
    return one.judged.value if one.judged is not None else 0.0


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
            text=[
                VERDICT_MARKS.get(one.verdict, "") + (IN_DOUBT if one.in_doubt else "")
                for one, _ in kept
            ],
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
            customdata=[[_hover_words(one, judged)] for one, judged in kept],
            hovertemplate=(
                f"%{{x|%d %b %Y}}, {name.lower()}<br>%{{y:.4g}}, %{{customdata[0]}}<extra></extra>"
            ),
        )
    )


def _verdict_words(judged: Judged) -> str:
    return HANGS_ON_BASIS if judged.hangs_on_basis else VERDICT_WORDS.get(judged.verdict, "")


def _hover_words(one: Measurement, judged: Judged) -> str:
    verdict = _verdict_words(judged)
    return f"{verdict}; its meter was found off later" if one.in_doubt else verdict


def _add_trend(
    made: go.Figure,
    trend: Trend,
    last: Measurement,
    number: Callable[[float], float],
    scale: Scale,
) -> None:
    end = last.taken_at + datetime.timedelta(days=180)
    if trend.leaves_on is not None:
        end = min(max(end, _noon(trend.leaves_on, last)), last.taken_at + FURTHEST)
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
    judged = last.judged
    if judged is None or trend.leaves_on is None or trend.leaves_on < last.taken_at.date():
        return
    limit = judged.target_low if trend.per_year < 0 else judged.target_high
    furthest = last.taken_at + FURTHEST
    earliest = max(_noon(trend.leaves_earliest_on or trend.leaves_on, last), last.taken_at)
    latest = furthest
    if trend.leaves_latest_on is not None:
        latest = min(_noon(trend.leaves_latest_on, last), furthest)
    made.add_trace(
        go.Scatter(
            x=[_day(min(earliest, furthest)), _day(latest)],
            y=[scale.number(judged, limit)] * 2,
            name="Leaves the range, earliest to latest",
            mode="lines+markers",
            line={"color": INK, "width": 3},
            marker={"symbol": "line-ns-open", "size": 12, "color": INK},
            hovertemplate="%{x|%d %b %Y}<extra></extra>",
        )
    )


def _noon(day: datetime.date, like: Measurement) -> datetime.datetime:
    return datetime.datetime.combine(day, datetime.time(12), tzinfo=like.taken_at.tzinfo)


def _add_change(made: go.Figure, change: LevelChange, scale: Scale) -> None:
    """Draw where the level changed: a bracket between two measurements, its size in words."""
    before, after = change.before, change.after
    if before.judged is None or after.judged is None:
        return
    ends = [
        scale.number(before.judged, before.judged.value),
        scale.number(after.judged, after.judged.value),
    ]
    middle = before.taken_at + (after.taken_at - before.taken_at) / 2
    made.add_trace(
        go.Scatter(
            x=[_day(before.taken_at), _day(middle), _day(middle), _day(after.taken_at)],
            y=[ends[0], ends[0], ends[1], ends[1]],
            mode="lines",
            name="Step" if change.is_step else "Change",
            line={"color": INK, "width": 1.5},
            hoverinfo="skip",
            showlegend=False,
        )
    )
    word = "step" if change.is_step else "change"
    sign = "+" if change.size > 0 else "\N{MINUS SIGN}"
    made.add_annotation(
        x=_day(middle),
        y=max(ends),
        text=f"{word} {sign}{abs(change.size) * 100:.0f} %",
        showarrow=False,
        yshift=12,
        bgcolor=PAPER,
        font={"color": INK},
    )


def _add_lanes(
    made: go.Figure, lanes: Sequence[tuple[str, str, str]], events: Sequence[HistoryEvent]
) -> None:
    """Draw the events under the flow, each kind in a lane of its own."""
    if not lanes:
        return
    height = float(made.layout.height)
    top = LANE_HEIGHT * len(lanes) / height
    names = [name for _, name, _ in lanes]
    for kind, name, symbol in lanes:
        of_kind = [one for one in events if one.kind == kind]
        made.add_trace(
            go.Scatter(
                x=[_day(one.at) for one in of_kind],
                y=[name] * len(of_kind),
                yaxis="y2",
                name=name,
                showlegend=False,
                mode="markers",
                marker={"symbol": symbol, "size": 9, "color": INK, "line": {"width": 1.5}},
                customdata=[[_event_text(one)] for one in of_kind],
                hovertemplate="%{x|%d %b %Y}<br>%{customdata[0]}<extra></extra>",
            )
        )
    axis = made.layout.yaxis.to_plotly_json()
    made.update_layout(
        yaxis={"domain": [top + 0.04, 1.0]},
        yaxis2={
            **{key: axis[key] for key in ("linecolor", "automargin", "fixedrange")},
            "type": "category",
            "domain": [0.0, top],
            "range": [-0.6, len(lanes) - 0.4],
            "categoryorder": "array",
            "categoryarray": names[::-1],
            "tickmode": "array",
            "tickvals": names,
            "ticks": "",
            "showgrid": True,
            "gridcolor": LINE,
            "zeroline": False,
            "title": {"text": ""},
        },
        xaxis={"anchor": "y2"},
    )


def _event_text(one: HistoryEvent) -> str:
    return f"{one.what}: {one.detail}" if one.detail else one.what


def _value_at(trend: Trend, at: datetime.datetime) -> float:
    years = (at - trend.centre_at).total_seconds() / (365.25 * 86400.0)
    return float(trend.centre_value * (1.0 + trend.per_year) ** years)


def _day(at: datetime.datetime) -> str:
    # Without its zone, which the browser would replace with the reader's own.
    return at.replace(tzinfo=None).isoformat(timespec="minutes")
