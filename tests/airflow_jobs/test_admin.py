"""Administration pages: everything can be looked at, and no rule can be got around."""

from __future__ import annotations

from typing import Any

import pytest
from django.apps import apps
from django.contrib import admin
from django.test import Client
from django.urls import reverse

from airflow_jobs.admin import LookAdmin
from airflow_jobs.models import Company, Person, Role, Site, Token
from tests import factories


@pytest.fixture
def administrator(db: None) -> Client:
    """A browser in which an administrator is signed in."""
    client = Client()
    client.force_login(factories.make_person(username="chief", role=Role.ADMINISTRATOR))
    return client


REGISTERED: list[Any] = sorted(
    (
        model
        for model in apps.get_app_config("airflow_jobs").get_models()
        if admin.site.is_registered(model)
    ),
    key=lambda model: str(model.__name__),
)


def test_every_table_of_the_record_can_be_looked_at() -> None:
    lacking = {
        model.__name__
        for model in apps.get_app_config("airflow_jobs").get_models()
        if not admin.site.is_registered(model) and not model.__name__.endswith("Event")
    }
    # A digest is its reader's own business; what is worked out ahead of pages stands on them; the
    # others stand with what they belong to.
    assert lacking == {
        "ChangedSystem",
        "CrewMembership",
        "DigestSubscription",
        "FlowSetMember",
        "Measurement",
        "Standing",
        "TraverseRevision",
        "VisitHandover",
    }


@pytest.mark.parametrize("model", REGISTERED, ids=lambda model: model.__name__)
def test_lists_and_pages_open(administrator: Client, model: Any) -> None:
    traverse = factories.make_traverse()
    factories.make_flow_set(
        visit=traverse.visit, equipment=traverse.duct_section.equipment, members=[traverse]
    )
    factories.make_token(person=factories.make_person())
    factories.make_company()
    name = model._meta.model_name
    assert administrator.get(reverse(f"admin:airflow_jobs_{name}_changelist")).status_code == 200
    row = model.objects.first()
    if row is not None:
        for page in ("change", "history"):
            address = reverse(f"admin:airflow_jobs_{name}_{page}", args=[row.pk])
            assert administrator.get(address).status_code == 200


@pytest.mark.parametrize("model", REGISTERED, ids=lambda model: model.__name__)
def test_nothing_can_be_deleted_and_only_people_and_the_company_changed(
    administrator: Client, model: Any
) -> None:
    registered = admin.site._registry[model]
    assert isinstance(registered, LookAdmin)
    request: Any = administrator.get("/administration/").wsgi_request
    assert not registered.has_delete_permission(request)
    assert registered.has_change_permission(request) == (model in {Person, Company})
    assert registered.has_add_permission(request) == (model is Person)


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.MANAGER])
def test_only_administrators_come_in(db: None, role: str) -> None:
    client = Client()
    client.force_login(factories.make_person(role=role))
    assert client.get("/administration/").status_code == 302


def test_the_history_says_who_changed_what_from_what_to_what(administrator: Client) -> None:
    site = factories.make_site(notes="dog")
    Site.objects.filter(pk=site.pk).update(notes="no dog")
    page = administrator.get(reverse("admin:airflow_jobs_site_history", args=[site.pk]))
    assert b"notes: dog -&gt; no dog" in page.content


def test_a_person_is_added_and_changed_through_the_actions(administrator: Client) -> None:
    form = {"username": "robin", "name": "Robin", "role": "technician", "is_active": "on"}
    add = reverse("admin:airflow_jobs_person_add")
    weak = administrator.post(add, form | {"password": "password"})
    assert b"too common" in weak.content
    assert administrator.post(add, form | {"password": "seven quiet ducts"}).status_code == 302
    robin = Person.objects.get(username="robin")
    assert robin.check_password("seven quiet ducts")
    token, _ = factories.make_token(person=robin)
    change = reverse("admin:airflow_jobs_person_change", args=[robin.pk])
    gone = {key: item for key, item in form.items() if key != "is_active"}
    assert administrator.post(change, gone).status_code == 302
    robin.refresh_from_db()
    assert not robin.is_active
    assert robin.check_password("seven quiet ducts")
    assert Token.objects.get(pk=token.pk).revoked_at is not None
    events = Person.pgh_event_model.objects.filter(  # type: ignore[attr-defined]
        pgh_obj_id=robin.pk
    ).order_by("-pgh_id")
    assert events[0].pgh_context.metadata["actor_role"] == Role.ADMINISTRATOR


def test_tokens_can_be_revoked(administrator: Client) -> None:
    token, _ = factories.make_token(person=factories.make_person())
    answer = administrator.post(
        reverse("admin:airflow_jobs_token_changelist"),
        {"action": "revoke", "_selected_action": [str(token.pk)]},
    )
    assert answer.status_code == 302
    assert Token.objects.get(pk=token.pk).revoked_at is not None


def test_what_consent_hides_is_said_where_it_is_set(administrator: Client) -> None:
    company = factories.make_company()
    page = administrator.get(reverse("admin:airflow_jobs_company_change", args=[company.pk]))
    assert "where only one crew is that small, a manager can work out" in page.content.decode()


def test_the_company_can_be_renamed(administrator: Client) -> None:
    company = factories.make_company()
    answer = administrator.post(
        reverse("admin:airflow_jobs_company_change", args=[company.pk]),
        {
            "name": "Air and Sons",
            "default_units": "si",
            "time_zone": "UTC",
            "measure_every_months": "6",
            "report_mark": "",
        },
    )
    assert answer.status_code == 302
    company.refresh_from_db()
    assert company.name == "Air and Sons"
    assert company.measure_every_months == 6
    assert company.revision == 2
