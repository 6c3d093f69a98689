"""Care of one's own animals at the racks, with and without a signal: each note reaches the log
once, signed, whatever comes between."""

import json
import re
import time
from dataclasses import dataclass

import pytest
from playwright.sync_api import Page, Route, expect
from tests.browser.rackside.conftest import (
    HERE,
    NewPhone,
    Phone,
    Racks,
    Visit,
    all_sent,
    fresh_id,
    hurried,
    moment,
    open_sheet,
    said,
    stored,
    ten_seconds_later,
    until,
    wrong_clock,
)
from tests.pictures import body_of, plain_file
from tests.world import probing

from scalewitness.domain.moments import parse_moment
from scalewitness.domain.translog.leaf import Leaf

pytestmark = pytest.mark.one_in(6)

AWAY = "net::ERR_FAILED"


@dataclass(frozen=True)
class Kept:
    """A collection, and its animals by tag."""

    home: str
    animals: dict[str, str]


def kept_at(racks: Racks, *places: str) -> Kept:
    """Odile's animals, each tagged as the tub that it is in."""
    made = Kept(fresh_id(), {place: fresh_id() for place in places})
    racks.odile.post("collections", json={"id": made.home, "name": "Room"}).raise_for_status()
    registered = {"collection": made.home, "species": "python_regius"}
    for place, animal in made.animals.items():
        tag = {"scheme": "tag", "code": place}
        first = said("animal_registered", animal, registered)
        racks.push(racks.odile, first, said("identifier_assigned", animal, tag))
        racks.odile.patch(
            f"animals/{animal}", json={"rack": place}, headers={"If-Match": '"v1"'}
        ).raise_for_status()
    return made


def at_the_racks(phone: Phone, kept: Kept) -> Page:
    """Signed in, with all of Odile's animals here, and then without a signal."""
    page = phone.signed_in("odile")
    here = set(kept.animals.values())
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
    kept = kept_at(racks, "C1-1")
    animal = kept.animals["C1-1"]
    page = at_the_racks(phone, kept)
    page.get_by_role("link", name="Animals").click()
    page.get_by_role("link", name="C1-1", exact=True).click()  # one tap, and a second
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
    assert ("bowl" in str(entries), len(entries[-1].body["note"])) == (False, 64)
    expect(page.get_by_text("Note: Rests its head on the bowl.")).to_have_count(1)
    until(page, lambda: "Odile" in page.locator(".told").last.inner_text(), "it to come back")
    expect(page.get_by_text("Checked by this phone: complete and unaltered")).to_be_visible()
    expect(page.locator("#notice")).not_to_contain_text("Alarm")


def test_a_glove_that_taps_twice_notes_once_and_undo_takes_it_back(
    racks: Racks, phone: Phone
) -> None:
    kept = kept_at(racks, "C2-1")
    animal = kept.animals["C2-1"]
    page = at_the_racks(phone, kept)
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
    kept = kept_at(racks, "C3-1")
    animal = kept.animals["C3-1"]
    racks.push(racks.odile, said("husbandry_noted", animal, {"noted": weight("412")}))
    page = at_the_racks(phone, kept)
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
    kept = kept_at(racks, "F1-10", "F1-2", "F1-1", "F1-3", "F2-1")
    racks.push(
        racks.odile,
        said(
            "husbandry_noted", kept.animals["F1-3"], {"noted": {"type": "shed", "stage": "opaque"}}
        ),
    )
    page = at_the_racks(phone, kept)
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
        tag: [one.body["noted"] for one in noted_of(racks, id)] for tag, id in kept.animals.items()
    }
    taken, refused = ({"type": "meal", "taken": one} for one in (True, False))
    assert fed["F1-1"] == fed["F1-10"] == [taken]
    assert (fed["F1-2"], fed["F2-1"]) == ([refused], [])
    assert all(
        one.sig
        for id in kept.animals.values()
        for one in noted_of(racks, id)[-1:]
        if id != kept.animals["F1-3"]
    )


def test_care_is_stored_whole_or_not_at_all_wherever_a_tab_is_killed(
    racks: Racks, phone: Phone
) -> None:
    kept = kept_at(racks, *(f"K1-{tub}" for tub in range(1, 6)))
    page = at_the_racks(phone, kept)
    page.goto(f"{HERE}#/rack/K1")
    expect(page.get_by_role("button", name="Save: 5 taken")).to_be_visible()
    page.evaluate("document.querySelector('.bar button').click()")
    page.close()  # at the tap
    page, other = phone.tab("#/rack/K1"), phone.tab("#/rack/K1")
    expect(page.locator(".fed li")).to_have_count(5)
    here = stored(page)["outbox"]
    assert len(here) in {0, 5}
    if not here:
        press(page, "Save: 5 taken")
    for tab in (page, other):
        expect(tab.get_by_role("button", name="Save: 5 left out")).to_be_disabled()
    open_animal(page, kept.animals["K1-1"], "K1-1")
    press(page, "Shed")
    page.close()  # once it was stored, or before
    shed = sum(one["shown"]["line"] == "Shed its skin" for one in stored(other)["outbox"])
    phone.context.set_offline(False)
    all_sent(other)
    entries = [noted_of(racks, id) for id in kept.animals.values()]
    assert [len(one) for one in entries] == [1 + shed, 1, 1, 1, 1]
    assert all(one.sig for each in entries for one in each)


def test_care_is_in_the_log_once_whatever_answer_is_lost(racks: Racks, phones: NewPhone) -> None:
    phone = phones(AWAY)
    hurried(phone)
    kept = kept_at(racks, "K2-1", "K2-2")
    page = at_the_racks(phone, kept)
    page.goto(f"{HERE}#/rack/K2")
    press(page, "Save: 2 taken")
    announced(page, "K2: 2 taken, saved here.")
    pushes: list[str] = []

    def lost(route: Route) -> None:
        pushes.append(route.request.post_data or "")
        if len(pushes) > 2:
            route.continue_()
            return
        route.fetch()
        route.abort()

    phone.context.route("**/api/v1/push", lost)
    phone.context.set_offline(False)
    ten_seconds_later(page)
    until(page, lambda: pushes, "the first answer to be lost")
    page.close()  # before it heard
    page = phone.tab("#/calls")
    all_sent(page)
    assert len(pushes) > 2
    entries = [noted_of(racks, id) for id in kept.animals.values()]
    assert [[one.body["noted"]["type"] for one in each] for each in entries] == [["meal"]] * 2
    assert all(one.sig for each in entries for one in each)


@pytest.mark.one_in(1)
def test_a_partner_cares_too_and_nothing_is_left_once_they_are_to_check_it_blind(
    racks: Racks, phone: Phone
) -> None:
    kept = kept_at(racks, "P1-1")
    animal = kept.animals["P1-1"]
    racks.push(racks.odile, said("call_made", animal, probing("female", "P1-1")))
    greta = str(racks.greta.get("keepers/me").json()["id"])
    grant = said("grant_given", kept.home, {"to": greta, "role": "partner"})
    racks.push(racks.odile, grant)
    page = phone.signed_in()
    here = lambda: [one for one in stored(page)["facts"] if one["about"] == animal]  # noqa: E731
    until(page, here, "the facts")
    open_animal(page, animal, "P1-1")
    calls = page.locator("section section").filter(has_text="Calls")
    for told in ("Female, certain", "Probing: left 3, right 2.5", "Odile"):
        expect(calls).to_contain_text(told)
    expect(page.get_by_text("Checked by this phone: complete and unaltered")).to_be_visible()
    press(page, "Meal taken")
    announced(page, "P1-1: meal taken, saved here.")
    all_sent(page)
    assert [one.by for one in noted_of(racks, animal)] == [greta]
    racks.push(racks.odile, said("grant_revoked", kept.home, {"grant": grant["id"]}))
    expect(page.get_by_role("heading", name="Not here")).to_be_visible()
    expect(page.get_by_text("Female")).to_have_count(0)
    visit = blind_visit(racks, kept, greta)
    open_sheet(page, visit)
    assert here() == []
    held = stored(page)
    mine = [one for name in ("animals", "facts", "proved") for one in held[name]]
    assert "female" not in json.dumps([one for one in mine if animal in json.dumps(one)])
    page.goto(f"{HERE}#/own/{animal}")
    expect(page.get_by_role("heading", name="Not here")).to_be_visible()


def blind_visit(racks: Racks, kept: Kept, guest: str) -> Visit:
    body = {
        "collection": kept.home,
        "guest": guest,
        "animals": list(kept.animals.values()),
        "opens": moment(-60),
        "closes": moment(3600),
        "blind": True,
    }
    made = Visit(fresh_id(), kept.animals)
    racks.push(racks.odile, said("visit_invited", made.id, body))
    racks.push(racks.greta, said("visit_accepted", made.id, {}))
    return made


def test_a_photo_that_was_seen_is_there_without_a_signal_too(racks: Racks, phone: Phone) -> None:
    kept = kept_at(racks, "S1-1")
    animal = kept.animals["S1-1"]
    data = plain_file(900, 600)
    photo = said("photo_attached", animal, body_of(data))
    other = said("photo_attached", animal, body_of(plain_file(90, 60)))
    racks.push(racks.odile, photo, other)
    headers = {"Content-Type": "image/jpeg"}
    racks.odile.put(f"photos/{photo['id']}", content=data, headers=headers).raise_for_status()
    phone.expected += ("404 (Not Found)",)
    page = phone.signed_in("odile")
    until(page, lambda: len(stored(page)["facts"]) >= 2, "the facts")
    open_animal(page, animal, "S1-1")
    image = page.locator(".thumbs img")
    expect(image).to_have_js_property("naturalWidth", 320)
    expect(page.get_by_text("The picture itself is not there.")).to_be_visible()
    phone.context.set_offline(True)
    page.reload()
    expect(image).to_have_js_property("naturalWidth", 320)
    expect(page.get_by_text("Not seen on this phone yet")).to_be_visible()


def test_a_note_by_a_clock_that_is_ahead_is_sent_with_its_time_put_right(
    racks: Racks, phone: Phone
) -> None:
    kept = kept_at(racks, "W1-1")
    animal = kept.animals["W1-1"]
    wrong_clock(phone, 2 * 86_400)
    page = phone.signed_in("odile")
    expect(page.get_by_role("link", name="Animals")).to_be_visible()
    until(page, lambda: animal in str(stored(page)["animals"]), "the animal")
    open_animal(page, animal, "W1-1")
    press(page, "Shed")
    announced(page, "W1-1: shed its skin, saved here.")
    ten_seconds_later(page)
    expect(page.locator("#waiting")).to_have_text("1 needs you")
    page.goto(f"{HERE}#/calls")
    press(page, "Send with the corrected time")
    all_sent(page)
    (note,) = noted_of(racks, animal)
    assert (note.body["noted"]["stage"], note.sig is not None) == ("shed", True)
    assert abs(parse_moment(note.at).timestamp() - time.time()) < 600
