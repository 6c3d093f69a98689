"""The list of a hatch day: put right before anything of it is stated, undone after that, sexed
later; and what whoever is to check the dam blind finds of it."""

import json

import pytest
from playwright.sync_api import FilePayload, Page, expect
from tests.browser.rackside.conftest import (
    HERE,
    Phone,
    Racks,
    all_sent,
    fresh_id,
    moment,
    said,
    stored,
    until,
)
from tests.browser.rackside.hatching import (
    Clutch,
    Thumb,
    answer,
    begin,
    clutch,
    entries_of,
    sex,
    signed_in,
    weigh,
)
from tests.pictures import camera_file

pytestmark = pytest.mark.one_in(3)

REGISTER = "Register 2 young with 2 calls"


def put_right(page: Page, stem: str) -> None:
    """The first is called otherwise and has a photo, of the second nobody could tell, the third is
    left out."""
    page.get_by_role("link", name=f"{stem}-03").click()
    page.get_by_role("button", name="Leave it out of the list").click()
    page.get_by_role("link", name=f"{stem}-02").click()
    page.get_by_label("Could not tell").check()
    page.get_by_role("link", name="Done").click()
    page.get_by_role("link", name=f"{stem}-01").click()
    page.get_by_label("Code of its tub").fill(f"{stem}-X")
    taken: FilePayload = {"name": "snake.jpg", "mimeType": "image/jpeg", "buffer": camera_file()}
    page.get_by_label("Photo of the check").set_input_files(taken)
    expect(page.get_by_role("img", name="Photo 1")).to_be_visible()
    page.get_by_label("Bleeding").check()
    expect(page.get_by_text("stop, and see a veterinarian for reptiles")).to_be_visible()
    page.get_by_role("link", name="Done").click()


def test_live_young_are_put_right_undone_stated_once_and_sexed_again_later(
    racks: Racks, phone: Phone
) -> None:
    made = clutch(racks, "HL", "boa_imperator")
    page = signed_in(phone, made)
    phone.context.set_offline(True)
    thumb = Thumb(page)
    begin(thumb, made, "3")
    weigh(thumb, ["55", "56", "57"])
    expect(page.get_by_role("heading", name="3 born on")).to_be_visible()
    thumb.tap(page.get_by_role("link", name="Sex them"))
    answer(thumb)
    sex(thumb, 3)
    stem = f"HL-D-{moment()[2:4]}"
    put_right(page, stem)
    expect(page.get_by_role("link", name=f"{stem}-X")).to_contain_text("a photo")
    page.get_by_role("button", name=REGISTER).click()
    expect(page.get_by_role("button", name="Register")).to_have_count(0)
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("button", name=REGISTER)).to_be_visible()
    assert stored(page)["outbox"] == []
    page.get_by_role("button", name=REGISTER).click()
    expect(page.get_by_role("button", name="Register")).to_have_count(0)
    phone.context.set_offline(False)
    all_sent(page)
    stated_once(racks, made, stem)
    sexed_again(racks, page, made)


def stated_once(racks: Racks, made: Clutch, stem: str) -> None:
    found = entries_of(racks, made)
    assert sorted(found) == [f"{stem}-02", f"{stem}-X"]
    kinds = ["animal_registered", "identifier_assigned", "husbandry_noted", "call_made"]
    second, first = (of for _, of in sorted(found.items()))
    assert [one.kind for one in second] == kinds
    assert [one.kind for one in first] == [*kinds, "photo_attached"]
    assert first[4].body["of"] == first[3].id
    assert first[3].body["identified"] == {"by": "tag", "code": f"{stem}-X"}
    assert [one[3].body.get("harm") for one in (first, second)] == [["bleeding"], None]
    assert (second[3].body["conclusion"], second[3].body["sureness"]) == ("undetermined", "unsure")
    assert second[3].body["observed"]["seen"] == "nothing"


def sexed_again(racks: Racks, page: Page, made: Clutch) -> None:
    page.get_by_role("button", name="Put this hatch day away").click()
    expect(page.get_by_role("heading", name="Registered, to be sexed")).to_be_visible()
    page.get_by_role("button", name=f"{made.stem}-D").click()
    thumb = Thumb(page)
    assert page.locator("input[type=radio]:checked").count() == 0, "asked anew"
    answer(thumb)
    thumb.press("Hemipenes")
    page.get_by_role("link", name="The list").click()
    page.get_by_role("button", name="Log 1 call").click()
    until(page, lambda: str(stored(page)["outbox"]).count("'call_made'") == 3, "the call")
    all_sent(page)
    calls = [
        one for of in entries_of(racks, made).values() for one in of if one.kind == "call_made"
    ]
    assert len(calls) == 3


def test_whoever_is_to_check_the_dam_blind_is_told_of_no_pairing_and_no_parents(
    racks: Racks, phone: Phone
) -> None:
    blind, other = clutch(racks, "HB"), clutch(racks, "HO")
    greta = racks.greta.get("keepers/me").json()["id"]
    young = fresh_id()
    body = {"collection": other.room, "species": "python_regius", "hatched": moment()[:10]}
    racks.push(
        racks.odile,
        said("grant_given", other.room, {"to": greta, "role": "partner"}),
        said("animal_registered", young, {**body, "dam": blind.dam, "sire": other.sire}),
        said("identifier_assigned", young, {"scheme": "tag", "code": "HO-S-1"}),
    )
    visit = fresh_id()
    asked = {"collection": blind.room, "guest": greta, "animals": [blind.dam], "blind": True}
    span = {"opens": moment(-60), "closes": moment(3600)}
    racks.push(racks.odile, said("visit_invited", visit, {**asked, **span}))
    racks.push(racks.greta, said("visit_accepted", visit, {}))
    page = phone.signed_in()
    until(page, lambda: other.pairing in str(stored(page)["meta"]), "the partner's pairing")
    page.goto(f"{HERE}#/hatch")
    expect(page.locator(f"a[href='#/hatch/new?pairing={other.pairing}']")).to_be_visible()
    assert page.locator(f"a[href='#/hatch/new?pairing={blind.pairing}']").count() == 0
    page.get_by_role("button", name="HO-S-1").click()
    expect(page.get_by_role("heading", name="HO-S-1")).to_be_visible()
    held = stored(page)
    (sitting,) = held["sittings"]
    assert [one["code"] for one in sitting["young"]] == ["HO-S-1"]
    assert blind.dam not in json.dumps([held["sittings"], held["meta"], held["facts"]])
    page.goto(f"{HERE}#/hatch?role=dam")
    expect(page.get_by_role("link", name="HO-D")).to_be_visible()
    assert page.get_by_role("link", name="HB-D").count() == 0
