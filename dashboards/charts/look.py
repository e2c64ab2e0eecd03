"""What all charts have in common: plain axes, few lines, the page's own colours."""

from __future__ import annotations

import json
from typing import Any, Final

import plotly.graph_objects as go

INK: Final = "var(--ink)"
SOFT: Final = "var(--soft)"
LINE: Final = "var(--line)"
PAPER: Final = "var(--paper)"
BAND: Final = "var(--band)"
LOW: Final = "var(--low)"
HIGH: Final = "var(--high)"

VERDICT_COLOURS: Final = {
    "low": LOW,
    "high": HIGH,
    "in_range": INK,
    "undecided": SOFT,
    "not_judged": SOFT,
}
# Beside a point, because its shape says the stage: colour alone is lost in grey and to some eyes.
VERDICT_MARKS: Final = {"low": "▼", "high": "▲", "undecided": "▨"}


def figure(*, height: int) -> go.Figure:
    """Return an empty figure in the look of the pages."""
    axis: dict[str, Any] = {
        "showgrid": False,
        "zeroline": False,
        "showline": True,
        "linecolor": LINE,
        "ticks": "outside",
        "ticklen": 4,
        "tickcolor": LINE,
        "fixedrange": True,
        "automargin": True,
        "title": {"standoff": 12, "font": {"size": 13}},
    }
    layout = go.Layout(
        template="none",
        height=height,
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"color": INK, "size": 13, "family": "inherit"},
        margin={"l": 8, "r": 12, "t": 8, "b": 8},
        hovermode="closest",
        dragmode=False,
        showlegend=True,
        legend={
            "orientation": "h",
            "traceorder": "normal",
            "x": 0,
            "y": 1.02,
            "yanchor": "bottom",
            "itemclick": False,
            "itemdoubleclick": False,
        },
        hoverlabel={"bgcolor": PAPER, "bordercolor": LINE, "font": {"color": INK}},
        xaxis=axis,
        yaxis={**axis, "showgrid": True, "gridcolor": LINE, "griddash": "dot", "gridwidth": 1},
    )
    # Handed over whole: taking it in piece by piece takes ten times as long.
    return go.Figure(layout=layout)


def as_data(made: go.Figure) -> dict[str, Any]:
    """Return a figure as plain data for the page: what the script draws from."""
    data: dict[str, Any] = json.loads(made.to_json())
    return data
