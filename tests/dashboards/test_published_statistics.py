"""Statistics against published values, each with its source in `tests/published/`."""

import numpy as np

from dashboards.statistics import control_charts
from dashboards.statistics.funnels import exact_limits, normal_limits
from dashboards.statistics.intervals import wilson
from dashboards.statistics.trends import theil_sen
from tests.calc import published

FUNNEL_TAILS = np.array([0.001, 0.025, 0.975, 0.999])


@published.each("ST-EWMA-Z")
def test_the_moving_average_follows_the_handbook(row: published.Row) -> None:
    series = control_charts.ewma(
        row.inputs["data"], weight=row.inputs["lambda"], start=row.inputs["target"]
    )
    row.assert_matches(series)


@published.each("ST-EWMA-U", "ST-EWMA-L")
def test_the_moving_average_s_limits_follow_the_handbook(row: published.Row) -> None:
    low, high = control_charts.ewma_limits(
        centre=row.inputs["target"],
        sd=row.inputs["s"],
        weight=row.inputs["lambda"],
        sigmas=row.inputs["k"],
    )
    row.assert_matches(high if row.id.endswith("U") else low)


@published.each("ST-IMR-X", "ST-IMR-MR", "ST-IMR-L", "ST-MR-U")
def test_the_chart_of_individuals_follows_the_handbook(row: published.Row) -> None:
    chart = control_charts.individuals(row.inputs["data"])
    row.assert_matches(
        {
            "ST-IMR-X": chart.centre,
            "ST-IMR-MR": chart.mean_moving_range,
            "ST-IMR-L": chart.low,
            "ST-MR-U": chart.moving_range_high,
        }[row.id]
    )


def test_the_constants_of_control_charts_are_those_of_the_tables() -> None:
    published.row("ST-D2").assert_matches(
        [control_charts.D2, control_charts.D3, control_charts.D4, control_charts.E2]
    )


def test_the_chart_of_proportions_has_the_handbook_s_centre() -> None:
    row = published.row("ST-P-BAR")
    row.assert_matches(control_charts.proportions(row.inputs["counts"], row.inputs["n"]).centre)


def test_the_chart_of_proportions_finds_the_handbook_s_points_outside() -> None:
    row = published.row("ST-P-OUT")
    chart = control_charts.proportions(row.inputs["counts"], row.inputs["n"])
    row.assert_matches(list(chart.outside))


def test_the_chart_of_proportions_clips_its_limits() -> None:
    row = published.row("ST-P-M61")
    n, samples, total = row.inputs["n"], row.inputs["m"], row.inputs["total"]
    counts = np.full(samples, total // samples)
    counts[: total % samples] += 1
    chart = control_charts.proportions(counts, n)
    row.assert_matches([chart.centre, chart.high[0], chart.low[0]])


@published.each("ST-W-*")
def test_the_score_interval_is_the_published_one(row: published.Row) -> None:
    low, high = wilson(count=row.inputs["x"], total=row.inputs["n"])
    row.assert_matches([low, high])


def test_one_outlier_does_not_tilt_the_line() -> None:
    row = published.row("ST-TS-HH")
    x, y = np.array(row.inputs["x"], float), np.array(row.inputs["y"], float)
    line = theil_sen(x, y)
    row.assert_matches([line.slope, np.median(y) - line.slope * np.median(x)])


def test_the_slope_has_the_published_limits() -> None:
    row = published.row("ST-TS-CI")
    y = np.array(row.inputs["y"], float)
    line = theil_sen(np.arange(y.size, dtype=float), y)
    row.assert_matches([line.slope, line.slope_low, line.slope_high])


def test_the_rank_correlation_is_the_published_one() -> None:
    row = published.row("ST-TAU")
    y = np.array(row.inputs["y"], float)
    row.assert_matches(theil_sen(np.arange(y.size, dtype=float), y).tau)


@published.each("ST-FUN50", "ST-FUN500")
def test_funnel_limits_are_exact_and_interpolated(row: published.Row) -> None:
    limits = exact_limits(
        total=row.inputs["n"], share=row.inputs["theta"], probability=FUNNEL_TAILS
    )
    row.assert_matches(limits)


@published.each("ST-FUNN50", "ST-FUNN200", "ST-FUNN500")
def test_normal_funnel_limits_are_clipped(row: published.Row) -> None:
    limits = normal_limits(
        total=row.inputs["n"], share=row.inputs["theta"], probability=FUNNEL_TAILS
    )
    row.assert_matches(limits)
