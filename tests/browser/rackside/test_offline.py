"""Nothing logged at the racks is lost or doubled: the promises of design section 7, in a real
browser on the real service. Signatures are read back from the log by `domain/translog`."""

import re
import time
from contextlib import suppress
from hashlib import sha256

import pytest
from playwright.sync_api import Error, FilePayload, Page, Route, expect
from tests.browser.rackside.conftest import (
    AFTER,
    HERE,
    NewPhone,
    Phone,
    Racks,
    all_sent,
    draft_kept,
    fill_in,
    open_sheet,
    save,
    unfold,
)
from tests.pictures import camera_file

from scalewitness.domain.pictures.reencoding import check_decodable
from scalewitness.domain.translog.devices import DeviceKeys

pytestmark = pytest.mark.one_in(6)

TAGS = ("K-1", "K-2", "K-3", "K-4", "K-5")


def waiting(page: Page) -> str:
    return page.locator("#waiting").inner_text()


@pytest.mark.one_in(1)
def test_five_calls_logged_offline_arrive_once_and_signed(racks: Racks, phone: Phone) -> None:
    visit = racks.visit(*TAGS)
    page = phone.signed_in()
    open_sheet(page, visit)
    phone.context.set_offline(True)
    for tag in TAGS[:4]:
        fill_in(page, tag)
        save(page, tag)
    page.reload()
    expect(page.locator("#waiting")).to_have_text("4 not sent")
    fill_in(page, TAGS[4], left=3, right=2, sex="Female")
    add_photo(page)
    save(page, TAGS[4])
    page.close()
    assert racks.calls_on(visit) == []

    page = phone.tab("#/calls")
    expect(page.locator(".state")).to_have_text([re.compile(r"^Saved here")] * 6)
    expect(page.locator("#signal")).to_have_text("No signal")
    phone.context.set_offline(False)
    all_sent(page)
    expect(page.locator(".state").first).to_have_text(re.compile(r"^Accepted at position \d+$"))

    calls = racks.calls_on(visit)
    assert sorted(one.about or "" for one in calls) == sorted(visit.animals.values())
    assert all(one.sig for one in calls)
    devices = DeviceKeys()
    assert [fault for one in racks.entries() if (fault := devices.read(one))] == []
    photo_arrived(racks)
    female = next(one for one in calls if one.about == visit.animals["K-5"])
    assert female.body == {
        "conclusion": "female",
        "sureness": "fairly_sure",
        "observed": {
            "method": "probing",
            "passes": [
                {"side": "left", "depth": "3", "stopped": "resistance"},
                {"side": "right", "depth": "2", "stopped": "resistance"},
            ],
        },
        "identified": {"by": "tag", "code": "K-5"},
        "held_by": "second_person",
        "visit": visit.id,
    }


def photo_arrived(racks: Racks) -> None:
    """The latest: signed, the file as the log names it, and nothing in it but the picture."""
    photo = next(one for one in reversed(racks.entries()) if one.kind == "photo_attached")
    assert photo.sig
    served = racks.greta.get(f"photos/{photo.id}")
    assert sha256(served.content).hexdigest() == photo.body["sha256"]
    check_decodable(served.content)
    assert b"Cam & Co" not in served.content


def add_photo(page: Page) -> None:
    """As a phone's camera saves it, with place and maker."""
    taken: FilePayload = {"name": "snake.jpg", "mimeType": "image/jpeg", "buffer": camera_file()}
    unfold(page, AFTER)
    page.get_by_label("Photo of the check").set_input_files(taken)
    expect(page.get_by_role("status").filter(has_text="Photo 1 is with the call.")).to_be_visible()


def test_a_photo_is_sent_later_than_its_call_and_told_so(racks: Racks, phones: NewPhone) -> None:
    visit = racks.visit("P-1")
    phone = phones("500 (Internal Server Error)")
    page = phone.signed_in()
    open_sheet(page, visit)
    fill_in(page, "P-1")
    add_photo(page)
    draft_kept(page, '"sureness": "fairly_sure"', '"photos": [{')
    page.reload()  # the photo is part of what was begun
    expect(page.get_by_alt_text("Photo 1")).to_be_visible()
    page.route("**/api/v1/photos/*", lambda route: route.fulfill(status=500, body="<h1>Oh</h1>"))
    save(page, "P-1")
    page.goto(f"{HERE}#/calls")
    expect(
        page.locator(".state").filter(has_text="the picture itself is not sent yet")
    ).to_be_visible()
    assert waiting(page) == "1 not sent"
    page.unroute("**/api/v1/photos/*")
    page.reload()
    all_sent(page)
    photo_arrived(racks)


def test_what_is_no_picture_is_told(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("P-2")
    page = phone.signed_in()
    open_sheet(page, visit)
    fill_in(page, "P-2")
    note: FilePayload = {"name": "x.jpg", "mimeType": "image/jpeg", "buffer": b"no picture"}
    unfold(page, AFTER)
    page.get_by_label("Photo of the check").set_input_files(note)
    expect(page.get_by_text("not a picture that can be read")).to_be_visible()
    save(page, "P-2")
    all_sent(page)


def test_what_was_begun_outlives_a_closed_page(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("D-1")
    page = phone.signed_in()
    open_sheet(page, visit)
    fill_in(page, "D-1", left=7)
    where = page.url
    draft_kept(page, '"sureness": "fairly_sure"')
    page.close()
    page = phone.tab(where.split("/rackside/")[1])
    left = page.get_by_role("group", name="Left", exact=True)
    expect(left.get_by_label("Left: depth in scales")).to_have_value("7")
    left.get_by_role("button", name="half").click()
    expect(left.get_by_label("Left: depth in scales")).to_have_value("7.5")
    save(page, "D-1")
    all_sent(page)
    (call,) = racks.calls_on(visit)
    assert call.body["observed"]["passes"][0]["depth"] == "7.5"


def test_a_server_error_in_the_middle_loses_nothing(racks: Racks, phones: NewPhone) -> None:
    visit = racks.visit("E-1", "E-2")
    phone = phones("500 (Internal Server Error)")
    page = phone.signed_in()
    open_sheet(page, visit)
    page.route("**/api/v1/push", lambda route: route.fulfill(status=500, body="<h1>Oh</h1>"))
    for tag in ("E-1", "E-2"):
        fill_in(page, tag)
        save(page, tag)
    page.get_by_role("radio", name="Done").check()
    expect(page.locator(".state").first).to_contain_text(
        "Saved here. The last attempt failed: The server answered 500."
    )
    assert waiting(page) == "2 not sent"
    page.unroute("**/api/v1/push")
    page.goto(f"{HERE}#/calls")
    with suppress(Error):  # by the time it is pressed the phone may have sent them by itself
        page.get_by_role("button", name="Send now").click(timeout=3_000)
    all_sent(page)
    assert len(racks.calls_on(visit)) == 2


@pytest.mark.one_in(1)
def test_an_answer_that_was_lost_is_asked_for_again(racks: Racks, phones: NewPhone) -> None:
    """The server took the call; the phone never heard of it, and was closed in between."""
    visit = racks.visit("L-1")
    phone = phones("net::ERR_FAILED")
    page = phone.signed_in()
    open_sheet(page, visit)

    def swallow(route: object) -> None:
        route.fetch()  # type: ignore[attr-defined]
        route.abort()  # type: ignore[attr-defined]

    page.route("**/api/v1/push", swallow)
    fill_in(page, "L-1")
    save(page, "L-1")
    page.get_by_role("radio", name="Done").check()
    expect(page.locator(".state")).to_have_text(
        "Your call: Saved here. No connection at the last attempt."
    )
    assert len(racks.calls_on(visit)) == 1
    page.close()
    page = phone.tab("#/calls")
    all_sent(page)
    expect(page.locator(".state")).to_have_text(re.compile(r"Accepted at position \d+"))
    assert len(racks.calls_on(visit)) == 1


def test_it_waits_as_long_as_the_server_asks(racks: Racks, phones: NewPhone) -> None:
    visit = racks.visit("W-1")
    phone = phones("429 (Too Many Requests)")
    page = phone.signed_in()
    open_sheet(page, visit)
    tries: list[float] = []

    def refuse_once(route: object) -> None:
        tries.append(time.monotonic())
        if len(tries) == 1:
            route.fulfill(status=429, headers={"Retry-After": "3"}, json={"detail": "Wait."})  # type: ignore[attr-defined]
        else:
            route.continue_()  # type: ignore[attr-defined]

    page.route("**/api/v1/push", refuse_once)
    fill_in(page, "W-1")
    save(page, "W-1")
    page.get_by_role("radio", name="Done").check()
    expect(page.locator(".state")).to_have_text(
        "Your call: Saved here. The last attempt failed: Wait."
    )
    all_sent(page)
    first, second = tries
    assert second - first >= 2.9


def test_what_the_server_cannot_tell_yet_counts_as_unsent(racks: Racks, phones: NewPhone) -> None:
    """It took the call, and does not know whether it stays: the same is sent again."""
    visit = racks.visit("U-1")
    phone = phones("503 (Service Unavailable)")
    page = phone.signed_in()
    open_sheet(page, visit)
    unknown = {"code": "outcome_unknown", "detail": "It cannot be told yet."}

    def take_and_not_tell(route: Route) -> None:
        route.fetch()
        route.fulfill(status=503, headers={"Retry-After": "1"}, json=unknown)

    page.route("**/api/v1/push", take_and_not_tell, times=1)
    fill_in(page, "U-1")
    save(page, "U-1")
    page.get_by_role("radio", name="Done").check()
    expect(page.locator(".state")).to_have_text(
        "Your call: Saved here. The last attempt failed: It cannot be told yet."
    )
    all_sent(page)
    assert len(racks.calls_on(visit)) == 1


def test_two_tabs_send_once_and_agree(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("T-1", "T-2")
    first = phone.signed_in()
    open_sheet(first, visit)
    second = phone.tab(f"#/visit/{visit.id}")
    pushes: list[str] = []
    phone.context.on(
        "request", lambda one: "/push" in one.url and pushes.append(one.post_data or "")
    )
    phone.context.set_offline(True)
    first.bring_to_front()  # else each press waits a second for its next frame
    fill_in(first, "T-1")
    save(first, "T-1")
    expect(second.locator("#waiting")).to_have_text("1 not sent")
    second.bring_to_front()
    fill_in(second, "T-2")
    save(second, "T-2")
    expect(first.locator("#waiting")).to_have_text("2 not sent")
    phone.context.set_offline(False)
    all_sent(first)
    all_sent(second)
    assert len(pushes) == 1, "both tabs heard the signal come back, one sent"
    assert len(racks.calls_on(visit)) == 2
