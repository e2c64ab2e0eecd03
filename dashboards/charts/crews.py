"""The funnel of the crews: share left in range against the number of jobs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import plotly.graph_objects as go

from ..values.crews import CrewShare, Funnel
from .look import BAND, INK, PAPER, SOFT, as_data, figure
from .shares import TICK_TEXTS, TICKS


def crew_funnel(crews: Sequence[CrewShare], funnel: Funnel) -> dict[str, Any]:
    """Return the crews within their limits; who is marked is filled and named."""
    made = figure(height=420)
    jobs = list(funnel.jobs)
    made.add_trace(
        go.Scatter(
            x=jobs + jobs[::-1],
            y=[100.0 * y for y in (*funnel.low_one, *funnel.high_one[::-1])],
            name="95 % of single crews, by chance",
            mode="lines",
            fill="toself",
            fillcolor=BAND,
            line={"width": 0, "color": BAND},
            hoverinfo="skip",
        )
    )
    for ends, is_first in ((funnel.low_all, True), (funnel.high_all, False)):
        made.add_trace(
            go.Scatter(
                x=jobs,
                y=[100.0 * y for y in ends],
                name=f"All {funnel.compared} crews, in 95 % of periods",
                mode="lines",
                line={"color": SOFT, "width": 1.5, "dash": "dot"},
                hoverinfo="skip",
                showlegend=is_first,
                legendgroup="all",
            )
        )
    made.add_trace(
        go.Scatter(
            x=[jobs[0], jobs[-1]],
            y=[100.0 * funnel.centre] * 2,
            name="Crews that are not marked, together",
            mode="lines",
            line={"color": INK, "width": 1.5, "dash": "dash"},
            hoverinfo="skip",
        )
    )
    _add_crews(made, crews, is_marked=False)
    _add_crews(made, crews, is_marked=True)
    made.update_xaxes(title={"text": "Jobs measured as left"}, rangemode="tozero")
    made.update_yaxes(range=[-2, 104], tickvals=TICKS, ticktext=TICK_TEXTS)
    return as_data(made)


def _add_crews(made: go.Figure, crews: Sequence[CrewShare], *, is_marked: bool) -> None:
    shown = [
        one
        for one in crews
        if one.named.left.total
        and (one.named.left_compared is not None and one.named.left_compared.differs) == is_marked
    ]
    if not shown:
        return
    lefts = [one.named.left for one in shown]
    made.add_trace(
        go.Scatter(
            x=[left.total for left in lefts],
            y=[100.0 * (left.share or 0.0) for left in lefts],
            text=[one.name for one in shown],
            name="Differs more than chance and site mix explain" if is_marked else "A crew",
            mode="markers+text" if is_marked else "markers",
            textposition="bottom center",
            marker={
                "symbol": "diamond" if is_marked else "circle",
                "size": 13 if is_marked else 10,
                "color": INK if is_marked else PAPER,
                "line": {"color": INK, "width": 1.5},
            },
            customdata=[[left.inside, left.total] for left in lefts],
            hovertemplate=(
                "%{text}<br>%{customdata[0]} of %{customdata[1]} left in range, %{y:.0f} %"
                "<extra></extra>"
            ),
            cliponaxis=False,
        )
    )
