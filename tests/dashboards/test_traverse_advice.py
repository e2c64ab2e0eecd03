"""What a traverse's page says of the blower, of other ways, and of before and after."""

import datetime

import pytest
from django.test import Client

from airflow_jobs import recompute
from airflow_jobs.models import FanDrive
from tests import factories
from tests.airflow_jobs.beside import make_pressures
from tests.factories import NOW
from tests.spaces import loose

pytestmark = pytest.mark.django_db


def test_a_system_off_its_target_gets_advice_with_its_cautions(manager: Client) -> None:
    equipment = factories.make_equipment(fan_drive=FanDrive.BELT)
    section = factories.make_section(equipment=equipment)
    traverse = factories.make_traverse(
        duct_section=section, velocity_m_s=300 * 0.00508, operating_state={"blower_setting": "900"}
    )
    recompute.drain()
    page = manager.get(f"/traverses/{traverse.pk}/").content.decode()
    assert "Run the blower" in page
    assert "faster" in page
    assert "current against its nameplate" in page.replace("motor&#x27;s ", "")
    assert "licensed professional on site come before this advice" in page


def test_a_system_in_range_says_why_there_is_no_advice(manager: Client) -> None:
    traverse = factories.make_traverse(velocity_m_s=405 * 0.00508)
    recompute.drain()
    page = manager.get(f"/traverses/{traverse.pk}/").content.decode()
    assert '<h2 id="blower-title">The blower</h2>' in page
    assert "Run the blower" not in page


def test_return_and_supply_are_held_against_each_other(manager: Client) -> None:
    equipment = factories.make_equipment()
    visit = factories.make_visit(site=equipment.site)
    meter = factories.make_instrument(accuracy_relative=0.01)
    factories.make_traverse(
        visit=visit,
        duct_section=factories.make_section(equipment=equipment),
        instrument=meter,
        velocity_m_s=2.2,
    )
    supply = factories.make_traverse(
        visit=visit,
        duct_section=factories.make_section(equipment=equipment, air_path="supply"),
        instrument=meter,
        velocity_m_s=1.8,
        taken_at=NOW + datetime.timedelta(minutes=20),
    )
    recompute.drain()
    page = manager.get(f"/traverses/{supply.pk}/").content.decode()
    assert "less than the return: the ducts seem to leak between the two" in page


@pytest.mark.parametrize(
    ("supply_pa", "says", "is_found"),
    [
        (60.0, "within it.", False),
        (85.0, "too close to tell whether it is over.", False),
        (95.0, "over it.", True),
    ],
)
def test_external_static_is_said_alike_in_the_check_and_the_finding(
    manager: Client, supply_pa: float, says: str, is_found: bool
) -> None:
    equipment = factories.make_equipment(max_external_static_pa=130.0)
    traverse = factories.make_traverse(duct_section=factories.make_section(equipment=equipment))
    make_pressures(traverse.visit, equipment, supply_static_pa=supply_pa)
    recompute.drain()
    page = loose(manager.get(f"/traverses/{traverse.pk}/").content.decode())
    assert says in page
    assert ("Total external static is 145 ± 10 Pa" in page) is is_found
    assert ("over the 130 Pa" in page) is is_found
