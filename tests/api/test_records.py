"""Reference data: SI inside, as typed beside it, changed only by who read the current state."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection

from airflow_jobs import recompute
from airflow_jobs.models import (
    Company,
    Computation,
    Crew,
    CrewMembership,
    DuctSection,
    FlowSet,
    Instrument,
    Person,
    Site,
    State,
    Traverse,
    new_id,
)
from tests import factories
from tests.api.test_traverses import errors_of
from tests.api.worlds import World, make_world
from tests.conftest import Actors


def computed(world: World) -> Computation:
    """Return the computation of a traverse of this world, as if it were done."""
    traverse = factories.make_traverse(
        visit=world.visit, duct_section=world.section, instrument=world.instrument
    )
    Computation.objects.filter(traverse=traverse).update(state=State.FAILED)
    return Computation.objects.get(traverse=traverse)


def test_quantities_are_kept_in_si_and_as_typed(actors: Actors) -> None:
    body = {
        "name": "Mill",
        "time_zone": "America/Denver",
        "elevation": {"value": 5280, "unit": "ft"},
    }
    answer = actors.owner.post("sites/", body)
    assert answer.status_code == 201
    site = Site.objects.get(pk=answer.json()["id"])
    assert site.elevation_m == pytest.approx(1609.344)
    assert answer.json()["elevation"] == {"value": site.elevation_m, "unit": "m"}
    assert answer.json()["as_sent"] == {"elevation": {"value": 5280, "unit": "ft"}}
    in_feet = actors.owner.get(f"sites/{site.pk}/", units="ip").json()["elevation"]
    assert in_feet == {"value": pytest.approx(5280, rel=1e-12), "unit": "ft"}


def test_the_companys_units_are_the_default(actors: Actors, world: World) -> None:
    factories.make_company(default_units="ip")
    answer = actors.owner.get(f"duct-sections/{world.section.pk}/").json()
    assert answer["width"] == {"value": pytest.approx(18), "unit": "in"}


@pytest.mark.parametrize(
    ("elevation", "pointer", "code"),
    [
        (5280, "/elevation", "bare"),
        ("5280 ft", "/elevation", "bare"),
        ({"value": 5280}, "/elevation", "keys"),
        ({"value": 5280, "unit": "ft", "note": 1}, "/elevation", "keys"),
        ({"value": "5280", "unit": "ft"}, "/elevation/value", "value"),
        ({"value": True, "unit": "ft"}, "/elevation/value", "value"),
        ({"value": None, "unit": "ft"}, "/elevation/value", "value"),
        ({"value": 5280, "unit": "feet"}, "/elevation/unit", "unit"),
        ({"value": 5280, "unit": "m2"}, "/elevation/unit", "unit"),
        ({"value": 5280, "unit": 7}, "/elevation/unit", "unit"),
        ({"value": 9001, "unit": "m"}, "/elevation/value", "out_of_range"),
        ({"value": 1e300, "unit": "ft"}, "/elevation/value", "out_of_range"),
        ({"value": 10**80, "unit": "ft"}, "/elevation/value", "out_of_range"),
    ],
)
def test_a_quantity_that_is_none_is_refused_with_the_units_that_are_possible(
    actors: Actors, elevation: Any, pointer: str, code: str
) -> None:
    body = {"name": "Mill", "time_zone": "UTC", "elevation": elevation}
    answer = actors.owner.post("sites/", body)
    assert answer.status_code == 422
    assert errors_of(answer) == {pointer: code}
    if code in {"bare", "unit"}:
        assert "'m'" in answer.json()["detail"]


def test_a_limit_may_be_typed_in_any_unit(actors: Actors) -> None:
    for elevation in ({"value": 9000, "unit": "m"}, {"value": 9000 / 0.3048, "unit": "ft"}):
        body = {"name": "Peak", "time_zone": "UTC", "elevation": elevation}
        assert actors.owner.post("sites/", body).status_code == 201


def test_the_same_row_twice_changes_nothing_and_other_content_is_a_conflict(
    actors: Actors,
) -> None:
    body = {
        "id": str(new_id()),
        "name": "Mill",
        "time_zone": "UTC",
        "elevation": {"value": 12, "unit": "m"},
        "notes": None,
    }
    first = actors.owner.post("sites/", body)
    again = actors.owner.post("sites/", body | {"elevation": {"value": 12.0, "unit": "m"}})
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    other = actors.owner.post("sites/", body | {"notes": "gate code"})
    assert other.status_code == 409
    assert other.json()["stored"]["notes"] == ""


def test_the_first_content_may_be_sent_again_after_a_change(actors: Actors) -> None:
    body = {"id": str(new_id()), "name": "Mill", "time_zone": "UTC"}
    actors.owner.post("sites/", body)
    actors.owner.patch(f"sites/{body['id']}/", {"name": "Old mill"}, revision=1)
    again = actors.owner.post("sites/", body)
    assert again.status_code == 200
    assert again.json()["name"] == "Old mill"


def test_a_change_keeps_what_is_not_named_and_null_takes_away(actors: Actors, world: World) -> None:
    path = f"sites/{world.site.pk}/"
    changed = actors.owner.patch(path, {"notes": "gate", "elevation": None}, revision=1)
    assert changed.status_code == 200
    assert changed["ETag"] == '"2"'
    assert changed.json()["elevation"] is None
    assert changed.json()["name"] == world.site.name
    emptied = actors.owner.patch(path, {"notes": None}, revision=2)
    assert emptied.json()["notes"] == ""
    assert emptied.json()["revision"] == 3


def test_a_change_that_changes_nothing_is_no_new_revision(actors: Actors, world: World) -> None:
    answer = actors.owner.patch(f"sites/{world.site.pk}/", {}, revision=1)
    assert answer.json()["revision"] == 1


def test_a_stale_change_is_refused_with_the_current_state(actors: Actors, world: World) -> None:
    path = f"sites/{world.site.pk}/"
    actors.owner.patch(path, {"notes": "first"}, revision=1)
    answer = actors.colleague.patch(path, {"notes": "second"}, revision=1)
    assert answer.status_code == 412
    assert answer.json()["current"]["notes"] == "first"
    assert answer.json()["current"]["revision"] == 2
    assert Site.objects.get(pk=world.site.pk).notes == "first"


def test_required_fields_can_not_be_taken_away(actors: Actors, world: World) -> None:
    answer = actors.owner.patch(f"sites/{world.site.pk}/", {"name": None}, revision=1)
    assert errors_of(answer) == {"/name": "null"}
    section = f"duct-sections/{world.section.pk}/"
    answer = actors.owner.patch(section, {"lining_thickness": None}, revision=1)
    assert errors_of(answer) == {"/lining_thickness": "null"}


def test_groups_are_merged_and_taken_away_whole(actors: Actors) -> None:
    instrument: Instrument = factories.make_instrument()
    path = f"instruments/{instrument.pk}/"
    body = {"accuracy": {"absolute": {"value": 3, "unit": "ft/min"}}}
    merged = actors.manager.patch(path, body, revision=1).json()
    assert merged["accuracy"]["relative"]["value"] == 0.03
    assert merged["accuracy"]["absolute"]["value"] == pytest.approx(0.01524)
    assert merged["as_sent"] == body
    gone = actors.manager.patch(path, {"accuracy": None}, revision=2).json()
    assert gone["accuracy"] == {"relative": None, "absolute": None}
    assert gone["as_sent"] == {}


def test_what_was_typed_holds_no_group_in_which_nothing_has_a_unit(actors: Actors) -> None:
    body = {
        "serial": "V-78",
        "principle": "vane",
        "shows": "actual_velocity",
        "compensates": {"temperature": True},
        "accuracy": {"relative": {"value": 3, "unit": "%"}},
    }
    answer = actors.manager.post("instruments/", body)
    assert answer.status_code == 201, answer.json()
    assert answer.json()["as_sent"] == {"accuracy": {"relative": {"value": 3, "unit": "%"}}}
    path = f"instruments/{answer.json()['id']}/"
    changed = actors.manager.patch(path, {"compensates": {"humidity": False}}, revision=1).json()
    assert changed["as_sent"] == answer.json()["as_sent"]


REFUSED: list[tuple[str, str, dict[str, Any], str, str]] = [
    (
        "a zone that isn't one",
        "sites",
        {"time_zone": "Mars/Base"},
        "/time_zone",
        "unknown_time_zone",
    ),
    ("a tag twice at a site", "equipment", {}, "/tag", "taken"),
    ("a site nobody has", "equipment", {"site": str(new_id())}, "/site", "does_not_exist"),
    (
        "no capacity",
        "equipment",
        {"nominal_capacity": {"value": 0, "unit": "ton"}},
        "/nominal_capacity/value",
        "out_of_range",
    ),
    ("a round width", "duct-sections", {"shape": "round"}, "/diameter", "required"),
    (
        "a lining that fills the duct",
        "duct-sections",
        {"lining_thickness": {"value": 9, "unit": "in"}},
        "/lining_thickness",
        "out_of_range",
    ),
    (
        "an oval on edge",
        "duct-sections",
        {"shape": "flat_oval"},
        "/width",
        "not_ordered",
    ),
    (
        "a round rule for a rectangle",
        "duct-sections",
        {"layout_rule": "log_linear"},
        "/layout_rule",
        "no_such_layout",
    ),
    (
        "ten log-Tchebycheff lines",
        "duct-sections",
        {"lines": 10},
        "/layout_rule",
        "no_such_layout",
    ),
    (
        "a hole beyond the wall",
        "duct-sections",
        {"holes": {"unit": "in", "lines": [1, 5, 9, 13, 19]}},
        "/holes/lines/4",
        "outside_the_duct",
    ),
    (
        "other holes than lines",
        "duct-sections",
        {"lines": 6, "holes": {"unit": "in", "lines": [1, 5, 9, 13, 16]}},
        "/holes",
        "wrong_length",
    ),
    (
        "a target by halves",
        "targets",
        {"low": None},
        "",
        "one_of_two",
    ),
    (
        "a target upside down",
        "targets",
        {"low": {"value": 500, "unit": "(ft3/min)/ton"}},
        "/low",
        "not_ordered",
    ),
    ("an empty table", "blower-tables", {"rows": []}, "/rows", "length"),
    ("half a row", "blower-tables", {"rows": [{"setting": "a"}]}, "/rows/0/flow", "required"),
    ("a serial twice", "instruments", {}, "/serial", "taken"),
    ("no word on compensation", "instruments", {"compensates": None}, "/compensates", "required"),
    (
        "a range upside down",
        "instruments",
        {
            "serial": "new",
            "range": {
                "low": {"value": 5, "unit": "m/s"},
                "high": {"value": 1, "unit": "m/s"},
            },
        },
        "/range",
        "not_ordered",
    ),
    ("due before done", "calibrations", {"due_on": "2025-01-01"}, "/due_on", "not_ordered"),
    ("a wild gain", "calibrations", {"gain": 3}, "/gain", "out_of_range"),
    (
        "a correction without a reason",
        "calibrations",
        {"corrects_from": "2025-06-01"},
        "/corrects_because",
        "required",
    ),
    (
        "a correction of what came after",
        "calibrations",
        {"corrects_from": "2026-01-01", "corrects_because": "worn bearing"},
        "/corrects_from",
        "not_ordered",
    ),
    (
        "a reason without a day",
        "calibrations",
        {"corrects_because": "worn bearing"},
        "/corrects_because",
        "required",
    ),
    (
        "half of what was found",
        "calibrations",
        {"as_found": {"gain": 1.05}},
        "/as_found",
        "out_of_range",
    ),
    ("no day", "calibrations", {"due_on": "next year"}, "/due_on", "invalid"),
    ("a crew name twice", "crews", {}, "/name", "taken"),
    (
        "a member nobody is",
        "crews",
        {"name": "new", "members": [{"person": str(new_id()), "from_on": "2026-01-01"}]},
        "/members/0/person",
        "does_not_exist",
    ),
    ("a user name twice", "people", {}, "/username", "taken"),
    ("a user name with a blank", "people", {"username": "two words"}, "/username", "invalid"),
    (
        "a password that all know",
        "people",
        {"username": "new", "password": "password"},
        "/password",
        "password_too_common",
    ),
    (
        "a visit that ends before it starts",
        "visits",
        {"finished_at": "2020-01-01T00:00:00Z"},
        "/finished_at",
        "not_ordered",
    ),
    (
        "a visit in years",
        "visits",
        {"started_at": "2031-01-01T00:00:00Z"},
        "/started_at",
        "in_the_future",
    ),
    ("a system of another site", "adjustments", {}, "/equipment", "other_site"),
    ("no pressure at all", "pressures", {}, "", "required"),
    ("no heat at all", "temperature-rises", {}, "/electric_power", "one_of_two"),
    (
        "no flow",
        "flow-readings",
        {"flow": {"value": 0, "unit": "m3/s"}},
        "/flow/value",
        "out_of_range",
    ),
]


@pytest.mark.parametrize(
    ("resource", "change", "pointer", "code"),
    [case[1:] for case in REFUSED],
    ids=[case[0] for case in REFUSED],
)
def test_what_can_not_be_is_refused_where_it_stands(
    actors: Actors,
    world: World,
    resource: str,
    change: dict[str, Any],
    pointer: str,
    code: str,
) -> None:
    elsewhere = factories.make_equipment()
    pressure_of = {"visit": str(world.visit.pk), "equipment": str(world.equipment.pk)}
    measured = pressure_of | {"stage": "as_found", "taken_at": "2026-06-03T19:00:00Z"}
    rate = {"value": 400, "unit": "(ft3/min)/ton"}
    bodies: dict[str, dict[str, Any]] = {
        "sites": {"name": "Mill", "time_zone": "UTC"},
        "equipment": {
            "site": str(world.site.pk),
            "tag": world.equipment.tag.lower(),
            "kind": "other",
        },
        "duct-sections": {
            "equipment": str(world.equipment.pk),
            "name": "Drop",
            "air_path": "return",
            "shape": "rectangular",
            "width": {"value": 18, "unit": "in"},
            "height": {"value": 24, "unit": "in"},
        },
        "targets": {
            "call": "cooling",
            "low": {"value": 350, "unit": "(ft3/min)/ton"},
            "nominal": rate,
            "high": {"value": 450, "unit": "(ft3/min)/ton"},
            "basis": "standard",
            "source": "maker",
        },
        "blower-tables": {"equipment": str(world.equipment.pk)},
        "instruments": {
            "serial": world.instrument.serial.lower(),
            "principle": "vane",
            "shows": "unknown",
            "compensates": {},
        },
        "calibrations": {
            "instrument": str(world.instrument.pk),
            "performed_on": "2026-01-01",
            "due_on": "2027-01-01",
        },
        "crews": {"name": "NORTH CREW"},
        "people": {"username": "OWNER", "name": "x", "role": "technician"},
        "visits": {
            "site": str(world.site.pk),
            "crew": str(actors.crew.pk),
            "purpose": "fault",
            "started_at": "2026-01-01T00:00:00Z",
        },
        "adjustments": {
            "visit": str(world.visit.pk),
            "equipment": str(elsewhere.pk),
            "kind": "filter",
            "made_at": "2026-06-03T19:00:00Z",
        },
        "pressures": measured,
        "temperature-rises": measured
        | {"entering": {"value": 20, "unit": "degC"}, "leaving": {"value": 30, "unit": "degC"}},
        "flow-readings": measured,
    }
    answer = actors.administrator.post(f"{resource}/", bodies[resource] | change)
    assert answer.status_code == 422, answer.json()
    assert errors_of(answer).get(pointer) == code, answer.json()["errors"]


@pytest.mark.parametrize("shape", ["rectangular", "round", "flat_oval"])
def test_a_section_takes_the_usual_rule_of_its_shape(
    actors: Actors, world: World, shape: str
) -> None:
    size = {"value": 18, "unit": "in"}
    sizes = {"diameter": size} if shape == "round" else {"width": size, "height": size}
    body = {
        "equipment": str(world.equipment.pk),
        "name": "Drop",
        "air_path": "supply",
        "shape": shape,
        **sizes,
    }
    answer = actors.owner.post("duct-sections/", body)
    assert answer.status_code == 201, answer.json()
    rule = "log_linear" if shape == "round" else "log_tchebycheff"
    assert answer.json()["layout_rule"] == rule


@pytest.mark.parametrize(
    ("resource", "change"),
    [
        ("sites", {"elevation": {"value": 1600, "unit": "m"}}),
        ("equipment", {"rated_capacity": {"value": 34600, "unit": "Btu/h"}}),
        ("duct-sections", {"lining_thickness": {"value": 1, "unit": "in"}}),
        ("instruments", {"shows": "standard_velocity"}),
        ("company", {"standard_density": {"value": 1.2, "unit": "kg/m3"}}),
    ],
)
def test_results_that_depend_on_a_change_are_to_be_computed_again(
    actors: Actors, world: World, resource: str, change: dict[str, Any]
) -> None:
    computation = computed(world)
    rows = {
        "sites": world.site,
        "equipment": world.equipment,
        "duct-sections": world.section,
        "instruments": world.instrument,
    }
    row = rows.get(resource)
    path = f"{resource}/{row.pk}/" if row is not None else f"{resource}/"
    answer = actors.administrator.patch(path, change, revision=1)
    assert answer.status_code == 200, answer.json()
    computation.refresh_from_db()
    assert computation.state == State.PENDING


@pytest.mark.parametrize("resource", ["calibrations", "targets"])
def test_results_that_depend_on_an_addition_are_to_be_computed_again(
    actors: Actors, world: World, resource: str
) -> None:
    computation = computed(world)
    bodies: dict[str, dict[str, Any]] = {
        "calibrations": {
            "instrument": str(world.instrument.pk),
            "performed_on": "2026-01-01",
            "due_on": "2027-01-01",
            "gain": 1.02,
        },
        "targets": {
            "equipment": str(world.equipment.pk),
            "call": "cooling",
            "design_flow": {"value": 1100, "unit": "ft3/min"},
            "design_tolerance": {"value": 10, "unit": "%"},
            "basis": "standard",
            "source": "design",
        },
    }
    answer = actors.manager.post(f"{resource}/", bodies[resource])
    assert answer.status_code == 201, answer.json()
    computation.refresh_from_db()
    assert computation.state == State.PENDING


def test_a_calibration_corrects_earlier_readings_and_takes_it_back(
    actors: Actors, world: World
) -> None:
    computation = computed(world)
    recompute.mark_pending(Traverse.objects.filter(pk=computation.traverse_id))
    recompute.drain()
    computation.refresh_from_db()
    first = computation.result_id
    body = {
        "instrument": str(world.instrument.pk),
        "performed_on": "2026-09-01",
        "due_on": "2027-09-01",
        "gain": 1.0,
        "as_found": {"gain": 1.06, "offset": {"value": 4, "unit": "ft/min"}},
    }
    answer = actors.manager.post("calibrations/", body)
    assert answer.status_code == 201, answer.json()
    address = f"calibrations/{answer.json()['id']}/"
    recompute.drain()
    computation.refresh_from_db()
    assert computation.result_id == first
    change = {"corrects_from": "2026-05-01", "corrects_because": "worn bearing"}
    assert actors.owner.patch(address, change, revision=1).status_code == 403
    answer = actors.manager.patch(address, change, revision=1)
    assert answer.status_code == 200, answer.json()
    assert answer.json()["corrects_wholly"] is False
    assert answer.json()["as_found"]["offset"]["value"] == pytest.approx(4 * 0.00508)
    assert answer.json()["as_sent"]["as_found"]["offset"] == {"value": 4, "unit": "ft/min"}
    recompute.drain()
    computation.refresh_from_db()
    assert computation.result_id != first
    answer = actors.manager.patch(
        address, {"corrects_from": None, "corrects_because": ""}, revision=2
    )
    assert answer.status_code == 200, answer.json()
    recompute.drain()
    computation.refresh_from_db()
    assert computation.result_id == first


def test_the_history_says_who_changed_what(actors: Actors, world: World) -> None:
    actors.owner.patch(f"sites/{world.site.pk}/", {"notes": "gate code"}, revision=1)
    events = Site.pgh_event_model.objects.filter(  # type: ignore[attr-defined]
        pgh_obj_id=world.site.pk
    ).order_by("pgh_id")
    assert [event.notes for event in events] == ["", "gate code"]
    assert actors.owner.person is not None
    assert events[1].pgh_context.metadata["actor"] == str(actors.owner.person.pk)
    assert events[1].pgh_context.metadata["actor_name"] == actors.owner.person.name


def test_a_crews_members_are_changed_as_a_whole_and_counted_as_a_revision(
    actors: Actors,
) -> None:
    assert actors.owner.person is not None
    assert actors.colleague.person is not None
    first = {"person": str(actors.owner.person.pk), "from_on": "2026-01-01"}
    second = {"person": str(actors.colleague.person.pk), "from_on": "2026-02-01"}
    body = {"id": str(new_id()), "name": "East crew", "members": [first]}
    made = actors.manager.post("crews/", body)
    assert made.status_code == 201, made.json()
    assert made.json()["members"][0] == {
        **first,
        "name": actors.owner.person.name,
        "to_on": None,
    }
    assert actors.manager.post("crews/", body).status_code == 200
    left = first | {"to_on": "2026-03-31"}
    path = f"crews/{body['id']}/"
    changed = actors.manager.patch(path, {"members": [left, second]}, revision=1)
    assert changed.status_code == 200, changed.json()
    assert changed.json()["revision"] == 2
    assert [row["to_on"] for row in changed.json()["members"]] == ["2026-03-31", None]
    assert CrewMembership.objects.filter(crew_id=body["id"]).count() == 2
    emptied = actors.manager.patch(path, {"members": []}, revision=2)
    assert emptied.json()["members"] == []
    assert Crew.objects.get(pk=body["id"]).revision == 3


def test_a_flow_set_adds_up_what_belongs_to_one_system(actors: Actors, world: World) -> None:
    content = world.content()
    actors.owner.post("traverses/", content)
    reading = factories.make_flow_reading(visit=world.visit, equipment=world.equipment)
    body = {
        "id": str(new_id()),
        "visit": str(world.visit.pk),
        "equipment": str(world.equipment.pk),
        "stage": "as_found",
        "members": [
            {"traverse": content["id"]},
            {"flow_reading": str(reading.pk), "sign": -1},
        ],
    }
    made = actors.owner.post("flow-sets/", body)
    assert made.status_code == 201, made.json()
    assert made.json()["result"]["state"] == "pending"
    assert [member["sign"] for member in made.json()["members"]] == [1, -1]
    assert actors.owner.post("flow-sets/", body).status_code == 200
    fewer = {"members": [{"traverse": content["id"]}]}
    changed = actors.owner.patch(f"flow-sets/{body['id']}/", fewer, revision=1)
    assert changed.status_code == 200, changed.json()
    assert len(changed.json()["members"]) == 1
    assert changed.json()["revision"] == 2


def test_a_flow_set_refuses_what_does_not_belong_together(actors: Actors, world: World) -> None:
    other = make_world(actors.crew)
    foreign = factories.make_traverse(visit=other.visit, duct_section=other.section)
    later = factories.make_traverse(visit=world.visit, duct_section=world.section, stage="as_left")
    body = {
        "visit": str(world.visit.pk),
        "equipment": str(world.equipment.pk),
        "stage": "as_found",
    }
    for members, pointer, code in (
        ([{"traverse": str(foreign.pk)}], "/members/0/traverse", "other_system"),
        ([{"traverse": str(later.pk)}], "/members/0/traverse", "other_stage"),
        ([{"traverse": str(new_id())}], "/members/0/traverse", "does_not_exist"),
        ([{"sign": 1}], "/members/0", "one_of_two"),
        ([{"traverse": str(later.pk), "sign": 0}], "/members/0/traverse", "other_stage"),
        ([], "/members", "length"),
    ):
        answer = actors.owner.post("flow-sets/", body | {"members": members})
        assert answer.status_code == 422
        assert errors_of(answer)[pointer] == code
    assert not FlowSet.objects.exists()


def test_pressures_come_with_what_is_computed_from_them(actors: Actors, world: World) -> None:
    body = {
        "visit": str(world.visit.pk),
        "equipment": str(world.equipment.pk),
        "stage": "as_found",
        "taken_at": "2026-06-03T19:00:00Z",
        "operating_state": {"call": "cooling", "coil": None},
        "return_static": {"value": -0.22, "unit": "inH2O"},
        "supply_static": {"value": 0.31, "unit": "inH2O"},
        "before_filter": {"value": -20, "unit": "Pa"},
        "after_filter": {"value": -55, "unit": "Pa"},
    }
    answer = actors.owner.post("pressures/?units=ip", body).json()
    assert answer["external_static"] == {"value": pytest.approx(0.53), "unit": "inH2O"}
    assert answer["filter_drop"]["value"] == pytest.approx(35 / 249.08891, rel=1e-6)
    assert answer["coil_drop"] is None
    assert answer["operating_state"] == {"call": "cooling"}
    refused = actors.owner.post("pressures/", body | {"external_static": body["supply_static"]})
    assert errors_of(refused) == {"/external_static": "read_only"}


def test_a_password_is_never_answered_and_a_new_one_ends_the_tokens(actors: Actors) -> None:
    body = {
        "username": "robin",
        "name": "Robin",
        "role": "technician",
        "password": "seven quiet ducts",
    }
    made = actors.administrator.post("people/", body)
    assert made.status_code == 201
    assert "password" not in made.json()
    assert "password" not in made.json()["as_sent"]
    signed_in = actors.stranger.post(
        "tokens/", {"username": "robin", "password": "seven quiet ducts"}
    )
    assert signed_in.status_code == 201
    path = f"people/{made.json()['id']}/"
    changed = actors.administrator.patch(
        path, {"password": "nine louder ducts"}, revision=made.json()["revision"]
    )
    assert changed.status_code == 200
    robin = Person.objects.get(username="robin")
    assert robin.check_password("nine louder ducts")
    assert not robin.tokens.filter(revoked_at__isnull=True).exists()


def test_a_closing_is_merged(actors: Actors, world: World) -> None:
    path = f"visits/{world.visit.pk}/"
    actors.owner.patch(path, {"closing": {"holes_plugged": True}}, revision=1)
    answer = actors.owner.patch(path, {"closing": {"notes": "all tidy"}}, revision=2).json()
    assert answer["closing"] == {
        "holes_plugged": True,
        "panels_closed": None,
        "guards_on": None,
        "notes": "all tidy",
    }


def test_there_is_one_company(actors: Actors) -> None:
    Company.objects.all().delete()
    first = actors.administrator.get("company/").json()
    assert actors.administrator.get("company/").json()["id"] == first["id"]
    assert actors.administrator.post("company/", {}).status_code == 405
    assert first["default_target"]["nominal"]["unit"] == "(ft3/min)/ton"
    assert first["default_target"]["nominal"]["value"] == pytest.approx(400)
    upside_down = {"default_target": {"low": {"value": 500, "unit": "(ft3/min)/ton"}}}
    answer = actors.administrator.patch("company/", upside_down, revision=first["revision"])
    assert errors_of(answer) == {"/default_target": "not_ordered"}
    assert first["measure_every_months"] == 12
    never = actors.administrator.patch(
        "company/", {"measure_every_months": 0}, revision=first["revision"]
    )
    assert set(errors_of(never)) == {"/measure_every_months"}
    gone = actors.administrator.patch(
        "company/", {"default_target": None}, revision=first["revision"]
    )
    assert gone.status_code == 422


def test_blower_rows_come_whole_and_are_kept_as_typed(actors: Actors, world: World) -> None:
    table = factories.make_blower_table(equipment=world.equipment)
    path = f"blower-tables/{table.pk}/"
    assert actors.owner.get(path).json()["rows"][0]["flow"] == {"value": 0.5, "unit": "m3/s"}
    half = actors.owner.patch(path, {"rows": [{"setting": "tap 2"}]}, revision=1)
    assert set(errors_of(half)) == {"/rows/0/external_static", "/rows/0/flow"}
    row = {
        "setting": "tap 2",
        "external_static": {"value": 0.5, "unit": "inH2O"},
        "flow": {"value": 1230, "unit": "ft3/min"},
    }
    changed = actors.owner.patch(path, {"rows": [row]}, revision=1).json()
    assert changed["as_sent"] == {"rows": [row]}
    assert changed["rows"][0]["flow"]["value"] == pytest.approx(0.58050, rel=1e-4)
    twice = actors.owner.patch(path, {"rows": [row, row]}, revision=2)
    assert errors_of(twice) == {"/rows/1": "duplicate"}


def test_positions_of_holes_go_there_and_back(actors: Actors, world: World) -> None:
    path = f"duct-sections/{world.section.pk}/"
    holes = {"unit": "mm", "lines": [34, 132, 249, 326, 423]}
    answer = actors.owner.patch(path, {"holes": holes}, revision=1)
    assert answer.status_code == 200, answer.json()
    assert answer.json()["holes"]["lines"] == pytest.approx([0.034, 0.132, 0.249, 0.326, 0.423])
    assert answer.json()["as_sent"] == {"holes": holes}
    assert DuctSection.objects.get(pk=world.section.pk).holes == {
        "lines": pytest.approx([0.034, 0.132, 0.249, 0.326, 0.423])
    }


def test_a_person_may_be_sent_twice_whatever_the_password(actors: Actors) -> None:
    body = {
        "id": str(new_id()),
        "username": "robin",
        "name": "Robin",
        "role": "technician",
        "password": "seven quiet ducts",
    }
    assert actors.administrator.post("people/", body).status_code == 201
    assert actors.administrator.post("people/", body).status_code == 200
    assert actors.administrator.post("people/", body | {"name": "Rob"}).status_code == 409


def test_redaction_takes_a_person_out_of_the_row_and_out_of_the_history(
    actors: Actors, world: World
) -> None:
    person = actors.owner.person
    assert person is not None
    Person.objects.filter(pk=person.pk).update(name="Robin of the hill")
    content = world.content()
    actors.owner.post("traverses/", content)
    path = f"people/{person.pk}/redaction/"
    answer = actors.administrator.post(path, {"reason": "asked for in writing"})
    assert answer.status_code == 200, answer.json()
    assert answer.json()["name"] == "Redacted"
    assert answer.json()["active"] is False
    assert actors.owner.get("sites/").status_code == 401
    events = Person.pgh_event_model.objects.filter(  # type: ignore[attr-defined]
        pgh_obj_id=person.pk
    ).order_by("pgh_id")
    assert {event.name for event in events} == {"Redacted"}
    assert {event.username for event in events} == {answer.json()["username"]}
    last = events.last().pgh_context.metadata
    assert last["redaction"] == "asked for in writing"
    assert actors.administrator.person is not None
    assert last["actor"] == str(actors.administrator.person.pk)
    revisions = actors.manager.get(f"traverses/{content['id']}/revisions/").json()["results"]
    assert revisions[0]["actor"] == "Redacted"
    assert {"id": content["id"], **revisions[0]["content"]} == content
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pghistory_context WHERE metadata::text LIKE '%hill%'")
        assert cursor.fetchone() == (0,)


def test_redaction_takes_customers_and_addresses_out(actors: Actors) -> None:
    customer = factories.make_customer(name="Jo Miller", contact="555-0100", notes="dog")
    site = factories.make_site(address="12 Mill Lane", notes="key under the mat")
    reason = {"reason": "asked for in writing"}
    gone = actors.administrator.post(f"customers/{customer.pk}/redaction/", reason).json()
    assert gone["contact"] == gone["notes"] == ""
    assert "Miller" not in gone["name"]
    empty = actors.administrator.post(f"sites/{site.pk}/redaction/", reason).json()
    assert empty["address"] == empty["notes"] == ""
    assert empty["name"] == site.name
    assert actors.administrator.post(f"sites/{site.pk}/redaction/", {}).status_code == 422
