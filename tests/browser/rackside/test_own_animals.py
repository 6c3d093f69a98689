"""A keeper's own animals on the phone: what a laboratory or veterinarian found is reported from
there too, with or without a signal."""

import re

import pytest
from playwright.sync_api import Page, expect
from tests.browser.rackside.conftest import (
    Phone,
    Racks,
    Visit,
    all_sent,
    draft_kept,
    open_sheet,
    pick,
)

pytestmark = pytest.mark.one_in(6)

WORD = re.compile("Until they confirm it, .* it is your word and verifies nothing")
LAB = "Larkmoor marker laboratory"


def form_of(page: Page, visit: Visit, tag: str) -> None:
    """Another test's animal may bear the same tag: the racks are shared."""
    page.get_by_role("link", name="Animals", exact=True).first.click()
    page.get_by_label("Find by tag, transponder or name").fill(tag)
    page.locator(f'.row [href="#/own/{visit.animals[tag]}"]').click()
    page.get_by_role("link", name="Log a call").click()


def fill_in_a_test(page: Page, name: str = LAB) -> None:
    page.get_by_label("Method").select_option("dna")
    pick(page, "Sex chromosomes", "ZW: the female has two kinds")
    pick(page, "Sample", "Shed skin")
    pick(page, "Found", "Two kinds of sex chromosome")
    page.get_by_label("Marker, if you know").fill("W-12/3")
    page.get_by_label("Times run, if you know").fill("3")
    page.get_by_label("Controls that failed, if you know").fill("0")
    pick(page, "Conclusion", "Female")
    pick(page, "How sure", "Certain")
    pick(page, "Who had told you its sex before", "Nobody")
    pick(page, "How you knew it", "Keeper told me")
    pick(page, "Whose check was it", "A laboratory's")
    page.get_by_label("Their name").fill(name)


def test_a_laboratorys_test_is_reported_without_a_signal_and_named_once(
    racks: Racks, phone: Phone
) -> None:
    visit = racks.visit("R-1", "R-2")
    page = phone.signed_in("odile")
    expect(page.get_by_role("link", name="Animals", exact=True)).to_be_visible()
    phone.context.set_offline(True)
    for tag in visit.animals:
        form_of(page, visit, tag)
        fill_in_a_test(page, "")
        page.get_by_role("button", name="Save the call").click()
        expect(page.get_by_role("alert")).to_contain_text("Say whose check it was.")
        page.get_by_label("Their name").fill(LAB)
        expect(page.locator("main").get_by_text(WORD)).to_be_visible()
        page.get_by_role("button", name="Save the call").click()
        expect(page.locator("#announcement")).to_contain_text(WORD)
        page.get_by_role("link", name="Visits").first.click()
    phone.context.set_offline(False)
    all_sent(page)
    first, second = racks.calls_on(visit)
    assert first.body["observed"] == {
        "method": "dna",
        "system": "ZW",
        "sample": "shed",
        "found": "heterogametic",
        "marker": "W-12/3",
        "replicates": 3,
        "failed_controls": 0,
    }
    assert first.body["reported"]["role"] == "laboratory"
    assert first.body["reported"] == second.body["reported"]
    assert (first.body["held_by"], first.sig is not None) == ("not_held", True)
    assert "visit" not in first.body
    assert LAB not in str(racks.entries())
    assert {"id": first.body["reported"]["who"], "name": LAB} in racks.odile.get(
        "practitioners"
    ).json()["items"]
    (call,) = racks.odile.get(f"animals/{first.about}/calls").json()["items"]
    assert (call["examiner"]["name"], call["report"]) == (LAB, "unconfirmed")
    assert phone.complaints == []


def test_a_test_of_parents_is_the_laboratorys_and_concludes_by_itself(
    racks: Racks, phone: Phone
) -> None:
    visit = racks.visit("R-3")
    page = phone.signed_in("odile")
    form_of(page, visit, "R-3")
    page.get_by_label("Method").select_option("parentage")
    expect(page.get_by_role("group", name="Conclusion")).to_be_hidden()
    expect(page.get_by_role("group", name="Whose check was it")).to_be_hidden()
    pick(page, "Found", "Father")
    page.get_by_label("Young tested").fill("0")
    for exclusion in ("Other males ruled out", "Stored sperm ruled out"):
        pick(page, exclusion, "Yes")
    pick(page, "Young without a father ruled out", "No")
    pick(page, "Who had told you its sex before", "Nobody")
    pick(page, "How you knew it", "Keeper told me")
    page.get_by_label("Their name").fill(LAB)
    page.get_by_role("button", name="Save the call").click()
    expect(page.get_by_role("alert")).to_contain_text("Young tested: say it.")
    page.get_by_label("Young tested").fill("4")
    page.get_by_role("button", name="Save the call").click()
    expect(page.locator("#announcement")).to_contain_text("R-3: saved here.")
    all_sent(page)
    (call,) = racks.calls_on(visit)
    assert (call.body["conclusion"], call.body["sureness"]) == ("male", "certain")
    assert call.body["reported"]["role"] == "laboratory"
    assert call.body["observed"]["parthenogenesis_excluded"] is False


def test_a_guest_reports_nothing_and_has_no_animals_of_their_own(
    racks: Racks, phone: Phone
) -> None:
    visit = racks.visit("R-4")
    page = phone.signed_in("greta")
    expect(page.get_by_role("link", name="Animals", exact=True)).to_have_count(0)
    open_sheet(page, visit)
    page.get_by_role("link", name="Log a call on R-4").click()
    methods = page.get_by_label("Method").locator("option")
    assert not {"dna", "endoscopy", "parentage", "statement"} & {
        one.get_attribute("value") or "" for one in methods.all()
    }
    expect(page.get_by_text("Whose check was it")).to_have_count(0)
    page.goto(f"/rackside/#/log/own/{visit.animals['R-4']}")
    expect(page.get_by_role("heading", name="Not here any more")).to_be_visible()


def test_what_is_being_filled_in_outlives_a_closed_page(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("R-5")
    page = phone.signed_in("odile")
    form_of(page, visit, "R-5")
    fill_in_a_test(page)
    draft_kept(page, LAB, "W-12/3")
    page.reload()
    expect(page.get_by_label("Their name")).to_have_value(LAB)
    expect(page.get_by_label("Marker, if you know")).to_have_value("W-12/3")
