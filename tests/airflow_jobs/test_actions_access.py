"""Who may do what, below HTTP; and whose name the history carries."""

from __future__ import annotations

import datetime

import pytest

from airflow_jobs.actions import access
from airflow_jobs.actions.access import FIELD_APP, SERVICE, Actor, NotAllowed
from airflow_jobs.actions.people import add_person
from airflow_jobs.actions.records import add_record, change_record
from airflow_jobs.models import (
    Company,
    Crew,
    Instrument,
    Person,
    Role,
    Site,
    Traverse,
    Visit,
    companys_day,
)
from tests import factories


def test_every_model_that_can_be_read_has_a_rule_for_writing() -> None:
    assert set(access._MAY_READ) == set(access._MAY_WRITE)


def test_a_person_has_the_crews_of_that_day(db: None) -> None:
    person = factories.make_person()
    before, now, after = (factories.make_crew() for _ in range(3))
    day = datetime.date(2026, 6, 3)
    factories.make_membership(crew=before, person=person, to_on=datetime.date(2026, 6, 2))
    factories.make_membership(crew=now, person=person, to_on=day)
    factories.make_membership(crew=after, person=person, from_on=datetime.date(2026, 6, 4))
    assert Actor.of_person(person, today=day).crew_ids == {now.pk}


def test_a_field_app_knows_of_its_crew_only(db: None) -> None:
    crew = factories.make_crew()
    token, _ = factories.make_token(crew=crew)
    actor = Actor.of_field_app(token)
    own = factories.make_visit(crew=crew)
    other = factories.make_visit()
    traverse = factories.make_traverse(visit=other)
    assert list(access.visible(actor, Visit.objects.all())) == [own]
    assert not access.is_visible(actor, traverse)
    assert access.visible(actor, Site.objects.all()).count() == 2
    assert actor.is_field_app
    with pytest.raises(NotAllowed):
        access.require_crew(actor, other.crew_id)


def test_the_service_may_write_everything(db: None) -> None:
    actor = Actor.service("start")
    assert actor.role == SERVICE
    for model in (Company, Person, Instrument, Traverse):
        access.require_write(actor, model)
    access.require_crew(actor, factories.make_crew().pk)


@pytest.mark.parametrize("role", [Role.TECHNICIAN, FIELD_APP])
def test_a_refusal_says_who_may(role: str) -> None:
    actor = Actor(name="Robin", role=role)
    with pytest.raises(NotAllowed, match="managers and administrators"):
        access.require_write(actor, Instrument)
    with pytest.raises(NotAllowed, match="administrators"):
        access.require_write(actor, Company)


def test_a_person_is_added_without_anybody_at_the_first_start(db: None) -> None:
    person = add_person(
        username="first",
        name="First",
        role=Role.ADMINISTRATOR,
        password="seven quiet ducts",
    )
    assert Person.objects.get(username="first").check_password("seven quiet ducts")
    event = Person.pgh_event_model.objects.filter(  # type: ignore[attr-defined]
        pgh_obj_id=person.pk
    ).first()
    assert event.pgh_context.metadata["actor"] == SERVICE


def test_without_a_password_nobody_can_sign_in(db: None) -> None:
    person = add_person(username="robin", name="Robin", role=Role.TECHNICIAN, password=None)
    assert not Person.objects.get(pk=person.pk).has_usable_password()


def test_an_act_that_is_refused_leaves_nothing_behind(db: None) -> None:
    def fail(row: Crew) -> None:
        raise RuntimeError("what follows goes wrong")

    actor = Actor.service()
    with pytest.raises(RuntimeError):
        add_record(actor=actor, model=Crew, values={"name": "East"}, now=factories.NOW, then=fail)
    assert not Crew.objects.filter(name="East").exists()


def test_a_change_writes_only_what_changed(db: None) -> None:
    site = factories.make_site()
    changed = change_record(
        actor=Actor.service(),
        model=Site,
        record_id=site.pk,
        values={"notes": "gate", "name": site.name},
        expected_revision=None,
        now=factories.NOW,
    )
    assert changed.revision == 2
    event = (
        Site.pgh_event_model.objects.filter(  # type: ignore[attr-defined]
            pgh_obj_id=site.pk
        )
        .order_by("-pgh_id")
        .first()
    )
    assert event.notes == "gate"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("zone", "is_in"), [("Pacific/Kiritimati", True), ("UTC", False), (None, False)]
)
def test_a_crew_s_day_is_the_company_s(zone: str | None, is_in: bool) -> None:
    if zone is not None:
        factories.make_company(time_zone=zone)
    person = factories.make_person()
    member = factories.make_membership(
        crew=factories.make_crew(), person=person, from_on=datetime.date(2026, 5, 2)
    )
    # Ten in the morning of 2 May where the day begins first.
    moment = datetime.datetime(2026, 5, 1, 20, 0, tzinfo=datetime.UTC)
    actor = Actor.of_person(person, today=companys_day(moment))
    assert actor.crew_ids == (frozenset({member.crew_id}) if is_in else frozenset())
