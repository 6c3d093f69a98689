"""What a phone holds, and what it must not: nothing blind, nothing after the grant is gone."""

import json
import re
from typing import Any

import pytest
from playwright.sync_api import Route, expect
from tests.browser.rackside.conftest import (
    AFTER,
    BEFORE,
    DUMP,
    HERE,
    NewPhone,
    Phone,
    Racks,
    all_sent,
    fill_in,
    open_sheet,
    pick,
    said,
    save,
    stored,
    unfold,
    until,
)
from tests.world import PASSWORD, probing

pytestmark = pytest.mark.one_in(6)


@pytest.mark.one_in(1)
def test_the_blind_are_told_nothing_until_their_own_call_is_in(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("B-1", "B-2")
    for animal, tag in ((visit.animals["B-1"], "B-1"), (visit.animals["B-2"], "B-2")):
        racks.push(racks.odile, said("call_made", animal, probing("female", tag)))
    page = phone.signed_in()
    open_sheet(page, visit)
    held = [one for one in stored(page)["animals"] if one["id"] in visit.animals.values()]
    assert len(held) == 2
    assert "female" not in json.dumps(held)
    assert not any("standing" in one for one in held)
    fill_in(page, "B-1", sex="Female", left=3, right=3)
    save(page, "B-1")
    all_sent(page)
    told = page.get_by_role("listitem").filter(has=page.get_by_role("heading", name="B-1"))
    page.get_by_role("radio", name="Done").check()
    expect(told.last).to_contain_text(re.compile(r"female \(computed by the server\)"))
    animals = {one["id"]: one for one in stored(page)["animals"]}
    assert "standing" in animals[visit.animals["B-1"]]
    assert "standing" not in animals[visit.animals["B-2"]]


@pytest.mark.one_in(1)
def test_a_revoked_visit_is_purged_and_the_call_made_in_time_still_arrives(
    racks: Racks, phone: Phone
) -> None:
    visit = racks.visit("GONE-1", "GONE-2")
    page = phone.signed_in()
    open_sheet(page, visit)
    phone.context.set_offline(True)
    fill_in(page, "GONE-1")
    save(page, "GONE-1")
    racks.push(racks.odile, said("visit_cancelled", visit.id, {}))
    phone.context.set_offline(False)
    all_sent(page)
    expect(page.get_by_role("heading", name="Not here any more")).to_be_visible()
    held = stored(page)
    assert not {one["id"] for one in held["animals"]} & set(visit.animals.values())
    assert visit.animals["GONE-2"] not in json.dumps(held)
    assert "GONE-2" not in json.dumps(held)
    assert len(racks.calls_on(visit)) == 1
    assert [one["state"] for one in held["outbox"]] == ["accepted"]


def test_a_refused_call_waits_for_its_examiner(racks: Racks, phone: Phone) -> None:
    """Examined after the visit was called off: refused. It stays here, to be edited and sent
    anew or put aside; neither happens by itself."""
    visit = racks.visit("R-1", "R-2")
    page = phone.signed_in()
    open_sheet(page, visit)
    page.route("**/api/v1/push", lambda route: route.fulfill(json=refusal(route.request.post_data)))
    for tag in ("R-1", "R-2"):
        fill_in(page, tag)
        save(page, tag)
    expect(page.locator("#waiting")).to_have_text("2 need you")
    page.unroute("**/api/v1/push")
    page.goto(f"{HERE}#/calls")
    expect(page.locator(".state")).to_have_text(
        ["Needs you: Not like this. Look at the depth."] * 2
    )
    page.reload()
    second = page.get_by_role("listitem").filter(has_text="R-2")
    second.get_by_role("button", name="Put it aside").click()
    expect(second.locator(".state")).to_have_text("Put aside")
    page.get_by_role("link", name="Edit and send anew").click()
    expect(page.get_by_label("Male", exact=True)).to_be_checked()
    pick(page, "Conclusion", "Female")
    save(page, "R-1")
    all_sent(page)
    (call,) = racks.calls_on(visit)
    assert call.body["conclusion"] == "female"
    assert call.sig
    page.goto(f"{HERE}#/calls")
    expect(page.locator(".state")).to_have_text(
        [re.compile("^Accepted at"), "Put aside", "Put aside: sent anew"]
    )


def refusal(sent: str | None) -> dict[str, Any]:
    problem = {"detail": "Not like this.", "errors": [{"detail": "Look at the depth."}]}
    items = json.loads(sent or "")["items"]
    return {"items": [{"id": one["id"], "status": "refused", "problem": problem} for one in items]}


def test_a_weight_and_a_note_go_along(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("G-1")
    page = phone.signed_in()
    open_sheet(page, visit)
    fill_in(page, "G-1")
    unfold(page, BEFORE)
    page.get_by_label("Weight in grams").fill("412,5")
    pick(page, "Last meal", "Under 48 h")
    expect(page.get_by_role("status", name="Cautions")).to_contain_text("Fed less than 48 hours")
    unfold(page, AFTER)
    page.get_by_label("Note").fill("Cafe\u0301, tense.")
    save(page, "G-1")
    all_sent(page)
    (call,) = racks.calls_on(visit)
    notes = [one for one in racks.entries("husbandry_noted") if one.about == call.about]
    assert [one.body for one in notes] == [{"noted": {"grams": "412.5", "type": "weight"}}]
    assert re.fullmatch("[0-9a-f]{64}", call.body["note"])
    assert call.sig
    shown = racks.odile.get(f"calls/{call.id}").json()
    assert "Café, tense.\nLast meal, at the check: under 48 h." in json.dumps(
        shown, ensure_ascii=False
    ).replace("\\n", "\n")


def test_a_browser_without_the_signature_sends_unsigned_and_says_so(
    racks: Racks, phone: Phone
) -> None:
    visit = racks.visit("U-1")
    phone.context.add_init_script(
        "SubtleCrypto.prototype.generateKey = async () => {"
        " throw new DOMException('', 'NotSupportedError') }"
    )
    page = phone.signed_in()
    expect(page.locator("#notice")).to_contain_text("calls go unsigned")
    open_sheet(page, visit)
    fill_in(page, "U-1")
    save(page, "U-1")
    all_sent(page)
    (call,) = racks.calls_on(visit)
    assert call.sig is None


def test_signing_out_warns_of_what_is_not_sent_and_leaves_nothing(
    racks: Racks, phone: Phone
) -> None:
    visit = racks.visit("O-1")
    page = phone.signed_in()
    open_sheet(page, visit)
    phone.context.set_offline(True)
    fill_in(page, "O-1")
    save(page, "O-1")
    page.goto(f"{HERE}#/phone")
    leave = page.get_by_role("button", name="Delete them and sign out")
    expect(leave).to_be_disabled()
    page.get_by_label("Lose it").check()
    leave.click()
    expect(page.get_by_role("heading", name="Log at the racks")).to_be_visible()
    assert all(rows == [] for rows in stored(page).values())


def test_an_answer_that_comes_after_signing_out_is_not_kept(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("S-1")
    page = phone.signed_in()
    waiting: list[Route] = []
    page.route("**/api/v1/visits/*/sheet", lambda route: waiting.append(route))
    with page.expect_request("**/api/v1/visits/*/sheet"):
        page.evaluate("dispatchEvent(new Event('online'))")
    until(page, lambda: waiting, "what asks for the sheet")
    page.goto(f"{HERE}#/phone")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Log at the racks")).to_be_visible()
    for one in waiting:
        one.fulfill(json={"visit": {"id": visit.id}, "cautions": [], "animals": []})
    page.wait_for_timeout(500)
    assert all(rows == [] for rows in stored(page).values())


def test_a_revoked_phone_keeps_its_calls_until_its_keeper_signs_in_again(
    racks: Racks, phones: NewPhone
) -> None:
    visit = racks.visit("Q-1")
    phone = phones("401 (Unauthorized)")
    page = phone.signed_in()
    open_sheet(page, visit)
    phone.context.set_offline(True)
    fill_in(page, "Q-1")
    save(page, "Q-1")
    device = page.evaluate(f"({DUMP})().then((all) => all.meta.find((one) => one.device).device)")
    racks.greta.delete(f"devices/{device}").raise_for_status()
    phone.context.set_offline(False)
    expect(page.get_by_text("1 not sent yet: kept here")).to_be_visible()
    racks.forgive()
    page.get_by_label("E-mail").fill("odile@keepers.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("Calls of somebody else wait")
    page.get_by_label("E-mail").fill("greta@keepers.example")
    page.get_by_role("button", name="Sign in").click()
    all_sent(page)
    (call,) = racks.calls_on(visit)
    assert call.sig, "signed anew: the signature names the new device"
    assert call.device != device
