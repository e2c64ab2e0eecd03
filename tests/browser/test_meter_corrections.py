"""Correcting a meter's earlier readings, as a manager does it in a browser."""

from __future__ import annotations

import datetime

import pytest

from airflow_jobs import recompute
from airflow_jobs.models import Calibration, Person
from tests import factories
from tests.browser.conftest import NARROW, Visit
from tests.browser.test_accessibility import complaints
from tests.factories import NOW, TODAY

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def calibration(manager: Person) -> Calibration:
    """A calibration that found a meter 6 % low, with three results since the one before."""
    meter = factories.make_instrument(label="Vane 7", serial="V-7", accuracy_relative=0.02)
    factories.make_calibration(instrument=meter)
    section = factories.make_section(lining_thickness_m=0.0254)
    for day in range(3):
        factories.make_traverse(
            instrument=meter,
            duct_section=section,
            taken_at=NOW + datetime.timedelta(days=day),
            positions={"lines": [0.031, 0.117, 0.223, 0.289, 0.376]},
        )
    recompute.drain()
    found_on = TODAY + datetime.timedelta(days=30)
    return factories.make_calibration(
        instrument=meter,
        performed_on=found_on,
        due_on=found_on + datetime.timedelta(days=365),
        gain=1.06,
    )


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_manager_looks_corrects_and_takes_it_back_on_a_phone(
    visit: Visit, manager: Person, calibration: Calibration, scheme: str
) -> None:
    visitor = visit(manager, size=NARROW, scheme=scheme)
    page = visitor.page
    visitor.open(f"/instruments/{calibration.instrument_id}/?period=all")
    assert complaints(visitor) == []
    visitor.follow(page.get_by_role("link", name="See what each would become, and correct them"))
    assert "3 results would be computed again." in page.inner_text("main")
    assert visitor.width <= NARROW[0]
    assert complaints(visitor) == []
    page.get_by_label("On that very day: take all of it").check()
    visitor.follow(page.get_by_role("button", name="Show what would become of each"))
    assert "+6.0" in page.inner_text("#table-correction")
    page.get_by_label("Nobody knows").check()
    page.get_by_label("Why, in a sentence").fill("dirt in the bearing")
    visitor.follow(page.get_by_role("button", name="Correct these readings"))
    assert "3 still wait" in page.inner_text("main")
    recompute.drain()
    page.reload()
    assert "3 results computed with it." in page.inner_text("main")
    visitor.follow(page.get_by_role("link", name="Change or take back"))
    page.get_by_label("To take the correction back").fill("the certificate was another's")
    visitor.follow(page.get_by_role("button", name="Take the correction back"))
    assert "They are not corrected." in page.inner_text("main")
    assert visitor.complaints == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_drawing_of_a_section_is_seen_in_light_dark_and_print(
    visit: Visit, manager: Person, calibration: Calibration, scheme: str
) -> None:
    traverse = calibration.instrument.traverses.order_by("pk").first()
    visitor = visit(manager, size=NARROW, scheme=scheme)
    visitor.open(f"/traverses/{traverse.pk}/")
    for media in ("screen", "print"):
        visitor.page.emulate_media(media=media)
        strokes = visitor.page.evaluate(
            """() => ['taken', 'planned', 'inside'].map(kind => {
                const style = getComputedStyle(document.querySelector(`.duct .${kind}`));
                return [kind, style.fill, style.stroke];
            })"""
        )
        kinds = {kind: (fill, stroke) for kind, fill, stroke in strokes}
        # Filled against hollow, so that neither colour nor shade is needed.
        assert kinds["taken"][0] == kinds["planned"][1]
        assert kinds["planned"][0] == kinds["inside"][0]
        assert kinds["taken"][0] != kinds["inside"][0]
    assert visitor.complaints == []
