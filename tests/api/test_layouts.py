"""Layouts over HTTP: where to drill and how deep to go, as a technician reads it."""

from __future__ import annotations

from typing import Any

import pytest

from tests import factories
from tests.api.worlds import World
from tests.conftest import Actors


def holes_of(answer: Any, tape: str = "from_inside_face") -> list[int]:
    """Return the holes of a layout in millimetres."""
    return [hole[tape]["millimetres"] for hole in answer.json()["holes"]]


def test_the_layout_of_18_by_24_inches_is_the_trades(actors: Actors, world: World) -> None:
    answer = actors.owner.get(f"duct-sections/{world.section.pk}/layout/", units="ip")
    assert answer.status_code == 200
    layout = answer.json()
    assert holes_of(answer) == [34, 132, 229, 326, 423]
    assert layout["holes"][1]["from_inside_face"]["sixteenths"] == "5 3/16"
    assert layout["holes"][1]["from_inside_face"]["exact"] == {
        "value": pytest.approx(0.288 * 18),
        "unit": "in",
    }
    assert layout["area"] == {"value": pytest.approx(3.0), "unit": "ft2"}
    assert {item["line"] for item in layout["depths"]} == {None}
    assert len(layout["depths"]) == 5
    assert layout["reach"] == "unknown"
    assert layout["siting"]["judgement"] == "unknown"
    assert any("gas" in caution for caution in layout["cautions"])


def test_lining_and_board_are_taken_off_and_shown_on_the_outside_tape(actors: Actors) -> None:
    answer = actors.owner.get(
        "layout/", shape="rectangular", width=18, height=18, lining_thickness=0.75, unit="in"
    )
    assert answer.json()["inside"]["width"]["value"] == pytest.approx(16.5 * 0.0254)
    assert holes_of(answer)[0] == 31
    assert holes_of(answer, "on_outside_tape")[0] == 50


def test_a_round_layout_has_angles(actors: Actors) -> None:
    layout = actors.owner.get("layout/", shape="round", diameter=400, unit="mm").json()
    assert [hole["angle"]["value"] for hole in layout["holes"]] == [0.0, 60.0, 120.0]
    assert layout["holes"][1]["around_outside"]["millimetres"] == 209
    assert len(layout["depths"]) == 6
    assert layout["drilled_side"] is None


def test_an_oval_has_depths_of_its_own_on_each_line(actors: Actors) -> None:
    layout = actors.owner.get(
        "layout/", shape="flat_oval", width=24, height=12, unit="in", lines=5, points=5
    ).json()
    assert [item["line"] for item in layout["depths"]] == [
        line for line in range(1, 6) for _ in range(5)
    ]


def test_an_instrument_adds_its_tip_and_its_reach(actors: Actors, world: World) -> None:
    probe = factories.make_instrument(tip_to_sensor_m=0.008, probe_reach_m=0.4)
    layout = actors.owner.get(
        f"duct-sections/{world.section.pk}/layout/", instrument=probe.pk
    ).json()
    first = layout["depths"][0]
    assert first["shaft_mark"]["exact"]["value"] == pytest.approx(
        first["from_outside"]["exact"]["value"] + 0.008
    )
    assert layout["reach"] == "from_both_sides"


def test_holes_as_drilled_serve_again(actors: Actors, world: World) -> None:
    section = factories.make_section(
        equipment=world.equipment, holes={"lines": [0.034, 0.109, 0.229, 0.326, 0.423]}
    )
    answer = actors.owner.get(f"duct-sections/{section.pk}/layout/")
    assert answer.json()["as_drilled"] is True
    assert holes_of(answer) == [34, 109, 229, 326, 423]
    (slip,) = answer.json()["findings"]
    assert slip["code"] == "copying_slip"
    assert "0.238 for 0.288" in slip["message"]
    fresh = actors.owner.get(f"duct-sections/{section.pk}/layout/", rule="log_tchebycheff")
    assert fresh.json()["as_drilled"] is False
    assert holes_of(fresh)[1] == 132


def test_a_poor_site_is_a_finding(actors: Actors, world: World) -> None:
    section = factories.make_section(
        equipment=world.equipment, straight_upstream_m=0.3, straight_downstream_m=0.1
    )
    layout = actors.owner.get(f"duct-sections/{section.pk}/layout/").json()
    assert layout["siting"]["judgement"] == "poor"
    assert {item["code"] for item in layout["findings"]} == {"siting_poor", "disturbance_near"}


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ({}, "shape"),
        ({"shape": "oval"}, "shape"),
        ({"shape": "round"}, "diameter"),
        ({"shape": "round", "diameter": 16}, "unit"),
        ({"shape": "round", "diameter": 16, "unit": "yd"}, "unit"),
        ({"shape": "round", "diameter": 16, "unit": "in", "width": 3}, "width"),
        ({"shape": "round", "diameter": "nan", "unit": "in"}, "diameter"),
        ({"shape": "round", "diameter": "-3", "unit": "in"}, "diameter"),
        ({"shape": "round", "diameter": "16", "unit": "in", "lines": 4}, "rule"),
        ({"shape": "round", "diameter": "16", "unit": "in", "lines": "two"}, "lines"),
        ({"shape": "round", "diameter": "16", "unit": "in", "rule": "equal_area"}, "rule"),
        ({"shape": "flat_oval", "width": 3, "height": 6, "unit": "in"}, "shape"),
        (
            {"shape": "round", "diameter": 16, "unit": "in", "lining_thickness": 8},
            "shape",
        ),
        ({"shape": "round", "diameter": 16, "unit": "in", "colour": "red"}, "colour"),
    ],
)
def test_what_can_not_be_laid_out_is_refused_by_parameter(
    actors: Actors, query: dict[str, Any], parameter: str
) -> None:
    answer = actors.owner.get("layout/", **query)
    assert answer.status_code == 400, answer.json()
    assert parameter in {error["parameter"] for error in answer.json()["errors"]}


def test_an_unknown_instrument_is_refused(actors: Actors, world: World) -> None:
    path = f"duct-sections/{world.section.pk}/layout/"
    for instrument in ("17", world.section.pk):
        assert actors.owner.get(path, instrument=instrument).status_code == 400
