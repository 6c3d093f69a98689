"""A phone that the server signed out goes on at the racks; what waits on one can be carried off."""

import base64
import json
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from tests.browser.rackside.conftest import (
    DUMP,
    HERE,
    NewPhone,
    Phone,
    Racks,
    Visit,
    add,
    all_sent,
    fill_in,
    open_sheet,
    save,
    stored,
)
from tests.browser.rackside.test_offline import add_photo
from tests.world import PASSWORD

pytestmark = pytest.mark.one_in(3)


def revoked(racks: Racks, phone: Phone, visit: Visit) -> Page:
    """Greta's phone after its device was revoked and it heard of that; no signal from then on."""
    page = phone.signed_in()
    open_sheet(page, visit)
    device = page.evaluate(f"({DUMP})().then((all) => all.meta.find((one) => one.device).device)")
    phone.context.set_offline(True)
    fill_in(page, next(iter(visit.animals)))
    save(page, next(iter(visit.animals)))
    racks.greta.delete(f"devices/{device}").raise_for_status()
    phone.context.set_offline(False)
    expect(page.get_by_role("heading", name="Log at the racks")).to_be_visible()
    phone.context.set_offline(True)
    return page


def test_signed_out_by_the_server_it_goes_on_without_a_signal(
    racks: Racks, phones: NewPhone
) -> None:
    visit = racks.visit("S-1", "S-2")
    phone = phones("401 (Unauthorized)")
    page = revoked(racks, phone, visit)
    page.close()
    page = phone.tab()
    expect(page.get_by_text("The server signed this phone out.")).to_be_visible()
    link = page.locator(f'[href="#/visit/{visit.id}"]')
    expect(page.get_by_role("listitem").filter(has=link)).to_contain_text("1 of 2 logged")
    open_sheet(page, visit)
    fill_in(page, "S-2", sex="Female")
    save(page, "S-2")
    page.get_by_role("link", name="Entries", exact=True).click()
    expect(page.locator(".state")).to_have_count(2)
    expect(page.locator("#waiting")).to_have_text("2 not sent")
    phone.context.set_offline(False)
    racks.forgive()
    page.get_by_role("link", name="Sign in again").click()
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Visits")).to_be_visible()
    all_sent(page)
    calls = racks.calls_on(visit)
    assert sorted(one.about or "" for one in calls) == sorted(visit.animals.values())
    assert all(one.sig for one in calls)
    expect(page.get_by_text("The server signed this phone out.")).to_be_hidden()


@pytest.mark.one_in(1)
def test_another_keeper_neither_sees_nor_sends_what_waits(racks: Racks, phones: NewPhone) -> None:
    """Nor what was refused: it waits for its own examiner."""
    visit = racks.visit("X-1")
    phone = phones("401 (Unauthorized)")
    page = revoked(racks, phone, visit)
    page.evaluate(REFUSE)
    phone.context.set_offline(False)
    racks.forgive()
    page.reload()
    page.goto(f"{HERE}#/signin")
    page.get_by_label("E-mail").fill("odile@keepers.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("Calls of somebody else wait")
    held = stored(page)
    assert [one["state"] for one in held["outbox"]] == ["refused"]
    assert racks.calls_on(visit) == []


REFUSE = """async () => {
  const open = indexedDB.open("rackside");
  const db = await new Promise((done) => { open.onsuccess = () => done(open.result); });
  const step = db.transaction("outbox", "readwrite");
  const asked = step.objectStore("outbox").getAll();
  asked.onsuccess = () => asked.result.forEach((one) => step.objectStore("outbox")
    .put({...one, state: "refused", problem: {detail: "Not like this."}}));
  await new Promise((done) => { step.oncomplete = done; });
  db.close();
}"""


def carried_off(page: Page) -> dict[str, Any]:
    """The file, before it is deleted on the phone."""
    page.goto(f"{HERE}#/phone")
    leave = page.get_by_role("button", name="Delete them and sign out")
    expect(leave).to_be_disabled()
    with page.expect_download() as got:
        page.get_by_role("button", name="Save them to a file").click()
    assert got.value.suggested_filename.startswith("scalewitness-unsent-")
    expect(leave).to_be_disabled()
    page.get_by_label("I have the file; delete them here").check()
    leave.click()
    expect(page.get_by_role("heading", name="Log at the racks")).to_be_visible()
    assert all(rows == [] for rows in stored(page).values())
    return dict(json.loads(got.value.path().read_text(encoding="utf-8")))


def test_what_waits_can_be_carried_off_before_signing_out(racks: Racks, phone: Phone) -> None:
    """The file holds what a push takes, to the letter: Greta sends it from her desk."""
    visit = racks.visit("E-1")
    page = phone.signed_in()
    open_sheet(page, visit)
    phone.context.set_offline(True)
    fill_in(page, "E-1")
    add(page, grams="420", note="Calm.")
    add_photo(page)
    save(page, "E-1")
    sent = carried_off(page)
    members = {"scalewitness", "server", "keeper", "items", "photos", "practitioners", "shown"}
    assert sent.keys() == members | {"edits", "hatch_days"}
    assert (sent["practitioners"], sent["edits"], sent["hatch_days"]) == ([], [], [])
    assert (sent["scalewitness"], sent["server"]) == ("unsent-1", racks.stack.url)
    assert sent["keeper"] == racks.greta.get("keepers/me").json()["id"]
    kinds = [one["kind"] for one in sent["items"]]
    assert kinds == ["husbandry_noted", "call_made", "photo_attached"]
    racks.push(racks.greta, *sent["items"])
    (photo,) = sent["photos"]
    assert photo["id"] == sent["items"][2]["id"]
    jpeg = base64.b64decode(photo["jpeg"], validate=True)
    as_jpeg = {"Content-Type": "image/jpeg"}
    assert racks.greta.put(f"photos/{photo['id']}", content=jpeg, headers=as_jpeg).is_success
    (call,) = racks.calls_on(visit)
    assert "Calm." in racks.odile.get(f"calls/{call.id}").text
