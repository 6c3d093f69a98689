"""A browser that signs what its keeper sends on pages: from its enrolment to the command, which
counts that as the keeper's own word; and what it does with a record that asks it to sign more."""

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import httpx
import pytest
from axe_playwright_python.sync_playwright import Axe
from click.testing import CliRunner
from django.conf import settings
from playwright.sync_api import Page, Request, Route, expect
from tests.browser.conftest import Open, Site, session_of
from tests.world import PASSWORD

from scalewitness_cli.main import cli

pytestmark = pytest.mark.one_in(3)

HERE = "/devices/this-browser"
Command = Callable[..., Any]
MOST_SCRIPT = 30_000
"""Bytes, uncompressed, where a key is held; else at most :data:`MOST_START`."""
MOST_START = 5_000


@dataclass(frozen=True)
class Told:
    session: str
    email: str
    call: str


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    world = site.world
    animal = world.animal("R-01")
    call = f"/animals/{animal.pk}/calls/new/visual"
    return Told(session_of(world.odile), world.odile.email, call)


@pytest.fixture(scope="module")
def command(story: Told, site: Site, tmp_path_factory: pytest.TempPathFactory) -> Command:
    """Odile's, signed in before any browser was enrolled."""
    home = tmp_path_factory.mktemp("home")
    env = {"SCALEWITNESS_DATA": str(home / "data"), "SCALEWITNESS_PASSWORD": PASSWORD}

    def run(*arguments: str, ends: int = 0) -> Any:
        done = CliRunner(env=env).invoke(cli, [*arguments, "--json"])
        assert done.exit_code == ends, (arguments, done.output, done.exception)
        return json.loads(done.stdout)

    run("sign-in", site.url, "--email", story.email, "--device", "rack", "--no-log-key")
    return run


def arrive(page: Page) -> None:
    page.goto(HERE)
    if page.get_by_role("heading", name="Is it you?").count():
        page.get_by_label("Password", exact=True).fill(PASSWORD)
        page.get_by_role("button", name="Go on").click()


def enrol(page: Page, name: str) -> str:
    """The key as the browser shows it."""
    arrive(page)
    page.get_by_label("What to call this browser").fill(name)
    page.get_by_role("button", name="Let this browser sign").click()
    said = page.get_by_text(f"This browser signs as {name}")
    expect(said.locator("visible=true")).to_have_count(1)
    assert Axe().run(page).response["violations"] == []
    return page.locator("[data-print]:visible").inner_text()


def fill(page: Page, path: str) -> None:
    page.goto(path)
    for name, value in {
        "feature": "spurs",
        "conclusion": "male",
        "sureness": "fairly_sure",
        "identified_by": "tag",
        "told": "no",
    }.items():
        page.locator(f"[name={name}][value={value}]").check()
    page.locator("details summary").last.click()
    page.get_by_label("The code, as you read it then").fill("R-01")
    page.get_by_label("Note", exact=True).fill("calm\nwhile held")


def send(page: Page) -> None:
    page.get_by_role("button", name="Record this call").click()


@pytest.mark.one_in(1)
def test_what_is_typed_on_a_page_counts_as_its_keepers_own_word(
    opened: Open, site: Site, story: Told, command: Command
) -> None:
    asked: set[str] = set()

    def hear(one: Request) -> None:
        if "/signing/" in one.url or ("/shared/" in one.url and ".js" in one.url):
            asked.add(one.url)

    def weight() -> int:
        return sum(len(httpx.get(one).content) for one in asked)

    page = opened("/about")
    page.on("request", hear)
    cookie = {"name": settings.SESSION_COOKIE_NAME, "value": story.session, "url": site.url}
    page.context.add_cookies([cookie])  # type: ignore[list-item]
    page.goto("/account", wait_until="networkidle")
    assert 0 < weight() <= MOST_START, asked
    print_shown = enrol(page, "Browser at the desk")
    command("require-signatures", "--yes", "--no-wait")
    command("endorse", "Browser at the desk", "--key", print_shown)
    fill(page, story.call)
    assert 0 < weight() <= MOST_SCRIPT, asked
    send(page)
    expect(page).to_have_url(re.compile(r"/calls/[0-9a-f-]{36}$"))
    fact = page.url.rsplit("/", 1)[1]
    command("sync")
    stranger = opened("/about", story.session)
    enrol(stranger, "Browser that nobody endorsed")
    fill(stranger, story.call)
    send(stranger)
    expect(stranger).to_have_url(re.compile(r"/calls/[0-9a-f-]{36}$"))
    command("sync")
    doubted = {one["fact"]: one["why"] for one in command("in-my-name", ends=1)}
    assert fact not in doubted
    assert doubted[stranger.url.rsplit("/", 1)[1]] == "by_password"


@pytest.fixture
def signing(opened: Open, story: Told, command: Command) -> Page:
    """A browser that signs."""
    page = opened("/about", story.session)
    enrol(page, "Another")
    return page


ALTERED: dict[str, Callable[[Any], object]] = {
    "another conclusion": lambda fact: fact["body"].update(conclusion="female"),
    "another animal": lambda fact: fact.update(about=OTHER),
    "another kind": lambda fact: fact.update(kind="animal_ended", body={"why": "died"}),
    "another time": lambda fact: fact.update(at="2020-01-01T00:00:00.000Z"),
    "another note": lambda fact: fact["texts"].update(note="bit twice"),
    "no note": lambda fact: fact["texts"].clear(),
    "a commitment in its place": lambda fact: fact["body"].update(note="0" * 64),
    "another fact": lambda fact: fact.update(id=OTHER),
}
OTHER = "01a22b93-7885-7734-b210-b69e1b6bc8ea"


def meddle(page: Page, alter: Callable[[Any], object]) -> None:
    """The record answers something else than what was typed."""

    def answer(route: Route) -> None:
        if "scalewitness-to-sign" not in route.request.headers:
            route.continue_()
            return
        response = route.fetch()
        given = response.json()
        alter(given["facts"][0])
        route.fulfill(response=response, json=given)

    page.route("**/calls/new/**", answer)


def test_it_signs_nothing_but_what_was_typed(signing: Page, story: Told) -> None:
    fill(signing, story.call)
    sent: list[str] = []
    signing.on("request", lambda one: sent.append(one.post_data or ""))
    for name, alter in ALTERED.items():
        signing.unroute_all()
        meddle(signing, alter)
        send(signing)
        alarm = signing.get_by_role("alert").filter(has_text="Not signed, and not sent")
        if name == "no note":
            asked = signing.get_by_role("group", name="Before it is signed")
            expect(asked).to_contain_text("left out: note: calm")
            asked.get_by_role("button", name="Do not send it").click()
        else:
            expect(alarm, name).to_be_visible()
        signing.evaluate("document.querySelector('[data-of-signing]')?.remove()")
    assert signing.url.endswith(story.call)
    assert not any('name="signed"' in one for one in sent)
    expect(signing.get_by_label("Note", exact=True)).to_have_value("calm\nwhile held")


def test_what_was_not_typed_is_asked_first(signing: Page, story: Told) -> None:
    fill(signing, story.call)
    meddle(signing, lambda fact: fact["body"].update(harm=["blood"]))
    send(signing)
    asked = signing.get_by_role("group", name="Before it is signed")
    expect(asked).to_contain_text("harm: blood")
    assert Axe().run(signing).response["violations"] == []
    asked.get_by_role("button", name="Do not send it").click()
    expect(asked).to_have_count(0)
    signing.unroute_all()
    send(signing)
    expect(signing).to_have_url(re.compile(r"/calls/[0-9a-f-]{36}$"))


def test_a_record_in_trouble_gets_no_unsigned_form(
    opened: Open, story: Told, command: Command
) -> None:
    page = opened("/about", story.session, expected="503")
    enrol(page, "In trouble")
    fill(page, story.call)
    page.route(
        "**/calls/new/**",
        lambda route: (
            route.fulfill(status=503)
            if "scalewitness-to-sign" in route.request.headers
            else route.continue_()
        ),
    )
    send(page)
    expect(page.get_by_role("alert")).to_contain_text("there was no answer to what is to be signed")
    assert page.url.endswith(story.call)
    expect(page.get_by_label("Note", exact=True)).to_have_value("calm\nwhile held")
    page.unroute_all()
    send(page)
    expect(page).to_have_url(re.compile(r"/calls/[0-9a-f-]{36}$"))


def test_its_key_goes_with_its_revocation(signing: Page) -> None:
    signing.get_by_role("button", name="Let it sign no more").click()
    expect(signing.get_by_text("That device is signed out.")).to_be_visible()
    signing.goto(HERE)
    expect(signing.get_by_text("The key that this browser held")).to_be_visible()
    signing.reload()
    expect(signing.get_by_text("The key that this browser held")).to_be_hidden()
    expect(signing.get_by_role("button", name="Let this browser sign")).to_be_visible()


def test_without_script_the_page_says_so(opened: Open, story: Told) -> None:
    page = opened("/about", story.session, java_script_enabled=False)
    arrive(page)
    expect(page.get_by_text("Your browser runs no script here")).to_be_visible()
