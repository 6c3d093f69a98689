"""A real browser before the real pages: Chromium, headless, on a server in this process.

While Playwright runs, its event loop keeps Django's ORM out of the main thread. So `story` is
told before the browser starts; what happens later goes over HTTP.
"""

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest
from django.conf import settings
from django.test import Client, override_settings
from django.test.testcases import LiveServerThread
from django.utils import timezone
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    expect,
    sync_playwright,
)
from pytest_django import DjangoDbBlocker
from tests.plugins.own_database import own_copy
from tests.waiting import ENOUGH, ENOUGH_MS
from tests.world import World

from scalewitness import settings as real
from scalewitness.people.models import Keeper
from scalewitness.people.services import enrol_device
from stack.checks import BROWSERS

expect.set_options(timeout=ENOUGH_MS)  # its own five seconds are too few on a busy machine


@dataclass(frozen=True)
class Site:
    """The service at `url`, with the people who told its story."""

    url: str
    world: World

    def api(self, keeper: Keeper) -> httpx.Client:
        """A client with a device of the keeper's; made while a story is told."""
        _, token = enrol_device(keeper, "phone", timezone.now())
        headers = {"Authorization": f"Bearer {token}"}
        return httpx.Client(base_url=f"{self.url}/api/v1/", headers=headers, timeout=ENOUGH)


@pytest.fixture(scope="module")
def site(
    untouched_database: str,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Site]:
    """A server on a copy of the database, with the middleware of the real settings."""
    static = tmp_path_factory.mktemp("static")
    with (
        own_copy(untouched_database, django_db_blocker),
        override_settings(MIDDLEWARE=real.MIDDLEWARE, STATIC_ROOT=str(static)),
    ):
        server = LiveServerThread("127.0.0.1", _pass_through)
        server.daemon = True
        server.start()
        server.is_ready.wait()
        assert server.error is None, server.error
        try:
            yield Site(f"http://127.0.0.1:{server.port}", World(now=timezone.now()))
        finally:
            server.terminate()


def _pass_through(application: object) -> object:
    """In place of Django's own handler of static files: WhiteNoise serves them, as everywhere."""
    return application


def session_of(keeper: Keeper) -> str:
    """The cookie of a signed-in keeper; made while a story is told."""
    client = Client()
    client.force_login(keeper)
    return client.cookies[settings.SESSION_COOKIE_NAME].value


@pytest.fixture(scope="session")
def chromium_path() -> Path:
    for name in BROWSERS:
        if found := shutil.which(name):
            return Path(found)
    pytest.fail(f"no Chromium: on Debian, apt-get install {BROWSERS[0]}")


@pytest.fixture(scope="module")
def story(site: Site) -> object:
    """What has happened before anybody looks; modules tell their own."""
    return None


@pytest.fixture(scope="module")
def chromium(story: object, chromium_path: Path) -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium_path, args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield browser
        browser.close()


Open = Callable[..., Page]


@contextmanager
def opening(chromium: Browser, site: Site) -> Iterator[Open]:
    """Opens pages as a reader would; afterwards, no page may have complained: neither a
    breach of the content policy nor any other error on the console."""
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def open_page(path: str, session: str = "", expected: str = "", **options: object) -> Page:
        context = chromium.new_context(base_url=site.url, **options)  # type: ignore[arg-type]
        context.set_default_timeout(ENOUGH_MS)
        contexts.append(context)
        if session:
            cookie = {"name": settings.SESSION_COOKIE_NAME, "value": session, "url": site.url}
            context.add_cookies([cookie])  # type: ignore[list-item]
        page = context.new_page()

        def complain(text: str) -> None:
            if not (expected and expected in text):
                complaints.append(text)

        def hear(said: ConsoleMessage) -> None:
            if said.type == "error":
                complain(f"{said.text} ({said.location['url']})")

        page.on("console", hear)
        page.on("pageerror", lambda fault: complain(str(fault)))
        page.goto(path, wait_until="load")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.fixture
def opened(chromium: Browser, site: Site) -> Iterator[Open]:
    with opening(chromium, site) as open_page:
        yield open_page
