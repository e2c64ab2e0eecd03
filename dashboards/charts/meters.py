"""How the meters read against each other."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import plotly.graph_objects as go

from ..values.meters import MeterStanding
from .look import INK, PAPER, SOFT, as_data, figure

ROW_HEIGHT = 34


def meters_compared(meters: Sequence[MeterStanding]) -> dict[str, Any] | None:
    """Return each meter's offset with its interval; filled by paired checks, else hollow."""
    shown = [(one, one.held) for one in meters if one.held is not None][::-1]
    if not shown:
        return None
    made = figure(height=110 + ROW_HEIGHT * max(len(shown), 2))
    for is_paired, name in ((True, "Paired checks"), (False, "Same systems, less sure")):
        kept = [(one, held) for one, held in shown if (one.paired is not None) == is_paired]
        if not kept:
            continue
        made.add_trace(
            go.Scatter(
                x=[100.0 * held.offset for _, held in kept],
                y=[one.name for one, _ in kept],
                name=name,
                mode="markers",
                marker={
                    "symbol": [
                        "diamond" if one.reads in ("high", "low") else "circle" for one, _ in kept
                    ],
                    "size": [13 if one.reads in ("high", "low") else 10 for one, _ in kept],
                    "color": INK if is_paired else PAPER,
                    # Where sizes differ, points would be drawn half transparent.
                    "opacity": 1,
                    "line": {"color": INK, "width": 1.5},
                },
                error_x={
                    "type": "data",
                    "symmetric": False,
                    "array": [100.0 * (held.high - held.offset) for _, held in kept],
                    "arrayminus": [100.0 * (held.offset - held.low) for _, held in kept],
                    "color": INK if is_paired else SOFT,
                    "thickness": 1.2,
                    "width": 0,
                },
                customdata=[[held.comparisons] for _, held in kept],
                hovertemplate=(
                    "%{y}<br>%{x:+.1f} % against the others, %{customdata[0]} comparisons"
                    "<extra></extra>"
                ),
            )
        )
    made.add_shape(
        type="line",
        x0=0,
        x1=0,
        y0=0,
        y1=1,
        yref="paper",
        layer="below",
        line={"color": INK, "width": 1.5, "dash": "dash"},
    )
    made.update_xaxes(title={"text": "Reads above the others, %"}, ticksuffix=" %", nticks=7)
    made.update_yaxes(
        type="category",
        showline=False,
        ticks="",
        range=[-0.6, max(len(shown), 1) - 0.4],
        categoryorder="array",
        categoryarray=[one.name for one, _ in shown],
    )
    return as_data(made)
