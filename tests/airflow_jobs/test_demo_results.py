"""The record once it holds the invented company, and what the service makes of it."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

import numpy as np
import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from scipy.stats import theilslopes

from airflow_jobs import recompute
from airflow_jobs.actions.access import SERVICE, Actor
from airflow_jobs.actions.traverses import record_traverse
from airflow_jobs.demo.company import invent
from airflow_jobs.demo.fill import fill_demo_company
from airflow_jobs.demo.meters import HIGH_READING
from airflow_jobs.demo.peculiar import REDUCED_BAROMETER_M, is_slipped
from airflow_jobs.demo.record import Invented
from airflow_jobs.demo.stories import CARELESS_CREW, TROUBLE_CREW
from airflow_jobs.demo.traverses import Taken
from airflow_jobs.models import (
    Computation,
    Equipment,
    Result,
    Site,
    Stage,
    State,
    Traverse,
    TraverseRevision,
    Verdict,
    Visit,
)

SEED = 1
TODAY = datetime.date(2026, 11, 25)


@dataclass
class Filled:
    """The record after a fill, with the truth beside it and what the service computed."""

    invented: Invented
    statements: int
    said: list[str]
    results: dict[UUID, Result] = field(default_factory=dict)
    """By traverse."""
    sums: dict[UUID, Result] = field(default_factory=dict)
    """By flow-set."""

    def judged(self, stage: str, crew: str | None = None) -> list[Result]:
        """Return the judged results of one stage, all or one crew's: one a system and visit."""
        chosen = [
            self.results[taken.identifier]
            for taken in self.invented.taken
            if taken.content.stage == stage and (crew is None or taken.job.outing.crew_name == crew)
        ]
        chosen += [
            self.sums[flow_set.pk]
            for flow_set in self.invented.flow_sets
            if flow_set.stage == stage and (crew is None or flow_set.visit.crew.name == crew)
        ]
        return [result for result in chosen if result.verdict != Verdict.NOT_JUDGED]

    def plain(self) -> list[Taken]:
        """Return the traverses whose result should be near the truth."""
        low, high = REDUCED_BAROMETER_M
        return [
            taken
            for taken in self.invented.taken
            if taken.meter.make.label != HIGH_READING
            and not low < taken.job.system.place.elevation_m < high
            and not is_slipped(self.invented, taken)
        ]


@pytest.fixture(scope="module")
def filled(django_db_setup: None, django_db_blocker: Any) -> Iterator[Filled]:
    """Fill and compute once for all tests here; nothing of it stays."""
    said: list[str] = []
    with django_db_blocker.unblock(), transaction.atomic():
        with CaptureQueriesContext(connection) as captured:
            fill_demo_company(seed=SEED, today=TODAY, progress=said.append)
        done = Filled(invent(seed=SEED, today=TODAY), len(captured), said)
        recompute.drain()
        for computation in Computation.objects.select_related("result"):
            assert computation.result is not None, computation.failure
            where = done.results if computation.traverse_id else done.sums
            where[computation.traverse_id or computation.flow_set_id] = computation.result
        yield done
        transaction.set_rollback(True)


def outside(results: list[Result]) -> list[bool]:
    """Whether each lies beyond a limit of its target."""
    judged = []
    for result in results:
        assert result.judged_value is not None
        assert result.target_low is not None
        assert result.target_high is not None
        judged.append(not result.target_low <= result.judged_value <= result.target_high)
    return judged


def flow_standard_m3_s(result: Result) -> float:
    """Return the best estimate of the standard flow."""
    assert result.flow_standard_m3_s is not None
    return result.flow_standard_m3_s


@pytest.mark.django_db
def test_everything_invented_is_stored_in_a_handful_of_statements(filled: Filled) -> None:
    assert Site.objects.count() == 60
    assert Equipment.objects.count() == 150
    assert Traverse.objects.count() == len(filled.invented.taken)
    assert TraverseRevision.objects.count() == len(filled.invented.taken) + 2
    assert filled.statements < 40
    assert "traverses" in " ".join(filled.said)


@pytest.mark.django_db
def test_every_traverse_and_flow_set_is_computed(filled: Filled) -> None:
    states = set(Computation.objects.values_list("state", flat=True))
    assert states == {State.COMPUTED}
    assert len(filled.results) == len(filled.invented.taken)
    assert len(filled.sums) == len(filled.invented.flow_sets)


@pytest.mark.django_db
def test_filling_again_changes_nothing_and_says_so(filled: Filled) -> None:
    said: list[str] = []
    before = set(Traverse.objects.values_list("pk", "revision"))
    fill_demo_company(seed=SEED + 1, today=TODAY, progress=said.append)
    assert set(Traverse.objects.values_list("pk", "revision")) == before
    assert said == ["The invented company is already there; nothing was changed."]


@pytest.mark.django_db
def test_sending_an_invented_traverse_again_is_recognised(filled: Filled) -> None:
    actor = Actor(name="phone", role=SERVICE)
    for taken in filled.invented.taken[::400]:
        recorded = record_traverse(
            actor=actor, identifier=taken.identifier, content=taken.content, now=timezone.now()
        )
        assert not recorded.is_new


@pytest.mark.django_db
def test_the_history_says_who_filled_the_record(filled: Filled) -> None:
    events = Traverse.pgh_event_model.objects  # type: ignore[attr-defined]
    event = events.select_related("pgh_context").order_by("pgh_id").first()
    assert event.pgh_context.metadata["actor_name"] == "demo"


@pytest.mark.django_db
def test_corrected_slips_keep_both_contents_and_count_as_revisions(filled: Filled) -> None:
    for correction in filled.invented.corrections:
        row = Traverse.objects.get(pk=correction.taken.identifier)
        assert row.revision == 2
        first, second = row.revisions.order_by("number")
        assert first.content != second.content
        assert second.reason
        assert row.readings == correction.taken.content.readings


@pytest.mark.django_db
def test_results_come_out_near_the_truth(filled: Filled) -> None:
    plain = [taken for taken in filled.plain() if taken.content.mode == "points"]
    ratios = np.array(
        [
            flow_standard_m3_s(filled.results[taken.identifier]) / taken.truth.flow_standard_m3_s
            for taken in plain
        ]
    )
    assert abs(np.median(ratios) - 1.0) < 0.01
    assert np.mean(np.abs(ratios - 1.0) < 0.05) > 0.97


@pytest.mark.django_db
def test_intervals_hold_the_truth_as_often_as_they_say(filled: Filled) -> None:
    held = []
    for taken in filled.plain():
        interval = filled.results[taken.identifier].values["interval95"]["flow_actual"]
        if interval is not None:
            held.append(interval["low"] <= taken.truth.flow_actual_m3_s <= interval["high"])
    assert len(held) > 1500
    assert np.mean(held) > 0.95


@pytest.mark.django_db
def test_seven_in_ten_are_found_outside_and_most_left_inside(filled: Filled) -> None:
    found, left = outside(filled.judged(Stage.AS_FOUND)), outside(filled.judged(Stage.AS_LEFT))
    assert len(found) > 1000
    assert 0.65 <= np.mean(found) <= 0.76
    assert len(left) > 700
    assert np.mean(left) <= 0.17


@pytest.mark.django_db
def test_the_careless_crew_stands_out_and_the_one_with_bad_systems_does_not(
    filled: Filled,
) -> None:
    careless = outside(filled.judged(Stage.AS_LEFT, CARELESS_CREW))
    assert len(careless) >= 60
    assert 0.32 <= np.mean(careless) <= 0.45
    for crew in filled.invented.crews:
        if crew.name != CARELESS_CREW:
            assert np.mean(outside(filled.judged(Stage.AS_LEFT, crew.name))) <= 0.2
    assert np.mean(outside(filled.judged(Stage.AS_FOUND, TROUBLE_CREW))) > 0.85
    assert np.mean(outside(filled.judged(Stage.AS_LEFT, TROUBLE_CREW))) <= 0.15


@pytest.mark.django_db
def test_paired_checks_show_the_meter_that_reads_high(filled: Filled) -> None:
    by_id = {taken.identifier: taken for taken in filled.invented.taken}
    differences, others = [], []
    for taken in filled.invented.taken:
        if taken.content.repeats_id is None:
            continue
        first = by_id[taken.content.repeats_id]
        difference = float(
            np.log(
                flow_standard_m3_s(filled.results[taken.identifier])
                / flow_standard_m3_s(filled.results[first.identifier])
            )
        )
        if taken.meter.make.label == HIGH_READING:
            differences.append(difference)
        elif first.meter.make.label == HIGH_READING:
            differences.append(-difference)
        else:
            others.append(difference)
    assert len(differences) >= 20
    assert 0.045 <= np.median(differences) <= 0.08
    assert abs(np.median(others)) < 0.02


@pytest.mark.django_db
def test_falling_systems_fall_by_what_they_should(filled: Filled) -> None:
    for system, course in filled.invented.courses.items():
        if not course.fall_a_year:
            continue
        series = sorted(
            (taken.content.taken_at, flow_standard_m3_s(filled.results[taken.identifier]))
            for taken in filled.invented.taken
            if taken.job.system is system and taken.content.stage == Stage.AS_FOUND
        )
        years = [(at - series[0][0]).days / 365.25 for at, _ in series]
        slope = theilslopes(np.log([flow for _, flow in series]), years)[0]
        assert np.exp(slope) == pytest.approx(1.0 - course.fall_a_year, abs=0.025)


@pytest.mark.django_db
def test_a_change_of_the_blower_comes_out_as_foretold_but_for_one_in_twenty_or_less(
    filled: Filled,
) -> None:
    checks = [
        check
        for result in filled.results.values()
        if (check := result.values["as_left_check"]) is not None
    ]
    alone = [check for check in checks if not check["also_changed"]]
    by = {check["by"] for check in alone}
    assert by == {"makers_table", "speed"}
    assert len(alone) >= 100
    assert np.mean([check["came_out"] != "as_expected" for check in alone]) < 0.08
    # Where something else was changed as well, it shows.
    assert np.mean([check["came_out"] != "as_expected" for check in checks]) < 0.12


@pytest.mark.django_db
@pytest.mark.parametrize(("kind", "least"), [("heat_balance", 70), ("flow_reading", 12)])
def test_other_ways_to_know_a_flow_agree_with_the_traverse(
    filled: Filled, kind: str, least: int
) -> None:
    agreed = [
        check["agrees"]
        for taken in filled.plain()
        for check in filled.results[taken.identifier].values["cross_checks"]
        if check["kind"] == kind and check["agrees"] is not None
    ]
    assert len(agreed) >= least
    assert sum(not one for one in agreed) <= max(2, 0.05 * len(agreed))


@pytest.mark.django_db
def test_what_is_peculiar_becomes_a_finding(filled: Filled) -> None:
    codes: dict[str, int] = {}
    for result in filled.results.values():
        for finding in result.values["findings"]:
            codes[finding["code"]] = codes.get(finding["code"], 0) + 1
    for code in (
        "calibration_overdue",
        "barometer_reduced_to_sea_level",
        "holes_off_plan",
        "copying_slip",
        "readings_missing",
        "unit_suspect",
        "states_not_comparable",
        "compensation_unknown",
        "part_of_system",
        "call_unknown",
        "overall_average_only",
    ):
        assert codes.get(code, 0) > 0, code


@pytest.mark.django_db
def test_pages_can_show_what_is_planned_next(filled: Filled) -> None:
    planned = Visit.objects.filter(planned_for__gte=TODAY, started_at__isnull=True)
    assert planned.count() >= 8
