"""Where the app does not start, its page says so and can be tried again. Nothing that is stored is
lost by that, and nothing is loaded anew for ever."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect
from tests.browser.rackside.conftest import (
    NewPhone,
    Racks,
    fill_in,
    open_sheet,
    save,
    stored,
    until,
)

LOST = "net::ERR_FAILED"
OTHERS = "does not provide an export named"
SAID = "Rackside has not started"


CLEAR = """async () => {
  for (const name of await caches.keys()) {
    await (await caches.open(name)).delete(new URL("app/sync.js", location.href));
  }
}"""
BREAK = """async () => {
  for (const name of await caches.keys()) {
    const headers = { "Content-Type": "text/javascript", "Cache-Control": "no-cache" };
    const broken = new Response("export const other = 1;", { headers });
    await (await caches.open(name)).put(new URL("app/sync.js", location.href), broken);
  }
}"""
WAITS = "navigator.serviceWorker.getRegistration().then((one) => Boolean(one.waiting))"


def again(page: Page) -> None:
    page.get_by_role("link", name="Try again").click()


def signs_in(page: Page) -> None:
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    expect(page.get_by_text(SAID)).to_have_count(0)


def cut_off(route: Route) -> None:
    route.abort()


def failing(route: Route) -> None:
    route.fulfill(status=500, body="Oh")


def of_another_version(route: Route) -> None:
    route.fulfill(body="export const other = 1;", content_type="text/javascript")


@pytest.mark.parametrize("fails", [cut_off, failing, of_another_version])
def test_a_module_amid_the_others_that_does_not_load_is_told(
    phones: NewPhone, fails: Callable[[Route], None]
) -> None:
    phone = phones(LOST, "500 (Internal Server Error)", OTHERS)
    loaded: list[str] = []
    phone.context.on("request", lambda one: one.is_navigation_request() and loaded.append(one.url))
    phone.context.route("**/pure/waiting.js", fails)
    page = phone.tab("#/own")
    expect(page.get_by_text(SAID)).to_be_visible()
    with page.expect_navigation():
        again(page)
    expect(page.get_by_text(SAID)).to_be_visible()
    phone.context.unroute("**/pure/waiting.js")
    again(page)
    signs_in(page)
    assert page.url.endswith("#/own")
    assert len(loaded) == 3, "once, and once each time it was asked for"


def test_it_is_told_without_any_script(phones: NewPhone) -> None:
    """Not even the one that watches over the others: after a while, as a slow line is no fault."""
    phone = phones(LOST)
    phone.context.route("**/app/*.js", lambda route: route.abort())
    page = phone.tab("#/own")
    told = page.locator("#unstarted")
    expect(told).to_be_hidden()
    told.evaluate("(told) => told.getAnimations().forEach((one) => one.finish())")
    expect(told).to_be_visible()
    phone.context.unroute("**/app/*.js")
    again(page)
    signs_in(page)


def test_what_waits_stays_where_a_kept_file_was_cleared(racks: Racks, phones: NewPhone) -> None:
    """A worker serves the page, there is no signal, and one file is gone."""
    visit = racks.visit("B-1")
    phone = phones(LOST)
    page = phone.signed_in()
    open_sheet(page, visit)
    phone.context.set_offline(True)
    fill_in(page, "B-1")
    save(page, "B-1")
    before = stored(page)["outbox"]
    page.evaluate(CLEAR)
    page.reload()
    expect(page.get_by_text(SAID)).to_be_visible()
    assert stored(page)["outbox"] == before
    phone.context.set_offline(False)
    page.route("**/api/v1/push", lambda route: route.abort())
    again(page)
    expect(page.locator("#waiting")).to_have_text("1 not sent")


@pytest.mark.long(
    "stops the server and starts it again; "
    "tests/browser/rackside/test_starting.py::test_what_waits_stays_where_a_kept_file_was_cleared"
)
def test_a_version_that_never_starts_gives_way_to_a_newer_one(
    racks: Racks, phones: NewPhone
) -> None:
    """Which its own code would have to look for, and offer."""
    phone = phones(LOST, "net::ERR_CONNECTION", OTHERS)
    page = phone.signed_in()
    page.evaluate(BREAK)
    page.reload()
    expect(page.get_by_text(SAID)).to_be_visible()
    racks.release("/* mended */")
    page.evaluate("navigator.serviceWorker.ready.then((one) => one.update())")
    until(page, lambda: page.evaluate(WAITS), "the newer version")
    again(page)
    expect(page.get_by_role("heading", name="Visits")).to_be_visible()


def test_a_version_that_takes_over_while_the_page_loads_is_loaded_whole(phones: NewPhone) -> None:
    """Else its modules would be of the one version and of the other."""
    phone = phones(LOST)
    page = phone.signed_in()
    phone.context.set_offline(True)
    page.evaluate(CLEAR)
    page.reload()
    expect(page.get_by_text(SAID)).to_be_visible()
    phone.context.set_offline(False)
    page.evaluate("navigator.serviceWorker.dispatchEvent(new Event('controllerchange'))")
    expect(page.get_by_role("heading", name="Visits")).to_be_visible()
