"""What an answer brings after its keeper has signed out, or somebody else has signed in: nothing of
it is stored."""

from typing import Any

import pytest
from playwright.sync_api import Route, expect
from tests.browser.rackside.conftest import HERE, NewPhone, stored, until

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


def test_a_key_that_is_enrolled_after_signing_out_is_not_kept(phones: NewPhone) -> None:
    phone = phones("401")
    waiting: list[Route] = []
    phone.context.route("**/api/v1/devices/*/key", lambda route: waiting.append(route))
    page = phone.signed_in()
    until(page, lambda: waiting, "what enrols the key")
    page.goto(f"{HERE}#/phone")
    with page.expect_response(lambda one: one.request.method == "DELETE"):
        page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Log at the racks")).to_be_visible()
    for one in waiting:
        one.fulfill(json={})
    page.evaluate("navigator.locks.request('rackside-send', () => null)")  # the pass is over
    assert all(rows == [] for rows in stored(page).values())
