"""What is kept on the phone: how much, what happens where there is no room or where it was cleared,
and how what waits comes to another phone."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import FilePayload, Page, expect
from tests.browser.rackside.conftest import (
    AFTER,
    HERE,
    NewPhone,
    Phone,
    Racks,
    add,
    all_sent,
    fill_in,
    open_sheet,
    save,
    sign_in,
    stored,
    ten_seconds_later,
    unfold,
)
from tests.browser.rackside.hatching import Clutch, Thumb, begin, clutch, entries_of
from tests.browser.rackside.hatching import signed_in as in_hatching
from tests.browser.rackside.test_care import at_the_racks, kept_at
from tests.browser.rackside.test_offline import add_photo, photo_arrived

from scalewitness.domain.translog.leaf import Leaf

pytestmark = pytest.mark.one_in(6)

CLEARED = "indexeddb,cache_storage,service_workers,local_storage"


def cleared(racks: Racks, phone: Phone) -> Page:
    """A tab at the next signal after the system made room: all that the page had stored is gone."""
    for page in phone.context.pages:
        page.close()
    page = phone.context.new_page()
    session = phone.context.new_cdp_session(page)
    told = {"origin": racks.stack.url, "storageTypes": CLEARED}
    session.send("Storage.clearDataForOrigin", told)
    page.close()
    phone.context.set_offline(False)
    return phone.tab()


def test_a_cleared_store_is_told_with_what_the_server_last_had(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("S-1", "S-2")
    page = phone.signed_in()
    open_sheet(page, visit)
    fill_in(page, "S-1")
    save(page, "S-1")
    all_sent(page)
    phone.context.set_offline(True)
    fill_in(page, "S-2")
    save(page, "S-2")
    expect(page.locator("#waiting")).to_have_text("1 not sent")
    page = cleared(racks, phone)
    told = page.get_by_text("What was stored on this phone has been cleared")
    expect(told).to_be_visible()
    expect(page.get_by_text("1 entry that was here had not been sent.")).to_be_visible()
    racks.forgive()
    sign_in(page, "greta")
    expect(page.locator("#notice")).to_contain_text("had been cleared: “Entries” says what is lost")
    page.reload()
    page.get_by_role("link", name="Entries", exact=True).click()
    (call,) = racks.calls_on(visit)
    position = next(at for at, one in enumerate(racks.entries()) if one.id == call.id)
    last = re.compile(rf"The server last had of you: a call of .*, at position {position}\.$")
    expect(page.get_by_text(last)).to_be_visible()
    page.get_by_role("button", name="I have read it").click()
    expect(told).to_be_hidden()
    expect(page.get_by_text(last)).to_be_visible()  # never merely empty


def test_signing_out_is_no_loss(phones: NewPhone) -> None:
    page = phones("401").signed_in()  # what was under way is refused once its device is gone
    page.goto(f"{HERE}#/phone")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Log at the racks")).to_be_visible()
    page.reload()
    expect(page.get_by_role("heading", name="Log at the racks")).to_be_visible()
    expect(page.get_by_text("has been cleared")).to_be_hidden()


SIGNED_OUT_WHILE_READ = """async () => {
  const { signOut } = await import("/rackside/app/account.js");
  const { changed } = await import("/rackside/app/state.js");
  await Promise.all([changed(), signOut()]);
  return document.cookie;
}"""


def test_nor_is_signing_out_while_the_store_is_read(phones: NewPhone) -> None:
    page = phones("401").signed_in()
    page.goto(f"{HERE}#/phone")
    assert "rackside-was" in page.evaluate("document.cookie")
    assert page.evaluate(SIGNED_OUT_WHILE_READ) == ""


def file_of(page: Page) -> dict[str, Any]:
    page.goto(f"{HERE}#/phone")
    with page.expect_download() as got:
        page.get_by_role("button", name="Save what waits to a file").click()
    return dict(json.loads(Path(got.value.path()).read_text(encoding="utf-8")))


def read(page: Page, content: object) -> None:
    given: FilePayload = {
        "name": "unsent.json",
        "mimeType": "application/json",
        "buffer": json.dumps(content).encode(),
    }
    page.get_by_label("Read such a file of yours").set_input_files(given)


def waiting_in_a_file(racks: Racks, phone: Phone, tag: str) -> tuple[Page, dict[str, Any]]:
    """A phone without a signal, and the file of what waits on it."""
    page = phone.signed_in()
    open_sheet(page, racks.visit(tag))
    phone.context.set_offline(True)
    fill_in(page, tag)
    add(page, grams="420", note="Calm.")
    add_photo(page)
    save(page, tag)
    content = file_of(page)
    page.goto(f"{HERE}#/calls")
    expect(page.get_by_text("It is in a file that was saved").first).to_be_visible()
    expect(page.get_by_role("button", name="Change it")).to_have_count(0)
    return page, content


def calls_on(racks: Racks, content: dict[str, Any]) -> list[Leaf]:
    about = content["items"][0]["about"]
    return [one for one in racks.entries("call_made") if one.about == about]


def test_what_waits_is_read_by_another_phone_and_sent_once_by_both(
    racks: Racks, phones: NewPhone
) -> None:
    """From then on it is changed on neither: the other may have sent it."""
    first = phones()
    page, content = waiting_in_a_file(racks, first, "S-3")
    other = phones().signed_in()
    other.goto(f"{HERE}#/phone")
    read(other, content | {"keeper": "0190aaaa-0000-7000-8000-000000000000"})
    expect(other.get_by_text("It is another keeper’s: nothing of it was taken.")).to_be_visible()
    read(other, {"scalewitness": "unsent-1"})
    expect(other.get_by_text("or it is damaged: nothing of it was taken.")).to_be_visible()
    read(other, content)
    expect(other.get_by_text("3 entries were taken from the file.")).to_be_visible()
    all_sent(other)
    read(other, content)
    expect(other.get_by_text("0 entries were taken from the file, 3 were here")).to_be_visible()
    other.goto(f"{HERE}#/calls")
    expect(other.get_by_role("heading", name="S-3")).to_have_count(3)
    (call,) = calls_on(racks, content)
    assert call.sig
    photo_arrived(racks)
    assert "Calm." in racks.odile.get(f"calls/{call.id}").text

    first.context.set_offline(False)
    all_sent(page)
    expect(page.locator(".state")).to_have_text([re.compile("^Accepted at position")] * 3)
    assert len(calls_on(racks, content)) == 1


def test_a_hatch_day_under_way_is_gone_on_with_on_another_phone(
    racks: Racks, phones: NewPhone
) -> None:
    """Also where both phones state it: each of the young is registered once."""
    made = clutch(racks, "SH")
    first = phones()
    page = in_hatching(first, made)
    day, content = weighed_in_a_file(first, page, made)
    other = phones().signed_in("odile")
    other.goto(f"{HERE}#/phone")
    read(other, content | {"hatch_days": [{"sitting": day["sitting"] | {"young": [{}]}}]})
    expect(other.get_by_text("or it is damaged: nothing of it was taken.")).to_be_visible()
    read(other, content)
    expect(other.get_by_text("Under “Hatch day”, 1 can be gone on with.")).to_be_visible()
    read(other, content)
    expect(other.get_by_text("can be gone on with.")).to_be_hidden()
    register(other, day)
    all_sent(other)
    page.goto(f"{HERE}#/hatch/{day['sitting']['id']}")
    expect(page.get_by_text("for another phone to go on with")).to_be_visible()
    expect(page.get_by_role("button", name="Register")).to_have_count(0)
    page.get_by_role("button", name="Go on with it here").click()
    page.get_by_role("button", name="No other phone did").click()
    register(page, day)
    first.context.set_offline(False)
    ten_seconds_later(page)
    expect(page.locator("#waiting")).to_have_text("2 need you")
    assert page.get_by_role("button", name="Register").count() == 0
    assert [len(of) for _, of in sorted(entries_of(racks, made).items())] == [3, 2]


HANDED_OVER = """(async () => {
  const { begin } = await import("/rackside/pure/hatch.js");
  let count = 0;
  const shared = { by: "odile", mode: "eggs", hatched: "2026-08-01", pattern: "Z-##", carried: 1 };
  const held = begin(shared, ["Z-01", "Z-02"], () => `id-${count += 1}`);
  const [first] = held.young;
  Object.assign(first, { grams: "12", weighed: { here: 1 } });
  Object.assign(first, { seen: "hemipenes", sexed: { here: 2 } });
  first.photos = [{ file: "f1", fact: "p1" }, { file: "f2", fact: "p2" }];
  const { animal_registered, identifier_assigned, husbandry_noted } = first.ids;
  const records = [animal_registered, identifier_assigned, husbandry_noted, "p1"]
    .map((id) => ({ id, state: "accepted" }));
  const { sitting, files } = m.handedOver(held, records);
  const [one, two] = sitting.young;
  const all = held.young.flatMap(({ ids }) => Object.values(ids));
  return [one.known, one.grams, one.seen, files, two.known, "carried" in sitting,
    m.handedOver(held, [...all, "p1", "p2"].map((id) => ({ id, state: "saved" })))];
})()"""


def test_of_a_hatch_day_what_is_on_record_is_not_handed_over(modules: Any) -> None:
    """Another phone has no word of it, and would state it again."""
    told = modules("unsent", HANDED_OVER)
    assert told == [True, "", "hemipenes", ["f2"], False, False, None]


def weighed_in_a_file(phone: Phone, page: Page, made: Clutch) -> tuple[Any, dict[str, Any]]:
    """A hatch day of two, of which the first was weighed, as the file has it."""
    phone.context.set_offline(True)
    thumb = Thumb(page)
    begin(thumb, made, "2")
    thumb.key_in("12")
    thumb.press("Next")
    thumb.at("-02")
    content = file_of(page)
    (day,) = content["hatch_days"]
    return day, content


def register(page: Page, day: dict[str, Any]) -> None:
    page.goto(f"{HERE}#/hatch/{day['sitting']['id']}")
    expect(page.locator(".young li")).to_contain_text(["12 g", ""])
    page.get_by_role("button", name="Register 2 young").click()
    expect(page.locator("#announcement")).to_contain_text("saved here")


def test_room_is_shown_and_a_full_store_is_told_while_typing(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("S-4")
    page = phone.signed_in()
    page.goto(f"{HERE}#/phone")
    expect(
        page.get_by_text(re.compile(r"^[\d.]+ MB of .* that the browser allows\.$"))
    ).to_be_visible()
    expect(page.get_by_text("Photos not sent yet")).to_be_visible()
    open_sheet(page, visit)
    fill_in(page, "S-4")
    unfold(page, AFTER)
    page.evaluate(NO_ROOM)
    page.get_by_label("Note").fill("C")
    expect(page.locator("#notice")).to_contain_text("There is no room left on this phone")
    page.evaluate("globalThis.room()")
    page.get_by_label("Note").fill("Calm.")
    expect(page.locator("#notice")).not_to_contain_text("There is no room left on this phone")
    assert stored(page)["drafts"][0]["form"]["note"] == "Calm."
    save(page, "S-4")
    all_sent(page)


def test_care_that_finds_no_room_is_told_and_can_be_noted_again(racks: Racks, phone: Phone) -> None:
    kept = kept_at(racks, "S5-1")
    page = at_the_racks(phone, kept)
    page.goto(f"{HERE}#/rack/S5")
    save_it = page.get_by_role("button", name="Save: 1 taken")
    expect(save_it).to_be_visible()
    page.evaluate(NO_ROOM)
    save_it.click()
    expect(page.locator("#announcement")).to_contain_text("It could not be kept on this phone")
    page.evaluate("globalThis.room()")
    save_it.click()
    expect(page.locator("#announcement")).to_have_text("S5: 1 taken, saved here.")
    assert len(stored(page)["outbox"]) == 1
    page.goto(f"{HERE}#/own/{kept.animals['S5-1']}/move")
    page.get_by_label("Place", exact=True).fill("S6-1")
    page.evaluate(NO_ROOM)
    page.get_by_role("button", name="Save the place").click()
    expect(page.locator("#announcement")).to_contain_text("It could not be kept on this phone")


NO_ROOM = """() => {
  const put = IDBObjectStore.prototype.put;
  const error = Object.getOwnPropertyDescriptor(IDBTransaction.prototype, "error");
  const full = new DOMException("The quota has been exceeded.", "QuotaExceededError");
  // As a browser does it: the request is taken, and the transaction ends once it was looked at.
  IDBObjectStore.prototype.put = function (...given) {
    const asked = put.apply(this, given);
    asked.addEventListener("success", () => this.transaction.abort(), { once: true });
    return asked;
  };
  Object.defineProperty(IDBTransaction.prototype, "error", {get: () => full, configurable: true});
  globalThis.room = () => {
    IDBObjectStore.prototype.put = put;
    Object.defineProperty(IDBTransaction.prototype, "error", error);
  };
}"""
