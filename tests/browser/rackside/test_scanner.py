"""Readers that plug in as a keyboard: what they type opens that animal, from anywhere in the app,
and neither sends a form nor leaves anything in a field. When each key is struck is stated to the
browser, so that a busy machine makes no hand of a reader."""

import json
import time

import pytest
from playwright.sync_api import Page, expect
from tests.browser.rackside.conftest import (
    HERE,
    Phone,
    Racks,
    Visit,
    all_sent,
    draft_kept,
    fill_in,
    fresh_id,
    open_sheet,
    pick,
    said,
    save,
    stored,
    until,
)

pytestmark = pytest.mark.one_in(6)

READER, HAND = 0.012, 0.18
"""Seconds between two keys."""
CHIPS = ("276098100000021", "276098100000022", "276098100000023")
"""ICAR's test range of ISO 11784; nobody's."""


def typed(page: Page, text: str, gap: float = READER) -> None:
    """So many keys, and Enter, at that pace; the last was struck just now."""
    keyboard = page.context.new_cdp_session(page)
    at = time.time() - (len(text) + 1) * gap
    for sign in [*text, "\r"]:
        key = {"key": "Enter", "windowsVirtualKeyCode": 13} if sign == "\r" else {"key": sign}
        struck = {**key, "timestamp": at}
        keyboard.send("Input.dispatchKeyEvent", {"type": "keyDown", "text": sign, **struck})
        keyboard.send("Input.dispatchKeyEvent", {"type": "keyUp", **struck})
        at += gap
    keyboard.detach()


def chipped(racks: Racks, *tags: str, blind: bool = True) -> Visit:
    visit = racks.visit(*tags, blind=blind)
    for tag, chip in zip(tags, CHIPS, strict=False):
        mark = {"scheme": "transponder", "code": chip}
        racks.push(racks.odile, said("identifier_assigned", visit.animals[tag], mark))
    return visit


def unchipped(racks: Racks, visit: Visit) -> None:
    """The next test's animals bear the same numbers."""
    for animal, chip in zip(visit.animals.values(), CHIPS, strict=False):
        mark = {"scheme": "transponder", "code": chip}
        racks.push(racks.odile, said("identifier_withdrawn", animal, mark))


def is_at(page: Page, tag: str) -> None:
    expect(page.get_by_role("heading", name=tag, exact=True, level=1)).to_be_visible()


def test_a_burst_opens_that_animal_from_anywhere_and_the_next_replaces_it(
    racks: Racks, phone: Phone
) -> None:
    visit = chipped(racks, "RA-1", "RA-2", "RA-3")
    page = phone.signed_in()
    open_sheet(page, visit)
    phone.context.set_offline(True)
    typed(page, CHIPS[0])
    is_at(page, "RA-1")
    expect(page.get_by_label("Transponder read")).to_be_checked()
    expect(page.get_by_label("The code you read")).to_have_value(CHIPS[0])
    pick(page, "Who holds it", "A second person")
    typed(page, CHIPS[1])  # with focus on a choice of the form
    is_at(page, "RA-2")
    draft_kept(page, '"held_by": "second_person"')
    page.goto(f"{HERE}#/phone")
    typed(page, "RA-3")  # the label on its tub
    is_at(page, "RA-3")
    expect(page.get_by_label("Tub tag read: RA-3")).to_be_checked()
    expect(page.get_by_label("Transponder read")).not_to_be_checked()
    typed(page, CHIPS[2])  # the snake itself, within the check
    expect(page.get_by_label("Transponder read")).to_be_checked()
    is_at(page, "RA-3")
    assert stored(page)["outbox"] == []
    unchipped(racks, visit)


def test_a_burst_leaves_a_field_as_it_was_and_saves_nothing(racks: Racks, phone: Phone) -> None:
    visit = chipped(racks, "RB-1", "RB-2")
    page = phone.signed_in()
    open_sheet(page, visit)
    fill_in(page, "RB-1")
    depth = page.get_by_label("Left: depth in scales")
    for place in (page.get_by_label("The code you read"), depth):
        place.focus()
        typed(page, CHIPS[0])
        expect(page.get_by_label("The code you read")).to_have_value(CHIPS[0])
        expect(depth).to_have_value("9")
        is_at(page, "RB-1")
    page.get_by_role("button", name="Save the call").focus()
    typed(page, CHIPS[0])
    is_at(page, "RB-1")
    assert stored(page)["outbox"] == []
    page.goto(f"{HERE}#/visit/{visit.id}")
    search = page.get_by_label("Find by tag")
    search.fill("RB")
    typed(page, CHIPS[1])
    is_at(page, "RB-2")
    page.go_back()
    expect(search).to_have_value("")
    unchipped(racks, visit)


def test_a_hand_is_no_reader(racks: Racks, phone: Phone) -> None:
    visit = chipped(racks, "RC-1", "RC-2")
    page = phone.signed_in()
    open_sheet(page, visit)
    fill_in(page, "RC-1")
    pick(page, "How you knew it", "Transponder read")
    page.get_by_label("The code you read").focus()
    typed(page, CHIPS[1], HAND)
    is_at(page, "RC-1")
    expect(page.get_by_label("The code you read")).to_have_value(CHIPS[1])
    expect(page.get_by_text("This transponder is that of RC-2.")).to_be_visible()
    assert stored(page)["outbox"] == []
    unchipped(racks, visit)


def test_only_a_reading_within_this_check_is_one_of_the_transponder(
    racks: Racks, phone: Phone
) -> None:
    """A search by its number found the tub's row; a reading before another check is not of this."""
    visit = chipped(racks, "RD-1", "RD-2")
    page = phone.signed_in()
    open_sheet(page, visit)
    page.get_by_label("Find by tag").fill(CHIPS[0])
    page.get_by_role("link", name="Log a call on RD-1", exact=True).click()
    expect(page.get_by_label("Tub tag read: RD-1")).to_be_checked()
    typed(page, CHIPS[1])
    is_at(page, "RD-2")
    expect(page.get_by_label("Transponder read")).to_be_checked()
    page.goto(f"{HERE}#/log/{visit.id}/{visit.animals['RD-1']}")
    is_at(page, "RD-1")
    expect(page.get_by_label("Transponder read")).not_to_be_checked()
    unknown = "276098100000099"
    typed(page, unknown)  # of no animal here: what was read is noted as it is
    expect(page.get_by_label("The code you read")).to_have_value(unknown)
    expect(page.get_by_text("This is not the transponder on record")).to_be_visible()
    unchipped(racks, visit)


def test_a_code_that_is_nobodys_is_attached_or_registered(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("RE-1")
    page = phone.signed_in("odile")
    expect(page.get_by_role("link", name="Animals")).to_be_visible()
    phone.context.set_offline(True)
    number, tag = "276098100000031", f"RE-{fresh_id()[-6:]}"
    typed(page, number)
    expect(page.get_by_text("No animal here bears this code.")).to_be_visible()
    page.get_by_label("Find by tag").fill("RE-1")
    page.get_by_role("button", name="Attach it to RE-1").click()
    expect(page.locator("#announcement")).to_have_text("RE-1: saved here.")
    typed(page, tag)
    page.get_by_role("button", name="Register it").click()
    expect(page.locator("#announcement")).to_have_text(f"{tag}: saved here.")
    typed(page, tag)  # once more, by mistake
    expect(page.get_by_text("It was given to an animal on this phone")).to_be_visible()
    expect(page.get_by_role("button", name="Register it")).to_have_count(0)
    phone.context.set_offline(False)
    all_sent(page)
    given = {str(one.body["code"]): one for one in racks.entries("identifier_assigned")}
    assert given[number].body["scheme"] == "transponder"
    assert given[number].about == visit.animals["RE-1"]
    (registered,) = [
        one for one in racks.entries("animal_registered") if one.about == given[tag].about
    ]
    assert registered.body["species"] == "python_regius"
    until(page, lambda: tag in json.dumps(stored(page)["animals"]), "the feed to bring it")
    typed(page, tag)
    is_at(page, tag)
    page.get_by_role("link", name="Log a call").click()  # opened by a touch: read what you check
    expect(page.get_by_role("button", name="Save the call")).to_be_visible()
    assert page.locator("[data-field=identified] :checked").count() == 0


def test_a_guest_is_offered_no_registering(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("RF-1")
    page = phone.signed_in()
    open_sheet(page, visit)
    typed(page, "nobody-1")
    expect(page.get_by_text("No animal here bears this code.")).to_be_visible()
    expect(page.get_by_role("button", name="Register it")).to_have_count(0)
    page.get_by_role("link", name="Odile").first.click()
    expect(page.get_by_label("Find by tag")).to_be_visible()


def test_save_and_next_goes_on_to_the_next_not_done(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("RG-1", "RG-2", "RG-3")
    page = phone.signed_in()
    open_sheet(page, visit)
    fill_in(page, "RG-2")
    page.get_by_role("button", name="Save and next").click()
    is_at(page, "RG-3")
    expect(page.locator("#announcement")).to_have_text("RG-2: saved here.")
    typed(page, "RG-1")
    is_at(page, "RG-1")
    open_sheet(page, visit)
    fill_in(page, "RG-3")
    page.get_by_role("button", name="Save and next").click()
    is_at(page, "RG-1")
    open_sheet(page, visit)
    fill_in(page, "RG-1")
    expect(page.get_by_role("button", name="Save and next")).to_have_count(0)
    save(page, "RG-1")
