"""The app's own files on a phone: one version at a time, a newer one when its keeper says so."""

import pytest
from playwright.sync_api import Error, expect
from tests.browser.rackside.conftest import (
    NewPhone,
    Phone,
    Racks,
    draft_kept,
    fill_in,
    open_sheet,
    save,
    until,
)


@pytest.mark.long(
    "stops the server and starts it again; "
    "tests/browser/rackside/test_versions.py::test_a_shell_of_two_versions_is_never_kept"
)
def test_a_newer_version_takes_over_when_asked(racks: Racks, phones: NewPhone) -> None:
    """What is stored, and what is only begun, stays."""
    visit = racks.visit("V-1", "V-2")
    phone = phones("net::ERR_FAILED", "net::ERR_CONNECTION")
    page = phone.signed_in()
    open_sheet(page, visit)
    page.route("**/api/v1/push", lambda route: route.abort())
    fill_in(page, "V-1")
    save(page, "V-1")
    fill_in(page, "V-2", left=4)
    draft_kept(page, '"sureness": "fairly_sure"')
    old = page.evaluate("caches.keys()")
    racks.release("/* newer */")
    page.evaluate("navigator.serviceWorker.ready.then((one) => one.update())")
    with page.expect_navigation():
        page.get_by_role("button", name="Use it now").click()
    until(page, lambda: len(page.evaluate("caches.keys()")) == 1, "the older version to go")
    assert page.evaluate("caches.keys()") != old
    phone.context.set_offline(True)
    page.reload()
    expect(page.locator("#waiting")).to_have_text("1 not sent")
    left = page.get_by_role("group", name="Left", exact=True)
    expect(left.get_by_label("Left: depth in scales")).to_have_value("4")
    assert page.evaluate("fetch('rackside.css').then((one) => one.text())").endswith("/* newer */")


def test_what_the_page_just_fetched_is_kept_without_asking_again(
    racks: Racks, phone: Phone
) -> None:
    log = racks.stack.supervisor.log("web")
    before = log.stat().st_size
    phone.signed_in()
    (worker,) = phone.context.service_workers
    files = worker.evaluate("Object.keys(SHELL.files).length")
    asked = log.read_bytes()[before:].count(b'"route": "/rackside/<path:path>"')
    assert 100 < asked < 1.4 * files


def test_a_shell_of_two_versions_is_never_kept(phone: Phone) -> None:
    phone.signed_in()
    (worker,) = phone.context.service_workers
    worker.evaluate("SHELL.files['rackside.css'] = '0'.repeat(64)")
    with pytest.raises(Error, match=r"another version of rackside\.css"):
        worker.evaluate("fill()")
