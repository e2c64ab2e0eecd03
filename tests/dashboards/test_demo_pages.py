"""What the pages say of the invented company: who is named, and who is not."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction

from airflow_jobs import recompute
from airflow_jobs.demo.fill import fill_demo_company
from airflow_jobs.demo.meters import HIGH_READING, OVERDUE, READS_HIGH_BY
from airflow_jobs.demo.stories import CARELESS_CREW, TROUBLE_CREW
from dashboards import meter_words, words
from dashboards.queries.attention import attention
from dashboards.queries.crews import crew_comparison
from dashboards.queries.due import due
from dashboards.queries.meters import register
from dashboards.values.filters import Filters

SEED = 1
TODAY = datetime.date(2026, 11, 25)
ALL = Filters()


@pytest.fixture(scope="module")
def filled(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """Fill and compute once for all tests here; nothing of it stays."""
    with django_db_blocker.unblock(), transaction.atomic():
        fill_demo_company(seed=SEED, today=TODAY, progress=lambda _: None)
        recompute.drain()
        yield
        transaction.set_rollback(True)


@pytest.mark.django_db
def test_the_crew_that_leaves_too_many_outside_is_marked_and_nobody_else(filled: None) -> None:
    comparison = crew_comparison(ALL)
    marked = {
        one.name
        for one in comparison.crews
        if one.named.left_compared is not None and one.named.left_compared.differs
    }
    assert marked == {CARELESS_CREW}
    assert comparison.crews[0].name == CARELESS_CREW
    assert "differs more than chance and site mix explain" in words.crew_sentence(
        comparison.crews[0].named
    )


@pytest.mark.django_db
def test_the_crew_with_the_bad_systems_is_not_marked_for_what_it_left(filled: None) -> None:
    comparison = crew_comparison(ALL)
    trouble = next(one for one in comparison.crews if one.name == TROUBLE_CREW)
    others = [one for one in comparison.crews if one.name != TROUBLE_CREW]
    found = trouble.named.found
    assert found.outside / found.total > 0.85
    assert all(
        found.outside / found.total > one.named.found.outside / one.named.found.total
        for one in others
        if one.named.found.total
    )
    assert words.crew_sentence(trouble.named) == "No evidence that this differs from the company."


@pytest.mark.django_db
def test_the_meter_that_reads_high_is_named_and_no_other(filled: None) -> None:
    found = register(ALL, today=TODAY)
    assert [(one.name, one.reads) for one in found.astray] == [(HIGH_READING, "high")]
    (high,) = found.astray
    assert high.paired is not None
    assert high.paired.low < READS_HIGH_BY < high.paired.high
    assert f"{HIGH_READING} reads high by 6." in meter_words.meters_sentence(found)


@pytest.mark.django_db
def test_the_meter_that_is_out_of_calibration_is_named(filled: None) -> None:
    assert [one.name for one in register(ALL, today=TODAY).overdue] == [OVERDUE]


@pytest.mark.django_db
def test_every_list_of_what_is_due_has_something_to_show(filled: None) -> None:
    found = due(ALL, attention(ALL, today=TODAY), today=TODAY, months=12, limit=None)
    assert [one.name for one in found.overdue.rows] == [OVERDUE]
    assert found.expiring.total >= 1
    assert found.missed.total == 6
    assert sum(one.measured_since_on is not None for one in found.missed.rows) == 2
    assert found.coming.total == 12
    assert found.late.total >= 3
    assert 0 < found.late_unplanned <= found.late.total
    assert found.never.total == 2
    assert found.foreseen.total >= 3
