"""What comes after its keeper has signed out, or somebody else has signed in: an answer, or word to
a second tab. Nothing of it is stored or shown."""

from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect
from tests.browser.rackside.conftest import (
    AFTER,
    HERE,
    NewPhone,
    Racks,
    draft_kept,
    fill_in,
    open_sheet,
    sign_in,
    stored,
    unfold,
    until,
)

WRITES = """async (since) => {
  const from = (name) => import(`/rackside/store/${name}.js`);
  const [db, clock, people, photos, log, own, sending, session] = await Promise.all(
    ["db", "clock", "people", "photos", "log", "own_word", "sending", "session"].map(from));
  const left = {keeper: "k1", name: "", email: "", device: "d1", token: "t1"};
  const entry = {id: "f1", kind: "call_made", by: "k1", device: "d0", sig: null, body: {}};
  await db.forget();
  if (since) await session.keep({session: since});
  await session.keepKey(left, {state: "enrolled", enrolment: {key: "00"}});
  await session.expire(left);
  await sending.pushedAt(left, 1);
  await sending.holdFor(left, {from: 1, seconds: 60, asked: true, why: "", unconfirmed: false});
  await people.named(left, {id: "p1", name: "Somebody"}, true);
  await photos.done("f2", null);
  await log.settle("a1", "mine", true);
  const fact = {id: "f1", position: 1, entry, why: "unknown", answer: null};
  await own.answered([fact], "mine", ["00"]);
  const kept = await clock.keepClock({server: 1, offset: 0, here: 1, mono: 1, life: ""});
  return [kept, await session.session() ?? null];
}"""
SOMEBODY_ELSE = {"keeper": "k2", "name": "", "email": "", "device": "d2", "token": "t2"}


@pytest.mark.parametrize("since", [None, SOMEBODY_ELSE])
def test_nothing_is_stored_for_who_has_left(modules: Any, since: dict[str, str] | None) -> None:
    script = f"await ({WRITES})(given)"
    assert modules("store/db", script, since) == [since is not None, since]
    meta = modules("store/db", "await m.all('meta')")
    held = modules("store/db", "[...await m.all('outbox'), ...await m.all('named')]")
    assert held == []
    told_to_all = [one for one in meta if one != since]
    assert [one.get("server") for one in told_to_all] == ([1] if since else [])  # the phone's clock


def sign_out(page: Page) -> None:
    page.goto(f"{HERE}#/phone")
    with page.expect_response(lambda one: one.request.method == "DELETE"):
        page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Log at the racks")).to_be_visible()


def test_a_key_that_is_enrolled_after_signing_out_is_not_kept(phones: NewPhone) -> None:
    phone = phones("401")
    waiting: list[Route] = []
    phone.context.route("**/api/v1/devices/*/key", lambda route: waiting.append(route))
    page = phone.signed_in()
    until(page, lambda: waiting, "what enrols the key")
    sign_out(page)
    for one in waiting:
        one.fulfill(json={})
    page.evaluate("navigator.locks.request('rackside-send', () => null)")  # the pass is over
    assert all(rows == [] for rows in stored(page).values())


SLOW = """
const getAll = IDBObjectStore.prototype.getAll;
const held = [];
let slow = false;
IDBObjectStore.prototype.getAll = function (...given) {
  const asked = getAll.apply(this, given);
  if (slow && this.name === "named") {
    Object.defineProperty(asked, "onsuccess", {
      set: (tell) => asked.addEventListener("success", (event) => held.push(() => tell(event))),
    });
  }
  return asked;
};
globalThis.begin = () => {
  slow = true;
  globalThis.read = import("/rackside/app/state.js").then(({ changed }) => changed());
};
globalThis.begun = () => held.length;
globalThis.end = async () => {
  slow = false;
  held.forEach((one) => one());
  await read;
};
"""


def test_a_second_tab_that_read_meanwhile_leaves_no_word_that_something_was_here(
    phones: NewPhone,
) -> None:
    phone = phones("401")
    phone.context.add_init_script(SLOW)
    page, second = phone.signed_in(), phone.tab()
    expect(second.get_by_role("heading", name="Visits")).to_be_visible()
    second.evaluate("begin()")
    until(second, lambda: second.evaluate("begun()"), "its reading of the store")
    sign_out(page)
    second.evaluate("end()")
    expect(second.get_by_role("heading", name="Log at the racks")).to_be_visible()
    until(second, lambda: second.evaluate("document.cookie") == "", "no word of it")


AT_REST = """
const held = [];
let rests = false;
globalThis.BroadcastChannel = class extends BroadcastChannel {
  set onmessage(tell) {
    super.onmessage = (event) => rests ? held.push(() => tell(event)) : tell(event);
  }
};
globalThis.rest = () => { rests = true; };
globalThis.wake = () => {
  rests = false;
  held.splice(0).forEach((one) => one());
};
"""


def test_a_form_begun_is_not_left_to_who_signed_in_since(racks: Racks, phones: NewPhone) -> None:
    """In a tab that the browser let rest meanwhile: it hears of both at once."""
    visit = racks.visit("L-1")
    phone = phones("401")
    phone.context.add_init_script(AT_REST)
    page, second = phone.signed_in(), phone.tab()
    open_sheet(second, visit)
    fill_in(second, "L-1")
    unfold(second, AFTER)
    second.get_by_label("Note").fill("Greta's.")
    draft_kept(second, "Greta's.")
    second.evaluate("rest()")
    sign_out(page)
    racks.forgive()
    sign_in(page, "odile", "This phone")
    second.get_by_label("Note").fill("Greta's own.")  # what was typed last is kept a moment later
    second.evaluate("wake()")
    expect(second.get_by_role("heading", name="Visits")).to_be_visible()
    expect(second.get_by_role("button", name="Save the call")).to_be_hidden()
    assert stored(second)["drafts"] == []
