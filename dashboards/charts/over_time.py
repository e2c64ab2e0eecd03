"""The page over time: shares within their limits, a smoothed mean, the calendar, kinds in rows."""

from __future__ import annotations

import calendar
import datetime
from collections.abc import Sequence
from typing import Any, Final

import plotly.graph_objects as go

from ..display import month_or_quarter
from ..values.over_time import CalendarMonth, HeldStep, HeldSteps, Part, SlowDrift
from ..values.shares import MonthShare, Share
from .look import BAND, INK, LINE, PAPER, SOFT, as_data, figure
from .shares import TICK_TEXTS, TICKS, percent_of, whiskers

DAYS: Final = {"month": 30, "quarter": 91, "year": 365}
ROW_HEIGHT: Final = 128
ROW_GAP: Final = 0.28
"""Of a row's height: room for the name of the next one."""


def held_over_time(held: HeldSteps, *, campaign_on: datetime.date | None = None) -> dict[str, Any]:
    """Return the shares of one stage with their intervals, within the limits of the others."""
    made = figure(height=360)
    if held.is_comparable:
        _add_limits(made, held)
    ordinary = [one for one in held.steps if not one.differs]
    is_left = held.stage == "as_left"
    symbol = "square" if is_left else "circle"
    _add_points(made, held, ordinary, name=f"A {held.step}, 95 % interval", symbol=f"{symbol}-open")
    _add_points(
        made,
        held,
        held.differing,
        name="Differs from the others more than chance explains",
        symbol="diamond",
    )
    _add_campaign(made, campaign_on)
    made.update_yaxes(range=[-2, 104], tickvals=TICKS, ticktext=TICK_TEXTS)
    made.update_xaxes(**_time_axis([one.first for one in held.steps], held.step))
    return as_data(made)


def smoothed_over_time(
    drift: SlowDrift, *, campaign_on: datetime.date | None = None
) -> dict[str, Any]:
    """Return the mean place in the target range, smoothed, within its limits."""
    made = figure(height=340)
    days = [_middle(one.first, drift.step) for one in drift.steps]
    _add_band(
        made,
        days,
        [100.0 * one.low for one in drift.steps],
        [100.0 * one.high for one in drift.steps],
        name="Limits of the smoothed mean",
    )
    made.add_trace(
        go.Scatter(
            x=days,
            y=[100.0 * one.mean for one in drift.steps],
            name=f"Mean of a {drift.step}",
            mode="markers",
            marker={"symbol": "cross-thin", "size": 8, "line": {"color": SOFT, "width": 1.5}},
            customdata=[[month_or_quarter(one.first, drift.step), one.jobs] for one in drift.steps],
            hovertemplate=(
                "%{customdata[0]}, %{customdata[1]} jobs<br>mean at %{y:.0f} % of the range"
                "<extra></extra>"
            ),
        )
    )
    made.add_trace(
        go.Scatter(
            x=days,
            y=[100.0 * one.smoothed for one in drift.steps],
            name="Smoothed",
            mode="lines+markers",
            line={"color": INK, "width": 2},
            marker={
                "symbol": ["diamond" if one.is_beyond else "square" for one in drift.steps],
                "size": [11 if one.is_beyond else 5 for one in drift.steps],
                "color": INK,
            },
            customdata=[[month_or_quarter(one.first, drift.step)] for one in drift.steps],
            hovertemplate="%{customdata[0]}<br>smoothed %{y:.0f} % of the range<extra></extra>",
        )
    )
    _add_centre(made, 100.0 * drift.centre, "All jobs of the period")
    _add_campaign(made, campaign_on)
    made.update_yaxes(title={"text": "Place in the target range"}, ticksuffix=" %", nticks=6)
    made.update_xaxes(**_time_axis([one.first for one in drift.steps], drift.step))
    return as_data(made)


def calendar_shares(months: Sequence[CalendarMonth]) -> dict[str, Any]:
    """Return the shares found and left by month of the calendar, all years together."""
    made = figure(height=320)
    for name, shares, symbol, colour, aside in (
        ("As found", [one.found for one in months], "circle", SOFT, -0.12),
        ("As left", [one.left for one in months], "square", INK, 0.12),
    ):
        kept = [(one.number, share) for one, share in zip(months, shares, strict=True)]
        kept = [(number, share) for number, share in kept if share.total]
        made.add_trace(
            go.Scatter(
                x=[number + aside for number, _ in kept],
                y=[percent_of(share) for _, share in kept],
                name=name,
                mode="markers",
                marker={
                    "symbol": symbol,
                    "size": 9,
                    "color": PAPER if colour == SOFT else colour,
                    "line": {"color": colour, "width": 1.5},
                },
                error_y=whiskers([share for _, share in kept], colour),
                customdata=[
                    [share.inside, share.total, calendar.month_name[number]]
                    for number, share in kept
                ],
                hovertemplate=(
                    f"%{{customdata[2]}}, {name.lower()}<br>%{{customdata[0]}} of "
                    "%{customdata[1]} in range, %{y:.0f} %<extra></extra>"
                ),
            )
        )
    made.update_yaxes(range=[-2, 104], tickvals=TICKS, ticktext=TICK_TEXTS)
    made.update_xaxes(
        range=[0.5, 12.5],
        tickvals=list(range(1, 13)),
        ticktext=[calendar.month_abbr[number][:3] for number in range(1, 13)],
    )
    return as_data(made)


def parts_over_time(
    parts: Sequence[tuple[str, Part]], *, step: str, whole: Share
) -> dict[str, Any]:
    """Return the share left in range of each kind in a row of its own, one above the other."""
    rows = len(parts)
    made = figure(height=70 + ROW_HEIGHT * rows)
    for index, (name, part) in enumerate(parts):
        axis = "y" if index == 0 else f"y{index + 1}"
        top = 1.0 - index / rows
        made.update_layout(
            {
                axis.replace("y", "yaxis"): {
                    "domain": [top - (1.0 - ROW_GAP) / rows, top],
                    "range": [-6, 106],
                    "tickvals": [0, 50, 100],
                    "ticktext": ["0 %", "50 %", "100 %"],
                    "showgrid": True,
                    "gridcolor": LINE,
                    "griddash": "dot",
                    "zeroline": False,
                    "showline": False,
                    "fixedrange": True,
                    "anchor": "x",
                    "ticks": "outside",
                    "ticklen": 4,
                    "tickcolor": LINE,
                }
            }
        )
        made.add_trace(_part_trace(part, step, axis, is_first=index == 0))
        made.add_annotation(
            text=f"{name}, {part.left.total:,} job{'' if part.left.total == 1 else 's'}",
            x=0,
            xref="paper",
            xanchor="left",
            y=106,
            yref=axis,
            yanchor="bottom",
            showarrow=False,
            font={"color": INK},
        )
        if whole.share is not None:
            made.add_shape(
                type="line",
                x0=0,
                x1=1,
                xref="paper",
                y0=100.0 * whole.share,
                y1=100.0 * whole.share,
                yref=axis,
                layer="below",
                line={"color": INK, "width": 1, "dash": "dash"},
                name="All jobs of the period",
                showlegend=index == 0,
            )
    firsts = [one.month for _, part in parts for one in part.steps]
    made.update_xaxes(
        **_time_axis(firsts, step), anchor="y" if rows == 1 else f"y{rows}", position=0
    )
    made.update_layout(legend={"y": 1.0 + 30.0 / (ROW_HEIGHT * rows)})
    return as_data(made)


def _part_trace(part: Part, step: str, axis: str, *, is_first: bool) -> go.Scatter:
    shares = [one.share for one in part.steps]
    return go.Scatter(
        x=[_middle(one.month, step) for one in part.steps],
        y=[percent_of(share) for share in shares],
        yaxis=axis,
        name=f"A {step}, 95 % interval",
        showlegend=is_first,
        mode="markers",
        marker={"symbol": "square", "size": 7, "color": INK},
        error_y=whiskers(shares, SOFT),
        customdata=_step_data(part.steps, step),
        hovertemplate=(
            "%{customdata[2]}<br>%{customdata[0]} of %{customdata[1]} left in range, %{y:.0f} %"
            "<extra></extra>"
        ),
    )


def _step_data(steps: Sequence[MonthShare], step: str) -> list[list[Any]]:
    return [[one.share.inside, one.share.total, month_or_quarter(one.month, step)] for one in steps]


def _add_points(
    made: go.Figure, held: HeldSteps, steps: Sequence[HeldStep], *, name: str, symbol: str
) -> None:
    if not steps:
        return
    shares = [one.share for one in steps]
    is_marked = symbol == "diamond"
    made.add_trace(
        go.Scatter(
            x=[_middle(one.first, held.step) for one in steps],
            y=[percent_of(share) for share in shares],
            name=name,
            mode="markers",
            marker={
                "symbol": symbol,
                "size": 13 if is_marked else 9,
                "color": INK,
                "line": {"color": INK, "width": 1.5},
            },
            error_y=whiskers(shares, INK if is_marked else SOFT),
            customdata=[
                [one.share.inside, one.share.total, month_or_quarter(one.first, held.step)]
                for one in steps
            ],
            hovertemplate=(
                "%{customdata[2]}<br>%{customdata[0]} of %{customdata[1]} in range, %{y:.0f} %"
                "<extra></extra>"
            ),
        )
    )


def _add_limits(made: go.Figure, held: HeldSteps) -> None:
    # The band reaches over the first and last step as wide as they are.
    half = datetime.timedelta(days=DAYS[held.step] / 2)
    days = [_middle(one.first, held.step) for one in held.steps]
    low = [100.0 * (one.low or 0.0) for one in held.steps]
    high = [100.0 * (1.0 if one.high is None else one.high) for one in held.steps]
    _add_band(
        made,
        [days[0] - half, *days, days[-1] + half],
        [low[0], *low, low[-1]],
        [high[0], *high, high[-1]],
        name="Like the others, by chance",
        shape="hvh",
    )
    _add_centre(made, 100.0 * held.centre, "The others together" if held.differing else "All")


def _add_band(
    made: go.Figure,
    days: Sequence[datetime.date],
    low: Sequence[float],
    high: Sequence[float],
    *,
    name: str,
    shape: str = "linear",
) -> None:
    common: dict[str, Any] = {
        "x": list(days),
        "mode": "lines",
        "line": {"width": 0, "color": BAND, "shape": shape},
        "hoverinfo": "skip",
    }
    made.add_trace(go.Scatter(y=list(low), showlegend=False, **common))
    made.add_trace(go.Scatter(y=list(high), name=name, fill="tonexty", fillcolor=BAND, **common))


def _add_centre(made: go.Figure, at: float, name: str) -> None:
    made.add_shape(
        type="line",
        x0=0,
        x1=1,
        xref="paper",
        y0=at,
        y1=at,
        line={"color": INK, "width": 1.5, "dash": "dash"},
        name=name,
        showlegend=True,
    )


def _add_campaign(made: go.Figure, on: datetime.date | None) -> None:
    if on is None:
        return
    made.add_shape(
        type="line",
        x0=on,
        x1=on,
        y0=0,
        y1=1,
        yref="paper",
        line={"color": SOFT, "width": 1.5, "dash": "dot"},
        name="The day",
        showlegend=True,
    )


def _time_axis(firsts: Sequence[datetime.date], step: str) -> dict[str, Any]:
    """Return what the axis shows: all steps, each as wide as it is, and no hours of one day."""
    axis: dict[str, Any] = {"type": "date", "tickformat": "%b\n%Y", "nticks": 8}
    if firsts:
        width = datetime.timedelta(days=DAYS[step])
        first, last = min(firsts), max(firsts)
        axis["range"] = [first - width * 0.3, last + width * 1.3]
        if (last - first).days < 75:
            axis |= {"tickvals": sorted(set(firsts)), "nticks": None}
    if step == "year":
        axis["tickformat"] = "%Y"
    return axis


def _middle(first: datetime.date, step: str) -> datetime.date:
    return first + datetime.timedelta(days=DAYS[step] // 2)
