"""Charts: what is drawn is what was counted, in traces that a strict policy allows."""

import datetime
import itertools
import json
from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest

from dashboards.charts.history import MOST_POINTS, Scale, flow_over_time, thinned
from dashboards.charts.over_time import (
    calendar_shares,
    held_over_time,
    parts_over_time,
    smoothed_over_time,
)
from dashboards.charts.profile import Grid, line_by_point, one_per_line, round_section
from dashboards.charts.shares import share_over_time, shares_by_name
from dashboards.values.over_time import (
    CalendarMonth,
    DriftStep,
    HeldStep,
    HeldSteps,
    Part,
    SlowDrift,
)
from dashboards.values.shares import FleetShares, MonthShare, NamedShare, Share
from dashboards.values.systems import (
    CallHistory,
    HistoryEvent,
    Judged,
    LevelChange,
    Measurement,
    Trend,
)

SVG_TRACES = {"scatter", "heatmap", "bar"}
NOON = datetime.datetime(2026, 6, 3, 12, 0, tzinfo=datetime.UTC)


def _share(total: int, below: int = 0) -> Share:
    return Share(total, below, 0, 0, 0, 0, 0.2, 0.9)


def _fleet(**fields: Any) -> FleetShares:
    months = (
        MonthShare(datetime.date(2026, 5, 1), _share(4, 1)),
        MonthShare(datetime.date(2026, 6, 1), _share(0)),
    )
    values: dict[str, Any] = {
        "step": "month",
        "found": _share(4, 3),
        "left": _share(4, 1),
        "found_by_month": months[:1],
        "left_by_month": months,
        "by_crew": (),
        "by_site": (),
        "left_corrected": None,
        "found_corrected": None,
        "found_outside_without_as_left": 0,
        "pending": 0,
    }
    return FleetShares(**{**values, **fields})


def _measured(
    verdict: str, *, stage: str = "as_left", days: int = 0, value: float = 400.0, **fields: Any
) -> Measurement:
    values: dict[str, Any] = {
        "traverse_id": uuid4(),
        "flow_set_id": None,
        "visit_id": uuid4(),
        "taken_at": NOON + datetime.timedelta(days=days),
        "stage": stage,
        "call": "cooling",
        "state": "computed",
        "failure": "",
        "verdict": verdict,
        "judged": Judged(
            value, value - 20, value + 25, 350.0, 400.0, 450.0, verdict, "", 0.9, 0.9, False
        ),
        "flow_standard": None,
        "flow_standard_low": None,
        "flow_standard_high": None,
        "indicative": False,
        "instrument_id": None,
        "instrument": "",
        "crew_id": None,
        "crew": "",
        "adjustments_before": 0,
    }
    return Measurement(**{**values, **fields})


def _history(
    *measurements: Measurement,
    trend: Trend | None = None,
    changes: tuple[LevelChange, ...] = (),
    events: tuple[HistoryEvent, ...] = (),
) -> dict[str, Any]:
    return flow_over_time(
        CallHistory("cooling", measurements, trend, changes),
        events,
        scale=Scale("Flow", lambda held, value: value),
        trend_number=lambda value: value,
    )


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for item in value.values():
            yield from _strings(item)
    elif isinstance(value, list):
        for item in value:
            yield from _strings(item)


def _traces(figure: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {trace.get("name", trace["type"]): trace for trace in figure["data"]}


def _first(index: int) -> datetime.date:
    return datetime.date(2015 + index // 4, index % 4 * 3 + 1, 1)


QUARTERS = 44
HELD = HeldSteps(
    stage="as_left",
    step="quarter",
    whole=_share(176, 44),
    steps=tuple(
        HeldStep(_first(index), _share(4, 1), 0.8 if index == 7 else 0.2, 1.0, index == 7)
        for index in range(QUARTERS)
    ),
    centre=0.75,
    spread_sd=0.0,
    has_spread=False,
)
PARTS = [
    (
        f"Kind {number}",
        Part(
            "heat_pump",
            _share(0),
            _share(44, 11),
            tuple(MonthShare(_first(4 * year), _share(4, 1)) for year in range(11)),
            None,
            None,
            None,
        ),
    )
    for number in range(7)
]

FIGURES = {
    "held": held_over_time(HELD, campaign_on=datetime.date(2016, 5, 2)),
    "smoothed": smoothed_over_time(
        SlowDrift(
            "quarter",
            tuple(
                DriftStep(_first(index), 9, 0.5, 0.5 + index * 0.01, 0.3, 0.7)
                for index in range(QUARTERS)
            ),
            0.5,
            3.0,
        )
    ),
    "calendar": calendar_shares(
        [CalendarMonth(number, _share(4, 3), _share(4, 1)) for number in range(1, 13)]
    ),
    "parts": parts_over_time(PARTS, step="year", whole=_share(308, 77)),
    "over time": share_over_time(_fleet()),
    "by name": shares_by_name(
        [NamedShare(uuid4(), "North", _share(2), _share(4, 1))],
        stage="as_left",
        whole=_share(4, 1),
        whole_name="All",
    ),
    "history": _history(_measured("low", value=300.0), _measured("in_range", days=9)),
    "grid": line_by_point(Grid(((1.0, 2.0), (3.0, None)), (("1", "2"), ("3", "–")), "m/s")),
    "round": round_section(
        Grid(((1.0, None),), (("1", "–"),), "m/s"),
        diameter_m=0.4,
        angles_deg=[0.0],
        depths_m=[[0.02, 0.38]],
    ),
    "lines": one_per_line(Grid(((1.0,), (2.0,)), (("1",), ("2",)), "m/s")),
}


@pytest.mark.parametrize("name", list(FIGURES))
def test_only_traces_that_are_drawn_as_svg_are_used(name: str) -> None:
    assert {trace["type"] for trace in FIGURES[name]["data"]} <= SVG_TRACES


@pytest.mark.parametrize("name", list(FIGURES))
def test_figures_are_plain_json_without_a_template(name: str) -> None:
    figure = FIGURES[name]
    assert json.loads(json.dumps(figure)) == figure
    assert len(json.dumps(figure)) < 20_000
    assert "bdata" not in json.dumps(figure)


@pytest.mark.parametrize("name", list(FIGURES))
def test_colours_are_the_page_s_own(name: str) -> None:
    for text in _strings(FIGURES[name]):
        assert not text.startswith("#")
        assert not text.startswith("rgb(")


def test_found_and_left_are_told_apart_by_shape_and_line() -> None:
    traces = _traces(FIGURES["over time"])
    found, left = traces["As found"], traces["As left"]
    assert found["marker"]["symbol"] != left["marker"]["symbol"]
    assert found["line"]["dash"] != left["line"]["dash"]
    assert left["y"] == [75.0, None]


def test_intervals_are_drawn_to_both_ends() -> None:
    (left,) = [t for t in FIGURES["over time"]["data"] if t["name"] == "As left"]
    assert left["error_y"]["array"][0] == pytest.approx(15.0)
    assert left["error_y"]["arrayminus"][0] == pytest.approx(55.0)


def test_the_worst_stands_on_top_and_the_whole_is_a_line() -> None:
    named = [
        NamedShare(uuid4(), name, _share(2), _share(4, below))
        for name, below in (("Worst", 3), ("Best", 0))
    ]
    figure = shares_by_name(named, stage="as_left", whole=_share(8, 3), whole_name="All")
    assert figure["data"][0]["y"] == ["Best", "Worst"]
    assert figure["layout"]["shapes"][0]["x0"] == pytest.approx(62.5)


def test_stages_have_shapes_and_verdicts_have_colours() -> None:
    traces = _traces(
        _history(
            _measured("low", stage="as_found", value=300.0),
            _measured("in_range", days=1),
            _measured("high", stage="check", days=2, value=500.0),
        )
    )
    assert traces["As found"]["marker"]["symbol"] == "circle-open"
    assert traces["As left"]["marker"]["symbol"] == "square"
    assert traces["Check"]["marker"]["symbol"] == "diamond"
    assert traces["As found"]["marker"]["color"] == ["var(--low)"]
    assert traces["As left"]["marker"]["color"] == ["var(--ink)"]
    assert traces["Check"]["marker"]["color"] == ["var(--high)"]
    assert traces["As left"]["error_y"]["array"] == [25.0]
    assert traces["As left"]["error_y"]["arrayminus"] == [20.0]


def test_verdicts_have_a_mark_beside_the_point_and_the_legend_has_no_colour() -> None:
    figure = _history(
        _measured("low", value=300.0),
        _measured("in_range", days=1),
        _measured("undecided", days=2, value=440.0),
        _measured("high", days=3, value=500.0),
    )
    key, points = [trace for trace in figure["data"] if trace.get("name") == "As left"]
    assert points["text"] == ["▼", "", "▨", "▲"]
    assert points["showlegend"] is False
    assert key["marker"]["color"] == "var(--ink)"
    assert key["x"] == [None]


def test_a_target_that_changed_changes_the_band_from_then_on() -> None:
    later = Judged(400.0, 380.0, 420.0, 375.0, 400.0, 430.0, "in_range", "", 0.9, 0.9, False)
    figure = _history(_measured("in_range"), _measured("in_range", days=50, judged=later))
    assert _traces(figure)["Target range"]["y"] == [450.0, 450.0, 430.0, 430.0]


def test_times_are_the_site_s_and_not_the_reader_s() -> None:
    zone = datetime.timezone(datetime.timedelta(hours=-5))
    figure = _history(_measured("in_range", taken_at=NOON.astimezone(zone)))
    assert _traces(figure)["As left"]["x"] == ["2026-06-03T07:00"]


def test_each_kind_of_event_has_a_lane_with_its_name_and_a_shape_of_its_own() -> None:
    events = tuple(
        HistoryEvent(NOON, kind, kind.capitalize(), "so")
        for kind in ("visit", "adjustment", "meter", "calibration", "correction")
    )
    figure = _history(_measured("in_range"), events=events)
    lanes = [trace for trace in figure["data"] if trace.get("yaxis") == "y2"]
    assert [trace["y"] for trace in lanes] == [
        ["Visit"],
        ["Adjusted"],
        ["Meter changed"],
        ["Calibrated"],
        ["Corrected"],
    ]
    assert len({trace["marker"]["symbol"] for trace in lanes}) == 5
    assert lanes[1]["customdata"] == [["Adjustment: so"]]
    assert figure["layout"]["yaxis2"]["domain"][1] < figure["layout"]["yaxis"]["domain"][0]
    plain = _history(_measured("in_range"))
    assert "yaxis2" not in plain["layout"]
    assert plain["layout"]["height"] < figure["layout"]["height"]


def test_a_sure_trend_is_drawn_up_to_the_limit_with_both_ends() -> None:
    leaves = [datetime.date(2027, month, 1) for month in (6, 2, 11)]
    trend = Trend(-0.05, -0.07, -0.03, 3, NOON, NOON, 400.0, *leaves)
    traces = _traces(_history(_measured("in_range"), trend=trend))
    start, end = traces["Trend between adjustments"]["y"]
    assert start == pytest.approx(400.0)
    assert end < 400.0
    ends = traces["Leaves the range, earliest to latest"]
    assert ends["x"] == ["2027-02-01T12:00", "2027-11-01T12:00"]
    assert ends["y"] == [350.0, 350.0]


def test_a_step_is_drawn_and_named_with_its_size() -> None:
    before, after = _measured("in_range"), _measured("low", days=90, value=340.0)
    change = LevelChange(before, after, -0.15, -0.18, -0.12, True, True, False, False, None, False)
    figure = _history(before, after, changes=(change,))
    (words,) = figure["layout"]["annotations"]
    assert words["text"] == "step \N{MINUS SIGN}15 %"
    assert _traces(figure)["Step"]["y"] == [400.0, 400.0, 340.0, 340.0]


def test_a_huge_history_is_thinned_to_its_extremes() -> None:
    values = [400.0 + (number * 37) % 90 for number in range(2000)]
    values[777], values[1234] = 100.0, 900.0
    many = [
        _measured("in_range", days=number, value=value, stage=("as_found", "as_left")[number % 2])
        for number, value in enumerate(values)
    ]
    drawn = thinned(many)
    assert len(drawn) <= MOST_POINTS + 20
    kept = {one.judged.value for one in drawn if one.judged is not None}
    assert {100.0, 900.0} <= kept
    assert drawn == sorted(drawn, key=lambda one: one.taken_at)
    assert thinned(many[:MOST_POINTS]) == many[:MOST_POINTS]
    assert len(json.dumps(_history(*many))) < 120_000


def test_a_trend_that_may_be_chance_is_not_drawn() -> None:
    trend = Trend(-0.05, -0.12, 0.02, 3, NOON, NOON, 400.0, None, None, None)
    assert "Trend between adjustments" not in _traces(_history(_measured("in_range"), trend=trend))


def test_the_heat_map_has_a_column_a_line_and_leaves_gaps_where_nothing_was_read() -> None:
    (trace,) = FIGURES["grid"]["data"]
    assert trace["z"] == [[1.0, 3.0], [2.0, None]]
    assert trace["x"] == ["1", "2"]


def test_points_of_a_round_section_stand_where_they_were_read() -> None:
    (trace,) = FIGURES["round"]["data"]
    assert trace["x"] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert trace["y"] == pytest.approx([0.18, -0.18])
    assert trace["marker"]["symbol"] == ["circle", "circle-open"]


def test_a_quarter_that_differs_has_a_shape_of_its_own() -> None:
    traces = _traces(FIGURES["held"])
    marked = traces["Differs from the others more than chance explains"]
    assert marked["x"] == [(_first(7) + datetime.timedelta(days=45)).isoformat()]
    assert marked["marker"]["symbol"] == "diamond"
    assert len(traces["A quarter, 95 % interval"]["x"]) == QUARTERS - 1


def test_limits_that_are_crossed_are_marked_on_the_line_itself() -> None:
    line = _traces(FIGURES["smoothed"])["Smoothed"]
    assert line["marker"]["symbol"].count("diamond") == QUARTERS - 21


def test_each_kind_has_a_row_of_its_own_and_its_name() -> None:
    figure = FIGURES["parts"]
    rows = [axis for name, axis in figure["layout"].items() if name.startswith("yaxis")]
    assert len(rows) == len(PARTS)
    domains = sorted(axis["domain"] for axis in rows)
    assert all(below[1] < above[0] for below, above in itertools.pairwise(domains))
    assert {note["text"] for note in figure["layout"]["annotations"]} == {
        f"{name}, 44 jobs" for name, _ in PARTS
    }
