"""Shares in range: over the months, and by crew or site."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Sequence
from typing import Any, Final

import plotly.graph_objects as go

from ..display import month_or_quarter
from ..values.shares import FleetShares, MonthShare, NamedShare, Share
from .look import INK, PAPER, SOFT, as_data, figure

ROW_HEIGHT: Final = 30
MOST_ROWS: Final = 20
TICKS: Final = [0, 25, 50, 75, 100]
TICK_TEXTS: Final = [f"{tick} %" for tick in TICKS]
# Days into the month at which the two series stand, so that their intervals don't cover each other.
FOUND_DAY: Final = 10
LEFT_DAY: Final = 20


def share_over_time(shares: FleetShares) -> dict[str, Any]:
    """Return how the shares found and left in range went over the months."""
    made = figure(height=320)
    made.add_trace(
        _months(shares, shares.found_by_month, name="As found", symbol="circle", is_open=True)
    )
    made.add_trace(
        _months(shares, shares.left_by_month, name="As left", symbol="square", is_open=False)
    )
    made.update_yaxes(range=[-2, 104], tickvals=TICKS, ticktext=TICK_TEXTS)
    made.update_xaxes(type="date", tickformat="%b\n%Y", nticks=8)
    return as_data(made)


def _months(
    whole: FleetShares, months: Sequence[MonthShare], *, name: str, symbol: str, is_open: bool
) -> go.Scatter:
    colour = SOFT if is_open else INK
    days = (FOUND_DAY if is_open else LEFT_DAY) * (3 if whole.step == "quarter" else 1)
    x = [month.month + datetime.timedelta(days=days) for month in months]
    shares = [month.share for month in months]
    return go.Scatter(
        x=x,
        y=[percent_of(share) for share in shares],
        name=name,
        mode="lines+markers",
        line={"color": colour, "width": 1.5, "dash": "dot" if is_open else "solid"},
        marker={
            "symbol": symbol,
            "size": 9,
            "color": PAPER if is_open else colour,
            "line": {"color": colour, "width": 1.5},
        },
        error_y=whiskers(shares, colour),
        customdata=[
            [share.inside, share.total, month_or_quarter(month.month, whole.step)]
            for month, share in zip(months, shares, strict=True)
        ],
        hovertemplate=(
            f"%{{customdata[2]}}, {name.lower()}<br>%{{customdata[0]}} of %{{customdata[1]}} in "
            "range, %{y:.0f} %<extra></extra>"
        ),
    )


def shares_by_name(
    named: Sequence[NamedShare], *, stage: str, whole: Share, whole_name: str
) -> dict[str, Any]:
    """Return the shares of crews or sites with their intervals, and the whole as a line."""
    shown = list(named[:MOST_ROWS])[::-1]
    shares = [one.at(stage) for one in shown]
    names = _told_apart([one.name for one in shown])
    made = figure(height=90 + ROW_HEIGHT * max(len(shown), 2))
    made.add_trace(
        go.Scatter(
            x=[percent_of(share) for share in shares],
            y=names,
            name="Share in range, 95 % interval",
            mode="markers",
            marker={
                "symbol": "square" if stage == "as_left" else "circle-open",
                "size": 10,
                "color": INK,
                "line": {"color": INK, "width": 1.5},
            },
            error_x=whiskers(shares, INK),
            customdata=[[share.inside, share.total] for share in shares],
            hovertemplate=(
                "%{y}<br>%{customdata[0]} of %{customdata[1]} in range, %{x:.0f} %<extra></extra>"
            ),
        )
    )
    if whole.total:
        made.add_shape(
            type="line",
            x0=percent_of(whole),
            x1=percent_of(whole),
            y0=0,
            y1=1,
            yref="paper",
            layer="below",
            line={"color": INK, "width": 1.5, "dash": "dash"},
            name=whole_name,
            showlegend=True,
        )
    made.update_xaxes(range=[-3, 103], tickvals=TICKS, ticktext=TICK_TEXTS, showgrid=False)
    made.update_yaxes(
        type="category",
        showgrid=True,
        showline=False,
        ticks="",
        range=[-0.6, max(len(shown), 1) - 0.4],
        categoryorder="array",
        categoryarray=names,
    )
    return as_data(made)


def _told_apart(names: Sequence[str]) -> list[str]:
    """Number names that occur more than once: on an axis they would be one row."""
    seen: Counter[str] = Counter()
    told = []
    for name in names:
        seen[name] += 1
        told.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return told


def percent_of(share: Share) -> float | None:
    """Return a share as a number of percent; none where there are no jobs."""
    return None if share.share is None else 100.0 * share.share


def whiskers(shares: Sequence[Share], colour: str) -> dict[str, Any]:
    """Return the intervals of shares as error bars from end to end."""
    known = [share.share or 0.0 for share in shares]
    return {
        "type": "data",
        "symmetric": False,
        "array": [
            100.0 * (share.high_end - value) for share, value in zip(shares, known, strict=True)
        ],
        "arrayminus": [
            100.0 * (value - share.low_end) for share, value in zip(shares, known, strict=True)
        ],
        "color": colour,
        "thickness": 1.2,
        "width": 0,
    }
