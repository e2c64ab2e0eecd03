"""Next steps: the list says what the measurement's own page says, and what has come since."""

from __future__ import annotations

import datetime
import itertools
from typing import Any

import pytest

from airflow_jobs.models import Company, DuctSection, Instrument, Visit
from dashboards.display import Units
from dashboards.next_steps import next_step, page_of
from dashboards.queries.attention import attention
from dashboards.queries.beside_standing import beside_standings
from dashboards.standings import renew_standings
from dashboards.values.filters import Filters
from dashboards.words import reason_text
from tests import factories
from tests.dashboards.records import make_adjustment, make_job, make_result
from tests.factories import NOW, TODAY
from tests.spaces import loose

pytestmark = pytest.mark.django_db
UNITS = Units("ip")
YEAR = datetime.timedelta(days=365)
HOUR = datetime.timedelta(hours=1)
AGAIN = itertools.count()

TABLE: dict[str, Any] = {
    "kind": "change_setting",
    "by": "makers_table",
    "basis": "standard",
    "from_setting": "tap 4",
    "to_setting": "tap 2",
    "target_flow": 0.566,
    "expected_flow": 0.56,
    "expected_flow_low": 0.52,
    "expected_flow_high": 0.60,
    "expected_in_range": True,
    "cautions": [],
}


@pytest.fixture(autouse=True)
def company() -> Company:
    """A company that speaks inch-pound."""
    return factories.make_company(default_units="ip")


@pytest.fixture
def meter() -> Instrument:
    """A meter in calibration on every day of the tests."""
    meter = factories.make_instrument(label="Vane 2", accuracy_relative=0.02)
    factories.make_calibration(
        instrument=meter, performed_on=TODAY - 5 * YEAR, due_on=TODAY + 5 * YEAR
    )
    return meter


def _said(*, planned: str = "", index: int = 0) -> tuple[str, str, str]:
    """Return why the first system needs a look, what to do, and which page says how."""
    needs = attention(Filters(), today=TODAY).systems[index]
    beside = beside_standings([needs])[needs.system.id]
    return (
        reason_text(needs.reasons[0], UNITS, TODAY),
        next_step(needs, today=TODAY, units=UNITS, planned=planned, beside=beside),
        page_of(needs, beside).name,
    )


def _advise(visit: Visit, per_ton: float, **values: Any) -> None:
    """Give the results of a visit what the worker would have said beside them."""
    for traverse in visit.traverses.all():
        computation = traverse.computation
        kept = computation.result.values | {"findings": []} | values
        computation.result = make_result(
            computation, per_ton=per_ton, values=kept, inputs_digest=f"again {next(AGAIN)}"
        )
        computation.save()


def _high(section: DuctSection | None = None, **fields: Any) -> Visit:
    return make_job(found=None, left=520.0, section=section, **fields)


@pytest.mark.parametrize("renews", [False, True], ids=["live", "kept"])
def test_what_was_changed_since_comes_before_any_other_step(
    meter: Instrument, renews: bool
) -> None:
    visit = make_job(found=300.0, left=None, instrument=meter)
    equipment = visit.traverses.get().duct_section.equipment
    make_adjustment(
        visit=visit,
        equipment=equipment,
        made_at=NOW + HOUR,
        kind="damper",
        from_value="half closed",
        to_value="open",
    )
    if renews:
        renew_standings()
    why, step, _ = _said()
    assert loose(why).startswith(
        "Found low on 3 Jun 2026: 300 ± 20 ft³/min per ton against 350 to 450"
    )
    assert why.endswith("; changed since, and not measured as left")
    assert step == (
        "Plan a visit: measure as left; on 3 Jun 2026 it was changed: damper from “half "
        "closed” to “open”."
    )


def test_a_change_before_the_measurement_is_part_of_it(meter: Instrument) -> None:
    visit = _high(instrument=meter)
    equipment = visit.traverses.get().duct_section.equipment
    make_adjustment(visit=visit, equipment=equipment, made_at=NOW + 0.5 * HOUR)
    assert _said()[0].startswith("Left high on")


def test_a_serious_finding_is_cleared_up_before_anybody_acts(meter: Instrument) -> None:
    make_job(found=None, left=380.0, u_per_ton=30.0, instrument=meter)
    _high(instrument=meter, has_serious=True)
    why, step, page = _said(index=0)
    assert why.endswith("; in doubt until a serious finding is cleared up")
    assert (step, page) == (
        "Clear this up first: Message 2. Then measure again.",
        "traverse",
    )


def test_the_step_is_the_advice_of_the_measurement_s_own_page(meter: Instrument) -> None:
    visit = _high(instrument=meter)
    _advise(visit, 520.0, blower_advice=TABLE)
    assert _said(planned="On 7 Jun 2026, Heron:")[1] == (
        "On 7 Jun 2026, Heron: change the blower from tap 4 to tap 2, then measure as left."
    )
    _advise(visit, 520.0, blower_advice=TABLE | {"expected_in_range": False})
    assert _said()[1].endswith("It comes nearer, but stays outside of the range.")


def test_what_could_hurt_stands_in_the_list_too(meter: Instrument) -> None:
    visit = _high(instrument=meter)
    codes = [{"code": "minimum_airflow", "message": "…"}, {"code": "power_off", "message": "…"}]
    _advise(visit, 520.0, blower_advice=TABLE | {"cautions": codes})
    assert _said()[1].endswith("then measure as left. Never below the maker's minimum airflow.")
    codes = [{"code": "external_static", "message": "…"}]
    _advise(visit, 520.0, blower_advice=TABLE | {"cautions": codes})
    step = _said()[1]
    assert "look at filter, coil and ducts first: the external static is over" in step
    assert "tap" not in step


def test_where_nothing_is_advised_the_reason_is_said(meter: Instrument) -> None:
    visit = make_job(found=None, left=440.0, instrument=meter)
    near = "The flow is as near to nominal as it can be told: leave the blower alone."
    _advise(visit, 440.0, why_no_blower_advice=near)
    assert _said()[1] == f"{near} Only a closer measurement would tell more."
    _advise(visit, 440.0, why_no_blower_advice="No setting comes nearer: look for the rest.")
    assert _said()[1] == (
        "No setting comes nearer: look for the rest. Plan a visit: measure again after that."
    )


def test_a_meter_that_was_found_off_is_decided_on_first(meter: Instrument) -> None:
    _high(instrument=meter)
    assert "nominal" in _said()[1]
    off = factories.make_calibration(
        instrument=meter,
        performed_on=TODAY + 30 * YEAR / 365,
        due_on=TODAY + 2 * YEAR,
        gain=1.06,
    )
    _, step, page = _said()
    assert step.startswith("Decide first what becomes of the readings of Vane 2. Plan a visit:")
    assert page == "instrument"
    type(off).objects.filter(pk=off.pk).update(
        corrects_from=TODAY - YEAR, corrects_wholly=True, corrects_because="It fell."
    )
    assert "nominal" in _said()[1]


def test_a_flow_set_s_advice_is_found_too(meter: Instrument) -> None:
    visit = factories.make_visit(started_at=NOW)
    equipment = factories.make_equipment(site=visit.site)
    returned = factories.make_traverse(
        visit=visit,
        duct_section=factories.make_section(equipment=equipment),
        instrument=meter,
        taken_at=NOW,
    )
    flow_set = factories.make_flow_set(visit=visit, equipment=equipment, members=[returned])
    computation = flow_set.computation
    computation.result = make_result(
        computation, per_ton=520.0, values={"why_no_blower_advice": "Look for the rest."}
    )
    computation.state = "computed"
    computation.save()
    needing = attention(Filters(), today=TODAY).systems
    beside = beside_standings(needing)
    assert needing[0].reasons[0].measurement is not None
    assert needing[0].reasons[0].measurement.flow_set_id == flow_set.pk
    assert beside[equipment.pk].why_no_advice == "Look for the rest."
