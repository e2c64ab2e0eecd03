"""What the tests of pages ask for: people who are signed in."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from airflow_jobs.models import Company, Crew, Person, Role
from tests import factories


@pytest.fixture
def crew(db: None) -> Crew:
    """The crew whose jobs tests look at: three people."""
    crew = factories.make_crew(name="North crew")
    for number in range(3):
        person = factories.make_person(username=f"north{number}", name=f"North {number}")
        factories.make_membership(crew=crew, person=person)
    return crew


@pytest.fixture
def ip_company(db: None) -> Company:
    """The company, speaking inch-pound."""
    return factories.make_company(name="Test Air Services", default_units="ip")


@pytest.fixture
def sign_in(ip_company: Company) -> Callable[[Person], Client]:
    """Sign somebody in and return their client."""

    def signed_in(person: Person) -> Client:
        client = Client()
        client.force_login(person)
        return client

    return signed_in


@pytest.fixture
def manager(sign_in: Callable[[Person], Client]) -> Client:
    """A manager who is signed in."""
    return sign_in(factories.make_person(username="manager", role=Role.MANAGER))


@pytest.fixture
def technician(sign_in: Callable[[Person], Client], crew: Crew) -> Client:
    """A technician of the crew who is signed in."""
    return sign_in(Person.objects.get(username="north0"))


@pytest.fixture
def administrator(sign_in: Callable[[Person], Client]) -> Client:
    """An administrator who is signed in."""
    return sign_in(factories.make_person(username="chief", role=Role.ADMINISTRATOR))
