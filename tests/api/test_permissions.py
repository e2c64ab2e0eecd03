"""Who may do what: every address and method for every kind of caller, from the API's document."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import pytest
from django.db import transaction
from drf_spectacular.generators import SchemaGenerator

from airflow_jobs.actions.access import Actor
from airflow_jobs.actions.report_links import make_report_link
from airflow_jobs.models import new_id
from tests import factories
from tests.api.worlds import World
from tests.conftest import Actors, Caller

CALLERS: Final = (
    "stranger",
    "owner",
    "colleague",
    "field_app",
    "other_field_app",
    "manager",
    "administrator",
)


def _row(*codes: int) -> dict[str, int]:
    return dict(zip(CALLERS, codes, strict=True))


#                 stranger owner colleague field_app other_app manager administrator
READ_BY_ALL = _row(401, 200, 200, 200, 200, 200, 200)
READ_OWN_CREWS = _row(401, 200, 200, 200, 404, 200, 200)
READ_BY_MANAGERS = _row(401, 403, 403, 403, 403, 200, 200)
ADD_BY_ALL = _row(401, 201, 201, 201, 201, 201, 201)
CHANGE_BY_ALL = _row(401, 200, 200, 200, 200, 200, 200)
ADD_BY_MANAGERS = _row(401, 403, 403, 403, 403, 201, 201)
CHANGE_BY_MANAGERS = _row(401, 403, 403, 403, 403, 200, 200)
ADD_BY_ADMINISTRATORS = _row(401, 403, 403, 403, 403, 403, 201)
CHANGE_BY_ADMINISTRATORS = _row(401, 403, 403, 403, 403, 403, 200)
# Another crew's app doesn't know the visit, so to it that is an unknown reference.
ADD_OWN_CREWS = _row(401, 201, 403, 201, 422, 201, 201)
ADD_A_VISIT = _row(401, 201, 403, 201, 403, 201, 201)
CHANGE_OWN_CREWS = _row(401, 200, 403, 200, 404, 200, 200)

OPEN_RESOURCES = ("customers", "sites", "equipment", "duct-sections", "blower-tables")
MANAGED_RESOURCES = ("targets", "instruments", "calibrations", "crews")
CREW_RESOURCES = (
    "adjustments",
    "pressures",
    "temperature-rises",
    "flow-readings",
    "flow-sets",
)


def _matrix() -> Iterator[tuple[tuple[str, str], dict[str, int]]]:
    for name in OPEN_RESOURCES:
        yield ("GET", f"{name}/"), READ_BY_ALL
        yield ("POST", f"{name}/"), ADD_BY_ALL
        yield ("GET", f"{name}/{{id}}/"), READ_BY_ALL
        yield ("PATCH", f"{name}/{{id}}/"), CHANGE_BY_ALL
    for name in MANAGED_RESOURCES:
        yield ("GET", f"{name}/"), READ_BY_ALL
        yield ("POST", f"{name}/"), ADD_BY_MANAGERS
        yield ("GET", f"{name}/{{id}}/"), READ_BY_ALL
        yield ("PATCH", f"{name}/{{id}}/"), CHANGE_BY_MANAGERS
    for name in (*CREW_RESOURCES, "visits"):
        yield ("GET", f"{name}/"), READ_BY_ALL
        yield ("POST", f"{name}/"), ADD_A_VISIT if name == "visits" else ADD_OWN_CREWS
        yield ("GET", f"{name}/{{id}}/"), READ_OWN_CREWS
        yield ("PATCH", f"{name}/{{id}}/"), CHANGE_OWN_CREWS
    yield ("GET", "visits/given-away/"), READ_BY_ALL
    yield ("GET", "traverses/"), READ_BY_ALL
    yield ("POST", "traverses/"), ADD_OWN_CREWS
    yield ("GET", "traverses/{id}/"), READ_OWN_CREWS
    yield ("POST", "traverses/{id}/corrections/"), _row(401, 201, 403, 201, 404, 201, 201)
    yield ("GET", "traverses/{id}/revisions/"), READ_OWN_CREWS
    yield ("POST", "traverses/batch/"), _row(401, 200, 200, 200, 200, 200, 200)
    yield ("POST", "traverses/preview/"), _row(401, 200, 403, 200, 422, 200, 200)
    yield ("GET", "people/"), READ_BY_MANAGERS
    yield ("GET", "people/{id}/"), READ_BY_MANAGERS
    yield ("POST", "people/"), ADD_BY_ADMINISTRATORS
    yield ("PATCH", "people/{id}/"), CHANGE_BY_ADMINISTRATORS
    for name in ("customers", "sites"):
        yield ("POST", f"{name}/{{id}}/redaction/"), CHANGE_BY_ADMINISTRATORS
    yield ("POST", "people/{id}/redaction/"), CHANGE_BY_ADMINISTRATORS
    yield ("GET", "company/"), READ_BY_MANAGERS
    yield ("PATCH", "company/"), CHANGE_BY_ADMINISTRATORS
    yield ("GET", "duct-sections/{id}/layout/"), READ_BY_ALL
    yield ("GET", "layout/"), READ_BY_ALL
    # What a technician reads there is another test's: one's own crew and the whole.
    yield ("GET", "crew-comparison/"), _row(401, 200, 200, 403, 403, 200, 200)
    yield ("GET", "findings/"), READ_BY_ALL
    yield ("GET", "problems/{slug}/"), _row(*[200] * 7)
    links = "visits/{visit_id}/report-links/"
    yield ("GET", links), READ_BY_MANAGERS
    yield ("POST", links), ADD_BY_MANAGERS
    yield ("GET", f"{links}{{id}}/"), READ_BY_MANAGERS
    yield ("DELETE", f"{links}{{id}}/"), _row(401, 403, 403, 403, 403, 204, 204)
    yield ("GET", "tokens/"), _row(401, 200, 200, 403, 403, 200, 200)
    yield ("POST", "tokens/"), _row(*[201] * 7)
    # The owner's token: nobody else's business but an administrator's.
    yield ("GET", "tokens/{id}/"), _row(401, 200, 404, 403, 403, 404, 200)
    yield ("DELETE", "tokens/{id}/"), _row(401, 204, 404, 403, 403, 404, 204)
    yield ("GET", "tokens/field-app/"), _row(401, 403, 403, 403, 403, 403, 200)
    yield ("POST", "tokens/field-app/"), ADD_BY_ADMINISTRATORS


MATRIX: Final = dict(_matrix())


def _operations() -> set[tuple[str, str]]:
    document = SchemaGenerator().get_schema(request=None, public=True)
    return {
        (method.upper(), path.removeprefix("/api/v1/"))
        for path, operations in document["paths"].items()
        for method in operations
    }


def test_every_address_and_method_has_its_row_and_no_row_is_left_over() -> None:
    assert _operations() == set(MATRIX)


class Rows:
    """One row of each resource, of the owner's crew where rows belong to crews."""

    def __init__(self, actors: Actors, world: World) -> None:
        self.actors = actors
        self.world = world
        visit, equipment = world.visit, world.equipment
        self.traverse_content = world.content()
        answer = actors.owner.post("traverses/", self.traverse_content)
        assert answer.status_code == 201
        self.calibration = factories.make_calibration(instrument=world.instrument)
        self.ids = {
            "customers": factories.make_customer().pk,
            "sites": world.site.pk,
            "equipment": equipment.pk,
            "duct-sections": world.section.pk,
            "blower-tables": factories.make_blower_table(equipment=equipment).pk,
            "targets": factories.make_target(equipment=equipment).pk,
            "instruments": world.instrument.pk,
            "calibrations": self.calibration.pk,
            "crews": actors.crew.pk,
            "visits": visit.pk,
            "people": actors.colleague.person.pk if actors.colleague.person else None,
            "traverses": self.traverse_content["id"],
            "report-links": make_report_link(
                actor=Actor.service(), visit_id=visit.pk, now=factories.NOW
            )[0].pk,
            "tokens": actors.owner.token.pk if actors.owner.token else None,
        }
        for name in CREW_RESOURCES:
            made = actors.owner.post(f"{name}/", self.body(name))
            assert made.status_code == 201, made.json()
            self.ids[name] = made.json()["id"]

    def body(self, name: str) -> Any:
        """Return a body that is good but for who sends it."""
        world = self.world
        of_visit = {"visit": str(world.visit.pk), "equipment": str(world.equipment.pk)}
        measured = of_visit | {"stage": "as_found", "taken_at": "2026-06-03T19:12:00Z"}
        unique = str(new_id())
        length = {"value": 0.4, "unit": "m"}
        bodies: dict[str, Any] = {
            "customers": {"name": "Bakery"},
            "sites": {"name": "Mill", "time_zone": "UTC"},
            "equipment": {"site": str(world.site.pk), "tag": unique, "kind": "other"},
            "duct-sections": {
                "equipment": str(world.equipment.pk),
                "name": "Drop",
                "air_path": "return",
                "shape": "rectangular",
                "width": length,
                "height": length,
            },
            "blower-tables": {
                "equipment": str(world.equipment.pk),
                "rows": [
                    {
                        "setting": "low",
                        "external_static": {"value": 100, "unit": "Pa"},
                        "flow": {"value": 0.5, "unit": "m3/s"},
                    }
                ],
            },
            "targets": {
                "equipment": str(world.equipment.pk),
                "call": "heating",
                "design_flow": {"value": 0.5, "unit": "m3/s"},
                "design_tolerance": {"value": 10, "unit": "%"},
                "basis": "standard",
                "source": "design",
            },
            "instruments": {
                "serial": unique,
                "principle": "vane",
                "shows": "actual_velocity",
                "compensates": {"temperature": None},
            },
            "calibrations": {
                "instrument": str(world.instrument.pk),
                "performed_on": "2026-01-01",
                "due_on": "2027-01-01",
            },
            "crews": {"name": unique},
            "people": {"username": unique, "name": "Robin", "role": "technician"},
            "visits": {
                "site": str(world.site.pk),
                "crew": str(self.actors.crew.pk),
                "purpose": "fault",
            },
            "adjustments": of_visit | {"kind": "filter", "made_at": "2026-06-03T19:30:00Z"},
            "pressures": measured | {"return_static": {"value": -50, "unit": "Pa"}},
            "temperature-rises": measured
            | {
                "electric_power": {"value": 9, "unit": "kW"},
                "entering": {"value": 20, "unit": "degC"},
                "leaving": {"value": 30, "unit": "degC"},
            },
            "flow-readings": measured | {"flow": {"value": 0.5, "unit": "m3/s"}},
            "flow-sets": of_visit
            | {"stage": "as_found", "members": [{"traverse": self.traverse_content["id"]}]},
            "traverses": world.content(),
            "traverses/batch": [world.content()],
            "traverses/preview": world.content(),
            "traverses/{id}/corrections": {
                "reason": "slip",
                "content": self.traverse_content | {"notes": "corrected"},
            },
            **{
                f"{kind}/{{id}}/redaction": {"reason": "asked for"}
                for kind in ("customers", "sites", "people")
            },
            "visits/{visit_id}/report-links": {"lifetime_days": 7},
            "tokens": {"username": "owner", "password": "correct horse 7 battery"},
            "tokens/field-app": {"crew": str(self.actors.crew.pk)},
        }
        return bodies[name]


@pytest.mark.parametrize(
    ("method", "path", "expected"),
    [(*operation, codes) for operation, codes in sorted(MATRIX.items())],
    ids=[" ".join(operation) for operation in sorted(MATRIX)],
)
def test_each_caller_may_do_what_the_table_says_and_nothing_else(
    actors: Actors, world: World, method: str, path: str, expected: dict[str, int]
) -> None:
    rows = Rows(actors, world)
    came = {}
    for who in CALLERS:
        # Each caller meets the same rows: what the one before did is taken back.
        with transaction.atomic():
            answer = _answer(rows, getattr(actors, who), method, path)
            transaction.set_rollback(True)
        came[who] = answer.status_code
        if answer.status_code >= 400:
            assert answer["Content-Type"] == "application/problem+json"
        if answer.status_code == 401:
            assert answer["WWW-Authenticate"].startswith("Bearer")
    assert came == expected


def _answer(rows: Rows, caller: Caller, method: str, path: str) -> Any:
    name = path.removesuffix("/")
    address = path.replace("{slug}", "not-found")
    if "{id}" in path:
        address = path.replace("{id}", str(rows.ids[path.partition("/{id}")[0].rpartition("/")[2]]))
    address = address.replace("{visit_id}", str(rows.ids["visits"]))
    if name == "layout":
        address += "?shape=round&diameter=16&unit=in"
    body = rows.body(name) if method == "POST" else {} if method == "PATCH" else None
    return caller.send(method, address, body, headers={"If-Match": "*"})


@pytest.mark.parametrize("name", [*CREW_RESOURCES, "visits", "traverses"])
def test_a_field_app_sees_its_own_crews_rows_in_lists(
    actors: Actors, world: World, name: str
) -> None:
    Rows(actors, world)
    own = actors.field_app.get(f"{name}/").json()["results"]
    other = actors.other_field_app.get(f"{name}/").json()["results"]
    assert len(own) == 1
    assert other == []


def test_a_field_app_of_another_crew_learns_nothing_from_an_id_that_is_taken(
    actors: Actors, world: World
) -> None:
    content = world.content()
    actors.owner.post("traverses/", content)
    answer = actors.other_field_app.post("traverses/", content)
    assert answer.status_code == 409
    assert "stored" not in answer.json()
    batch = actors.other_field_app.post("traverses/batch/", [content]).json()
    assert batch[0]["status"] == 409


def test_a_technician_may_not_hand_a_visit_to_another_crew(actors: Actors, world: World) -> None:
    assert actors.colleague.crew is not None
    answer = actors.owner.patch(
        f"visits/{world.visit.pk}/", {"crew": str(actors.colleague.crew.pk)}, revision=1
    )
    assert answer.status_code == 403


def test_batch_items_of_another_crews_visit_are_refused_one_by_one(
    actors: Actors, world: World
) -> None:
    outcome = actors.colleague.post("traverses/batch/", [world.content()]).json()
    assert outcome[0]["status"] == 403
    assert outcome[0]["errors"][0]["code"] == "not_allowed"
