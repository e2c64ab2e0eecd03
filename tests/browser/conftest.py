"""A browser, the service that it looks at, and the record that the service shows."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import pytest
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.core.cache import cache
from django.db import connections
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Error,
    Locator,
    Page,
    Request,
    sync_playwright,
)
from pytest_django import DjangoDbBlocker
from pytest_django.live_server_helper import LiveServer

from airflow_jobs.models import Company, Person, Role
from tests import factories
from tests.browser import company
from tests.browser.company import Invented

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
# A window of 1280 at 200 % has as much room as one of 640 (WCAG 2.2, 1.4.4 and 1.4.10).
TWICE_THE_SIZE = (640, 450)

ALL_DRAWN = "() => [...document.querySelectorAll('[data-chart]')].every(one => one.dataset.drawn)"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's Chromium; without one these tests are skipped, but never in the pipeline."""
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("There is no Chromium: install it, these tests must run here.")
        pytest.skip("There is no Chromium.")
    # The driver keeps an event loop in this thread; rows are still made from it, one at a time.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    # Beside a loop Django opens connections of their own and forgets those of before, open.
    connections.close_all()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@dataclass
class Visitor:
    """Somebody at a screen, with everything that the browser complained about."""

    page: Page
    complaints: list[str] = field(default_factory=list)
    status: int = 0
    """How the service answered when a page was opened last."""

    def listen(self) -> None:
        """Note errors, warnings and failed requests."""
        self.page.on("console", self._note_message)
        self.page.on("pageerror", self._note_error)
        self.page.on("requestfailed", self._note_request)

    def leave(self) -> None:
        """Leave the tab to who comes next: a screen with nothing in it, and nobody who listens."""
        if self.page.is_closed():
            return
        self.page.goto("about:blank")
        self.page.emulate_media(media="null")
        self.page.remove_listener("console", self._note_message)
        self.page.remove_listener("pageerror", self._note_error)
        self.page.remove_listener("requestfailed", self._note_request)

    def _note_message(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(message.text)

    def _note_error(self, error: Error) -> None:
        self.complaints.append(str(error))

    def _note_request(self, request: Request) -> None:
        self.complaints.append(f"failed: {request.url}")

    def open(self, path: str) -> None:
        """Go to a page and wait until its charts stand."""
        response = self.page.goto(path)
        assert response is not None
        self.status = response.status
        self.page.wait_for_function(ALL_DRAWN)

    @contextmanager
    def next_page(self) -> Iterator[None]:
        """Wait, after what is done within, until the page that it leads to and its charts stand.

        A click is over before the page that it asks for is there: who looks at once may still see
        the page before, or one that is being taken away.
        """
        with self.page.expect_navigation():
            yield
        self.page.wait_for_function(ALL_DRAWN)

    def follow(self, control: Locator) -> None:
        """Click on what leads to a page, and wait until that page stands."""
        with self.next_page():
            control.click()

    @property
    def width(self) -> int:
        """How wide the page is; wider than the window means that it scrolls sideways."""
        return int(self.page.evaluate("document.documentElement.scrollWidth"))


@dataclass
class Service:
    """The service on a port, over a database that the tests of this folder share."""

    browser: Browser
    url: str
    contexts: dict[tuple[object, ...], BrowserContext] = field(default_factory=dict)
    tabs: dict[BrowserContext, Page] = field(default_factory=dict)

    def window(
        self, person: Person | None, size: tuple[int, int], scheme: str, **more: object
    ) -> BrowserContext:
        """Return a browser of somebody's own; asked for again it is the same, with what it kept."""
        key = (person and person.pk, size, scheme, *sorted(more.items(), key=str))
        if key not in self.contexts:
            context = self.browser.new_context(
                base_url=self.url,
                viewport={"width": size[0], "height": size[1]},
                color_scheme=scheme,  # type: ignore[arg-type]
                **more,  # type: ignore[arg-type]
            )
            if person is not None:
                cookie = {"name": "sessionid", "value": _session_of(person), "url": self.url}
                context.add_cookies([cookie])  # type: ignore[list-item]
            self.contexts[key] = context
        return self.contexts[key]

    def tab(self, window: BrowserContext) -> Page:
        """Return the tab of a window that stays open: another one takes half a second to start."""
        if window not in self.tabs:
            self.tabs[window] = window.new_page()
        return self.tabs[window]

    def forget(self) -> None:
        """Close all windows: who was signed in there is no longer on record."""
        for context in self.contexts.values():
            context.close()
        self.contexts.clear()
        self.tabs.clear()


@pytest.fixture(scope="package")
def db(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """The database, open to all tests of this folder and emptied once, not after each.

    It takes the place of the fixture of that name: by it the plugin knows that these tests need
    the database to be made.
    """
    with django_db_blocker.unblock():
        company.remove_everything()
        yield
        company.remove_everything()


@pytest.fixture(scope="package")
def service(db: None, browser: Browser) -> Iterator[Service]:
    """The service, started once."""
    server = LiveServer("localhost")
    server._live_server_modified_settings.enable()
    served = Service(browser, server.url)
    yield served
    served.forget()
    server._live_server_modified_settings.disable()
    server.stop()


@pytest.fixture
def record(service: Service) -> Invented:
    """A company with work of every kind, made once and looked at by all who don't change it."""
    found = company.found()
    if found is None:
        service.forget()
        company.remove_everything()
        found = company.invent()
    return found


@pytest.fixture
def empty_record(service: Service) -> Invented:
    """A company and its people, and nothing else."""
    found = company.found(is_empty=True)
    if found is None:
        service.forget()
        company.remove_everything()
        found = company.invent(is_empty=True)
    return found


Visit = Callable[..., Visitor]


@pytest.fixture
def visit(service: Service) -> Iterator[Visit]:
    """Open a window: size, light or dark, signed in as somebody or as nobody.

    Who only looks at pages asks for the tab that stays open; the others get one of their own.
    """
    cache.clear()
    own: list[Page] = []
    lookers: list[Visitor] = []

    def opened(
        person: Person | None = None,
        *,
        size: tuple[int, int] = WIDE,
        scheme: str = "light",
        only_looks: bool = False,
        **more: object,
    ) -> Visitor:
        context = service.window(person, size, scheme, **more)
        if person is None:
            context.clear_cookies()
        if only_looks:
            visitor = Visitor(service.tab(context))
            lookers.append(visitor)
        else:
            visitor = Visitor(context.new_page())
            own.append(visitor.page)
        visitor.listen()
        return visitor

    yield opened
    for page in own:
        page.close()
    for looker in lookers:
        looker.leave()


def _session_of(person: Person) -> str:
    session = SessionStore()
    session[SESSION_KEY] = str(person.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = person.get_session_auth_hash()
    session.save()
    assert session.session_key is not None
    return session.session_key


@pytest.fixture
def company_of_record(transactional_db: None, service: Service) -> Iterator[Company]:
    """A company of a test's own, speaking inch-pound; the shared one makes room for it."""
    service.forget()
    company.remove_everything()
    yield factories.make_company(name="Test Air Services", default_units="ip")
    service.forget()


@pytest.fixture
def manager(company_of_record: Company) -> Person:
    """A manager of a test's own company."""
    return factories.make_person(username="manager", name="Kim Manager", role=Role.MANAGER)
