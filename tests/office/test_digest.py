"""The weekly digest: the pages' sentences by mail, once a week, to managers who want it."""

from __future__ import annotations

import datetime
import html
import re
import smtplib
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.db import IntegrityError, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from airflow_jobs.actions.access import Actor
from airflow_jobs.actions.digests import send_waiting_digests, subscribe_to_digest
from airflow_jobs.actions.redaction import redact
from airflow_jobs.models import DigestSubscription, Person, Role
from airflow_jobs.office.digest import send_weekly_digests
from airflow_jobs.office.tasks import send_digests
from dashboards.digests import digest_at
from tests import factories
from tests.dashboards.records import make_job
from tests.spaces import loose

pytestmark = pytest.mark.django_db

MONDAY_MORNING = datetime.datetime(2026, 6, 8, 6, 0, tzinfo=ZoneInfo("America/Denver"))
ADDRESS = "office@air.example"


def _subscribed(
    *, address: str = ADDRESS, sent_week_on: datetime.date | None = None, **fields: object
) -> DigestSubscription:
    person = factories.make_person(**{"role": Role.MANAGER, **fields})  # type: ignore[arg-type]
    return DigestSubscription.objects.create(
        person=person, address=address, sent_week_on=sent_week_on
    )


def _send(sent: list[str], now: datetime.datetime = MONDAY_MORNING) -> int:
    return send_waiting_digests(send=sent.append, now=now)


def test_the_mail_says_what_the_pages_say(manager: Client) -> None:
    now = timezone.now()
    section = factories.make_section(
        equipment=factories.make_equipment(
            tag="AC-7", site=factories.make_site(name="Mill <Street>")
        )
    )
    make_job(found=300.0, left=520.0, section=section, taken_at=now - datetime.timedelta(days=3))
    manager.post("/office/digest/", {"address": ADDRESS, "act": "now"})
    (sent,) = mail.outbox
    assert sent.to == [ADDRESS]
    assert sent.extra_headers["Auto-Submitted"] == "auto-generated"
    assert "0 of 1 job in the last 12 months was left in range" in sent.subject
    text = loose(str(sent.body))
    assert "the true share may lie anywhere from 0 to 79 %" in text
    assert "AC-7, Mill <Street>: Left high on" in text
    assert "Plan a visit: lower the airflow by some 23 %, to nominal, then measure as left." in text
    assert f"http://localhost:8000/systems/{section.equipment_id}/" in text
    assert "It takes two crews" in text
    assert "Local code" in text
    assert "{" not in text
    page = str(sent.alternatives[0][0])
    assert "Mill &lt;Street&gt;" in page
    assert f'href="http://localhost:8000/systems/{section.equipment_id}/"' in page
    shown = manager.get("/digest/").content.decode()
    for section_of_it in digest_at(now).sections:
        for sentence in section_of_it.sentences[1:]:
            assert loose(sentence) in text
            assert sentence in html.unescape(shown)


def test_an_empty_record_makes_a_digest_that_says_so(manager: Client) -> None:
    shown = manager.get("/digest/").content.decode()
    assert "Nothing was measured and judged as left in the last 12 months." in shown
    assert "None of 0 systems." in shown
    assert "No meter is on record yet." in shown
    assert "Have it sent by mail every Monday" in shown


def test_the_number_of_statements_does_not_grow_with_the_record(manager: Client) -> None:
    def statements() -> int:
        with CaptureQueriesContext(
            connection,
        ) as counted:
            digest_at(timezone.now())
        return len(counted)

    for _ in range(3):
        make_job(found=300.0, left=400.0, taken_at=timezone.now())
    few = statements()
    for _ in range(27):
        make_job(found=300.0, left=520.0, taken_at=timezone.now())
    assert statements() == few


def test_it_goes_out_once_a_week_from_monday_morning_on(db: None) -> None:
    one = _subscribed()
    sent: list[str] = []
    assert _send(sent, MONDAY_MORNING - datetime.timedelta(minutes=1)) == 0
    assert _send(sent) == 1
    assert _send(sent) == 0
    assert _send(sent, MONDAY_MORNING + datetime.timedelta(days=6, hours=17)) == 0
    assert _send(sent, MONDAY_MORNING + datetime.timedelta(days=7)) == 1
    assert sent == [ADDRESS, ADDRESS]
    one.refresh_from_db()
    assert one.sent_week_on == datetime.date(2026, 6, 15)


def test_a_monday_that_was_missed_is_made_up_for_in_the_same_week(db: None) -> None:
    _subscribed()
    sent: list[str] = []
    assert _send(sent, MONDAY_MORNING + datetime.timedelta(days=3, hours=-5)) == 1


def test_an_address_that_fails_holds_up_nobody_and_is_tried_again(db: None) -> None:
    _subscribed(address="first@air.example")
    _subscribed(address="second@air.example")
    sent: list[str] = []

    def fails_first(address: str) -> None:
        if address.startswith("first") and not sent:
            raise smtplib.SMTPRecipientsRefused({})
        sent.append(address)

    assert send_waiting_digests(send=fails_first, now=MONDAY_MORNING) == 1
    assert send_waiting_digests(send=fails_first, now=MONDAY_MORNING) == 1
    assert sent == ["second@air.example", "first@air.example"]


def test_only_active_managers_get_it(db: None) -> None:
    _subscribed(role=Role.TECHNICIAN)
    _subscribed(is_active=False)
    _subscribed(role=Role.ADMINISTRATOR, address="chief@air.example")
    sent: list[str] = []
    assert _send(sent) == 1
    assert sent == ["chief@air.example"]


def test_the_first_one_comes_on_the_next_monday(db: None) -> None:
    person = factories.make_person(role=Role.MANAGER)
    today = datetime.date(2026, 6, 10)
    actor = Actor.of_person(person, today=today)
    subscribe_to_digest(actor=actor, address=ADDRESS, today=today)
    sent: list[str] = []
    assert _send(sent, MONDAY_MORNING + datetime.timedelta(days=2)) == 0
    assert _send(sent, MONDAY_MORNING + datetime.timedelta(days=7)) == 1
    subscribe_to_digest(actor=actor, address="new@air.example", today=today)
    assert _send(sent, MONDAY_MORNING + datetime.timedelta(days=7)) == 0


def test_the_form_starts_changes_and_stops_it(manager: Client) -> None:
    answer = manager.post("/office/digest/", {"address": ADDRESS, "act": "weekly"}, follow=True)
    assert f"From Monday on the digest goes to {ADDRESS}." in answer.content.decode()
    assert f"It goes to {ADDRESS} every Monday." in manager.get("/digest/").content.decode()
    answer = manager.post("/office/digest/", {"address": "nowhere", "act": "weekly"})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "“nowhere” is no mail address" in page
    assert 'value="nowhere"' in page
    assert DigestSubscription.objects.get().address == ADDRESS
    answer = manager.post("/office/digest/", {"act": "stop"}, follow=True)
    assert "sent to you no longer" in answer.content.decode()
    assert not DigestSubscription.objects.exists()


def test_a_mail_server_that_is_away_is_said_and_loses_nothing(
    manager: Client, settings: object
) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"  # type: ignore[attr-defined]
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9  # type: ignore[attr-defined]
    answer = manager.post("/office/digest/", {"address": ADDRESS, "act": "now"})
    assert answer.status_code == 422
    assert "The mail server did not take it" in answer.content.decode()
    assert DigestSubscription.objects.get().address == ADDRESS


def test_technicians_neither_see_nor_get_it(technician: Client) -> None:
    assert technician.get("/digest/").status_code == 404
    assert technician.get("/office/digest/").status_code == 404
    posted = technician.post("/office/digest/", {"address": ADDRESS, "act": "weekly"})
    assert posted.status_code == 404
    assert not DigestSubscription.objects.exists()


def test_strangers_are_asked_to_sign_in(client: Client) -> None:
    for address in ("/digest/", "/office/digest/"):
        answer = client.get(address)
        assert answer.status_code == 302
        assert answer["Location"].startswith("/sign-in/")


def test_a_small_crew_is_not_named_without_consent(manager: Client) -> None:
    site = factories.make_site()
    pair = factories.make_crew(name="Pair crew")
    others = [factories.make_crew(name=f"Crew {number}") for number in range(3)]
    for crew in (pair, *others):
        for _ in range(2 if crew is pair else 3):
            factories.make_membership(crew=crew, person=factories.make_person())
    now = timezone.now()
    for number in range(30):
        section = factories.make_section(equipment=factories.make_equipment(site=site))
        make_job(found=None, left=520.0, crew=pair, section=section, taken_at=now)
        for crew in others:
            section = factories.make_section(equipment=factories.make_equipment(site=site))
            left = 520.0 if number == 0 else 400.0
            make_job(found=None, left=left, crew=crew, section=section, taken_at=now)
    crews = next(one for one in digest_at(now).sections if one.title == "Crews")
    assert "Pair crew" not in " ".join(crews.sentences)
    factories.make_company(compare_small_crews=True)
    crews = next(one for one in digest_at(now).sections if one.title == "Crews")
    assert "Pair crew left more outside than chance and site mix explain:" in crews.sentences[0]


def test_a_redacted_person_gets_nothing_more(db: None) -> None:
    one = _subscribed()
    chief = factories.make_person(role=Role.ADMINISTRATOR)
    redact(
        actor=Actor.of_person(chief, today=factories.TODAY),
        model=Person,
        record_id=one.person_id,
        reason="asked for",
        now=factories.NOW,
    )
    assert not DigestSubscription.objects.exists()


def test_a_week_begins_on_monday_in_the_database_too(db: None) -> None:
    with pytest.raises(IntegrityError, match="digest_subscription_week_begins_on_monday"):
        _subscribed(sent_week_on=datetime.date(2026, 6, 9))


def test_the_scheduled_task_sends_what_is_due(db: None) -> None:
    _subscribed(sent_week_on=datetime.date(2020, 1, 6))
    now = timezone.now()
    is_early = now.weekday() == 0 and now.hour < 6
    send_digests()
    assert len(mail.outbox) == (0 if is_early else 1)
    assert send_weekly_digests() == 0
    assert all(re.match(r"Airflow on \d", sent.subject) for sent in mail.outbox)
