"""The phone looks at facts in its keeper's own name: what no key that it trusts signed is shown,
and its keeper says whether it was them."""

import re
from collections.abc import Callable
from contextlib import closing
from functools import partial
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from msgspec import to_builtins
from playwright.sync_api import Page, Route, expect
from tests.browser.rackside.conftest import (
    Phone,
    Racks,
    fresh_id,
    hurried,
    keeper_at,
    moment,
    said,
    stored,
    until,
)
from tests.domain.translog.test_own_word import (
    COUNTS,
    GIVEN,
    ME,
    MINE,
    OTHER,
    PAPER,
    THIRD,
    after,
    endorsed,
    enrolled,
    note,
    notice,
    printed,
    replace,
    revoked,
    ruled,
    stopped,
)
from tests.world import PASSWORD, probing

from scalewitness.domain.translog.leaf import Leaf
from scalewitness.domain.translog.own_word import own_word
from scalewitness.domain.translog.signatures import fingerprint
from scalewitness_cli.devicekey import DeviceKey

pytestmark = pytest.mark.one_in(3)

ENDED = [enrolled(OTHER), endorsed(MINE, OTHER), revoked(MINE, OTHER)]
SECOND = Ed25519PrivateKey.generate()
NEVER = "2026-99-99T99:99:99.000000Z"

JUDGED = """(async () => {
  const keys = await import(given.keys);
  const facts = (list) => list.map((entry, position) => ({ entry, position, why: null }));
  const asked = given.asked.map(([entry, position]) => ({ entry, position }));
  return (await m.judged(given.trusted, facts(given.told), asked, keys.isSigned)).doubts;
})()"""


@pytest.mark.one_in(1)
def test_the_phone_judges_as_the_command_does(modules: Any) -> None:
    stories: list[list[Leaf]] = [
        [],
        [ruled(MINE)],
        [ruled(MINE), ruled(MINE, required=False)],
        [enrolled(OTHER), ruled(OTHER)],
        [ruled(MINE), enrolled(OTHER), ruled(OTHER, required=False)],
        [enrolled(OTHER), endorsed(MINE, OTHER)],
        [enrolled(OTHER), enrolled(THIRD), endorsed(OTHER, THIRD), endorsed(OTHER, MINE)],
        [enrolled(OTHER), endorsed(MINE, OTHER), revoked(None, OTHER)],
        [ruled(MINE), revoked(None, MINE)],
        [ruled(MINE), GIVEN],
        [ruled(MINE), after(notice(MINE))],
        [ruled(MINE), notice()],
        [ruled(MINE), GIVEN, after(notice(), days=3)],
        [ruled(MINE), GIVEN, after(stopped(MINE, GIVEN), days=3)],
        [ruled(MINE), GIVEN, after(stopped(OTHER, GIVEN), days=3)],
        [ruled(MINE), GIVEN, after(stopped(MINE, GIVEN), days=14)],
        [ruled(MINE), GIVEN, ruled(MINE)],
        [ruled(MINE), GIVEN, after(revoked(None, MINE), days=14)],
        COUNTS,
        [*COUNTS, ruled(PAPER, required=False)],
        [*COUNTS, enrolled(OTHER), endorsed(PAPER, OTHER), revoked(PAPER, MINE)],
        [ruled(MINE), printed(PAPER), enrolled(OTHER), endorsed(PAPER, OTHER)],
        [*COUNTS, GIVEN, after(stopped(PAPER, GIVEN), days=3)],
        [*COUNTS, ruled(MINE, required=False), ruled(PAPER)],
        [*ENDED, enrolled(THIRD), endorsed(OTHER, THIRD)],
        [*ENDED, ruled(MINE), ruled(OTHER, required=False)],
        [enrolled(OTHER), endorsed(MINE, OTHER), enrolled(THIRD), revoked(THIRD, OTHER)],
        [enrolled(THIRD), ruled(MINE), revoked(THIRD, MINE), revoked(THIRD, THIRD)],
        [printed(DeviceKey(SECOND, keeper=ME, device=MINE.device)), ruled(MINE)],
        [ruled(MINE), replace(note(None), kind="device_revoked", body={"device": []})],
        [ruled(MINE), replace(note(None), kind="device_key_enrolled", body={})],
        [ruled(MINE), replace(GIVEN, received=NEVER)],
    ]
    facts = [note(one) for one in (PAPER, None, MINE, OTHER, THIRD)]
    facts.append(replace(note(MINE), about=None))
    facts.append(replace(note(None), device=MINE.device))
    facts += [after(note(one), days=day) for one in (None, MINE) for day in (13.99, 14)]
    facts.append(replace(after(note(None)), received=NEVER))
    for told in stories:
        log = [enrolled(MINE), *told]
        word = own_word({MINE.public}, enumerate(log))
        asked = [(one, at) for one in facts for at in (1, 9)]
        asked += [(one, at) for at, one in enumerate(log)]
        given = {
            "keys": "/rackside/net/keys.js",
            "trusted": [MINE.public],
            "told": [plain(one) for one in log],
            "asked": [[plain(one), at] for one, at in asked],
        }
        expected = [word.doubt(one, at) or "" for one, at in asked]
        assert modules("own_word", JUDGED, given) == expected


@pytest.mark.parametrize(
    "odd", [{"body": {"note": "\ud800"}}, {"sig": "x"}, {"sig": 5}, {"at": None}, {"body": None}]
)
def test_what_no_device_could_have_signed_is_signed_by_none(modules: Any, odd: Any) -> None:
    """A server that serves such a thing must not have it taken for what the phone signed."""
    entry = {**plain(note(MINE)), **odd}
    if "at" in odd:
        del entry["at"]
    given = {"key": MINE.public, "entry": entry}
    assert modules("net/keys", "await m.isSigned(given.key, given.entry)", given) is False
    given = {"key": None, "entry": plain(note(MINE))}
    assert modules("net/keys", "await m.isSigned(given.key, given.entry)", given) is False


def plain(leaf: Leaf) -> dict[str, Any]:
    return dict(to_builtins(leaf))


def test_what_somebody_else_sent_in_ones_name_is_asked_about(racks: Racks, phone: Phone) -> None:
    with closing(keeper_at(racks.stack, "iris")) as iris:
        room = Racks(racks.stack, iris, racks.greta)
        hurried(phone)
        page = phone.signed_in("iris")
        page.get_by_role("link", name="This phone").click()
        expect(page.get_by_text("Key, to compare on another device")).to_be_visible()
        until(page, lambda: _asked(stored(page)) is not None, "a first look")
        visit = room.visit("N-1")
        device = {"email": "iris@keepers.example", "password": PASSWORD, "name": "stranger"}
        racks.forgive()
        made = iris.post("devices", json=device).raise_for_status().json()
        me = iris.get("keepers/me").json()["id"]
        key = DeviceKey(Ed25519PrivateKey.generate(), keeper=me, device=made["id"])
        headers = {"Authorization": f"Bearer {made['token']}"}
        iris.post(
            f"devices/{made['id']}/key", json=key.enrolment(fresh_id(), moment()), headers=headers
        ).raise_for_status()
        call = key.signed(said("call_made", visit.animals["N-1"], probing("female", "N-1")))
        push = partial(iris.post, "push", json={"items": [call]}, headers=headers)
        while_proofs_are_asked_for(page, lambda: push().raise_for_status())
    asked = page.get_by_role("region", name="In your name")
    expect(asked).to_contain_text("call made")
    expect(asked).to_contain_text("whose key nothing but the password stands for")
    expect(page.locator("#notice")).to_contain_text("in your name that no device of yours")

    def told() -> dict[str, Any]:
        (one,) = [one for one in stored(page)["named"] if one["id"] == call["id"]]
        return dict(one)

    # what the desk registered, which nobody signed, stands in a group of its own
    strangers = asked.locator("div", has_text=re.compile(rf"position {told()['position']}(?!\d)"))
    strangers.get_by_role("button", name="That was not me").click()
    expect(asked).to_contain_text("Not you, by your word")
    held = told()
    assert (held["why"], held["answer"]) == ("by_password", "not mine")


def while_proofs_are_asked_for(page: Page, push: Callable[[], object]) -> None:
    """It is pushed then, so that it comes with what is asked for once more. Before the phone waits
    for a change again, it has looked at that."""
    pushed: list[object] = []
    held: list[Route] = []

    def proofs(route: Route) -> None:
        if not pushed:
            pushed.append(push())
        route.continue_()

    page.route("**/api/v1/proofs?**", proofs)
    page.route(
        "**/api/v1/changes?*wait=25*",
        lambda route: held.append(route) if pushed else route.continue_(),
    )
    until(page, lambda: held, "the next question for changes")
    assert _asked(stored(page)) is not None
    held[0].continue_()


def _asked(held: dict[str, Any]) -> Any:
    return held["named"] if all(one["why"] is not None for one in held["named"]) else None


def test_its_own_key_is_shown_to_be_compared(racks: Racks, phone: Phone) -> None:
    page = phone.signed_in("greta")
    page.get_by_role("link", name="This phone").click()
    main = page.get_by_role("main")

    def shown() -> bool:
        """Of the keys that the log has by now, without a doubt: this phone's own."""
        judged = [one for one in stored(page)["named"] if one["why"] == ""]
        bodies = [one["entry"]["body"] for one in judged if "key" in one["entry"]["body"]]
        prints = [fingerprint(bytes.fromhex(body["key"])) for body in bodies]
        return bool(prints) and all(one in main.inner_text() for one in prints)

    until(page, shown, "its own enrolment, from the feed")
