"""A hatch day survives whatever befalls the phone: a tab killed at any step, two tabs, answers that
are lost, a server that fails at one item. What it states arrives once and in its order."""

import re
import time

import pytest
from playwright.sync_api import Page, Route, expect
from tests.browser.rackside.conftest import (
    HERE,
    NewPhone,
    Phone,
    Racks,
    all_sent,
    draft_kept,
    hurried,
    pick,
    stored,
    ten_seconds_later,
    until,
    wrong_clock,
)
from tests.browser.rackside.hatching import (
    Clutch,
    Thumb,
    answer,
    begin,
    clutch,
    entries_of,
    sex,
    signed_in,
    weigh,
)

from scalewitness.domain.moments import parse_moment

pytestmark = pytest.mark.one_in(6)

KINDS = ["animal_registered", "identifier_assigned", "husbandry_noted", "call_made"]


def killed(page: Page) -> Page:
    """As the system kills it, and opened again where it was."""
    where, context = page.url, page.context
    page.close()
    page = context.new_page()
    page.goto(where)
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    return page


def weigh_killed(thumb: Thumb) -> None:
    thumb.key_in("12")
    kept = {"text": "12"}
    until(
        thumb.page,
        lambda: kept.items() <= (stored(thumb.page)["sittings"][0]["keyed"] or {}).items(),
        "what was keyed in to be kept",
    )
    thumb.page = killed(thumb.page)
    expect(thumb.page.get_by_label("Weight", exact=True)).to_have_value("12")
    thumb.key_in(".5")
    thumb.press("Next")
    thumb.at("-02")
    thumb.page = killed(thumb.page)
    thumb.at("-02")
    thumb.key_in("13")
    thumb.press("Next")
    expect(thumb.page.get_by_role("link", name="Sex them")).to_be_visible()
    thumb.page = killed(thumb.page)


def sex_killed(thumb: Thumb) -> None:
    thumb.tap(thumb.page.get_by_role("link", name="Sex them"))
    thumb.choose("Had anyone told you their sex before you checked?", "Told male")
    until(thumb.page, lambda: stored(thumb.page)["sittings"][0]["told"], "the answer to be kept")
    thumb.page = killed(thumb.page)
    thumb.choose("Who holds them?", "I did")
    thumb.choose("How sure are you, where you can tell?", "Certain")
    thumb.press("Hemipenes")
    thumb.at("-02")
    thumb.page = killed(thumb.page)
    thumb.at("-02")
    thumb.press("Nothing")
    expect(thumb.page.get_by_role("button", name="Register")).to_be_visible()
    thumb.page = killed(thumb.page)


def in_order(racks: Racks, made: Clutch, number: int) -> None:
    found = entries_of(racks, made)
    assert len(found) == number
    assert [[one.kind for one in of] for of in found.values()] == [KINDS] * number


@pytest.mark.one_in(1)
def test_a_tab_killed_at_any_step_loses_nothing_and_doubles_nothing(
    racks: Racks, phone: Phone
) -> None:
    made = clutch(racks, "HK")
    page = signed_in(phone, made)
    phone.context.set_offline(True)
    thumb = Thumb(page)
    begin(thumb, made, "2")
    weigh_killed(thumb)
    sex_killed(thumb)
    thumb.press("Register 2 young with 2 calls")
    expect(thumb.page.locator("#announcement")).to_contain_text("saved here")
    page = killed(thumb.page)
    expect(page.locator(".young .state")).to_have_text([re.compile("Saved here")] * 2)
    expect(page.get_by_role("button", name="Register")).to_have_count(0)
    phone.context.set_offline(False)
    all_sent(page)
    in_order(racks, made, 2)
    weights, calls = zip(
        *(of[2:] for _, of in sorted(entries_of(racks, made).items())), strict=True
    )
    assert [one.body["noted"]["grams"] for one in weights] == ["12.5", "13"]
    assert [(one.body["told"], one.body["sureness"]) for one in calls] == [("male", "certain")] * 2


TAKE = """async (item) => {
  const { feed, take } = await import("/rackside/store/replica.js");
  const { session } = await import("/rackside/store/session.js");
  const { cursor } = await feed();
  await take(await session(), cursor, { items: [item], cursor, more: false });
}"""


@pytest.mark.one_in(1)
def test_what_is_filled_in_before_it_begins_is_kept_by_its_parents(
    racks: Racks, phone: Phone
) -> None:
    made, sold, blind = (clutch(racks, stem) for stem in ("HB", "HO", "HI"))
    page = signed_in(phone, made)
    phone.context.set_offline(True)

    def fill(of: Clutch, number: str) -> None:
        page.goto(f"{HERE}#/hatch/new?pairing={of.pairing}")
        expect(page.get_by_role("heading", level=1)).to_contain_text(of.stem)
        Thumb(page).key_in(number)
        draft_kept(page, f'"number": "{number}"')

    for of, number in ((sold, "3"), (blind, "4"), (made, "12")):
        fill(of, number)
    pick(page, "Day they hatched", "Another day")
    page.get_by_label("The day").fill("2026-03-04")
    pick(page, "Codes of their tubs", "Another")
    page.get_by_label("Your pattern").fill("Z-##")
    draft_kept(page, "2026-03-04", "Z-##")
    page = killed(page)
    expect(page.get_by_label("How many")).to_have_value("12")
    expect(page.get_by_label("The day")).to_have_value("2026-03-04")
    expect(page.get_by_label("Your pattern")).to_have_value("Z-##")
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Z-01")
    (sitting,) = stored(page)["sittings"]
    assert (len(sitting["young"]), sitting["hatched"]) == (12, "2026-03-04")
    assert sorted(kept_numbers(page)) == ["3", "4"], "those of the others stay"
    page.evaluate(TAKE, {"type": "purge", "animal": sold.sire})
    assert kept_numbers(page) == ["4"]
    page.evaluate(TAKE, {"type": "animal", "animal": {"id": blind.dam, "sight": "blind"}})
    assert kept_numbers(page) == []


def kept_numbers(page: Page) -> list[str]:
    return [one["form"]["number"] for one in stored(page)["drafts"]]


AT_ONCE = """async (id) => {
  const { stateAll } = await import("/rackside/app/hatching.js");
  return await Promise.all([stateAll(id), stateAll(id)]);
}"""


def made_sitting(page: Page) -> str:
    (sitting,) = stored(page)["sittings"]
    return str(sitting["id"])


def test_two_tabs_work_on_one_sitting_and_state_it_once(racks: Racks, phone: Phone) -> None:
    made = clutch(racks, "HT")
    page = signed_in(phone, made)
    phone.context.set_offline(True)
    thumb = Thumb(page)
    begin(thumb, made, "2")
    other = Thumb(phone.context.new_page())
    other.page.goto(page.url)
    expect(other.page.get_by_role("heading", level=1)).to_contain_text("-01")
    thumb.key_in("12")
    thumb.press("Next")
    expect(other.page.get_by_role("heading", level=1)).to_contain_text("-02")
    other.key_in("13")
    other.press("Next")
    for each in (thumb, other):
        each.page.goto(f"{HERE}#/hatch/{made_sitting(page)}")
        expect(each.page.locator(".young li")).to_contain_text(["12 g", "13 g"])
    both = page.evaluate(AT_ONCE, made_sitting(page))
    assert sorted(map(len, both)) == [0, 6]
    expect(other.page.get_by_role("button", name="Register")).to_have_count(0)
    assert len(stored(page)["outbox"]) == 6
    phone.context.set_offline(False)
    all_sent(page)
    found = entries_of(racks, made)
    assert [[one.kind for one in of] for of in found.values()] == [KINDS[:3]] * 2
    page.get_by_role("button", name="One more").click()
    until(page, lambda: len(stored(page)["sittings"][0]["young"]) == 3, "one more to be kept")
    page.goto(f"{HERE}#/phone")
    expect(page.get_by_text("Of 1 young of a hatch day something is not stated")).to_be_visible()
    expect(page.get_by_role("button", name="Delete them and sign out")).to_be_disabled()


def meddle(phone: Phone, bad: str) -> list[str]:
    """The server fails where this one is in; of the others, one answer is lost."""
    lost: list[str] = []

    def between(route: Route) -> None:
        if bad in (route.request.post_data or ""):
            route.fulfill(status=500, body="<h1>Oh</h1>")
        elif not lost:
            lost.append(route.fetch().text())
            route.abort()
        else:
            route.continue_()

    phone.context.route("**/api/v1/push", between)
    return lost


@pytest.mark.long(
    "waits between tries of three pushes that fail; tests/browser/rackside/test_hatch_faults.py::"
    "test_a_tab_killed_at_any_step_loses_nothing_and_doubles_nothing"
)
def test_what_fails_or_is_lost_on_the_way_still_arrives_once_and_in_its_order(
    racks: Racks, phones: NewPhone
) -> None:
    """An answer is lost; then the server fails at one item again and again."""
    phone = phones("500 (Internal Server Error)", "net::ERR")
    hurried(phone)
    made = clutch(racks, "HF")
    page = signed_in(phone, made)
    phone.context.set_offline(True)
    thumb = Thumb(page)
    begin(thumb, made, "2")
    weigh(thumb, ["12", "13"])
    thumb.tap(page.get_by_role("link", name="Sex them"))
    answer(thumb)
    sex(thumb, 2)
    thumb.press("Register 2 young with 2 calls")
    expect(page.locator("#announcement")).to_contain_text("saved here")
    facts = [one["fact"] for one in stored(page)["outbox"]]
    lost = meddle(phone, next(one["id"] for one in facts if one["kind"] == "identifier_assigned"))
    phone.context.set_offline(False)
    expect(page.locator("#waiting")).to_have_text("3 not sent")
    assert lost
    (whole,) = list(entries_of(racks, made).values())
    assert [one.kind for one in whole] == KINDS, "the other one is all there"
    phone.context.unroute("**/api/v1/push")
    page.goto(f"{HERE}#/calls")
    page.get_by_role("button", name="Send now").click()
    all_sent(page)
    in_order(racks, made, 2)


def test_by_a_clock_two_days_ahead_all_of_it_is_stated_with_the_time_put_right(
    racks: Racks, phone: Phone
) -> None:
    made = clutch(racks, "HC")
    wrong_clock(phone, 2 * 86_400)
    page = signed_in(phone, made)
    thumb = Thumb(page)
    begin(thumb, made, "2")
    weigh(thumb, ["12.5", "13"])
    thumb.tap(page.get_by_role("link", name="Sex them"))
    answer(thumb)
    sex(thumb, 2)
    page.get_by_role("button", name="Register").click()
    until(page, lambda: len(stored(page)["outbox"]) == 8, "all of it")
    ten_seconds_later(page)
    page.goto(f"{HERE}#/calls")
    one_each = page.get_by_role("button", name="Send with the corrected time")
    expect(one_each).to_have_count(
        2
    )  # one for each of the young, with all that was refused with it
    page.get_by_role("button", name="Send all with the corrected time").click()
    all_sent(page)
    in_order(racks, made, 2)
    for one in (one for of in entries_of(racks, made).values() for one in of):
        assert abs(parse_moment(one.at).timestamp() - time.time()) < 600, one.kind
        assert one.sig
