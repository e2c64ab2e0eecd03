"""What was read at each point of a section: cells for a rectangle, places for a round one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import plotly.graph_objects as go

from .look import INK, LINE, SOFT, as_data, figure


@dataclass(frozen=True, slots=True)
class Grid:
    """Readings line by line in the unit of the page."""

    values: tuple[tuple[float | None, ...], ...]
    texts: tuple[tuple[str, ...], ...]
    unit: str


def line_by_point(grid: Grid) -> dict[str, Any]:
    """Return a heat map: a column a line (hole), a row a point, the drilled wall on top."""
    lines = len(grid.values)
    points = max(len(line) for line in grid.values)
    made = figure(height=110 + 46 * points)
    made.add_trace(
        go.Heatmap(
            z=[[_at(line, point) for line in grid.values] for point in range(points)],
            text=[[_text(line, point) for line in grid.texts] for point in range(points)],
            x=[f"{line + 1}" for line in range(lines)],
            y=[f"{point + 1}" for point in range(points)],
            colorscale=[[0, "var(--heat-0)"], [1, "var(--heat-1)"]],
            texttemplate="%{text}",
            textfont={"color": INK},
            xgap=2,
            ygap=2,
            showscale=False,
            hovertemplate=f"Line %{{x}}, point %{{y}}: %{{text}} {grid.unit}<extra></extra>",
        )
    )
    made.update_layout(showlegend=False)
    made.update_xaxes(
        type="category",
        side="top",
        title={"text": f"Line; readings in {grid.unit}"},
        showline=False,
        ticks="",
    )
    made.update_yaxes(
        type="category",
        autorange="reversed",
        title={"text": "Point, from the drilled wall"},
        showline=False,
        ticks="",
        showgrid=False,
    )
    return as_data(made)


def round_section(
    grid: Grid,
    *,
    diameter_m: float,
    angles_deg: Sequence[float],
    depths_m: Sequence[Sequence[float]],
) -> dict[str, Any]:
    """Return the points of a round section where they were read, facing downstream."""
    made = figure(height=420)
    radius = diameter_m / 2.0
    x, y, values, texts = [], [], [], []
    for angle, depths, line, words in zip(
        angles_deg, depths_m, grid.values, grid.texts, strict=True
    ):
        turn = math.radians(angle)
        for depth, value, text in zip(depths, line, words, strict=True):
            away = radius - depth
            # The first hole is drawn on top; angles run clockwise.
            x.append(away * math.sin(turn))
            y.append(away * math.cos(turn))
            values.append(value)
            texts.append(text)
    made.add_shape(
        type="circle",
        x0=-radius,
        x1=radius,
        y0=-radius,
        y1=radius,
        line={"color": SOFT, "width": 2},
        layer="below",
    )
    made.add_trace(
        go.Scatter(
            x=x,
            y=y,
            text=texts,
            mode="markers+text",
            textposition="top center",
            marker={
                "size": 14,
                "color": [0.0 if value is None else value for value in values],
                "colorscale": [[0, "var(--heat-0)"], [1, "var(--heat-1)"]],
                "line": {"color": INK, "width": 1},
                "symbol": ["circle-open" if value is None else "circle" for value in values],
                "showscale": False,
                "cmin": min((v for v in values if v is not None), default=0.0),
                "cmax": max((v for v in values if v is not None), default=1.0),
            },
            hovertemplate=f"%{{text}} {grid.unit}<extra></extra>",
        )
    )
    made.update_layout(showlegend=False, meta={"square": True})
    reach = radius * 1.15
    made.add_annotation(
        x=0.0,
        y=-reach,
        yanchor="bottom",
        showarrow=False,
        text=f"Readings in {grid.unit}",
    )
    made.update_xaxes(visible=False, range=[-reach, reach], constrain="domain")
    made.update_yaxes(
        visible=False, range=[-reach, reach], scaleanchor="x", scaleratio=1, constrain="domain"
    )
    return as_data(made)


def one_per_line(grid: Grid) -> dict[str, Any]:
    """Return one bar a line: sweeps, each with its mean."""
    made = figure(height=280)
    made.add_trace(
        go.Bar(
            x=[f"Line {line + 1}" for line in range(len(grid.values))],
            y=[_at(line, 0) for line in grid.values],
            text=[_text(line, 0) for line in grid.texts],
            textposition="outside",
            marker={"color": "var(--heat-1)", "line": {"color": LINE, "width": 0}},
            hovertemplate=f"%{{x}}: %{{text}} {grid.unit}<extra></extra>",
            cliponaxis=False,
        )
    )
    made.update_layout(showlegend=False, bargap=0.4)
    made.update_xaxes(type="category")
    made.update_yaxes(title={"text": grid.unit}, rangemode="tozero")
    return as_data(made)


def _at(line: Sequence[float | None], point: int) -> float | None:
    return line[point] if point < len(line) else None


def _text(line: Sequence[str], point: int) -> str:
    return line[point] if point < len(line) else ""
