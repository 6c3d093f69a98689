"""A phone whose clock is wrong loses nothing: it says so, and puts the time right in the open."""

import re
import time
from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect
from tests.browser.rackside.conftest import (
    HERE,
    Phone,
    Pushes,
    Racks,
    add,
    all_sent,
    fill_in,
    open_sheet,
    save,
    set_clock,
    sign_in,
    wrong_clock,
)
from tests.browser.rackside.test_offline import add_photo

from scalewitness.domain.moments import parse_moment
from scalewitness.domain.translog.devices import DeviceKeys
from scalewitness.domain.translog.leaf import Leaf

pytestmark = pytest.mark.one_in(6)

DAY = 86_400
TWO_DAYS = pytest.mark.parametrize(
    ("off", "words"), [(-2 * DAY, "2 days behind"), (2 * DAY, "2 days ahead")]
)


def put_right(racks: Racks, leaf: Leaf, off: float) -> None:
    """Its time is now, and tells how it came about; the signature is over all of it."""
    said = leaf.body["corrected"]
    assert abs(int(said["offset"]) + off) <= 3
    at, read = parse_moment(leaf.at), parse_moment(said["read"])
    assert (at - read).total_seconds() == int(said["offset"])
    assert abs(at.timestamp() - time.time()) < 120
    assert abs(parse_moment(said["measured_at"]).timestamp() - time.time()) < 120
    assert leaf.sig
    devices = DeviceKeys()
    assert [fault for one in racks.entries() if (fault := devices.read(one))] == []


@TWO_DAYS
def test_a_clock_known_to_be_wrong_is_told_where_the_check_is_made(
    racks: Racks, phone: Phone, off: float, words: str
) -> None:
    visit = racks.visit("C-1")
    wrong_clock(phone, off)
    page = phone.signed_in()
    expect(page.locator("#notice")).to_contain_text(f"This phone’s clock is {words}")
    open_sheet(page, visit)
    phone.context.set_offline(True)
    fill_in(page, "C-1")
    expect(page.get_by_label("Correct the call’s time to")).to_be_checked()
    save(page, "C-1")
    phone.context.set_offline(False)
    all_sent(page)
    (call,) = racks.calls_on(visit)
    put_right(racks, call, off)


BEHIND_TOO = pytest.mark.long(
    "the same of a clock behind; tests/browser/rackside/test_clock.py::"
    "test_a_clock_known_to_be_wrong_is_told_where_the_check_is_made"
)


@pytest.mark.parametrize(
    ("off", "words"),
    [
        pytest.param(-2 * DAY, "2 days behind", marks=BEHIND_TOO),
        (2 * DAY, "2 days ahead"),
    ],
)
@pytest.mark.long(
    "refused and sent anew; "
    "tests/browser/rackside/test_clock.py::test_a_clock_set_between_check_and_signal_is_said_to_be_unknown"
)
def test_a_call_refused_for_its_time_is_kept_and_offered_with_it_corrected(
    racks: Racks, phone: Phone, off: float, words: str
) -> None:
    visit = racks.visit("C-2")
    wrong_clock(phone, off)
    pushes = Pushes(phone)
    page = phone.signed_in()
    open_sheet(page, visit)
    fill_in(page, "C-2")
    add(page, grams="420", note="Calm.")
    add_photo(page)
    page.get_by_label("Correct the call’s time to").uncheck()
    save(page, "C-2")
    page.goto(f"{HERE}#/calls")
    call = page.get_by_role("listitem").filter(has_text="Male, fairly sure")
    expect(call).to_contain_text(f"This phone’s clock is {words}: it said ")
    expect(call.locator(".state")).to_have_text(re.compile("^Needs you: "))
    pushes.were_few(page)
    call.get_by_role("button", name="Send with the corrected time").click()
    all_sent(page)
    expect(
        page.get_by_text("The time was corrected: the phone’s clock said ").first
    ).to_be_visible()
    (made,) = racks.calls_on(visit)
    of_it = {one.kind: one for one in racks.entries() if one.about == made.about and one.sig}
    assert of_it.keys() == {"call_made", "husbandry_noted", "photo_attached"}
    if off < 0:
        of_it.pop("husbandry_noted")  # a weight is taken with an earlier time
    for one in of_it.values():
        put_right(racks, one, off)
    photo = of_it["photo_attached"]
    assert photo.body["of"] == made.id
    assert racks.greta.get(f"photos/{photo.id}").status_code == 200
    assert "Calm." in racks.odile.get(f"calls/{made.id}").text


def test_a_clock_set_between_check_and_signal_is_said_to_be_unknown(
    racks: Racks, phone: Phone
) -> None:
    visit = racks.visit("C-3")
    wrong_clock(phone)
    page = phone.signed_in()
    open_sheet(page, visit)
    phone.context.set_offline(True)
    set_clock(page, -2 * DAY)
    page.reload()
    fill_in(page, "C-3")
    expect(
        page.get_by_text("This phone’s clock was set back since the last signal")
    ).to_be_visible()
    save(page, "C-3")
    set_clock(page, 0)
    page.reload()
    phone.context.set_offline(False)
    expect(page.locator("#waiting")).to_have_text("1 needs you")
    page.goto(f"{HERE}#/calls")
    expect(page.get_by_text("how far it was off is not known")).to_be_visible()
    expect(page.get_by_role("button", name="Send with the corrected time")).to_be_hidden()
    page.get_by_role("link", name="Edit and send anew").click()
    expect(page.get_by_label("Male", exact=True)).to_be_checked()
    page.get_by_role("button", name="Save the call").click()
    expect(page.get_by_role("alert")).to_contain_text("Say when you checked it.")
    then = datetime.fromtimestamp(time.time() - 60, UTC)
    local = page.evaluate(LOCAL, then.timestamp() * 1000)
    page.get_by_label("When you checked it").fill(local)
    save(page, "C-3")
    all_sent(page)
    (call,) = racks.calls_on(visit)
    assert "corrected" not in call.body
    assert abs(parse_moment(call.at).timestamp() - then.timestamp()) <= 60


LOCAL = """(at) => {
  const then = new Date(at);
  return new Date(at - then.getTimezoneOffset() * 60000).toISOString().slice(0, 16);
}"""


def test_a_clock_put_right_after_the_warning_is_not_corrected_again(
    racks: Racks, phone: Phone
) -> None:
    """The likeliest thing to do on reading it, also where there is no signal."""
    visit = racks.visit("C-4")
    wrong_clock(phone, -2 * DAY)
    page = phone.signed_in()
    open_sheet(page, visit)
    phone.context.set_offline(True)
    set_clock(page, 0)
    fill_in(page, "C-4")
    expect(page.get_by_label("Correct the call’s time to")).to_be_hidden()
    expect(page.get_by_text("Whether it still is will be known at the next")).to_be_visible()
    save(page, "C-4")
    phone.context.set_offline(False)
    all_sent(page)
    (call,) = racks.calls_on(visit)
    assert "corrected" not in call.body
    assert abs(parse_moment(call.at).timestamp() - time.time()) < 120


def test_the_key_of_a_phone_with_a_wrong_clock_is_taken(racks: Racks, phone: Phone) -> None:
    wrong_clock(phone, 2 * DAY)
    page = phone.tab()
    with page.expect_response("**/key") as answer:
        sign_in(page, "greta")
    assert answer.value.status == 201
    page.goto(f"{HERE}#/phone")
    expect(page.get_by_text("Calls are signed on this phone.")).to_be_visible()
