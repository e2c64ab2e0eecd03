"""Standings worked out ahead: what needs a look is the same with them as without."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from airflow_jobs.models import (
    Adjustment,
    Calibration,
    ChangedSystem,
    Computation,
    Crew,
    DuctSection,
    Equipment,
    Instrument,
    Site,
    Standing,
    Traverse,
    Visit,
)
from dashboards.queries.attention import attention
from dashboards.standings import renew_standings
from dashboards.values.filters import Filters
from dashboards.values.systems import Attention
from tests import factories
from tests.dashboards.records import make_adjustment, make_job, make_measured, make_result
from tests.factories import NOW, TODAY

pytestmark = pytest.mark.django_db
YEAR = datetime.timedelta(days=365)
DAY = datetime.timedelta(days=1)


def _now(filters: Filters | None = None) -> Attention:
    return attention(filters or Filters(), today=TODAY)


def _seen() -> list[Attention]:
    """Return what needs a look: everything, by air path, by crew."""
    crews = Crew.objects.order_by("pk").values_list("pk", flat=True)
    return [
        _now(),
        *(_now(Filters(air_path=path)) for path in ("return", "supply")),
        *(_now(Filters(crew=crew)) for crew in (crews[0], crews[len(crews) - 1])),
    ]


def _without() -> list[Attention]:
    """Return what needs a look as if nothing had ever been worked out ahead."""
    kept = list(Standing.objects.all())
    Standing.objects.all().delete()
    found = _seen()
    Standing.objects.bulk_create(kept)
    return found


def _meter(**calibration: Any) -> Instrument:
    meter = factories.make_instrument()
    factories.make_calibration(
        instrument=meter,
        **{"performed_on": TODAY - 20 * YEAR, "due_on": TODAY + 20 * YEAR, **calibration},
    )
    return meter


def _company() -> None:
    """Make systems of every kind: fine, outside, undecided, falling, failed, never measured."""
    meter = _meter()
    for left in (240.0, 330.0, 400.0, 445.0, 520.0):
        make_job(found=300.0, left=left, instrument=meter)
    for years_ago, per_ton in ((3, 420.0), (2, 400.0), (1, 382.0), (0, 365.0)):
        section = DuctSection.objects.filter(name="Falling").first() or factories.make_section(
            name="Falling"
        )
        make_job(
            found=per_ton,
            left=None,
            section=section,
            taken_at=NOW - years_ago * YEAR,
            instrument=meter,
            u_per_ton=5.0,
        )
    for call, per_ton in (("cooling", 400.0), ("heating", 300.0)):
        two = DuctSection.objects.filter(name="Two calls").first() or factories.make_section(
            name="Two calls"
        )
        visit = Visit.objects.filter(traverses__duct_section=two).first() or factories.make_visit(
            site=two.equipment.site
        )
        make_measured(per_ton=per_ton, call=call, section=two, visit=visit, instrument=meter)
    make_job(found=None, left=400.0, instrument=_meter(due_on=TODAY - YEAR))
    factories.make_equipment()
    failed = factories.make_traverse(instrument=meter)
    failed.computation.state = "failed"
    failed.computation.failure = "There are no readings."
    failed.computation.save()


def _falling() -> DuctSection:
    return DuctSection.objects.get(name="Falling")


CHANGES: dict[str, Callable[[], object]] = {
    "nothing": lambda: None,
    "a system is measured again": lambda: make_job(
        found=None, left=300.0, section=_falling(), taken_at=NOW + DAY
    ),
    "a check is made": lambda: make_measured(
        per_ton=300.0, stage="check", section=_falling(), taken_at=NOW + DAY
    ),
    "a traverse is corrected": lambda: Traverse.objects.filter(stage="as_left").update(
        taken_at=NOW - 3 * YEAR, call="heating"
    ),
    "results are to be computed again": lambda: Computation.objects.update(state="pending"),
    "results turn out otherwise": lambda: [
        Computation.objects.filter(pk=one.pk).update(
            result=make_result(one, per_ton=350.0, inputs_digest="other")
        )
        for one in Computation.objects.filter(result__verdict="in_range")
    ],
    "a visit is moved": lambda: Visit.objects.update(crew=factories.make_crew()),
    "a crew is renamed": lambda: Crew.objects.filter(pk=Crew.objects.order_by("pk")[0].pk).update(
        name="Renamed"
    ),
    "an adjustment was made meanwhile": lambda: make_adjustment(
        visit=Visit.objects.order_by("pk")[0],
        equipment=_falling().equipment,
        made_at=NOW - 1.5 * YEAR,
    ),
    "adjustments go": lambda: Adjustment.objects.all().delete(),
    "calibrations are retired": lambda: Calibration.objects.update(retired_on=TODAY),
    "a meter is calibrated": lambda: Calibration.objects.update(due_on=TODAY + YEAR),
    "places are in another zone": lambda: Site.objects.update(time_zone="Pacific/Auckland"),
    "a section is of another system": lambda: DuctSection.objects.filter(name="Falling").update(
        equipment=Equipment.objects.filter(duct_sections__isnull=True).first()
    ),
    "a system is retired": lambda: Equipment.objects.filter(duct_sections__name="Falling").update(
        retired_on=TODAY - DAY
    ),
    "a tag is corrected": lambda: Equipment.objects.filter(duct_sections__name="Falling").update(
        tag="AH-corrected"
    ),
    "a system is added": lambda: factories.make_equipment(),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES.keys())
def test_the_same_needs_a_look_with_and_without(change: Callable[[], object]) -> None:
    _company()
    assert len(_now().systems) > 5
    renew_standings()
    change()
    assert _seen() == _without()
    renew_standings()
    assert not ChangedSystem.objects.exists()
    assert _seen() == _without()


def test_it_stays_the_same_through_all_of_it_in_turn() -> None:
    _company()
    for number, change in enumerate(CHANGES.values()):
        change()
        if number % 2:
            renew_standings()
        assert _seen() == _without()


def test_what_other_code_worked_out_is_not_read() -> None:
    _company()
    renew_standings()
    Standing.objects.update(made_by="an older release", measurements=[], pairs=None)
    assert _seen() == _without()
    renew_standings()
    assert _seen() == _without()
    assert not Standing.objects.filter(made_by="an older release").exists()


def test_a_page_writes_nothing() -> None:
    _company()
    renew_standings()
    make_job(found=None, left=300.0, section=_falling(), taken_at=NOW + DAY)
    with CaptureQueriesContext(connection) as statements:
        _now()
    assert len(statements) == 2
    assert all("INSERT" not in one["sql"] and "UPDATE" not in one["sql"] for one in statements)
    assert ChangedSystem.objects.exists()


def test_filters_see_what_is_kept() -> None:
    _company()
    renew_standings()
    site = _falling().equipment.site
    found = _now(Filters(site=site.pk))
    assert (found.looked_at, [one.system.site_id for one in found.systems]) == (1, [site.pk])
    assert _now(Filters(air_path="supply")).systems == ()


def test_a_worker_that_is_stopped_half_way_loses_no_mark() -> None:
    _company()
    marks = ChangedSystem.objects.count()
    with transaction.atomic():
        renew_standings()
        transaction.set_rollback(True)
    assert (ChangedSystem.objects.count(), Standing.objects.count()) == (marks, 0)
    assert _seen() == _without()


def test_results_that_are_put_back_on_the_list_change_no_standing() -> None:
    _company()
    renew_standings()
    Computation.objects.update(state="pending")
    assert not ChangedSystem.objects.exists()
    assert "pending" in {reason.code for one in _now().systems for reason in one.reasons}
