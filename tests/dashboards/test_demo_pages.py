"""What the pages say of the invented company: who is named, and who is not."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
from django.db import transaction

from airflow_jobs import recompute
from airflow_jobs.demo.company import invent
from airflow_jobs.demo.fill import fill_demo_company
from airflow_jobs.demo.meters import (
    HIGH_READING,
    OVERDUE,
    READS_HIGH_BY,
    WENT_OFF,
    WENT_OFF_BY,
)
from airflow_jobs.demo.record import Invented
from airflow_jobs.demo.stories import (
    CARELESS_CREW,
    QUIET,
    STEP_DOWN,
    STEP_UP,
    TROUBLE_CREW,
    Course,
)
from dashboards import group_words, meter_words, returning_words, system_words
from dashboards.queries.attention import attention
from dashboards.queries.crews import crew_comparison
from dashboards.queries.due import due
from dashboards.queries.history import system_history
from dashboards.queries.meters import register
from dashboards.queries.returning import returning
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
    assert "left more outside than chance and site mix explain" in group_words.crew_sentence(
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
    assert (
        group_words.crew_sentence(trouble.named)
        == "No evidence that this differs from the company."
    )


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


@cache
def _truth() -> Invented:
    """The company as it was invented, the truth beside what the pages say."""
    return invent(seed=SEED, today=TODAY)


def _courses() -> dict[Any, Course]:
    """The systems that follow a course of their own, by id."""
    return {system.row.pk: course for system, course in _truth().courses.items()}


@pytest.mark.django_db
def test_sudden_changes_are_named_with_their_dates_and_slow_ones_are_not(filled: None) -> None:
    named = 0
    for key, course in _courses().items():
        history = system_history(key)
        assert history is not None
        steps = [change for call in history.calls for change in call.changes if change.is_step]
        if course.story not in (STEP_DOWN, STEP_UP):
            assert not steps, course.story
            continue
        for step in steps:
            named += 1
            assert course.step_on is not None
            assert step.before.taken_at.date() <= course.step_on <= step.after.taken_at.date()
            assert (step.size < 0) == (course.story == STEP_DOWN)
            said = system_words.change_sentence(step)
            assert "No adjustment on record explains it." in said
            # One meter has read low since then: that is in the size, and in no interval.
            reads = 1.0 - WENT_OFF_BY if course.meter == WENT_OFF else 1.0
            assert step.low <= course.step_factor * reads - 1.0 <= step.high
            # A calibration in between may be a part of it, and is named.
            assert ("The meter was calibrated on" in said) == (step.calibrated_on is not None)
    assert named >= 2


@pytest.mark.django_db
def test_systems_that_fall_slowly_are_foretold_with_both_ends(filled: None) -> None:
    falling = [(key, one) for key, one in _courses().items() if one.fall_a_year]
    held = 0
    for key, course in falling:
        history = system_history(key)
        assert history is not None
        trend = history.trend
        assert trend is not None
        assert trend.per_year_high < 0
        held += trend.per_year_low <= -course.fall_a_year <= trend.per_year_high
        assert trend.leaves_on is not None
        assert trend.leaves_earliest_on is not None
        assert trend.leaves_earliest_on <= trend.leaves_on
    assert held >= len(falling) - 1
    quiet = [key for key, one in _courses().items() if one.story == QUIET]
    for key in quiet:
        history = system_history(key)
        assert history is not None
        assert history.trend is None or not history.trend.is_certain


@pytest.mark.django_db
def test_systems_that_moved_back_out_are_those_that_did(filled: None) -> None:
    moved: dict[tuple[Any, datetime.date, str], bool] = {}
    before: dict[tuple[Any, str], Any] = {}
    for job in _truth().jobs:
        key = job.system.row.pk, str(job.call)
        last = before.get(key)
        moved[job.system.row.pk, job.outing.day, str(job.call)] = (
            last is not None
            and last.left_ratio is not None
            and not last.is_outside(last.left_ratio)
            and job.is_outside(job.found_ratio)
        )
        before[key] = job
    found = returning(ALL, limit=None)
    sure = [one for one in found.returns if one.is_sure]
    assert len(sure) > 300
    true = [moved.get((one.system.id, one.found.on, one.call), False) for one in sure]
    assert sum(true) / len(true) > 0.95
    assert len(sure) / sum(moved.values()) > 0.6
    undone = [one for one in sure if one.undone]
    assert undone
    assert "Not found as it was left" in returning_words.return_text(undone[0])


@pytest.mark.django_db
def test_where_seven_in_ten_are_found_outside_no_system_is_singled_out(filled: None) -> None:
    found = returning(ALL)
    assert found.marked == ()
    assert found.compared > 100
    assert "hardly any can stand out" in returning_words.often_sentence(found)
