"""The change of a share against the period before, with its interval."""

from __future__ import annotations

import datetime

import numpy as np
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import confint_proportions_2indep

from dashboards.queries.shares import change_against_before, fleet_shares
from dashboards.statistics.intervals import share_difference
from dashboards.values.filters import Filters
from tests.dashboards.records import make_job
from tests.factories import NOW
from tests.spaces import loose

PERIOD = Filters(from_on=datetime.date(2026, 5, 1), to_on=datetime.date(2026, 6, 30))
ADDRESS = "/?from=2026-05-01&to=2026-06-30"
BEFORE = NOW - datetime.timedelta(days=61)

pairs = st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


def test_the_interval_of_a_difference_is_the_published_one() -> None:
    # R. G. Newcombe, Statistics in Medicine 17 (1998) 873, example a, method 10.
    low, high = share_difference(count=56, total=70, count_before=48, total_before=80)
    assert float(low) == pytest.approx(0.0524, abs=5e-5)
    assert float(high) == pytest.approx(0.3339, abs=5e-5)


@given(pairs, pairs)
def test_the_interval_of_a_difference_agrees_with_a_judge(
    now: tuple[int, int], before: tuple[int, int]
) -> None:
    found = share_difference(
        count=now[0], total=now[1], count_before=before[0], total_before=before[1]
    )
    judge = confint_proportions_2indep(*now, *before, method="newcomb", compare="diff")
    assert [float(end) for end in found] == pytest.approx(judge, abs=1e-9)


@given(pairs, pairs)
def test_the_other_way_round_the_interval_is_mirrored(
    now: tuple[int, int], before: tuple[int, int]
) -> None:
    low, high = share_difference(
        count=now[0], total=now[1], count_before=before[0], total_before=before[1]
    )
    other = share_difference(
        count=before[0], total=before[1], count_before=now[0], total_before=now[1]
    )
    assert (-float(high), -float(low)) == pytest.approx([float(end) for end in other], abs=1e-12)


def test_without_jobs_there_is_no_difference() -> None:
    low, high = share_difference(count=1, total=2, count_before=0, total_before=0)
    assert np.isnan(low)
    assert np.isnan(high)


@pytest.mark.django_db
def test_the_period_before_is_as_long_and_ends_the_day_before() -> None:
    make_job(found=None, left=400.0, taken_at=NOW)
    make_job(found=None, left=520.0, taken_at=BEFORE)
    make_job(found=None, left=400.0, taken_at=BEFORE - datetime.timedelta(days=61))
    change = change_against_before(PERIOD, fleet_shares(PERIOD).left)
    assert change is not None
    assert (change.from_on, change.to_on) == (
        datetime.date(2026, 3, 1),
        datetime.date(2026, 4, 30),
    )
    assert (change.before.total, change.before.inside, change.change) == (1, 0, 1.0)
    assert not change.is_sure


@pytest.mark.django_db
def test_the_headline_says_the_change_and_whether_chance_explains_it(manager: Client) -> None:
    for _ in range(12):
        make_job(found=None, left=400.0, taken_at=NOW)
        make_job(found=None, left=520.0, taken_at=BEFORE)
    page = loose(manager.get(ADDRESS).content.decode())
    assert "100 points more than in as many days before, which is more than chance" in page
    assert "From 1 Mar 2026 to 30 Apr 2026 it was 0 % of 12 jobs" in page
    for _ in range(12):
        make_job(found=None, left=400.0, taken_at=BEFORE)
    for _ in range(9):
        make_job(found=None, left=520.0, taken_at=NOW)
    page = loose(manager.get(ADDRESS).content.decode())
    assert "7 points more than in as many days before, which chance alone may explain." in page
    assert "it was 50 % of 24 jobs; the change lies between −21 and +33 points" in page


@pytest.mark.django_db
def test_found_is_compared_with_found(manager: Client) -> None:
    for _ in range(10):
        make_job(found=300.0, left=400.0, taken_at=NOW)
        make_job(found=400.0, left=520.0, taken_at=BEFORE)
    page = loose(manager.get(f"{ADDRESS}&stage=as_found").content.decode())
    assert "100 points less than in as many days before" in page
    assert "it was 100 % of 10 jobs" in page


@pytest.mark.django_db
def test_without_a_period_or_jobs_before_no_change_is_said(manager: Client) -> None:
    for _ in range(10):
        make_job(found=None, left=400.0, taken_at=NOW)
    assert "days before" not in manager.get(ADDRESS).content.decode()
    for _ in range(9):
        make_job(found=None, left=400.0, taken_at=BEFORE)
    page = loose(manager.get(ADDRESS).content.decode())
    assert "days before" not in page
    assert "there were only 9 jobs, too few to compare with" in page
    make_job(found=None, left=400.0, taken_at=BEFORE)
    assert "days before" not in manager.get("/?period=all").content.decode()
    assert "the same share as in as many days before" in manager.get(ADDRESS).content.decode()


@pytest.mark.django_db
def test_the_counts_under_the_bar_add_up_and_name_the_undecided_as_some_of_them(
    manager: Client,
) -> None:
    for left in (400.0, 345.0, 440.0, 300.0):
        make_job(found=None, left=left, taken_at=NOW)
    page = loose(manager.get(ADDRESS).content.decode())
    assert "</span>2 in range" in page
    assert '<span class="mark low">2</span> low' in page
    assert "of these, 2 too close to call, hatched" in page


@pytest.mark.django_db
@pytest.mark.parametrize("size", [3, 30])
def test_the_change_takes_one_statement_however_long_the_history(
    manager: Client, size: int
) -> None:
    for _ in range(size):
        make_job(found=None, left=400.0, taken_at=NOW)
        make_job(found=None, left=400.0, taken_at=BEFORE)
    with CaptureQueriesContext(connection) as statements:
        assert manager.get(ADDRESS).status_code == 200
    assert len(statements) == 18
