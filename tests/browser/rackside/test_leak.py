"""The store of a blind guest's phone, opened whole: of an animal with a rich history it holds what
it holds of its bare twin. The guest keeps animals of their own, and looked around."""

import json
from typing import Any

from playwright.sync_api import Page, expect
from tests.browser.rackside.conftest import (
    HERE,
    Phone,
    Racks,
    Visit,
    fresh_id,
    open_sheet,
    said,
    stored,
    until,
)
from tests.world import probing

RICH, BARE, YOUNG, MALE, OWN = "Bramble", "Heather", "Sorrel", "Teasel", "Yarrow"
WORDS = ("female", "verified", "probable", "albino", "standing_changed", "sire", "dam", "p_male")


def test_of_a_rich_history_the_phone_holds_what_it_holds_of_none(
    racks: Racks, phone: Phone
) -> None:
    visit = racks.visit(RICH, BARE)
    hidden = rich_history(racks, visit)
    own = greta_keeps(racks)
    page = phone.signed_in()
    until(page, lambda: own in json.dumps(stored(page)["facts"]), "the own animal's facts")
    look_around(page, visit)
    held = stored(page)
    assert held["facts"], "nothing is shown by an empty store"
    assert held["drafts"], "a check was begun on each"
    assert twins(held, visit)[0] == twins(held, visit)[1]
    for name, records in held.items():
        text = json.dumps(records)
        assert text.count(visit.animals[RICH]) == text.count(visit.animals[BARE]), name
        assert [id for id in hidden if id in text] == [], name
        about = [one for one in records if visit.animals[RICH] in json.dumps(one)]
        assert [word for word in WORDS if f'"{word}' in json.dumps(about).lower()] == [], name


def rich_history(racks: Racks, visit: Visit) -> list[str]:
    """All that a blind examiner must not learn of; the ids of it."""
    rich, bare = visit.animals[RICH], visit.animals[BARE]
    home = racks.odile.get(f"animals/{rich}").json()["collection"]["id"]
    young, male, pairing = fresh_id(), fresh_id(), fresh_id()
    registered = {"collection": home, "species": "python_regius"}
    told = [
        said("call_made", rich, probing("female", RICH)),
        said("call_made", rich, probing("female", RICH)),
        said("trait_stated", rich, {"locus": "albino", "says": "carries_one", "basis": "parents"}),
        said("animal_registered", male, registered),
        said("identifier_assigned", male, {"scheme": "tag", "code": MALE}),
        said("animal_registered", young, {**registered, "dam": rich, "hatched": "2026-06-01"}),
        said("identifier_assigned", young, {"scheme": "tag", "code": YOUNG}),
        said("pairing_planned", pairing, {"sire": male, "dam": rich, "season": 2027}),
        said("season_noted", pairing, {"what": "put_together", "on": "2026-11-01"}),
        said("husbandry_noted", rich, {"noted": {"type": "health", "sign": "well"}}),
    ]
    both = [
        said("husbandry_noted", animal, {"noted": {"type": "weight", "grams": "900"}})
        for animal in (rich, bare)
    ]
    for one in both:
        one["at"] = both[0]["at"]
    racks.push(racks.odile, *told, *both)
    return [young, male, pairing, *(one["id"] for one in told)]


def greta_keeps(racks: Racks) -> str:
    """An animal of the guest's own, checked, so that the store is in use; its id."""
    home, animal = fresh_id(), fresh_id()
    racks.greta.post("collections", json={"id": home, "name": "Shelf"}).raise_for_status()
    racks.push(
        racks.greta,
        said("animal_registered", animal, {"collection": home, "species": "python_regius"}),
        said("identifier_assigned", animal, {"scheme": "tag", "code": OWN}),
        said("call_made", animal, probing("male", OWN)),
    )
    return animal


def look_around(page: Page, visit: Visit) -> None:
    for tag in (RICH, BARE):
        open_sheet(page, visit)
        page.goto(f"{HERE}#/log/{visit.id}/{visit.animals[tag]}")
        expect(page.get_by_role("heading", name=tag, exact=True)).to_be_visible()
        page.get_by_role("radio", name="A second person").check()
        kept = visit.animals[tag]
        until(page, lambda kept=kept: kept in json.dumps(stored(page)["drafts"]), "a draft")
        page.goto(f"{HERE}#/own/{visit.animals[tag]}")
        expect(page.get_by_role("heading", name="Not here")).to_be_visible()
    for where in ("#/own", "#/hatch", "#/calls", "#/phone"):
        page.goto(HERE + where)
        page.wait_for_load_state()
    page.goto(f"{HERE}#/own")
    expect(page.get_by_text(OWN).first).to_be_visible()
    for tag in (RICH, BARE):
        expect(page.get_by_text(tag, exact=True)).to_have_count(0)


def twins(held: dict[str, Any], visit: Visit) -> list[list[Any]]:
    """All that the store has of each, but for what tells them apart openly."""
    found = []
    for tag in (RICH, BARE):
        animal = visit.animals[tag]
        records = [one for one in held["animals"] if one["id"] == animal]
        drafts = [one for one in held["drafts"] if one["animal"] == animal]
        text = json.dumps([records, drafts]).replace(animal, "ID").replace(tag, "TAG")
        found.append(json.loads(text))
    return found
