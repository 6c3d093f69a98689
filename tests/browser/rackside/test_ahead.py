"""A visit accepted beforehand opens by itself where there is no signal, and not before."""

import json
import time

import pytest
from playwright.sync_api import Locator, Page, Route, expect
from tests.browser.rackside.conftest import (
    HERE,
    NewPhone,
    Phone,
    Racks,
    Visit,
    all_sent,
    fill_in,
    open_sheet,
    said,
    save,
    sign_in,
    stored,
    until,
    wrong_clock,
)

pytestmark = pytest.mark.one_in(2)

SOON, LEFT = 14.0, 8.0
"""Seconds from the invitation until the visit opens, and those of them left for looking at what
the phone shows before. Where nobody looks, fewer do."""


def listed(page: Page, visit: Visit) -> Locator:
    """Its row in the list of visits."""
    link = page.locator(f'[href="#/visit/{visit.id}"]')
    return page.get_by_role("listitem").filter(has=link)


def shown(page: Page) -> str:
    """All that the phone holds to show."""
    held = stored(page)
    return json.dumps([held["visits"], held["animals"]])


def accepted(
    racks: Racks,
    phone: Phone,
    *tags: str,
    opens: float = SOON,
    left: float = LEFT,
    blind: bool = True,
) -> tuple[Page, Visit]:
    """Signed in, and without a signal before the visit opens. A busy machine may be too late for
    that: then there is another visit, later, and what was to come of the first is taken back."""
    page = phone.signed_in()
    ready = page.get_by_text("opens by itself then, also without a signal")
    while True:
        opening = time.monotonic() + opens
        visit = racks.visit(*tags, opens=opens, blind=blind)
        expect(listed(page, visit)).to_be_visible()
        page.goto(f"{HERE}#/visit/{visit.id}")
        expect(ready.or_(page.get_by_label("Find by tag"))).to_be_visible()
        phone.context.set_offline(True)
        page.reload()
        expect(ready.or_(page.get_by_label("Find by tag"))).to_be_visible()
        if time.monotonic() < opening - left:
            expect(ready).to_be_visible()
            return page, visit
        phone.context.set_offline(False)
        racks.push(racks.odile, said("visit_cancelled", visit.id, {}))
        page.goto(f"{HERE}#/")
        opens *= 2


BEHIND_TOO = pytest.mark.long(
    "the same of a clock behind; tests/browser/rackside/test_clock.py::"
    "test_a_clock_set_between_check_and_signal_is_said_to_be_unknown"
)


@pytest.mark.parametrize(
    "off",
    [
        pytest.param(0, id="clock right"),
        pytest.param(-2 * 86_400, id="clock two days behind", marks=BEHIND_TOO),
    ],
)
@pytest.mark.long(
    "waits for a visit to open; "
    "tests/browser/rackside/test_ahead.py::test_a_visit_called_off_meanwhile_leaves_the_call_with_its_examiner"
)
def test_it_opens_by_itself_without_a_signal_and_takes_a_call(
    racks: Racks, phone: Phone, off: float
) -> None:
    wrong_clock(phone, off)
    page, visit = accepted(racks, phone, "A-1", "A-2")
    assert "A-1" not in page.inner_text("body")
    page.goto(f"{HERE}#/log/{visit.id}/{visit.animals['A-1']}")
    expect(page.get_by_text("This visit opens at")).to_be_visible()
    page.goto(f"{HERE}#/visit/{visit.id}")
    expect(page.get_by_label("Find by tag")).to_be_visible()
    page.reload()
    fill_in(page, "A-1")
    save(page, "A-1")
    page.goto(f"{HERE}#/")
    expect(listed(page, visit)).to_contain_text("1 of 2 logged")
    phone.context.set_offline(False)
    page.goto(f"{HERE}#/calls")
    if off:  # it could not be known any more after the reload: one press
        page.get_by_role("button", name="Send with the corrected time").click()
    all_sent(page)
    (call,) = racks.calls_on(visit)
    assert (call.about, bool(call.sig)) == (visit.animals["A-1"], True)
    page.goto(f"{HERE}#/visit/{visit.id}")
    expect(page.get_by_role("heading", name="A-2")).to_be_visible()


def test_nothing_is_kept_ahead_that_a_blind_guest_may_not_know(racks: Racks, phone: Phone) -> None:
    """Also of a visit that is not blind."""
    page, visit = accepted(racks, phone, "N-1", opens=3600, blind=False)
    animal = visit.animals["N-1"]
    phone.context.set_offline(False)
    page.goto(f"{HERE}#/")
    expect(listed(page, visit)).to_contain_text("opens at")
    health = {"noted": {"type": "health", "sign": "gravid"}}
    racks.push(racks.odile, said("husbandry_noted", animal, health))
    held = stored(page)
    (kept,) = (one for one in held["visits"] if one["id"] == visit.id)
    assert [one["id"] for one in kept["ahead"]] == [animal]
    assert kept["ahead"][0].keys() == {
        "id", "sight", "species", "hatched", "identifiers", "condition", "hold_off",
    }  # fmt: skip
    assert kept["ahead"][0]["condition"].keys() == {"grams", "weighed_at", "fed_at", "shed"}
    assert animal not in {one["id"] for one in held["animals"]}


def test_a_visit_called_off_meanwhile_leaves_the_call_with_its_examiner(
    racks: Racks, phone: Phone
) -> None:
    page, visit = accepted(racks, phone, "O-1", opens=SOON - LEFT, left=1.0)
    racks.push(racks.odile, said("visit_cancelled", visit.id, {}))
    expect(page.get_by_label("Find by tag")).to_be_visible()
    fill_in(page, "O-1")
    save(page, "O-1")
    phone.context.set_offline(False)
    expect(page.locator("#waiting")).to_have_text("1 needs you")
    expect(page.get_by_text("The visit was called off.")).to_be_visible()
    page.goto(f"{HERE}#/calls")
    expect(page.locator(".state")).to_have_text(
        "Needs you: The server knows of no visit of yours to this animal at the time given: "
        "it may not have been open, or have been called off."
    )
    assert racks.calls_on(visit) == []
    animal = visit.animals["O-1"]  # the tag may be another animal's too
    until(page, lambda: animal not in shown(page), "the feed to take the animal away")
    assert [one["state"] for one in stored(page)["outbox"]] == ["refused"]


def test_before_anything_was_fetched_no_visit_is_said_to_be_over(
    racks: Racks, phones: NewPhone
) -> None:
    visit = racks.visit("D-1")
    phone = phones()
    page = phone.tab(f"#/visit/{visit.id}")
    waiting: list[Route] = []
    page.route("**/api/v1/visits", lambda route: waiting.append(route))
    with page.expect_request("**/api/v1/visits"):
        sign_in(page, "greta", heading="Not fetched yet")
    expect(page.get_by_text("What there is to check comes with the next signal")).to_be_visible()
    assert "called off" not in page.inner_text("main")
    for one in waiting:
        one.continue_()
    page.unroute("**/api/v1/visits")
    expect(page.get_by_label("Find by tag")).to_be_visible()
    page.goto(f"{HERE}#/visit/0190a0f0-0000-7000-8000-000000000000")
    expect(page.get_by_text("The server does not list this visit")).to_be_visible()
    open_sheet(page, visit)
