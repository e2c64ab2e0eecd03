"""The page of one visit, its report as PDF, and the form that makes links for the customer."""

from __future__ import annotations

import datetime
import html
import re
from collections.abc import Callable
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from airflow_jobs.models import Company, Crew, Person, ReportLink, Visit
from tests import factories
from tests.dashboards.records import make_adjustment, make_job, make_measured
from tests.factories import NOW

pytestmark = pytest.mark.django_db
# Sign-in and company (three) and the report's own.
STATEMENTS = 15


@pytest.fixture
def job(crew: Crew) -> Visit:
    """A visit of the crew to one system."""
    equipment = factories.make_equipment(site=factories.make_site(name="Mill"), tag="AH-1")
    section = factories.make_section(equipment=equipment)
    visit = make_job(found=300.0, left=400.0, section=section, crew=crew)
    make_adjustment(visit=visit, equipment=equipment)
    return visit


def _text(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200, response.content[:300]
    page = html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode()))
    return re.sub(r"\s+", " ", page)


def test_the_page_says_before_after_and_what_was_done(manager: Client, job: Visit) -> None:
    text = _text(manager, f"/visits/{job.pk}/")
    for fact in (
        "Visit of 3 Jun 2026",
        "AH-1 was found low and left in range.",
        "300 ± 20 ft³/min per ton",
        "400 ± 20 ft³/min per ton",
        "Blower setting from tap 4 to tap 3 (14:12)",
        "350 to 450 ft³/min per ton, nominal 400; the company's word, standard air",
        "North crew",
        "come before what this report says",
    ):
        assert fact in text, fact


def test_the_page_leads_to_systems_traverses_and_the_report(manager: Client, job: Visit) -> None:
    page = manager.get(f"/visits/{job.pk}/").content.decode()
    for traverse in job.traverses.all():
        assert f'href="/traverses/{traverse.pk}/"' in page
        assert f'href="/systems/{traverse.duct_section.equipment_id}/"' in page
        for address in (
            f"/traverses/{traverse.pk}/",
            f"/systems/{traverse.duct_section.equipment_id}/",
        ):
            assert f'href="/visits/{job.pk}/"' in manager.get(address).content.decode()
    assert f'href="/visits/{job.pk}/report.pdf"' in page


def test_the_report_comes_as_a_file_with_a_name_that_says_what_it_is(
    manager: Client, job: Visit
) -> None:
    response = manager.get(f"/visits/{job.pk}/report.pdf")
    assert response["Content-Type"] == "application/pdf"
    assert response["Content-Disposition"] == 'inline; filename="airflow-mill-2026-06-03.pdf"'
    assert response.content.startswith(b"%PDF")
    assert "no-store" in response["Cache-Control"]


def test_visit_and_report_need_a_sign_in_and_only_read(job: Visit, manager: Client) -> None:
    for address in (f"/visits/{job.pk}/", f"/visits/{job.pk}/report.pdf"):
        assert Client().get(address)["Location"].startswith("/sign-in/?next=")
        assert manager.post(address).status_code == 405


def test_what_does_not_exist_is_404(manager: Client) -> None:
    for address in ("", "report.pdf"):
        assert manager.get(f"/visits/{uuid4()}/{address}").status_code == 404
    assert manager.get(f"/office/visits/{uuid4()}/report-links/").status_code == 404


def test_a_technician_reads_any_visit_but_no_other_crew_s_name(
    technician: Client, job: Visit
) -> None:
    other = make_job(found=300.0, left=400.0, crew=factories.make_crew(name="Rival crew"))
    assert "North crew" in _text(technician, f"/visits/{job.pk}/")
    text = _text(technician, f"/visits/{other.pk}/")
    assert "another crew" in text
    assert "Rival crew" not in text
    assert technician.get(f"/visits/{other.pk}/report.pdf").status_code == 200
    assert "Send it to the customer" not in text


def test_a_meter_found_off_later_is_said_before_the_report_goes_to_the_customer(
    manager: Client, crew: Crew
) -> None:
    meter = factories.make_instrument(label="Vane 1", accuracy_relative=0.02)
    day = NOW.date() + datetime.timedelta(days=90)
    factories.make_calibration(instrument=meter, performed_on=day, due_on=day, gain=1.06)
    visit = make_job(found=300.0, left=400.0, crew=crew, instrument=meter)
    said = "measured with Vane 1, which was found off later; nothing of that is corrected."
    for address in (f"/visits/{visit.pk}/", _form(visit)):
        assert said in _text(manager, address)
        link = f'href="/instruments/{meter.pk}/#found-title">What can be done'
        assert link in manager.get(address).content.decode()
    assert "In doubt: the calibration of 1 Sep 2026 found" in _text(manager, f"/visits/{visit.pk}/")


def test_a_visit_without_anything_measured_says_what_comes_here(manager: Client) -> None:
    visit = factories.make_visit()
    assert "Nothing was measured or changed on this visit yet" in _text(
        manager, f"/visits/{visit.pk}/"
    )


def test_the_page_takes_as_many_statements_for_twelve_systems_as_for_one(
    manager: Client,
) -> None:
    visit = factories.make_visit()
    for systems in (1, 11):
        for _ in range(systems):
            equipment = factories.make_equipment(site=visit.site)
            section = factories.make_section(equipment=equipment)
            make_measured(visit=visit, section=section)
        for address in ("", "report.pdf"):
            with CaptureQueriesContext(connection) as statements:
                assert manager.get(f"/visits/{visit.pk}/{address}").status_code == 200
            assert len(statements) == STATEMENTS


def test_text_from_the_record_is_shown_and_never_run(manager: Client, job: Visit) -> None:
    evil = "<script>alert(1)</script>"
    Visit.objects.filter(pk=job.pk).update(closing={"notes": evil})
    type(job.site).objects.filter(pk=job.site_id).update(name=evil, address=evil)
    page = manager.get(f"/visits/{job.pk}/").content.decode()
    assert "<script>alert" not in page
    assert manager.get(f"/visits/{job.pk}/report.pdf").status_code == 200


def _form(visit: Visit) -> str:
    return f"/office/visits/{visit.pk}/report-links/"


def _made(client: Client, visit: Visit, **fields: str) -> str:
    response = client.post(_form(visit), {"lifetime_days": "30", **fields})
    assert response.status_code == 200
    found = re.search(r'value="([^"]*/reports/[^"]+)"', response.content.decode())
    assert found is not None
    return found[1]


@pytest.mark.parametrize("who", ["manager", "administrator"])
def test_a_manager_makes_a_link_whose_address_is_shown_once(
    request: pytest.FixtureRequest, job: Visit, who: str
) -> None:
    client = request.getfixturevalue(who)
    address = _made(client, job, label="Facilities  office")
    (link,) = ReportLink.objects.all()
    assert link.label == "Facilities office"
    assert 29 <= (link.expires_at - timezone.now()).days <= 30
    assert link.made_by is not None
    again = client.get(_form(job))
    assert "no-store" in again["Cache-Control"]
    assert address.rsplit("/", 2)[1] not in again.content.decode()
    assert "Facilities office" in again.content.decode()
    assert "not yet" in again.content.decode()


def test_only_managers_see_the_form(
    technician: Client, job: Visit, sign_in: Callable[[Person], Client]
) -> None:
    assert technician.get(_form(job)).status_code == 404
    assert technician.post(_form(job), {"lifetime_days": "30"}).status_code == 404
    assert Client().get(_form(job)).status_code == 302
    assert not ReportLink.objects.exists()


@pytest.mark.parametrize("days", ["0", "366", "-1", "ten", "", "1e9", "9" * 5000])
def test_days_that_make_no_sense_are_refused_with_a_word(
    manager: Client, job: Visit, days: str
) -> None:
    response = manager.post(_form(job), {"lifetime_days": days})
    assert response.status_code == 422
    assert 'role="alert"' in response.content.decode()
    assert "365" in response.content.decode()
    assert not ReportLink.objects.exists()


def test_a_label_that_is_too_long_is_refused_with_a_word(manager: Client, job: Visit) -> None:
    response = manager.post(_form(job), {"lifetime_days": "1", "label": "x" * 101})
    assert response.status_code == 422
    assert "at most 100 characters" in response.content.decode()


def test_a_link_is_revoked_from_the_list_of_its_own_visit(manager: Client, job: Visit) -> None:
    address = _made(manager, job)
    (link,) = ReportLink.objects.all()
    other = make_job(found=None, left=400.0)
    wrong: tuple[tuple[Visit, str | UUID], ...] = (
        (other, link.pk),
        (job, uuid4()),
        (job, "nonsense"),
    )
    for visit, named in wrong:
        assert manager.post(_form(visit), {"revoke": str(named)}).status_code == 404
    assert Client().get(address).status_code == 200
    response = manager.post(_form(job), {"revoke": str(link.pk)}, follow=True)
    assert "The link is revoked" in response.content.decode()
    assert "revoked on" in response.content.decode()
    assert Client().get(address).status_code == 410


def test_links_list_in_the_company_s_time_with_their_state(
    manager: Client, job: Visit, ip_company: Company
) -> None:
    _made(manager, job)
    ReportLink.objects.update(expires_at=timezone.now())
    assert "ended" in _text(manager, _form(job))
    with CaptureQueriesContext(connection) as few:
        manager.get(_form(job))
    for _ in range(9):
        _made(manager, job)
    with CaptureQueriesContext(connection) as many:
        manager.get(_form(job))
    assert len(few) == len(many)
