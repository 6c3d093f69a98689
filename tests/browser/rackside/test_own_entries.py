"""What was sent from a phone is looked for in the log: in its place, and among the entries of an
animal that is out of sight by then."""

from typing import Any

import pytest
from playwright.sync_api import APIResponse, Page, Route, expect
from tests.browser.rackside.conftest import (
    HERE,
    Phone,
    Racks,
    Visit,
    all_sent,
    fill_in,
    open_sheet,
    said,
    save,
    stored,
    until,
)
from tests.world import probing

pytestmark = pytest.mark.one_in(3)

FOUND = "Checked by this phone: it is in the log as it was sent."
MISSED = "Alarm: the log does not hold this as it was sent from this phone."


def sent(racks: Racks, page: Page, tag: str) -> Visit:
    visit = racks.visit(tag)
    check(page, visit, tag)
    return visit


def check(page: Page, visit: Visit, tag: str) -> None:
    open_sheet(page, visit)
    fill_in(page, tag)
    save(page, tag)
    all_sent(page)


def kept(page: Page) -> Any:
    (call,) = stored(page)["outbox"]
    return call


def proved(page: Page) -> set[str]:
    return {one["id"] for one in stored(page)["proved"]}


def test_a_call_is_found_in_the_log_and_stays_when_the_animal_is_gone(
    racks: Racks, phone: Phone
) -> None:
    """Also where its animal was on its way yet when the call came in: then it was not gone."""
    before = racks.visit("E-0")
    call = probing("male", "E-0") | {"visit": before.id}
    racks.push(racks.greta, said("call_made", before.animals["E-0"], call))
    feed: list[tuple[Route, APIResponse]] = []
    proofs: list[Route] = []
    phone.context.route("**/changes?*", lambda one: feed.append((one, one.fetch())), times=1)
    phone.context.route("**/proofs?*", lambda one: proofs.append(one), times=1)
    page = phone.signed_in()
    until(page, lambda: feed, "what the feed has before the visit")
    visit = racks.visit("E-1")
    ((route, answer),) = feed
    route.fulfill(response=answer)
    until(page, lambda: proofs, "what the record of the first is held to")
    check(page, visit, "E-1")
    proofs[0].continue_()
    page.goto(f"{HERE}#/calls")
    expect(page.get_by_text(FOUND)).to_be_visible()
    until(page, lambda: visit.animals["E-1"] in proved(page), "the animal's own record")
    assert "chain" not in kept(page), "the animal itself is held to the log"
    racks.push(racks.odile, said("visit_cancelled", visit.id, {}))
    until(page, lambda: "chain" in kept(page), "its place among the hashes")
    assert kept(page)["chain"]["holds"]
    expect(page.get_by_text(FOUND)).to_be_visible()
    assert visit.animals["E-1"] not in proved(page)


ANEW = """async () => {
  const { raise, settle } = await import("/rackside/store/log.js");
  const { get } = await import("/rackside/store/db.js");
  await raise(await get("meta", "session"), { id: "one", answer: null });
  await settle("one", { at: 0, because: "" }, true);
  dispatchEvent(new Event("online"));
}"""


@pytest.mark.long(
    "everything is proved twice; "
    "tests/browser/rackside/test_own_entries.py::test_a_call_is_found_in_the_log_and_stays_when_the_animal_is_gone"
)
def test_in_a_log_that_begins_anew_it_is_looked_for_again(racks: Racks, phone: Phone) -> None:
    page = phone.signed_in()
    sent(racks, page, "E-4")
    until(page, lambda: "place" in kept(page), "the entry")
    before = kept(page)["place"]["at"]
    page.evaluate(ANEW)
    until(page, lambda: kept(page).get("place", {"at": 0})["at"] > before, "the entry again")
    assert kept(page)["place"]["holds"]


def test_one_that_the_log_has_otherwise_is_an_alarm(racks: Racks, phone: Phone) -> None:
    page = phone.signed_in()

    def lie(route: Route) -> None:
        """Of when it came."""
        answer = route.fetch()
        told = answer.json()
        for one in told["items"]:
            one["stamp"]["received"] = "2026-11-01T00:00:00.000000Z"
        route.fulfill(response=answer, json=told)

    page.route("**/api/v1/push", lie)
    sent(racks, page, "E-2")
    page.goto(f"{HERE}#/calls")
    expect(page.get_by_text(MISSED)).to_be_visible()
    expect(page.locator("#notice")).to_contain_text("the log does not hold an entry of yours")


def test_one_left_out_of_its_animals_record_is_an_alarm(racks: Racks, phone: Phone) -> None:
    page = phone.signed_in()
    visit = sent(racks, page, "E-3")
    page.goto(f"{HERE}#/calls")
    expect(page.get_by_text(FOUND)).to_be_visible()
    call = kept(page)

    def without(route: Route) -> None:
        answer = route.fetch()
        told = answer.json()
        for one in told["animals"]:
            if one["id"] == call["fact"]["about"]:
                hidden = one["hidden"]
                one["hidden"] = [it for it in hidden if it["position"] != call["position"]]
                one["count"] -= len(hidden) - len(one["hidden"])
        route.fulfill(response=answer, json=told)

    page.route("**/api/v1/proofs*", without)
    racks.push(racks.odile, said("visit_cancelled", visit.id, {}))
    expect(page.get_by_text(MISSED)).to_be_visible()
