"""A few systems beside each other: one small chart each, on the same axes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import plotly.graph_objects as go

from ..values.compare import Comparison
from ..values.systems import Judged, Measurement
from .look import BAND, INK, SOFT, VERDICT_COLOURS, VERDICT_MARKS, as_data, figure

ROW_HEIGHT: Final = 150
STAGES: Final = (("as_found", "As found", "circle-open"), ("as_left", "As left", "square"))


def beside_each_other(
    comparison: Comparison, *, title: str, number: Callable[[Judged, float], float]
) -> dict[str, Any]:
    """Return one chart above the other, all with the same axes, each with its own target range.

    Parameters
    ----------
    comparison
        The systems.
    title
        What the axes show.
    number
        Converts one of a judged value's SI numbers to the axis.
    """
    rows = len(comparison.systems)
    made = figure(height=70 + ROW_HEIGHT * rows)
    gap = 0.12 / max(rows, 1)
    values = [0.0, 100.0] if comparison.is_relative else []
    for index, system in enumerate(comparison.systems):
        axis = "y" if index == 0 else f"y{index + 1}"
        top = 1.0 - index / rows - gap
        bottom = 1.0 - (index + 1) / rows + gap
        _axis(made, index, [bottom, top])
        judged = [one.judged for one in system.measurements if one.judged is not None]
        values += [number(one, end) for one in judged for end in (one.low, one.high)]
        values += [number(one, end) for one in judged for end in (one.target_low, one.target_high)]
        _band(made, system.measurements, axis, number)
        for stage, name, symbol in STAGES:
            points = [one for one in system.measurements if one.stage == stage]
            _points(made, points, axis, name, symbol, number, has_key=index == 0)
        made.add_annotation(
            text=f"{system.system.tag}, {system.system.site}"
            + ("" if judged else ": nothing judged"),
            xref="paper",
            yref="paper",
            x=0,
            y=top,
            xanchor="left",
            yanchor="bottom",
            showarrow=False,
            font={"color": INK, "size": 12},
        )
    if values:
        margin = 0.06 * (max(values) - min(values) or 1.0)
        made.update_yaxes(range=[min(values) - margin, max(values) + margin])
    made.update_layout(yaxis={"title": {"text": title}})
    last = "y" if rows <= 1 else f"y{rows}"
    made.update_xaxes(type="date", tickformat="%b\n%Y", nticks=6, anchor=last)
    return as_data(made)


def _axis(made: go.Figure, index: int, domain: list[float]) -> None:
    name = "yaxis" if index == 0 else f"yaxis{index + 1}"
    common = {
        key: value
        for key, value in made.layout.yaxis.to_plotly_json().items()
        if key not in ("title", "domain")
    }
    made.update_layout({name: {**common, "domain": domain, "anchor": "x", "nticks": 5}})


def _band(
    made: go.Figure,
    measurements: tuple[Measurement, ...],
    axis: str,
    number: Callable[[Judged, float], float],
) -> None:
    """Draw the target range that held at each measurement, from there on."""
    kept = [(one, one.judged) for one in measurements if one.judged is not None]
    if not kept:
        return
    x = [_day(one) for one, _ in kept]
    for which, fill in (("low", None), ("high", "tonexty")):
        made.add_trace(
            go.Scatter(
                x=x,
                y=[number(j, j.target_low if which == "low" else j.target_high) for _, j in kept],
                yaxis=axis,
                mode="lines",
                line={"width": 0, "shape": "hv", "color": BAND},
                fill=fill,
                fillcolor=BAND,
                name="Target range",
                showlegend=fill is not None and axis == "y",
                hoverinfo="skip",
            )
        )


def _points(
    made: go.Figure,
    points: list[Measurement],
    axis: str,
    name: str,
    symbol: str,
    number: Callable[[Judged, float], float],
    *,
    has_key: bool,
) -> None:
    if has_key:
        made.add_trace(
            go.Scatter(
                x=[None],
                y=[None],
                name=name,
                mode="markers",
                marker={"symbol": symbol, "size": 9, "color": INK},
            )
        )
    kept = [(one, one.judged) for one in points if one.judged is not None]
    if not kept:
        return
    y = [number(j, j.value) for _, j in kept]
    colours = [VERDICT_COLOURS.get(one.verdict, SOFT) for one, _ in kept]
    made.add_trace(
        go.Scatter(
            x=[_day(one) for one, _ in kept],
            y=y,
            yaxis=axis,
            name=name,
            showlegend=False,
            mode="markers+text",
            text=[VERDICT_MARKS.get(one.verdict, "") for one, _ in kept],
            textposition="middle right",
            textfont={"color": colours, "size": 9},
            marker={"symbol": symbol, "size": 9, "color": colours},
            error_y={
                "type": "data",
                "symmetric": False,
                "array": [number(j, j.high) - at for (_, j), at in zip(kept, y, strict=True)],
                "arrayminus": [at - number(j, j.low) for (_, j), at in zip(kept, y, strict=True)],
                "color": SOFT,
                "thickness": 1.0,
                "width": 0,
            },
            hovertemplate=f"%{{x|%d %b %Y}}, {name.lower()}<br>%{{y:.4g}}<extra></extra>",
        )
    )


def _day(one: Measurement) -> str:
    # Without its zone, which the browser would replace with the reader's own.
    return one.taken_at.replace(tzinfo=None).isoformat(timespec="minutes")
