"""The funnel of the crews: share left in range against the number of jobs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final
from uuid import UUID

import plotly.graph_objects as go

from ..values.crews import CrewShare, Funnel
from .labels import Point, positions
from .look import BAND, INK, PAPER, SOFT, as_data, figure
from .shares import TICK_TEXTS, TICKS

# Beyond the ends of the axis, in percent: a point there is drawn whole.
BELOW: Final = 2.0
HIGHEST: Final = 104.0


def crew_funnel(crews: Sequence[CrewShare], funnel: Funnel) -> dict[str, Any]:
    """Return the crews within their limits; named where there is room, always if marked."""
    made = figure(height=420)
    jobs = list(funnel.jobs)
    made.add_trace(
        go.Scatter(
            x=jobs + jobs[::-1],
            y=[100.0 * y for y in (*funnel.low_one, *funnel.high_one[::-1])],
            name="Limits for one crew (95 %, by chance)",
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
                name=f"Limits for all {funnel.compared} crews at once (95 %, by chance)",
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
    shown = [one for one in crews if one.named.left.total]
    lowest = _lowest(shown, funnel)
    placed = _named(shown, funnel, lowest=lowest)
    places = dict(zip((one.id for one in shown), placed, strict=True))
    for is_marked in (False, True):
        _add_crews(
            made,
            [one for one in shown if _is_marked(one) == is_marked],
            places,
            is_marked=is_marked,
        )
    made.update_xaxes(title={"text": "Jobs measured as left"}, rangemode="tozero")
    made.update_yaxes(range=[lowest, HIGHEST], tickvals=TICKS, ticktext=TICK_TEXTS)
    return as_data(made)


def _is_marked(one: CrewShare) -> bool:
    return one.named.left_compared is not None and one.named.left_compared.differs


def _lowest(crews: Sequence[CrewShare], funnel: Funnel) -> float:
    """Return where the axis begins: at a tick below all there is, so that crews lie apart."""
    least = min(*funnel.low_all, *(one.named.left.share or 0.0 for one in crews))
    return max(tick for tick in TICKS if tick <= 100.0 * least) - BELOW


def _named(crews: Sequence[CrewShare], funnel: Funnel, *, lowest: float) -> list[str | None]:
    """Return where each crew's name stands; a narrow screen shows those of marked crews only."""

    def place(jobs: float, share: float) -> tuple[float, float]:
        return jobs / (1.05 * funnel.jobs[-1]), (100.0 * share - lowest) / (HIGHEST - lowest)

    points = []
    for one in crews:
        x, y = place(one.named.left.total, one.named.left.share or 0.0)
        points.append(Point(x, y, one.name, is_always_named=_is_marked(one)))
    level = [funnel.centre] * len(funnel.jobs)
    return positions(
        points,
        [
            [place(jobs, share) for jobs, share in zip(funnel.jobs, shares, strict=True)]
            for shares in (level, funnel.low_all, funnel.high_all)
        ],
    )


def _add_crews(
    made: go.Figure,
    shown: Sequence[CrewShare],
    places: Mapping[UUID, str | None],
    *,
    is_marked: bool,
) -> None:
    if not shown:
        return
    lefts = [one.named.left for one in shown]
    made.add_trace(
        go.Scatter(
            x=[left.total for left in lefts],
            y=[100.0 * (left.share or 0.0) for left in lefts],
            text=[one.name if places[one.id] else "" for one in shown],
            name="More or less outside than chance and site mix explain" if is_marked else "A crew",
            mode="markers+text",
            textposition=[places[one.id] or "bottom center" for one in shown],
            meta={"bareWhereNarrow": not is_marked},
            marker={
                "symbol": "diamond" if is_marked else "circle",
                "size": 13 if is_marked else 10,
                "color": INK if is_marked else PAPER,
                "line": {"color": INK, "width": 1.5},
            },
            customdata=[
                [left.inside, left.total, one.name] for one, left in zip(shown, lefts, strict=True)
            ],
            hovertemplate=(
                "%{customdata[2]}<br>%{customdata[0]} of %{customdata[1]} left in range, "
                "%{y:.0f} %<extra></extra>"
            ),
            cliponaxis=False,
        )
    )
