"""The phone hears of changes as they happen, from one tab, and forgets what it is told to."""

import json

import pytest
from playwright.sync_api import Page, Request, Route, expect
from tests.browser.rackside.conftest import (
    Phone,
    Racks,
    add,
    draft_kept,
    open_sheet,
    said,
    stored,
    until,
)

pytestmark = pytest.mark.one_in(6)

STORE = "const s = await import('/rackside/store/replica.js');"
SESSION = """const session = await new Promise((done) => {
  const asked = indexedDB.open("rackside"); asked.onsuccess = () => {
    const kept = asked.result.transaction("meta").objectStore("meta").get("session");
    kept.onsuccess = () => { asked.result.close(); done(kept.result); }; } });"""
ABROAD = "0192d3a0-0000-7000-8000-000000000001"


def in_store(page: Page, script: str) -> object:
    """Runs a script on the phone with the module ``s`` of its replica and the ``session``."""
    return page.evaluate(f"async () => {{ {STORE} {SESSION} {script} }}")


def in_feed(page: Page, condition: str) -> None:
    """Waits until something holds of ``at``, where the phone is in the feed."""
    script = f"const at = await s.feed(); return Boolean({condition});"
    until(page, lambda: in_store(page, script), condition)


def plant(page: Page, animal: str) -> None:
    """Puts an animal on the phone that the server knows nothing of, as a page of the feed. The
    phone may move on while that is handed over; then it takes none of it, and is asked again."""
    items = f"items: [{{type: 'animal', animal: {{id: '{animal}'}}}}], more: false"
    for _ in range(20):
        page_of_now = f"{{ {items}, cursor: at.cursor }}"
        in_store(
            page, f"const at = await s.feed(); await s.take(session, at.cursor, {page_of_now});"
        )
        if animal in {one["id"] for one in stored(page)["animals"]}:
            return
    pytest.fail("the phone never took the page")


def asks(phone: Phone) -> list[Request]:
    """The requests that wait for a change, as they are made."""
    found: list[Request] = []
    phone.context.on("request", lambda one: "wait=25" in one.url and found.append(one))
    return found


def weigh(racks: Racks, animal: str, grams: str) -> None:
    weight = {"noted": {"type": "weight", "grams": grams}}
    racks.push(racks.odile, said("husbandry_noted", animal, weight))


def test_a_change_shows_by_itself_in_every_tab(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("F-1")
    first = phone.signed_in()
    open_sheet(first, visit)
    second = phone.tab(f"#/visit/{visit.id}")
    waiting = asks(phone)
    for grams in ("311", "312"):
        weigh(racks, visit.animals["F-1"], grams)
        for page in (first, second):
            expect(page.get_by_text(f"{grams} g")).to_be_visible()
    assert {one.frame.page for one in waiting} == {first}
    first.close()
    weigh(racks, visit.animals["F-1"], "313")
    expect(second.get_by_text("313 g")).to_be_visible()


def test_a_visit_appears_when_it_is_accepted(racks: Racks, phone: Phone) -> None:
    with phone.context.expect_event("request", lambda one: "wait=25" in one.url):
        page = phone.signed_in()  # and everything fetched
    visit = racks.visit("F-2")
    expect(page.locator(f'a[href="#/visit/{visit.id}"]')).to_be_visible()


def test_a_lost_place_brings_everything_anew_and_forgets_the_rest(
    racks: Racks, phone: Phone
) -> None:
    visit = racks.visit("F-3")
    page = phone.signed_in()
    phone.expected = ("410 (Gone)",)
    open_sheet(page, visit)
    in_feed(page, "at.cursor")
    plant(page, ABROAD)
    refused: list[str] = []

    def gone(route: Route) -> None:
        if "cursor=" in route.request.url and not refused:
            refused.append(route.request.url)
            route.fulfill(status=410, json={"detail": "Begin again."})
        else:
            route.continue_()

    page.route("**/api/v1/changes*", gone)
    page.reload()
    expect(page.get_by_role("heading", name="F-3")).to_be_visible()
    in_feed(page, "at.pull === 1 && !at.anew")
    held = {one["id"] for one in stored(page)["animals"]}
    assert refused
    assert ABROAD not in held
    assert set(visit.animals.values()) <= held
    expect(page.get_by_role("heading", name="F-3")).to_be_visible()


def test_a_page_from_an_earlier_place_is_not_taken(racks: Racks, phone: Phone) -> None:
    """Else a slow tab without locks could bring back what another one was told to forget."""
    racks.visit("F-4")
    page = phone.signed_in()
    in_feed(page, "at.cursor")
    old = f"{{ items: [{{type: 'animal', animal: {{id: '{ABROAD}'}}}}], cursor: 'x', more: false }}"
    in_store(page, f"await s.take(session, null, {old});")
    dump = stored(page)
    assert ABROAD not in {one["id"] for one in dump["animals"]}
    assert "x" not in {one.get("cursor") for one in dump["meta"] if isinstance(one, dict)}


def test_a_draft_stays_while_its_animal_is_held_off(racks: Racks, phone: Phone) -> None:
    """What was begun before the hold came is for its examiner to end."""
    visit = racks.visit("F-9")
    page = phone.signed_in()
    open_sheet(page, visit)
    page.get_by_role("link", name="Log a call on F-9").click()
    add(page, note="begun")
    draft_kept(page, "begun")
    page.goto("/rackside/#/calls")
    ill = {"noted": {"type": "health", "sign": "ill"}}
    racks.push(racks.odile, said("husbandry_noted", visit.animals["F-9"], ill))
    until(page, lambda: '"titles": ["F-9"]' in json.dumps(stored(page)["visits"]), "the hold")
    draft_kept(page, "begun")


@pytest.mark.parametrize("again", [False, True])
@pytest.mark.some(1)
def test_a_draft_goes_with_its_animal(racks: Racks, phone: Phone, *, again: bool) -> None:
    visit = racks.visit("F-5")
    page = phone.signed_in()
    open_sheet(page, visit)
    page.get_by_role("link", name="Log a call on F-5").click()
    add(page, note="begun")
    draft_kept(page, "begun")
    page.goto("/rackside/#/calls")
    assert [one["animal"] for one in stored(page)["drafts"]] == [visit.animals["F-5"]]
    if again:
        in_store(page, "await s.beginAgain(session, (await s.feed()).cursor);")
        assert len(stored(page)["drafts"]) == 1, "what is here stays until everything came anew"
    racks.push(racks.odile, said("visit_cancelled", visit.id, {}))
    until(page, lambda: not stored(page)["drafts"], "the draft to go")
