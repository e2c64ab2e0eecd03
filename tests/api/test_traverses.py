"""Traverses over HTTP: stored once, whatever a bad line does, and refused with the place."""

from __future__ import annotations

from typing import Any

import pytest

from airflow_jobs.models import Computation, State, Traverse, TraverseRevision, new_id
from tests import factories
from tests.api.worlds import World, make_world
from tests.conftest import Actors


def errors_of(answer: Any) -> dict[str, str]:
    """Return pointer -> code of a problem's errors."""
    return {item["pointer"]: item["code"] for item in answer.json()["errors"]}


def test_a_traverse_is_durable_and_pending_when_it_is_answered(
    actors: Actors, world: World
) -> None:
    answer = actors.owner.post("traverses/", world.content())
    assert answer.status_code == 201
    assert answer.json()["result"]["state"] == "pending"
    assert answer["ETag"] == '"1"'
    traverse = Traverse.objects.get(pk=answer.json()["id"])
    assert answer["Location"] == f"/api/v1/traverses/{traverse.pk}/"
    assert Computation.objects.get(traverse=traverse).state == State.PENDING
    assert traverse.readings["values"][0][0] == pytest.approx(574 * 0.00508)


def test_what_was_sent_is_kept_exactly_as_it_was_sent(actors: Actors, world: World) -> None:
    content = world.content(notes="gas pipe")
    actors.owner.post("traverses/", content)
    revision = TraverseRevision.objects.get(traverse_id=content["id"])
    without_id = {key: item for key, item in content.items() if key != "id"}
    assert revision.content == without_id
    assert revision.number == 1
    assert actors.owner.get(f"traverses/{content['id']}/").json()["as_sent"] == without_id


def test_sending_the_same_traverse_twice_changes_nothing(actors: Actors, world: World) -> None:
    content = world.content()
    first = actors.owner.post("traverses/", content)
    second = actors.owner.post("traverses/", content)
    assert (first.status_code, second.status_code) == (201, 200)
    assert first.json() == second.json()
    assert Traverse.objects.count() == TraverseRevision.objects.count() == 1


@pytest.mark.parametrize(
    "change",
    [
        {"notes": None},
        {"repeats": None, "positions": None, "reasons": None},
        {"taken_at": "2026-06-03T19:12:00Z"},
        {"taken_in": "line_by_line"},
        {"readings": {"values": [[574.0] * 5 for _ in range(5)], "unit": "ft/min"}},
    ],
)
def test_content_that_is_equal_after_parsing_is_the_same(
    actors: Actors, world: World, change: dict[str, Any]
) -> None:
    content = world.content()
    actors.owner.post("traverses/", content)
    assert actors.owner.post("traverses/", content | change).status_code == 200


def test_the_same_length_in_another_unit_is_other_content(actors: Actors, world: World) -> None:
    positions = {"unit": "mm", "lines": [34, 132, 249, 326, 423]}
    content = world.content(positions=positions)
    actors.owner.post("traverses/", content)
    in_cm = {"unit": "cm", "lines": [3.4, 13.2, 24.9, 32.6, 42.3]}
    assert actors.owner.post("traverses/", content | {"positions": in_cm}).status_code == 409


def test_other_content_under_the_same_id_is_a_conflict_that_shows_what_is_stored(
    actors: Actors, world: World
) -> None:
    content = world.content()
    actors.owner.post("traverses/", content)
    answer = actors.owner.post("traverses/", content | {"notes": "edited"})
    assert answer.status_code == 409
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["stored"]["id"] == content["id"]
    assert {"id": content["id"], **answer.json()["stored"]["as_sent"]} == content
    assert Traverse.objects.get().notes == ""


def test_the_first_content_may_be_sent_again_after_a_correction(
    actors: Actors, world: World
) -> None:
    content = world.content()
    actors.owner.post("traverses/", content)
    correction = {"reason": "typing slip", "content": content | {"notes": "corrected"}}
    path = f"traverses/{content['id']}/corrections/"
    actors.owner.post(path, correction, headers={"If-Match": '"1"'})
    again = actors.owner.post("traverses/", content)
    assert again.status_code == 200
    assert again.json()["notes"] == "corrected"


def test_a_correction_becomes_current_and_what_was_sent_before_stays_readable(
    actors: Actors, world: World
) -> None:
    content = world.content()
    actors.owner.post("traverses/", content)
    path = f"traverses/{content['id']}/"
    corrected = content | {"stage": "as_left"}
    body = {"reason": "It was after the adjustment.", "content": corrected}
    answer = actors.owner.post(f"{path}corrections/", body, headers={"If-Match": '"1"'})
    assert answer.status_code == 201
    assert answer["ETag"] == '"2"'
    assert answer.json()["stage"] == "as_left"
    revisions = actors.owner.get(f"{path}revisions/").json()["results"]
    assert [item["number"] for item in revisions] == [1, 2]
    assert not any("id" in item["content"] for item in revisions)
    sent = [{"id": content["id"], **item["content"]} for item in revisions]
    assert sent == [content, corrected]
    assert revisions[1]["reason"] == "It was after the adjustment."
    assert Computation.objects.get().state == State.PENDING


def test_a_correction_of_units_alone_counts_as_a_revision(actors: Actors, world: World) -> None:
    content = world.content(positions={"unit": "mm", "lines": [34, 132, 249, 326, 423]})
    actors.owner.post("traverses/", content)
    in_cm = {"unit": "m", "lines": [0.034, 0.132, 0.249, 0.326, 0.423]}
    answer = actors.owner.post(
        f"traverses/{content['id']}/corrections/",
        {"reason": "unit", "content": content | {"positions": in_cm}},
        headers={"If-Match": '"1"'},
    )
    assert answer.json()["revision"] == 2


def test_a_correction_may_be_sent_twice(actors: Actors, world: World) -> None:
    content = world.content()
    actors.owner.post("traverses/", content)
    path = f"traverses/{content['id']}/corrections/"
    body = {"reason": "slip", "content": content | {"notes": "n"}}
    first = actors.owner.post(path, body, headers={"If-Match": '"1"'})
    second = actors.owner.post(path, body, headers={"If-Match": '"1"'})
    assert (first.status_code, second.status_code) == (201, 200)
    assert TraverseRevision.objects.count() == 2


def test_a_correction_needs_the_revision_that_was_read(actors: Actors, world: World) -> None:
    content = world.content()
    actors.owner.post("traverses/", content)
    path = f"traverses/{content['id']}/corrections/"
    body = {"reason": "slip", "content": content | {"notes": "n"}}
    assert actors.owner.post(path, body).status_code == 428
    stale = actors.owner.post(path, body, headers={"If-Match": '"7"'})
    assert stale.status_code == 412
    assert stale.json()["current"]["revision"] == 1
    assert stale["ETag"] == '"1"'


def test_a_correction_points_into_its_content(actors: Actors, world: World) -> None:
    content = world.content()
    actors.owner.post("traverses/", content)
    body = {"reason": "slip", "content": content | {"taken_at": "2099-01-01T00:00:00Z"}}
    answer = actors.owner.post(
        f"traverses/{content['id']}/corrections/", body, headers={"If-Match": '"1"'}
    )
    assert errors_of(answer) == {"/content/taken_at": "in_the_future"}


def test_a_traverse_is_never_patched(actors: Actors, world: World) -> None:
    content = world.content()
    actors.owner.post("traverses/", content)
    answer = actors.owner.patch(f"traverses/{content['id']}/", {"notes": "x"}, revision=1)
    assert answer.status_code == 405
    assert answer["Content-Type"] == "application/problem+json"


def test_a_batch_has_an_outcome_for_each_item_and_keeps_the_good_ones(
    actors: Actors, world: World
) -> None:
    stored = world.content()
    actors.owner.post("traverses/", stored)
    other = make_world()
    good, twice = world.content(), world.content()
    items = [
        good,
        stored,
        stored | {"notes": "edited"},
        twice,
        twice,
        twice | {"notes": "edited"},
        world.content(visit=str(new_id())),
        other.content(),
        world.content(stage="later"),
        ["nothing"],
    ]
    answer = actors.owner.post("traverses/batch/", items)
    assert answer.status_code == 200
    outcomes = answer.json()
    assert [item["status"] for item in outcomes] == [
        201, 200, 409, 201, 200, 409, 422, 403, 422, 422,
    ]  # fmt: skip
    assert outcomes[0] == {"id": good["id"], "status": 201, "errors": []}
    assert outcomes[6]["errors"][0]["pointer"] == "/visit"
    assert outcomes[8]["errors"][0]["pointer"] == "/stage"
    assert {str(key) for key in Traverse.objects.values_list("pk", flat=True)} == {
        stored["id"],
        good["id"],
        twice["id"],
    }
    assert Computation.objects.count() == TraverseRevision.objects.count() == 3


def test_a_batch_holds_a_thousand_at_most(actors: Actors) -> None:
    answer = actors.owner.post("traverses/batch/", [{}] * 1001)
    assert answer.status_code == 422
    assert "1,001" in answer.json()["detail"] or "1001" in answer.json()["detail"]
    assert actors.owner.post("traverses/batch/", {}).status_code == 422


def test_a_preview_computes_and_stores_nothing(actors: Actors, world: World) -> None:
    answer = actors.owner.post("traverses/preview/", world.content())
    assert answer.status_code == 200
    result = answer.json()
    assert result["state"] == "computed"
    assert result["inside_area"]["value"] == pytest.approx(0.27871, rel=1e-4)
    assert result["flow_actual"]["unit"] == "m3/s"
    assert not Traverse.objects.exists()


def test_answers_are_in_the_units_that_are_asked_for(actors: Actors, world: World) -> None:
    content = world.content()
    answer = actors.owner.post("traverses/?units=ip", content).json()
    assert answer["readings"]["unit"] == "ft/min"
    assert answer["readings"]["values"][0][0] == pytest.approx(574, rel=1e-12)
    assert answer["conditions"]["barometric_pressure"]["unit"] == "inHg"
    in_si = actors.owner.get(f"traverses/{content['id']}/", units="si").json()
    assert in_si["conditions"]["dry_bulb"]["unit"] == "degC"


REFUSED: list[tuple[str, dict[str, Any], str, str]] = [
    ("no readings", {"readings": None}, "/readings", "required"),
    ("bare readings", {"readings": [1, 2]}, "/readings", "object"),
    ("no unit", {"readings": {"values": [[1]]}}, "/readings/unit", "required"),
    (
        "a flow for a velocity",
        {"readings": {"unit": "m3/h", "values": [[1]]}},
        "/readings/unit",
        "unit",
    ),
    (
        "a velocity pressure from a vane",
        {"readings": {"unit": "Pa", "values": [[5] * 5 for _ in range(5)]}},
        "/readings/unit",
        "not_for_this_instrument",
    ),
    (
        "a line too few",
        {"readings": {"unit": "m/s", "values": [[3] * 5 for _ in range(4)]}},
        "/readings/values",
        "wrong_shape",
    ),
    (
        "ragged lines",
        {"readings": {"unit": "m/s", "values": [[3] * 5 for _ in range(4)] + [[3] * 4]}},
        "/readings/values",
        "wrong_shape",
    ),
    (
        "nothing taken",
        {"readings": {"unit": "m/s", "values": [[None] * 5 for _ in range(5)]}},
        "/readings/values",
        "required",
    ),
    (
        "text among readings",
        {"readings": {"unit": "m/s", "values": [[3] * 5] * 4 + [[3, 3, "3", 3, 3]]}},
        "/readings/values/4/2",
        "number",
    ),
    (
        "a boolean among readings",
        {"readings": {"unit": "m/s", "values": [[3] * 5] * 4 + [[3, 3, True, 3, 3]]}},
        "/readings/values/4/2",
        "number",
    ),
    (
        "faster than any air",
        {"readings": {"unit": "m/s", "values": [[3] * 5] * 4 + [[3, 3, 101, 3, 3]]}},
        "/readings/values/4/2",
        "out_of_range",
    ),
    (
        "another mode's keys",
        {"mode": "sweeps"},
        "/readings/values",
        "unknown",
    ),
    (
        "a hole outside the duct",
        {"positions": {"unit": "mm", "lines": [34, 132, 249, 326, 523]}},
        "/positions/lines/4",
        "outside_the_duct",
    ),
    (
        "angles in a rectangle",
        {"positions": {"angles": [0, 60, 120]}},
        "/positions/angles",
        "not_for_this_shape",
    ),
    (
        "positions that don't fit the readings",
        {"positions": {"unit": "mm", "lines": [34, 132, 249, 326]}},
        "/readings/values",
        "wrong_shape",
    ),
    (
        "ragged depths",
        {"positions": {"unit": "mm", "depths": [[50] * 5] * 4 + [[50] * 4]}},
        "/positions/depths",
        "ragged",
    ),
    (
        "positions without a unit",
        {"positions": {"lines": [34, 132, 249, 326, 423]}},
        "/positions/unit",
        "unit",
    ),
    (
        "a reason for a point that was taken",
        {"reasons": [[1, 1, "blocked"]]},
        "/reasons/0",
        "not_missing",
    ),
    ("no offset", {"taken_at": "2026-06-03T14:12:00"}, "/taken_at", "offset"),
    ("in the future", {"taken_at": "2031-06-03T14:12:00Z"}, "/taken_at", "in_the_future"),
    ("no such stage", {"stage": "later"}, "/stage", "invalid_choice"),
    ("a misspelt key", {"note": "x"}, "/note", "unknown"),
    ("what the service sets", {"revision": 3}, "/revision", "read_only"),
    (
        "a bare temperature",
        {"conditions": {"dry_bulb": 70}},
        "/conditions/dry_bulb",
        "bare",
    ),
    (
        "over 100 % humidity",
        {"conditions": {"relative_humidity": {"value": 101, "unit": "%"}}},
        "/conditions/relative_humidity/value",
        "out_of_range",
    ),
    (
        "a negative absolute pressure",
        {"conditions": {"barometric_pressure": {"value": -1, "unit": "kPa"}}},
        "/conditions/barometric_pressure/value",
        "out_of_range",
    ),
    (
        "humidity twice",
        {
            "conditions": {
                "relative_humidity": {"value": 50, "unit": "%"},
                "dew_point": {"value": 10, "unit": "degC"},
            }
        },
        "/conditions",
        "one_of_several",
    ),
    (
        "a wet bulb above the dry bulb",
        {
            "conditions": {
                "dry_bulb": {"value": 20, "unit": "degC"},
                "wet_bulb": {"value": 21, "unit": "degC"},
            }
        },
        "/conditions/wet_bulb",
        "out_of_range",
    ),
    ("an unknown visit", {"visit": str(new_id())}, "/visit", "does_not_exist"),
    ("an unknown section", {"duct_section": str(new_id())}, "/duct_section", "does_not_exist"),
    ("an unknown instrument", {"instrument": str(new_id())}, "/instrument", "does_not_exist"),
    ("an unknown traverse to repeat", {"repeats": str(new_id())}, "/repeats", "does_not_exist"),
    ("no UUID", {"visit": "17"}, "/visit", "invalid"),
    (
        "a filter that is no word",
        {"operating_state": {"filter": "dirty"}},
        "/operating_state/filter",
        "invalid_choice",
    ),
]


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [case[1:] for case in REFUSED],
    ids=[case[0] for case in REFUSED],
)
def test_what_can_not_be_is_refused_where_it_stands(
    actors: Actors, world: World, change: dict[str, Any], pointer: str, code: str
) -> None:
    content = world.content()
    content.update(change)
    answer = actors.owner.post("traverses/", content)
    assert answer.status_code == 422, answer.json()
    assert errors_of(answer)[pointer] == code, answer.json()["errors"]
    assert not Traverse.objects.exists()


def test_the_units_that_are_possible_are_named(actors: Actors, world: World) -> None:
    readings = {"unit": "fpm", "values": [[1]]}
    message = actors.owner.post("traverses/", world.content(readings=readings)).json()["detail"]
    assert "'ft/min'" in message
    assert "'m/s'" in message
    assert "'inH2O'" in message


def test_every_broken_rule_is_told_at_once(actors: Actors, world: World) -> None:
    content = world.content(
        taken_at="2031-01-01T00:00:00Z",
        readings={"unit": "Pa", "values": [[3] * 5 for _ in range(4)]},
    )
    answer = actors.owner.post("traverses/", content)
    assert set(errors_of(answer)) == {"/taken_at", "/readings/unit", "/readings/values"}


def test_a_section_of_another_site_is_refused(actors: Actors, world: World) -> None:
    elsewhere = factories.make_section()
    answer = actors.owner.post("traverses/", world.content(duct_section=str(elsewhere.pk)))
    assert errors_of(answer) == {"/duct_section": "other_site"}


def test_a_pitot_tube_may_give_a_velocity_pressure(actors: Actors, world: World) -> None:
    pitot = factories.make_instrument(principle="pitot")
    readings = {"unit": "inH2O", "values": [[0.02] * 5 for _ in range(5)]}
    answer = actors.owner.post(
        "traverses/", world.content(instrument=str(pitot.pk), readings=readings)
    )
    assert answer.status_code == 201
    assert answer.json()["readings"]["unit"] == "Pa"


def test_points_may_be_missing_with_a_reason(actors: Actors, world: World) -> None:
    values: list[list[int | None]] = [[574] * 5 for _ in range(5)]
    values[4][4] = None
    answer = actors.owner.post(
        "traverses/",
        world.content(
            readings={"unit": "ft/min", "values": values}, reasons=[[5, 5, "gas pipe behind"]]
        ),
    )
    assert answer.status_code == 201
    assert answer.json()["readings"]["values"][4][4] is None
    assert answer.json()["reasons"] == [[5, 5, "gas pipe behind"]]


def test_backflow_is_accepted_with_its_sign(actors: Actors, world: World) -> None:
    values = [[574] * 5 for _ in range(4)] + [[-60, 300, 400, 300, 100]]
    readings = {"unit": "ft/min", "values": values}
    assert actors.owner.post("traverses/", world.content(readings=readings)).status_code == 201


def test_sweeps_and_averages_are_recorded(actors: Actors, world: World) -> None:
    sweeps = {
        "unit": "ft/min",
        "lines": [{"mean": 574, "seconds": 12.1} for _ in range(4)]
        + [{"mean": 570, "stamps": [[0, 10, 400], [6, 300, 600], [12, 600, 410]]}],
        "near_gap": {"value": 10, "unit": "mm"},
        "depth_unit": "mm",
    }
    swept = actors.owner.post("traverses/", world.content(mode="sweeps", readings=sweeps))
    assert swept.status_code == 201, swept.json()
    assert swept.json()["readings"]["near_gap"] == {"value": 0.01, "unit": "m"}
    assert swept.json()["readings"]["far_gap"] == {"value": 0.0, "unit": "m"}
    assert swept.json()["readings"]["lines"][4]["stamps"][1][1] == 0.3
    average = {"unit": "ft/min", "mean": 560, "seconds": 60, "lines": 5}
    averaged = actors.owner.post("traverses/", world.content(mode="average", readings=average))
    assert averaged.status_code == 201
    assert averaged.json()["readings"]["lines"] == 5


@pytest.mark.parametrize(
    ("mode", "readings", "pointer"),
    [
        ("sweeps", {"unit": "m/s", "lines": [{"mean": 3}] * 4}, "/readings/lines"),
        ("sweeps", {"unit": "m/s", "lines": [{"seconds": 3}] * 5}, "/readings/lines/0/mean"),
        (
            "sweeps",
            {
                "unit": "m/s",
                "lines": [{"mean": 3}] * 5,
                "near_gap": {"value": 0.4, "unit": "m"},
                "far_gap": {"value": 0.4, "unit": "m"},
            },
            "/readings/near_gap",
        ),
        (
            "sweeps",
            {"unit": "m/s", "lines": [{"mean": 3, "stamps": [[0, 1, 3], [1, 2, 3]]}] * 5},
            "/readings/depth_unit",
        ),
        ("average", {"unit": "m/s"}, "/readings/mean"),
        ("average", {"unit": "m/s", "mean": 3, "lines": 4}, "/readings/lines"),
    ],
)
def test_sweeps_and_averages_that_can_not_be_are_refused(
    actors: Actors, world: World, mode: str, readings: dict[str, Any], pointer: str
) -> None:
    answer = actors.owner.post("traverses/", world.content(mode=mode, readings=readings))
    assert answer.status_code == 422, answer.json()
    assert pointer in errors_of(answer)


@pytest.mark.parametrize(
    ("mode", "readings", "pointer"),
    [
        ("sweeps", {"unit": "m/s", "lines": [{"mean": 3}] * 3}, "/readings/lines"),
        ("average", {"unit": "m/s", "mean": 3}, "/mode"),
    ],
)
def test_what_was_averaged_along_a_diameter_is_refused_with_the_reason(
    actors: Actors, world: World, mode: str, readings: dict[str, Any], pointer: str
) -> None:
    section = factories.make_round_section(equipment=world.equipment)
    content = world.content(duct_section=str(section.pk), mode=mode, readings=readings)
    for path, body in (("traverses/", content), ("traverses/preview/", content)):
        answer = actors.owner.post(path, body)
        assert answer.status_code == 422, answer.json()
        assert errors_of(answer)[pointer] == "not_in_a_round_duct"
        assert "over-reads by 5 to 30 %" in answer.json()["detail"]
    assert not Traverse.objects.exists()


def test_a_sweep_of_a_round_duct_with_stamps_on_every_line_is_computed(
    actors: Actors, world: World
) -> None:
    section = factories.make_round_section(equipment=world.equipment)
    stamps = [[0, 0.02, 2.5], [4, 0.2, 3.2], [8, 0.38, 2.6]]
    lines = [{"mean": 3, "stamps": stamps}] * 3
    readings = {"unit": "m/s", "depth_unit": "m", "lines": lines}
    content = world.content(duct_section=str(section.pk), mode="sweeps", readings=readings)
    preview = actors.owner.post("traverses/preview/", content)
    assert preview.json()["state"] == "computed", preview.json()
    assert actors.owner.post("traverses/", content).status_code == 201
    lacking = readings | {"lines": [*lines[:2], {"mean": 3}]}
    answer = actors.owner.post("traverses/preview/", content | {"readings": lacking})
    assert answer.status_code == 422


def test_a_round_section_takes_angles(actors: Actors, world: World) -> None:
    section = factories.make_round_section(equipment=world.equipment)
    readings = {"unit": "m/s", "values": [[3] * 6 for _ in range(3)]}
    content = world.content(
        duct_section=str(section.pk), readings=readings, positions={"angles": [0, 55, 120]}
    )
    answer = actors.owner.post("traverses/", content)
    assert answer.status_code == 201, answer.json()
    assert answer.json()["positions"]["angles"] == [0, 55, 120]


def test_holes_as_drilled_stand_where_no_positions_are_sent(actors: Actors, world: World) -> None:
    section = factories.make_section(
        equipment=world.equipment, holes={"lines": [0.05, 0.15, 0.25, 0.32, 0.37, 0.42]}
    )
    six = {"unit": "m/s", "values": [[3] * 5 for _ in range(6)]}
    content = world.content(duct_section=str(section.pk), readings=six)
    assert actors.owner.post("traverses/", content).status_code == 201
    five = world.content(duct_section=str(section.pk))
    answer = actors.owner.post("traverses/", five)
    assert "6 lines of 5 points" in answer.json()["detail"]
    assert "as this section was drilled" in answer.json()["detail"]


def test_lists_are_narrowed_by_filters(actors: Actors, world: World) -> None:
    content = world.content()
    actors.owner.post("traverses/", content)
    other = make_world()
    factories.make_traverse(
        visit=other.visit, duct_section=other.section, instrument=other.instrument
    )

    def found(**query: Any) -> list[str]:
        return [row["id"] for row in actors.manager.get("traverses/", **query).json()["results"]]

    assert len(found()) == 2
    for query in (
        {"visit": world.visit.pk},
        {"site": world.site.pk},
        {"crew": actors.crew.pk},
        {"equipment": world.equipment.pk},
        {"duct_section": world.section.pk},
        {"instrument": world.instrument.pk},
    ):
        assert found(**query) == [content["id"]], query
    assert found(stage="as_left") == []
    assert len(found(state="pending", mode="points", call="cooling")) == 2
    assert found(taken_from="2026-06-03T19:13:00Z") == []
    assert len(found(taken_before="2026-06-03T14:13:00-05:00")) == 2
