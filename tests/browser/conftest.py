"""A browser, and the service that it looks at."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import pytest
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

from airflow_jobs.models import Company, Person, Role
from tests import factories

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WIDE = (1280, 900)
NARROW = (360, 780)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's Chromium; without one these tests are skipped, but never in the pipeline."""
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("There is no Chromium: install it, these tests must run here.")
        pytest.skip("There is no Chromium.")
    # The driver keeps an event loop in this thread; rows are still made from it, one at a time.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@dataclass
class Visitor:
    """Somebody at a screen, with everything that the browser complained about."""

    page: Page
    complaints: list[str] = field(default_factory=list)

    def listen(self) -> None:
        """Note errors, warnings and failed requests."""

        def note(message: ConsoleMessage) -> None:
            if message.type in ("error", "warning"):
                self.complaints.append(message.text)

        self.page.on("console", note)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on(
            "requestfailed", lambda request: self.complaints.append(f"failed: {request.url}")
        )

    def open(self, path: str) -> None:
        """Go to a page and wait until its charts stand."""
        self.page.goto(path)
        self.page.wait_for_load_state("networkidle")
        self.page.wait_for_function(
            "() => [...document.querySelectorAll('[data-chart]')].every(one => one.dataset.drawn)"
        )

    @property
    def width(self) -> int:
        """How wide the page is; wider than the window means that it scrolls sideways."""
        return int(self.page.evaluate("document.documentElement.scrollWidth"))


Visit = Callable[..., Visitor]


@pytest.fixture
def visit(browser: Browser, live_server: object) -> Iterator[Visit]:
    """Open a window: size, light or dark, signed in as somebody or as nobody."""
    contexts = []

    def opened(
        person: Person | None = None,
        *,
        size: tuple[int, int] = WIDE,
        scheme: str = "light",
        **more: object,
    ) -> Visitor:
        url = live_server.url  # type: ignore[attr-defined]
        context = browser.new_context(
            base_url=url,
            viewport={"width": size[0], "height": size[1]},
            color_scheme=scheme,  # type: ignore[arg-type]
            **more,  # type: ignore[arg-type]
        )
        contexts.append(context)
        if person is not None:
            context.add_cookies([{"name": "sessionid", "value": _session_of(person), "url": url}])
        visitor = Visitor(context.new_page())
        visitor.listen()
        return visitor

    yield opened
    for context in contexts:
        context.close()


def _session_of(person: Person) -> str:
    session = SessionStore()
    session[SESSION_KEY] = str(person.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = person.get_session_auth_hash()
    session.save()
    assert session.session_key is not None
    return session.session_key


@pytest.fixture
def company_of_record(transactional_db: None) -> Company:
    """The company, speaking inch-pound."""
    return factories.make_company(name="Test Air Services", default_units="ip")


@pytest.fixture
def manager(company_of_record: Company) -> Person:
    """A manager."""
    return factories.make_person(username="manager", name="Kim Manager", role=Role.MANAGER)
