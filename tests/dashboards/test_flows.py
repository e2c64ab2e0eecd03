"""The distribution of flows: found and left apart, on one axis, each job against its own target."""

import csv
import io
import itertools
import math
import re
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs.models import Traverse
from dashboards import flow_words
from dashboards.charts.flows import Scale, bin_text, flows_found_and_left
from dashboards.display import Units
from dashboards.pages.fleet_charts import bin_width
from dashboards.queries.flows import MOST_BINS, flows
from dashboards.queries.shares import fleet_shares
from dashboards.statistics.spread import real_part_of_spread
from dashboards.values.filters import Filters
from dashboards.values.flows import Flows
from tests.dashboards.records import make_job, make_measured, make_result
from tests.factories import PER_TON
from tests.spaces import loose

ALL = Filters()
IP = Units("ip")
WIDTH = bin_width(IP)


def _flows(filters: Filters = ALL) -> Flows:
    return flows(filters, width=WIDTH)


def _counts(found: Flows) -> dict[float | None, tuple[int, int]]:
    return {
        None if one.start is None else round(one.start / PER_TON): (one.found, one.left)
        for one in found.rates.bins
        if one.found or one.left
    }


def _judged_otherwise(**fields: Any) -> Traverse:
    """Make a job with another target, or judged by a design flow."""
    traverse = make_measured()
    computation = traverse.computation
    computation.result = make_result(
        computation, per_ton=400.0, **{"inputs_digest": "sha256:other", **fields}
    )
    computation.save()
    return traverse


def _by_design_flow() -> Traverse:
    return _judged_otherwise(
        judged_value=0.80, judged_u=0.02, target_low=0.72, target_nominal=0.8, target_high=0.88
    )


@given(st.floats(0.0, 1e3), st.floats(1e-3, 1e3), st.floats(0.0, 1e3), st.floats(1e-3, 1e3))
def test_the_real_part_of_a_spread_is_a_share_and_scales(
    lower: float, width: float, u: float, factor: float
) -> None:
    part = real_part_of_spread(lower=lower, upper=lower + width, u=u)
    assert 0.0 <= part <= 1.0
    again = real_part_of_spread(lower=factor * lower, upper=factor * (lower + width), u=factor * u)
    assert again == pytest.approx(part, abs=1e-5)


def test_the_real_part_of_a_spread_is_what_was_put_in() -> None:
    rng = np.random.default_rng(1)
    real, u = 40.0, 25.0
    measured = 400.0 + rng.normal(0.0, real, 200_000) + rng.normal(0.0, u, 200_000)
    lower, upper = np.quantile(measured, [0.25, 0.75])
    part = real_part_of_spread(lower=lower, upper=upper, u=u)
    assert part == pytest.approx(real / math.hypot(real, u), rel=0.01)


def test_a_spread_without_blur_is_all_real_and_one_below_it_not_at_all() -> None:
    assert real_part_of_spread(lower=1.0, upper=2.0, u=0.0) == 1.0
    assert real_part_of_spread(lower=1.0, upper=1.0, u=0.0) == 1.0
    assert real_part_of_spread(lower=1.0, upper=2.0, u=0.75) == 0.0
    with pytest.raises(ValueError, match="upper"):
        real_part_of_spread(lower=2.0, upper=1.0, u=0.1)
    with pytest.raises(ValueError, match="u must"):
        real_part_of_spread(lower=1.0, upper=2.0, u=-0.1)


@pytest.mark.django_db
def test_columns_hold_their_start_and_not_their_end() -> None:
    for per_ton in (375.0, 399.9, 400.0, 424.9, 425.0):
        make_job(found=None, left=per_ton)
    assert _counts(_flows()) == {375: (0, 2), 400: (0, 2), 425: (0, 1)}


@pytest.mark.django_db
def test_found_and_left_are_counted_apart() -> None:
    make_job(found=310.0, left=410.0)
    make_job(found=320.0, left=None)
    found = _flows()
    assert _counts(found) == {300: (2, 0), 400: (0, 1)}
    assert found.rates.found is not None
    assert found.rates.left is not None
    assert (found.rates.found.total, found.rates.left.total) == (2, 1)
    assert found.rates.found.middle == pytest.approx(315.0 * PER_TON)


@pytest.mark.django_db
def test_the_range_is_always_in_the_drawing_and_columns_have_no_gap() -> None:
    make_job(found=None, left=600.0)
    bins = _flows().rates.bins
    assert bins[0].start is not None
    assert bins[0].start < 350.0 * PER_TON
    assert bins[-1].end is not None
    assert bins[-1].end > 600.0 * PER_TON
    for one, other in itertools.pairwise(bins):
        assert one.end == pytest.approx(other.start)


@pytest.mark.django_db
def test_what_lies_far_out_is_counted_in_an_open_column() -> None:
    for per_ton in (20.0, 360.0, 3000.0):
        make_job(found=None, left=per_ton, u_per_ton=5.0)
    bins = _flows().rates.bins
    assert len(bins) <= MOST_BINS + 2
    assert sum(one.left for one in bins) == 3
    assert (bins[0].start, bins[0].left) == (None, 1)
    assert (bins[-1].end, bins[-1].left) == (None, 1)

    def written(value: float) -> str:
        return flow_words.rate_written(value, IP)

    assert bin_text(bins[0], written).startswith("under ")
    assert bin_text(bins[-1], written).endswith(" and over")


@pytest.mark.django_db
def test_one_target_for_all_needs_no_second_chart() -> None:
    make_job(found=310.0, left=410.0)
    found = _flows()
    assert not found.targets_differ
    assert "The band is the range of all these jobs, 350 to 450." in (
        flow_words.rates_sentence(found, IP)
    )


@pytest.mark.django_db
def test_ranges_that_differ_in_the_last_digits_are_one() -> None:
    make_measured()
    _judged_otherwise(
        target_low=350.0 * PER_TON * (1.0 + 1e-13), target_high=450.0 * PER_TON * (1.0 - 1e-13)
    )
    assert not _flows().targets_differ


@pytest.mark.django_db
def test_where_targets_differ_each_job_stands_in_its_own_range() -> None:
    make_measured(per_ton=400.0)
    make_measured(per_ton=400.0)
    _judged_otherwise(target_low=300.0 * PER_TON, target_high=400.0 * PER_TON)
    found = _flows()
    assert found.targets_differ
    places = {one.start: one.left for one in found.places.bins if one.left}
    assert places == {0.5: 2, 1.0: 1}
    said = flow_words.rates_sentence(found, IP)
    assert "The band is the commonest range, 350 to 450 (2 left)" in said
    assert "such as 300 to 400 (1 left)" in said


@pytest.mark.django_db
def test_a_design_flow_is_no_flow_per_capacity_and_stands_in_the_other_chart() -> None:
    make_measured(per_ton=400.0)
    _by_design_flow()
    found = _flows()
    assert found.rates.total == 1
    assert found.places.total == 2
    assert found.by_design_flow == 1
    assert "What was judged by a design flow (1 left) is only in the next chart." in (
        flow_words.rates_sentence(found, IP)
    )
    assert "a design flow in cooling (1 left)" in flow_words.places_sentence(found)


@pytest.mark.django_db
def test_the_blur_is_said_with_the_corrected_share() -> None:
    for number in range(60):
        make_job(found=None, left=340.0 + 2.0 * number, u_per_ton=12.0)
    said = loose(flow_words.blur_sentence(_flows(), fleet_shares(ALL)))
    assert "typically by ± 24 % of the target's width (95 %)" in said
    assert "makes both distributions wider than the truth" in said
    assert re.search(r"Allowing for it, some \d\d % \(\d\d to \d\d %\) were left in range", said)
    assert "counted as measured, 85 % (74 to 92 %)" in said


@pytest.mark.django_db
def test_the_fleet_allows_for_uncertainty_only_where_there_are_jobs_enough(
    manager: Client,
) -> None:
    for number in range(49):
        make_job(found=None, left=340.0 + 2.0 * number, u_per_ton=12.0)
    assert "Allowing for" not in manager.get("/?period=all").content.decode()
    make_job(found=None, left=400.0, u_per_ton=12.0)
    page = loose(manager.get("/?period=all").content.decode())
    said = re.search(
        r"Allowing for measurement uncertainty, some (\d+) % \((\d+) to (\d+) %\) were left", page
    )
    assert said is not None
    share, low, high = (int(number) for number in said.groups())
    assert low < share < high
    assert "#corrected-share" in page
    # What single crews and sites are to be planned with is another quantity, in their tables.
    assert "Share to plan with:" not in page
    rows = csv.DictReader(io.StringIO(manager.get("/tables/crews.csv?period=all").content.decode()))
    assert {"Share to plan with", "Share to plan with, low end"} <= set(rows.fieldnames or ())


@pytest.mark.django_db
def test_of_few_jobs_no_spread_is_said() -> None:
    make_job(found=None, left=400.0)
    found = _flows()
    assert "1 job was left, too few for a distribution" in flow_words.rates_sentence(found, IP)
    assert "nothing can be said of their spread" in flow_words.blur_sentence(
        found, fleet_shares(ALL)
    )


@pytest.mark.django_db
def test_the_chart_has_both_stages_on_one_axis_with_band_and_medians() -> None:
    make_job(found=310.0, left=410.0)
    found = _flows()
    figure = flows_found_and_left(
        found.rates,
        Scale(
            title="Flow",
            number=lambda value: value / PER_TON,
            written=str,
            median=str,
            band=(350.0 * PER_TON, 450.0 * PER_TON),
            band_name="The range",
        ),
    )
    names = [(trace["name"], trace["type"], trace["yaxis"]) for trace in figure["data"]]
    assert names == [("As found", "bar", "y"), ("As left", "bar", "y2")]
    assert all(trace.get("xaxis", "x") == "x" for trace in figure["data"])
    layout = figure["layout"]
    assert layout["yaxis"]["range"] == layout["yaxis2"]["range"]
    band, *medians = layout["shapes"]
    assert (band["x0"], band["x1"]) == (pytest.approx(350.0), pytest.approx(450.0))
    assert [line["x0"] for line in medians] == [pytest.approx(310.0), pytest.approx(410.0)]


@pytest.mark.django_db
@pytest.mark.parametrize("size", [3, 30])
def test_one_statement_however_many_jobs(size: int) -> None:
    for number in range(size):
        make_job(found=300.0, left=400.0 + number)
    with CaptureQueriesContext(connection) as statements:
        _flows()
    assert len(statements) == 1


@pytest.mark.django_db
def test_the_table_lists_the_columns_in_the_company_s_units(manager: Client) -> None:
    make_job(found=310.0, left=410.0)
    answer = manager.get("/tables/flows.csv?period=all")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    counted = [row for row in rows if row["As found"] != "0" or row["As left"] != "0"]
    assert [(row["From"], row["Below"]) for row in counted] == [
        ("300.0", "325.0"),
        ("400.0", "425.0"),
    ]
    assert manager.get("/tables/places.csv?period=all").status_code == 200
    page = manager.get("/?period=all").content.decode()
    assert "400 to 425" in page
    assert 'id="table-flows"' in page
    assert 'id="table-places"' not in page


@pytest.mark.django_db
def test_without_a_job_by_capacity_the_page_says_so(manager: Client) -> None:
    _by_design_flow()
    page = manager.get("/?period=all").content.decode()
    assert "No job here was judged by its flow per capacity." in page
    assert 'id="table-places"' in page
