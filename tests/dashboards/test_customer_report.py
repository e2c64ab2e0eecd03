"""What a customer opens with a link: one visit's report, until it ends, and nothing else."""

from __future__ import annotations

import datetime
import html
import re
import string
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.utils import timezone

from airflow_jobs.actions.access import Actor, NotAllowed, NotVisible
from airflow_jobs.actions.constraints import RulesBroken
from airflow_jobs.actions.report_links import (
    digest_of,
    link_of,
    make_report_link,
    note_opening,
    revoke_report_link,
)
from airflow_jobs.models import Company, Crew, Person, ReportLink, Role, Visit, new_id
from airflow_jobs.office import customer_report
from tests import factories
from tests.dashboards.records import make_adjustment, make_job
from tests.factories import NOW

pytestmark = pytest.mark.django_db
SERVICE = Actor.service()


@pytest.fixture(autouse=True)
def own_cache(settings: Any, ip_company: Company) -> None:
    """Have a cache that no test beside this one empties."""
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
    cache.clear()


@pytest.fixture
def job(crew: Crew) -> Visit:
    """A visit of the crew to one system."""
    equipment = factories.make_equipment(site=factories.make_site(name="Mill"), tag="AH-1")
    section = factories.make_section(equipment=equipment)
    visit = make_job(found=300.0, left=400.0, section=section, crew=crew)
    make_adjustment(visit=visit, equipment=equipment)
    return visit


def _secret(visit: Visit, **more: Any) -> str:
    _, secret = make_report_link(
        actor=SERVICE, visit_id=visit.pk, **({"now": timezone.now()} | more)
    )
    return secret


def _text(page: str) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def test_a_good_link_shows_the_report_without_a_sign_in(job: Visit) -> None:
    response = Client().get(f"/reports/{_secret(job)}/")
    assert response.status_code == 200
    text = _text(response.content.decode())
    for fact in (
        "Test Air Services",
        "Airflow report of 3 Jun 2026",
        "AH-1 was found low and left in range.",
        "400 ± 20 ft³/min per ton",
        "North crew",
        "Report as PDF",
    ):
        assert fact in text, fact


def test_the_same_link_gives_the_pdf(job: Visit) -> None:
    response = Client().get(f"/reports/{_secret(job)}/report.pdf")
    assert response["Content-Type"] == "application/pdf"
    assert response.content.startswith(b"%PDF")


def test_it_leads_nowhere_else_and_names_nobody(job: Visit) -> None:
    other = make_job(found=300.0, left=400.0, crew=job.crew)
    secret = _secret(job)
    page = Client().get(f"/reports/{secret}/").content.decode()
    links = set(re.findall(r'href="([^"]+)"', page))
    inside = {link for link in links if not link.startswith(("/static/", "#"))}
    assert inside == {f"/reports/{secret}/report.pdf"}
    assert "North 0" not in page
    assert str(other.pk) not in page
    for address in (f"/visits/{job.pk}/", f"/visits/{other.pk}/", "/systems/", "/"):
        client = Client()
        client.get(f"/reports/{secret}/")
        assert client.get(address).status_code == 302


def test_the_address_goes_nowhere_and_is_kept_nowhere(job: Visit) -> None:
    secret = _secret(job)
    for address in (f"/reports/{secret}/", f"/reports/{secret}/report.pdf", "/reports/x/"):
        response = Client().get(address)
        assert response["Referrer-Policy"] == "no-referrer"
        assert "noindex" in response["X-Robots-Tag"]
        assert "no-store" in response["Cache-Control"]
        assert "unsafe" not in response["Content-Security-Policy"]
        assert not response.cookies


def test_only_a_digest_of_the_secret_is_kept(job: Visit) -> None:
    secret = _secret(job)
    (link,) = ReportLink.objects.all()
    assert len(secret) >= 43
    assert link.digest == digest_of(secret)
    assert secret not in repr(vars(link))
    events: Any = ReportLink.pgh_event_model  # type: ignore[attr-defined]
    assert "digest" not in {field.name for field in events._meta.fields}


def test_it_ends_to_the_second() -> None:
    link, _ = make_report_link(
        actor=SERVICE, visit_id=factories.make_visit().pk, lifetime_days=1, now=NOW
    )
    end = NOW + datetime.timedelta(days=1)
    assert link.expires_at == end
    assert link.is_live(end - datetime.timedelta(seconds=1))
    assert not link.is_live(end)


def test_unknown_ended_and_revoked_links_show_the_same_page(job: Visit) -> None:
    long_ago = timezone.now() - datetime.timedelta(days=31)
    ended = _secret(job, now=long_ago)
    revoked = _secret(job)
    link = link_of(revoked)
    assert link is not None
    revoke_report_link(actor=SERVICE, visit_id=job.pk, link_id=link.pk, now=timezone.now())
    pages = {}
    for name, secret in (("ended", ended), ("revoked", revoked), ("unknown", "x" * 43)):
        for file in ("", "report.pdf"):
            response = Client().get(f"/reports/{secret}/{file}")
            pages[name, file] = response.content
            # Who had the secret knows that there was something; nobody else does.
            assert response.status_code == (404 if name == "unknown" else 410)
    assert len(set(pages.values())) == 1
    text = _text(pages["ended", ""].decode())
    assert "ask the company that did the work for a new one" in text
    assert "Mill" not in text
    assert "Test Air" not in text


def test_a_secret_that_was_tampered_with_opens_nothing(job: Visit) -> None:
    secret = _secret(job)
    swapped = secret.swapcase()
    changed = ("A" if secret[0] != "A" else "B") + secret[1:]
    link = link_of(secret)
    assert link is not None
    for wrong in (
        swapped,
        changed,
        secret[:-1],
        f"{secret}A",
        f"{secret}%00",
        f"%20{secret}",
        link.digest,
        str(link.pk),
        str(job.pk),
        "..%2f",
        "%ff%fe",
        "x" * 3000,
        string.punctuation.replace("/", "").replace("?", "").replace("#", "").replace("%", ""),
    ):
        assert Client().get(f"/reports/{wrong}/").status_code == 404, wrong


def test_it_only_reads(job: Visit) -> None:
    secret = _secret(job)
    for method in ("post", "put", "patch", "delete"):
        assert getattr(Client(), method)(f"/reports/{secret}/").status_code == 405


def test_when_it_was_last_opened_is_noted_to_a_minute_and_is_no_change_of_it(job: Visit) -> None:
    secret = _secret(job)
    Client().head(f"/reports/{secret}/")
    link = link_of(secret)
    assert link is not None
    assert link.last_opened_at is None
    Client().get(f"/reports/{secret}/")
    link.refresh_from_db()
    first = link.last_opened_at
    assert first is not None
    assert link.revision == 1
    note_opening(link, first + datetime.timedelta(seconds=59))
    link.refresh_from_db()
    assert link.last_opened_at == first
    note_opening(link, first + datetime.timedelta(seconds=60))
    link.refresh_from_db()
    assert link.last_opened_at == first + datetime.timedelta(seconds=60)


def test_a_link_opened_as_programs_would_is_slowed_down(
    job: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(customer_report, "GOOD_BURST", 2)
    monkeypatch.setattr(customer_report, "GOOD_PER_SECOND", 0.001)
    secret, other = _secret(job), _secret(job)
    codes = [Client().get(f"/reports/{secret}/").status_code for _ in range(3)]
    assert codes == [200, 200, 429]
    response = Client().get(f"/reports/{secret}/")
    assert int(response["Retry-After"]) >= 1
    assert "Load the page again" in response.content.decode()
    assert Client().get(f"/reports/{other}/").status_code == 200


def test_guessing_is_slowed_down_and_never_in_the_way_of_a_good_link(
    job: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(customer_report, "WRONG_BURST", 2)
    monkeypatch.setattr(customer_report, "WRONG_PER_SECOND", 0.001)
    codes = [Client().get(f"/reports/wrong{number}/").status_code for number in range(3)]
    assert codes == [404, 404, 429]
    assert Client().get(f"/reports/{_secret(job)}/").status_code == 200


def test_only_managers_make_and_revoke_links(job: Visit, crew: Crew) -> None:
    technician = Actor.of_person(Person.objects.get(username="north0"), today=NOW.date())
    token, _ = factories.make_token(crew=crew)
    manager = factories.make_person(role=Role.MANAGER, name="Kim")
    for actor in (technician, Actor.of_field_app(token)):
        with pytest.raises(NotAllowed):
            make_report_link(actor=actor, visit_id=job.pk, now=NOW)
        with pytest.raises(NotAllowed):
            revoke_report_link(actor=actor, visit_id=job.pk, link_id=new_id(), now=NOW)
    acting = Actor.of_person(manager, today=NOW.date())
    link, _ = make_report_link(actor=acting, visit_id=job.pk, now=NOW)
    assert link.made_by == manager
    with pytest.raises(NotVisible):
        make_report_link(actor=acting, visit_id=new_id(), now=NOW)
    with pytest.raises(NotVisible):
        revoke_report_link(
            actor=acting, visit_id=factories.make_visit().pk, link_id=link.pk, now=NOW
        )
    for days in (0, 366):
        with pytest.raises(RulesBroken):
            make_report_link(actor=acting, visit_id=job.pk, lifetime_days=days, now=NOW)


def test_the_history_says_who_made_and_who_revoked_it(job: Visit) -> None:
    kim, robin = (
        Actor.of_person(factories.make_person(role=Role.MANAGER, name=name), today=NOW.date())
        for name in ("Kim", "Robin")
    )
    link, _ = make_report_link(actor=kim, visit_id=job.pk, now=NOW)
    revoked = revoke_report_link(actor=robin, visit_id=job.pk, link_id=link.pk, now=NOW)
    again = revoke_report_link(
        actor=kim, visit_id=job.pk, link_id=link.pk, now=NOW + datetime.timedelta(days=1)
    )
    assert revoked.revoked_at == again.revoked_at == NOW
    assert revoked.revision == 2
    events: Any = ReportLink.pgh_event_model  # type: ignore[attr-defined]
    told = [
        (event.pgh_label, event.pgh_context.metadata["actor_name"])
        for event in events.objects.filter(pgh_obj_id=link.pk)
        .select_related("pgh_context")
        .order_by("pgh_id")
    ]
    assert told == [("insert", "Kim"), ("update", "Robin")]
