"""The phone in Firefox and in WebKit: signed in, opened without a server, and care noted, which is
sent once and signed when the server is back."""

import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager

import pytest
from tests.browser.rackside.conftest import HERE, Racks
from tests.plugins.webdrivers import Driven, eventually, firefox, webkit
from tests.world import PASSWORD

DOES = """
const seen = (one) => one.getClientRects().length > 0;
const labelled = (text) => [...document.querySelectorAll("label")]
  .find((one) => one.textContent.trim().startsWith(text) && seen(one));
const named = (text) => [...document.querySelectorAll("a, button, summary, label")]
  .find((one) => [one.getAttribute("aria-label"), one.textContent]
    .some((name) => name?.trim() === text) && seen(one));
"""
TYPE = f"""{DOES} const [label, text] = given; const found = labelled(label);
if (!found) return false;
const field = document.getElementById(found.htmlFor);
field.value = text; field.dispatchEvent(new Event("input", {{bubbles: true}})); return true;"""
FIND = """const field = document.querySelector("input[type=search]"); if (!field) return false;
field.value = given[0]; field.dispatchEvent(new Event("input", {bubbles: true})); return true;"""
TAP = f"{DOES} const found = named(given[0]); found?.click(); return Boolean(found);"
SHOWS = "return document.body.innerText.includes(given[0]);"
READY = "return Boolean((await navigator.serviceWorker.ready).active) && true;"
WAITING = "return document.getElementById('waiting').textContent === given[0];"
DRAWN = """for (let tries = 0; tries < 150; tries += 1) {
  if (document.querySelector("main h1")) return true;
  await new Promise((done) => setTimeout(done, 100));
}
return false;"""
NARROW = "return document.documentElement.scrollWidth <= innerWidth;"
TEN_SECONDS = 11


def tap(driven: Driven, *names: str) -> None:
    for name in names:
        eventually(driven, TAP, name)


def shows(driven: Driven, text: str) -> None:
    eventually(driven, SHOWS, text)


@pytest.mark.long(
    "a browser driven from outside, half a minute each; "
    "tests/browser/rackside/test_offline.py::test_five_calls_logged_offline_arrive_once_and_signed"
)
@pytest.mark.parametrize("browser", [firefox, webkit])
def test_care_is_noted_without_a_server_and_sent_once_and_signed(
    racks: Racks, browser: Callable[[], AbstractContextManager[Driven]]
) -> None:
    racks.forgive()
    tag = f"W-{browser.__name__}"
    animal = racks.visit(tag).animals[tag]
    here = racks.stack.url + HERE
    with browser() as driven:
        sign_in(driven, here)
        tap(driven, "Animals")
        eventually(driven, FIND, tag)  # only the rows in sight are drawn
        shows(driven, tag)
        eventually(driven, READY)
        with no_server(racks):
            driven.open(f"{here}?again#/own/{animal}")
            tap(driven, "Meal taken")
            shows(driven, "Undo")
            tap(driven, "Weight", "4", "1", "2", "point", "5", "Save")
            shows(driven, "412.5 g")
            assert driven.run(NARROW)
            driven.open(f"{here}?once+more#/calls")
            eventually(driven, WAITING, "2 not sent")
            assert not driven.run(SHOWS, "unsigned")
            time.sleep(TEN_SECONDS)  # for which they can be undone
        driven.open(f"{here}?back#/calls")
        # Now and then WebKit begins no script of a page opened just then: one opens it again.
        if not driven.run(DRAWN):
            driven.open(f"{here}?back+again#/calls")
        eventually(driven, WAITING, "Nothing waits")
        shows(driven, "Accepted at position")
    stated = [one for one in racks.entries("husbandry_noted") if one.about == animal]
    assert [one.body["noted"] for one in stated] == [
        {"type": "meal", "taken": True}, {"type": "weight", "grams": "412.5"},
    ]  # fmt: skip
    assert all(one.sig for one in stated)


def sign_in(driven: Driven, here: str) -> None:
    driven.size(360, 740)
    driven.open(here)
    eventually(driven, TYPE, "E-mail", "odile@keepers.example")
    eventually(driven, TYPE, "Password", PASSWORD)
    tap(driven, "Sign in")


@contextmanager
def no_server(racks: Racks) -> Iterator[None]:
    racks.stack.supervisor.end("web")
    try:
        yield
    finally:
        racks.stack.start_web()
