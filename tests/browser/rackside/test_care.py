"""Care of one's own animals at the racks, with and without a signal: each note reaches the log
once, signed, whatever comes between."""

import re

from playwright.sync_api import Page, expect
from tests.browser.rackside.conftest import (
    HERE,
    Phone,
    Racks,
    Visit,
    all_sent,
    said,
    stored,
    until,
)

from scalewitness.domain.translog.leaf import Leaf


def kept_at(racks: Racks, *places: str) -> Visit:
    """Odile's animals, each tagged as the tub that it is in."""
    visit = racks.visit(*places)
    for place, animal in visit.animals.items():
        racks.odile.patch(
            f"animals/{animal}", json={"rack": place}, headers={"If-Match": '"v1"'}
        ).raise_for_status()
    return visit


def at_the_racks(phone: Phone, visit: Visit) -> Page:
    """Signed in, with all of Odile's animals here, and then without a signal."""
    page = phone.signed_in("odile")
    here = set(visit.animals.values())
    until(page, lambda: here <= {one["id"] for one in stored(page)["animals"]}, "the animals")
    expect(page.get_by_role("link", name="Animals")).to_be_visible()
    phone.context.set_offline(True)
    return page


def open_animal(page: Page, animal: str, tag: str) -> None:
    page.goto(f"{HERE}#/own/{animal}")
    expect(page.get_by_role("heading", name=tag, exact=True)).to_be_visible()


def press(page: Page, label: str) -> None:
    page.get_by_role("button", name=label, exact=True).click()


def announced(page: Page, text: str) -> None:
    expect(page.locator("#announcement")).to_have_text(text)


def noted_of(racks: Racks, animal: str) -> list[Leaf]:
    return [one for one in racks.entries("husbandry_noted") if one.about == animal]


def test_care_is_noted_without_a_signal_and_signed(racks: Racks, phone: Phone) -> None:
    visit = kept_at(racks, "C1-1")
    animal = visit.animals["C1-1"]
    page = at_the_racks(phone, visit)
    open_animal(page, animal, "C1-1")
    press(page, "Meal refused")
    announced(page, "C1-1: meal refused, saved here.")
    press(page, "Opaque")
    announced(page, "C1-1: in shed: opaque, saved here.")
    page.get_by_role("link", name="Weight").click()
    for key in ("4", "1", "2", "point", "5"):
        press(page, key)
    press(page, "Save")
    announced(page, "C1-1: weight 412.5 g, saved here.")
    expect(page.locator("dl")).to_contain_text("412.5 g, today")
    page.get_by_role("link", name="Note").click()
    press(page, "Save")
    expect(page.get_by_text("Write what you noticed.")).to_be_visible()
    page.get_by_label("What you noticed").fill("Rests its head on the bowl.")
    press(page, "Save")
    expect(page.get_by_text("Note: Rests its head on the bowl.")).to_be_visible()
    phone.context.set_offline(False)
    all_sent(page)
    entries = noted_of(racks, animal)
    assert [one.body["noted"] for one in entries] == [
        {"type": "meal", "taken": False},
        {"type": "shed", "stage": "opaque"},
        {"type": "weight", "grams": "412.5"},
        {"type": "remark"},
    ]
    assert all(one.sig for one in entries)
    assert "bowl" not in str(entries)
    assert len(entries[-1].body["note"]) == 64
    expect(page.get_by_text("Note: Rests its head on the bowl.")).to_have_count(1)
    until(page, lambda: "Odile" in page.locator(".told").last.inner_text(), "it to come back")


def test_a_glove_that_taps_twice_notes_once_and_undo_takes_it_back(
    racks: Racks, phone: Phone
) -> None:
    visit = kept_at(racks, "C2-1")
    animal = visit.animals["C2-1"]
    page = at_the_racks(phone, visit)
    open_animal(page, animal, "C2-1")
    page.get_by_role("button", name="Meal taken").dblclick()
    announced(page, "C2-1: meal taken, saved here.")
    press(page, "Meal taken")
    assert len(stored(page)["outbox"]) == 1
    press(page, "Undo")
    expect(page.locator("#announcement")).to_contain_text("C2-1")
    assert stored(page)["outbox"] == []
    expect(page.locator("dl")).to_have_count(0)
    press(page, "Meal taken")
    announced(page, "C2-1: meal taken, saved here.")
    phone.context.set_offline(False)
    all_sent(page)
    assert len(noted_of(racks, animal)) == 1


def test_a_weight_is_changed_until_it_is_sent(racks: Racks, phone: Phone) -> None:
    visit = kept_at(racks, "C3-1")
    animal = visit.animals["C3-1"]
    racks.push(racks.odile, said("husbandry_noted", animal, {"noted": weight("412")}))
    page = at_the_racks(phone, visit)
    page.goto(f"{HERE}#/own/{animal}/weight")
    expect(page.get_by_text("Last: 412 g, today.")).to_be_visible()
    for key in ("4", "1", "2", "0"):
        press(page, key)
    expect(
        page.get_by_text("That is far from the last, 412 g. Save it if it is so.")
    ).to_be_visible()
    press(page, "Save")
    announced(page, "C3-1: weight 4120 g, saved here.")
    page.goto(f"{HERE}#/calls")
    press(page, "Change it")
    press(page, "delete")
    press(page, "Save")
    announced(page, "C3-1: weight 412 g, saved here.")
    phone.context.set_offline(False)
    all_sent(page)
    assert [one.body["noted"] for one in noted_of(racks, animal)] == [weight("412")] * 2


def weight(grams: str) -> dict[str, str]:
    return {"type": "weight", "grams": grams}


def test_a_rack_is_fed_in_one_go_with_exceptions(racks: Racks, phone: Phone) -> None:
    visit = kept_at(racks, "F1-10", "F1-2", "F1-1", "F1-3", "F2-1")
    racks.push(
        racks.odile,
        said(
            "husbandry_noted", visit.animals["F1-3"], {"noted": {"type": "shed", "stage": "opaque"}}
        ),
    )
    page = at_the_racks(phone, visit)
    page.goto(f"{HERE}#/rack/F1")
    rows = page.locator(".fed li")
    expect(rows).to_have_text(
        [
            re.compile(rf"F1-{tub} · F1-{tub}{why}.*{fed}")
            for tub, why, fed in (
                (1, "", "Taken"),
                (2, "", "Taken"),
                (3, "In shed: opaque", "Not fed"),
                (10, "", "Taken"),
            )
        ]
    )
    rows.nth(1).get_by_role("button").click()
    press(page, "Save: 2 taken, 1 refused, 1 left out")
    announced(page, "F1: 2 taken, 1 refused, saved here.")
    page.goto(f"{HERE}#/rack/F1")
    expect(page.get_by_role("button", name=re.compile("^Save"))).to_be_disabled()
    expect(rows.nth(1)).to_contain_text("Meal refused today")
    phone.context.set_offline(False)
    all_sent(page)
    fed = {
        tag: [one.body["noted"] for one in noted_of(racks, id)] for tag, id in visit.animals.items()
    }
    taken, refused = ({"type": "meal", "taken": one} for one in (True, False))
    assert fed["F1-1"] == fed["F1-10"] == [taken]
    assert (fed["F1-2"], fed["F2-1"]) == ([refused], [])
    assert all(
        one.sig
        for id in visit.animals.values()
        for one in noted_of(racks, id)[-1:]
        if id != visit.animals["F1-3"]
    )
