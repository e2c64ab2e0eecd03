"""One's own account in a real browser: codes turned on with the phone, then asked for."""

from __future__ import annotations

import re

import pytest

from airflow_jobs.models import Person
from tests import factories
from tests.authenticators import Authenticator, wait, with_codes
from tests.browser.conftest import NARROW, WIDE, Visit
from tests.browser.test_accessibility import complaints

pytestmark = pytest.mark.django_db(transaction=True)
PASSWORD = "correct horse 7 battery"


def test_codes_are_turned_on_and_sign_in_asks_for_one(visit: Visit, manager: Person) -> None:
    visitor = visit(manager)
    page = visitor.page
    visitor.open("/")
    visitor.follow(page.get_by_role("link", name="Kim Manager (your account)"))
    visitor.follow(page.get_by_role("link", name="Turn one-time codes on"))
    page.get_by_label("Your password").fill(PASSWORD)
    visitor.follow(page.get_by_role("button", name="Go on"))
    picture = page.get_by_role("img", name="QR code of the key below")
    assert picture.evaluate("image => image.complete && image.naturalWidth > 0")
    app = Authenticator.typed(page.locator("#key").inner_text())
    page.get_by_label("Code, six digits").fill(app.code())
    visitor.follow(page.get_by_role("button", name="Turn on"))
    assert page.get_by_role("heading", name="Your recovery codes").is_visible()
    recovery = page.locator(".recovery li").all_inner_texts()
    visitor.follow(page.get_by_role("link", name="They are written down"))
    assert "10 recovery codes left" in page.locator("#codes").inner_text()
    visitor.follow(page.get_by_role("button", name="Sign out"))
    wait(manager)
    for field, give in (("Code, six digits", app.code), ("Recovery code, good once", None)):
        page.get_by_label("User name").fill("manager")
        page.get_by_label("Password").fill(PASSWORD)
        visitor.follow(page.get_by_role("button", name="Sign in"))
        if give is None:
            page.get_by_text("The phone is not at hand").click()
        page.get_by_label(field).fill(give() if give else recovery[0])
        visitor.follow(page.get_by_role("button", name="Sign in"))
        page.wait_for_url(re.compile(r"/$"))
        visitor.follow(page.get_by_role("button", name="Sign out"))
    assert visitor.complaints == []


@pytest.mark.parametrize(("size", "scheme"), [(WIDE, "light"), (NARROW, "dark")])
def test_the_account_s_pages_fit_and_the_checker_has_nothing_to_say(
    visit: Visit, manager: Person, size: tuple[int, int], scheme: str
) -> None:
    for number in range(3):
        token, _ = factories.make_token(person=manager)
        token.label = f"Tablet of the north crew, number {number}"
        token.save()
    wrong = {}
    visitor = visit(manager, size=size, scheme=scheme)

    def look(name: str) -> None:
        wrong[name] = complaints(visitor)
        if visitor.width > size[0]:
            wrong[name].append(f"{visitor.width} px wide")

    for path in ("", "password/", "codes/start/"):
        visitor.open(f"/office/account/{path}")
        look(path)
    page = visitor.page
    page.get_by_label("Your password").fill(PASSWORD)
    visitor.follow(page.get_by_role("button", name="Go on"))
    look("the key")
    app = Authenticator.typed(page.locator("#key").inner_text())
    page.get_by_label("Code, six digits").fill(app.code())
    visitor.follow(page.get_by_role("button", name="Turn on"))
    look("the recovery codes")
    for path in ("", "codes/recovery/", "codes/off/"):
        visitor.open(f"/office/account/{path}")
        look(f"on: {path}")
    page.get_by_label("Your password").fill("no")
    visitor.follow(page.get_by_role("button", name="Turn off"))
    look("refused")
    assert {name: found for name, found in wrong.items() if found} == {}


def test_the_page_that_asks_for_the_code_fits_and_reads_well(visit: Visit, manager: Person) -> None:
    app, _ = with_codes(manager)
    for size, scheme in ((WIDE, "light"), (NARROW, "dark")):
        visitor = visit(size=size, scheme=scheme)
        visitor.open("/sign-in/")
        page = visitor.page
        page.get_by_label("User name").fill("manager")
        page.get_by_label("Password").fill(PASSWORD)
        visitor.follow(page.get_by_role("button", name="Sign in"))
        assert complaints(visitor) == []
        assert page.evaluate("document.activeElement.id") == "id_code"
        page.get_by_label("Code, six digits").fill(app.wrong_code())
        visitor.follow(page.get_by_role("button", name="Sign in"))
        assert complaints(visitor) == []
        assert visitor.width <= size[0]
        wait(manager)
