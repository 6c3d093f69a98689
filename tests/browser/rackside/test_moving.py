"""An animal moves to another tub: an edit that waits on the phone is sent once, on top of the edit
before it; where somebody else set the same meanwhile, its keeper decides."""

from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect
from tests.browser.rackside.conftest import (
    HERE,
    NewPhone,
    Phone,
    Racks,
    all_sent,
    hurried,
    stored,
    ten_seconds_later,
    until,
)
from tests.browser.rackside.test_care import announced, at_the_racks, kept_at, press

pytestmark = pytest.mark.one_in(6)

AWAY = "net::ERR_FAILED"


def place_of(racks: Racks, animal: str) -> str:
    return str(racks.odile.get(f"animals/{animal}").json()["rack"])


def version_of(racks: Racks, animal: str) -> int:
    return int(racks.odile.get(f"animals/{animal}").json()["version"])


def set_place(racks: Racks, animal: str, place: str) -> None:
    headers = {"If-Match": f'"v{version_of(racks, animal)}"'}
    body = {"rack": place}
    racks.odile.patch(f"animals/{animal}", json=body, headers=headers).raise_for_status()


def move(page: Page, animal: str, tag: str, tub: str, place: str) -> None:
    """By our own keys, within its rack."""
    page.goto(f"{HERE}#/own/{animal}/move")
    expect(page.get_by_role("heading", name=f"Move {tag}")).to_be_visible()
    while page.get_by_label("Tub", exact=True).input_value():
        press(page, "delete")
    for key in tub:
        press(page, key)
    expect(page.get_by_label("Place")).to_have_value(place)
    press(page, "Save the place")
    announced(page, f"{tag}: moved to {place}, saved here.")


def test_it_stands_there_at_once_and_the_record_has_the_last_place(
    racks: Racks, phone: Phone
) -> None:
    kept = kept_at(racks, "M1-1", "M1-2")
    animal = kept.animals["M1-1"]
    version = version_of(racks, animal)
    page = at_the_racks(phone, kept)
    page.goto(f"{HERE}#/own/{animal}/move")
    press(page, "delete")
    press(page, "2")
    expect(page.get_by_text("M1-2 is noted at M1-2 too.")).to_be_visible()
    move(page, animal, "M1-1", "15", "M1-15")
    expect(page.get_by_text("M1-15 · ball python")).to_be_visible()
    move(page, animal, "M1-1", "7", "M1-7")
    phone.context.set_offline(False)
    all_sent(page)
    assert (place_of(racks, animal), version_of(racks, animal)) == ("M1-7", version + 2)
    here = lambda: next(one for one in stored(page)["animals"] if one["id"] == animal)  # noqa: E731
    until(page, lambda: here()["rack"] == "M1-7", "the feed")
    expect(page.get_by_text("M1-7 · ball python")).to_be_visible()
    assert phone.complaints == []


def test_facts_go_first_and_what_was_answered_without_being_heard_is_not_done_twice(
    racks: Racks, phones: NewPhone
) -> None:
    phone = phones(AWAY)
    hurried(phone)
    kept = kept_at(racks, "M2-1")
    animal = kept.animals["M2-1"]
    version = version_of(racks, animal)
    page = at_the_racks(phone, kept)
    move(page, animal, "M2-1", "4", "M2-4")
    press(page, "Meal taken")
    announced(page, "M2-1: meal taken, saved here.")
    sent: list[Any] = []

    def lost(route: Route) -> None:
        sent.append(route.request.post_data_json)
        if len(sent) > 1:
            route.continue_()
            return
        route.fetch()
        route.abort()

    page.route("**/api/v1/push", lost)
    phone.context.set_offline(False)
    ten_seconds_later(page)
    until(page, lambda: place_of(racks, animal) == "M2-4", "the edit")
    page.goto(f"{HERE}#/calls")
    all_sent(page)
    kinds = [one.get("kind", "edit") for one in sent[0]["items"]]
    assert kinds == ["husbandry_noted", "edit"]
    assert version_of(racks, animal) == version + 1
    states = {one["shown"]["line"]: one["state"] for one in stored(page)["outbox"]}
    assert states == {"Moved to M2-4": "accepted", "Meal taken": "accepted"}
    expect(page.get_by_text("Changed in the record")).to_be_visible()


def test_where_somebody_else_moved_it_meanwhile_its_keeper_decides(
    racks: Racks, phone: Phone
) -> None:
    kept = kept_at(racks, "M3-1")
    animal = kept.animals["M3-1"]
    page = at_the_racks(phone, kept)
    move(page, animal, "M3-1", "4", "M3-4")
    set_place(racks, animal, "M3-9")
    phone.context.set_offline(False)
    ten_seconds_later(page)
    expect(page.locator("#waiting")).to_have_text("1 needs you")
    assert place_of(racks, animal) == "M3-9"
    page.goto(f"{HERE}#/calls")
    told = "Meanwhile its place was set to “M3-9”. Yours is “M3-4”: nothing was changed."
    expect(page.locator(".state")).to_have_text(f"Needs you: {told}")
    page.get_by_role("link", name="Decide it again").click()
    expect(page.get_by_text(told)).to_be_visible()
    expect(page.get_by_label("Place")).to_have_value("M3-4")
    press(page, "Save the place")
    announced(page, "M3-1: moved to M3-4, saved here.")
    all_sent(page)
    assert place_of(racks, animal) == "M3-4"
    assert sorted(one["state"] for one in stored(page)["outbox"]) == ["accepted", "aside"]


def test_a_move_can_be_undone_and_changed_before_it_is_sent(racks: Racks, phone: Phone) -> None:
    kept = kept_at(racks, "M4-1")
    animal = kept.animals["M4-1"]
    version = version_of(racks, animal)
    page = at_the_racks(phone, kept)
    move(page, animal, "M4-1", "2", "M4-2")
    press(page, "Undo")
    expect(page.get_by_text("M4-1 · ball python")).to_be_visible()
    assert stored(page)["outbox"] == []
    move(page, animal, "M4-1", "3", "M4-3")
    page.goto(f"{HERE}#/calls")
    press(page, "Change it")
    expect(page.get_by_label("Place")).to_have_value("M4-3")
    page.get_by_label("Place").fill("By the window")
    press(page, "Save the place")
    announced(page, "M4-1: moved to By the window, saved here.")
    phone.context.set_offline(False)
    all_sent(page)
    assert place_of(racks, animal) == "By the window"
    assert version_of(racks, animal) == version + 1
