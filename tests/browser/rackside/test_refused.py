"""What the server refuses or fails at is told, is not sent over and over, and holds up nothing
else on the phone."""

import json
import re
from collections.abc import Iterable
from contextlib import suppress
from typing import Any

import pytest
from playwright.sync_api import Error, Page, Route, expect
from tests.browser.rackside.conftest import (
    HERE,
    NewPhone,
    Phone,
    Pushes,
    Racks,
    all_sent,
    fill_in,
    hurried,
    open_sheet,
    save,
)
from tests.browser.rackside.test_offline import add_photo, photo_arrived

ACCEPTED = re.compile(r"^Accepted at position \d+$")


def card(page: Page, tag: str, line: str) -> Any:
    return page.get_by_role("listitem").filter(has_text=tag).filter(has_text=line)


def sent_ids(route: Route) -> list[str]:
    return [one["id"] for one in json.loads(route.request.post_data or "")["items"]]


A_VARIANT = pytest.mark.long(
    "another code or answer, watched for some seconds each; "
    "tests/browser/rackside/test_refused.py::test_no_answer_is_asked_for_in_a_tight_loop"
)


@pytest.mark.parametrize(
    "code",
    [
        pytest.param("9" * 80, id="long"),
        pytest.param("C\u00a01", id="no-break space", marks=A_VARIANT),
    ],
)
@pytest.mark.long(
    "watched for some seconds; "
    "tests/browser/rackside/test_sight.py::test_a_refused_call_waits_for_its_examiner"
)
def test_a_call_refused_before_its_id_is_read_is_told_and_holds_up_no_photo(
    racks: Racks, phone: Phone, code: str
) -> None:
    visit = racks.visit("C-1", "C-2")
    pushes = Pushes(phone)
    page = phone.signed_in()
    open_sheet(page, visit)
    fill_in(page, "C-1")
    page.get_by_label("The code you read").fill(code)
    save(page, "C-1")
    expect(page.locator("#waiting")).to_have_text("1 needs you")
    fill_in(page, "C-2")
    add_photo(page)
    save(page, "C-2")
    page.goto(f"{HERE}#/calls")
    expect(card(page, "C-2", "Photo 1").locator(".state")).to_have_text(ACCEPTED)
    expect(card(page, "C-1", "Male").locator(".state")).to_have_text(
        re.compile(r"^Needs you: The code you read: .*characters")
    )
    photo_arrived(racks)
    pushes.were_few(page)
    card(page, "C-1", "Male").get_by_role("link", name="Edit and send anew").click()
    page.get_by_label("The code you read").fill("C-1")
    save(page, "C-1")
    all_sent(page)
    assert len(racks.calls_on(visit)) == 2


def fail_at(ids: Iterable[str]) -> Any:
    """A server that fails at any push with one of these in it."""

    def handle(route: Route) -> None:
        if set(ids) & set(sent_ids(route)):
            route.fulfill(status=500, body="<h1>Oh</h1>")
        else:
            route.continue_()

    return handle


@pytest.mark.long(
    "three calls with photos, each sent again and again; "
    "tests/browser/rackside/test_offline.py::test_a_server_error_in_the_middle_loses_nothing"
)
def test_one_item_that_the_server_fails_at_holds_up_nothing(racks: Racks, phones: NewPhone) -> None:
    tags = ("F-1", "F-2", "F-3")
    visit = racks.visit(*tags)
    phone = phones("500 (Internal Server Error)")
    hurried(phone)
    page = phone.signed_in()
    open_sheet(page, visit)
    phone.context.set_offline(True)
    for tag in tags:
        fill_in(page, tag)
        add_photo(page)
        save(page, tag)
    bad = page.evaluate(OUTBOX_IDS, visit.animals["F-1"])
    page.route("**/api/v1/push", fail_at(bad))
    pushes = Pushes(phone)
    phone.context.set_offline(False)
    page.goto(f"{HERE}#/calls")
    for tag in tags[1:]:
        for line in ("Male", "Photo 1"):
            expect(card(page, tag, line).locator(".state")).to_have_text(ACCEPTED)
    expect(card(page, "F-1", "Male").locator(".state")).to_have_text(
        "Saved here. The last attempt failed: The server answered 500. Nothing else waits for it."
    )
    pushes.were_few(page)
    page.unroute("**/api/v1/push")
    all_sent(page)  # by itself
    assert len(racks.calls_on(visit)) == 3


OUTBOX_IDS = """async (animal) => {
  const open = indexedDB.open("rackside");
  const db = await new Promise((done) => { open.onsuccess = () => done(open.result); });
  const asked = db.transaction("outbox").objectStore("outbox").getAll();
  const rows = await new Promise((done) => { asked.onsuccess = () => done(asked.result); });
  db.close();
  return rows.filter((one) => one.fact.about === animal && one.fact.kind === "call_made")
    .map((one) => one.id);
}"""

NO_OUTCOME: dict[str, Any] = {"items": [{"id": None, "status": "pondered"}]}


@pytest.mark.parametrize(
    "answer",
    [
        pytest.param({"json": NO_OUTCOME}, id="no outcome"),
        pytest.param({"json": {"items": []}}, id="too few", marks=A_VARIANT),
        pytest.param({"json": {}}, id="nothing", marks=A_VARIANT),
        pytest.param({"status": 500, "body": "Oh"}, id="500", marks=A_VARIANT),
        pytest.param({"status": 404, "body": "Oh"}, id="404", marks=A_VARIANT),
    ],
)
def test_no_answer_is_asked_for_in_a_tight_loop(
    racks: Racks, phones: NewPhone, answer: dict[str, Any]
) -> None:
    visit = racks.visit("H-1", "H-2")
    phone = phones("the server responded with a status of")
    page = phone.signed_in()
    open_sheet(page, visit)
    page.route("**/api/v1/push", lambda route: route.fulfill(**answer))
    pushes = Pushes(phone)
    fill_in(page, "H-1")
    save(page, "H-1")
    page.goto(f"{HERE}#/calls")
    for _ in range(6):  # nor by a thumb that presses again and again
        page.get_by_role("button", name="Send now").click()
    pushes.were_few(page, over=10.0)
    page.unroute("**/api/v1/push")
    with suppress(Error):  # by the time it is pressed the phone may have sent it by itself
        page.get_by_role("button", name="Send now").click(timeout=3_000)
    all_sent(page)
    assert len(racks.calls_on(visit)) == 1


def problem(code: str, detail: str) -> dict[str, Any]:
    return {"type": f"urn:scalewitness:problem:{code}", "code": code, "detail": detail}


@pytest.mark.long(
    "the phone waits longer for what its keeper has to do; "
    "tests/browser/rackside/test_sight.py::test_a_refused_call_waits_for_its_examiner"
)
def test_an_address_not_confirmed_keeps_everything_and_says_so(
    racks: Racks, phones: NewPhone
) -> None:
    """The key is not taken as refused by it: what was signed stays signed."""
    visit = racks.visit("N-1")
    phone = phones("403 (Forbidden)")
    hurried(phone)
    unconfirmed = problem("address_unconfirmed", "Confirm your address first.")
    refuse = lambda route: route.fulfill(status=403, json=unconfirmed)  # noqa: E731
    for path in ("push", "devices/*/key"):
        phone.context.route(f"**/api/v1/{path}", refuse)
    page = phone.signed_in()
    open_sheet(page, visit)
    fill_in(page, "N-1")
    save(page, "N-1")
    expect(page.locator("#notice")).to_contain_text("Your e-mail address is not confirmed yet")
    expect(page.locator("#waiting")).to_have_text("1 not sent")
    page.reload()
    expect(page.locator("#notice")).to_contain_text("Everything is kept here")
    for path in ("push", "devices/*/key"):
        phone.context.unroute(f"**/api/v1/{path}")
    expect(page.locator("#waiting")).to_have_text("Nothing waits")
    expect(page.locator("#notice")).not_to_contain_text("Everything is kept here")
    (call,) = racks.calls_on(visit)
    assert call.sig


@pytest.mark.parametrize("status", [pytest.param(429, marks=A_VARIANT), 503])
@pytest.mark.long(
    "watched for some seconds; "
    "tests/browser/rackside/test_offline.py::test_it_waits_as_long_as_the_server_asks"
)
def test_a_wait_the_server_asked_for_outlives_a_reload_and_a_press(
    racks: Racks, phones: NewPhone, status: int
) -> None:
    visit = racks.visit("V-1")
    phone = phones(f"{status} (")
    page = phone.signed_in()
    open_sheet(page, visit)
    told = problem("busy", "Enough for now.")
    phone.context.route(
        "**/api/v1/push",
        lambda route: route.fulfill(status=status, headers={"Retry-After": "6"}, json=told),
        times=1,
    )
    pushes = Pushes(phone)
    fill_in(page, "V-1")
    save(page, "V-1")
    expect(page.locator("#notice")).to_contain_text(
        "Enough for now. Everything is kept here; it is tried again at"
    )
    page.reload()
    page.goto(f"{HERE}#/calls")
    page.get_by_role("button", name="Send now").click()
    all_sent(page)
    assert len(pushes) == 2
    assert pushes[1] - pushes[0] >= 5.5
