"""What was stated on the phone can be undone and changed until it is first sent: nothing is lost by
that and nothing doubled, wherever a tab is closed, whoever sends meanwhile, whatever the clock."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect
from tests.browser.rackside.conftest import (
    HERE,
    NewPhone,
    Phone,
    Pushes,
    Racks,
    Visit,
    add,
    all_sent,
    draft_kept,
    fill_in,
    open_sheet,
    pick,
    save,
    set_clock,
    stored,
    ten_seconds_later,
    until,
    wrong_clock,
)
from tests.browser.rackside.test_offline import add_photo

from scalewitness.domain.moments import parse_moment

pytestmark = pytest.mark.one_in(6)

DAY = 86_400
AWAY = "net::ERR_FAILED"
CALL = "import('/rackside/app/undo.js').then((m) => m.undo(ids))"
UNDO = f"(ids) => {CALL}"


def ready(racks: Racks, phone: Phone, *tags: str) -> tuple[Visit, Page]:
    visit = racks.visit(*tags)
    page = phone.signed_in()
    open_sheet(page, visit)
    return visit, page


def saved(page: Page, tag: str, **more: Any) -> None:
    """Saved, and its ten seconds not yet over."""
    fill_in(page, tag, **more)
    press_save(page, tag)


def press_save(page: Page, tag: str) -> None:
    page.get_by_role("button", name="Save the call").click()
    expect(page.locator("#announcement")).to_have_text(f"{tag}: saved here.")


def undo(page: Page) -> None:
    page.get_by_role("button", name="Undo", exact=True).click()


def card(page: Page, tag: str, line: str = "Male") -> Any:
    return page.get_by_role("listitem").filter(has_text=tag).filter(has_text=line)


def change(page: Page, tag: str) -> None:
    """From the entries to the form of one."""
    card(page, tag).get_by_role("button", name="Change it").click()
    expect(page.get_by_role("heading", name=tag, exact=True)).to_be_visible()
    expect(page.get_by_label("Male", exact=True)).to_be_checked()


def sexes(racks: Racks, visit: Visit) -> list[str]:
    return sorted(one.body["conclusion"] for one in racks.calls_on(visit))


def test_a_slip_is_undone_before_anything_is_sent(racks: Racks, phone: Phone) -> None:
    """The form is there again, with its weight and photo; what is saved then goes, once."""
    visit, page = ready(racks, phone, "U-1")
    pushes = Pushes(phone)
    fill_in(page, "U-1")
    add(page, grams="420")
    add_photo(page)
    press_save(page, "U-1")
    (first,) = [one for one in stored(page)["outbox"] if one["form"]]
    undo(page)
    expect(page.locator("#announcement")).to_have_text(re.compile("^Undone: U-1, Male"))
    expect(page.get_by_role("button", name="Undo", exact=True)).to_be_hidden()
    assert (stored(page)["outbox"], stored(page)["photos"]) == ([], [])
    page.reload()
    expect(page.get_by_label("Male", exact=True)).to_be_checked()
    expect(page.get_by_label("Weight in grams")).to_have_value("420")
    expect(page.get_by_alt_text("Photo 1")).to_be_visible()
    expect(page.get_by_text("Its time stays that of the check")).to_be_visible()
    pick(page, "Conclusion", "Female")
    press_save(page, "U-1")
    assert (list(pushes), racks.calls_on(visit)) == ([], [])
    assert stored(page)["drafts"] == []
    all_sent(page)
    (call,) = racks.calls_on(visit)
    assert (call.body["conclusion"], call.at) == ("female", first["fact"]["at"])
    assert call.id != first["id"]
    kinds = [one.kind for one in racks.entries() if one.about == call.about and one.sig]
    assert sorted(kinds) == ["call_made", "husbandry_noted", "photo_attached"]


def test_sending_waits_ten_seconds_also_elsewhere_and_after_a_reload(
    racks: Racks, phone: Phone
) -> None:
    visit, page = ready(racks, phone, "U-2")
    other = phone.tab("#/calls")
    pushes = Pushes(phone)
    saved(page, "U-2")
    (begun,) = [one["rest"]["from"] for one in stored(page)["outbox"]]
    page.reload()
    expect(page.get_by_role("button", name="Undo", exact=True)).to_be_visible()
    page.get_by_role("link", name="This phone").click()  # it says of what
    expect(page.locator("#announcement")).to_have_text("U-2: saved here.")
    other.reload()
    expect(other.get_by_role("button", name="Undo", exact=True)).to_be_visible()
    until(page, lambda: pushes, "the call to be sent")
    assert page.evaluate("Date.now()") - begun >= 10_000
    expect(page.locator("#waiting")).to_have_text("Nothing waits")
    expect(other.get_by_role("button", name="Undo", exact=True)).to_be_hidden()
    expect(other.get_by_role("link", name="withdraw it")).to_have_attribute(
        "href", f"/calls/{racks.calls_on(visit)[0].id}/withdrawal"
    )
    assert len(pushes) == 1


def test_it_can_be_changed_offline_wherever_the_tab_is_killed(racks: Racks, phone: Phone) -> None:
    visit, page = ready(racks, phone, "U-3", "U-4")
    phone.context.set_offline(True)
    saved(page, "U-3")
    page.close()  # within the ten seconds
    page = phone.tab("#/calls")
    ten_seconds_later(page)
    page.reload()
    expect(page.get_by_role("button", name="Undo", exact=True)).to_be_hidden()
    change(page, "U-3")
    where = page.url.split("/rackside/")[1]
    page.close()  # once it was opened
    page = phone.tab(where)
    pick(page, "Conclusion", "Female")
    draft_kept(page, '"conclusion": "female"')
    page.close()  # once it was changed
    page = phone.tab(where)
    expect(page.get_by_label("Female", exact=True)).to_be_checked()
    press_save(page, "U-3")
    page.close()  # once it was saved
    page = phone.tab("#/calls")
    change_again = card(page, "U-3", "Female").get_by_role("button", name="Change it")
    expect(change_again).to_be_visible()
    assert len(stored(page)["outbox"]) == 1
    phone.context.set_offline(False)
    all_sent(page)
    assert sexes(racks, visit) == ["female"]


@pytest.mark.one_in(1)
def test_one_tab_changes_an_entry_while_the_other_sends(racks: Racks, phone: Phone) -> None:
    visit, page = ready(racks, phone, "U-5", "U-6")
    other = phone.tab("#/calls")
    phone.context.set_offline(True)
    for tag in ("U-5", "U-6"):
        page.bring_to_front()
        fill_in(page, tag)
        save(page, tag)
    other.bring_to_front()
    change(other, "U-5")
    phone.context.set_offline(False)
    all_sent(page)
    assert [one.about for one in racks.calls_on(visit)] == [visit.animals["U-6"]]
    pick(other, "Conclusion", "Female")
    press_save(other, "U-5")
    all_sent(other)
    assert sexes(racks, visit) == ["female", "male"]


def test_what_is_undone_just_before_it_goes_does_not_go(racks: Racks, phone: Phone) -> None:
    """The other tab has read it already, and asks the server whether it is there."""
    visit, page = ready(racks, phone, "U-7", "U-0")
    other = phone.tab("#/calls")
    page.reload()
    held: list[Route] = []
    phone.context.route("**/api/v1/keepers/me", lambda route: held.append(route))
    pushes = Pushes(phone)
    saved(page, "U-7")
    (id,) = [one["id"] for one in stored(page)["outbox"]]
    ten_seconds_later(other)
    until(other, lambda: held, "the other tab to begin to send")
    assert page.evaluate(UNDO, [id])["hash"] == f"#/log/{visit.id}/{visit.animals['U-7']}"
    for one in held:
        one.continue_()
    phone.context.unroute("**/api/v1/keepers/me")
    assert [one["animal"] for one in stored(page)["drafts"]] == [visit.animals["U-7"]]
    fill_in(page, "U-0", sex="Female")
    save(page, "U-0")
    all_sent(page)
    all_sent(other)
    assert (len(pushes), sexes(racks, visit)) == (1, ["female"])


def test_what_is_on_its_way_can_no_longer_be_changed(racks: Racks, phones: NewPhone) -> None:
    """Nor once its answer was lost: whether the log has it is asked, and then told."""
    phone = phones(AWAY)
    visit, page = ready(racks, phone, "U-8")
    held: list[Route] = []
    phone.context.route("**/api/v1/push", lambda route: held.append(route))
    fill_in(page, "U-8")
    save(page, "U-8")
    until(page, lambda: held, "the push")
    (one,) = stored(page)["outbox"]
    told = "It was sent meanwhile: it can no longer be changed here."
    assert page.evaluate(UNDO, [one["id"]]) == {"told": told}
    page.goto(f"{HERE}#/calls")
    mine = card(page, "U-8")
    expect(mine).to_contain_text("it can no longer be changed here. Once it is in the log")
    expect(mine.get_by_role("button")).to_have_count(0)
    held[0].fetch()
    held[0].abort()
    expect(mine).to_contain_text("Saved here. No connection at the last attempt.")
    expect(mine.get_by_role("button")).to_have_count(0)
    page.reload()
    expect(mine.get_by_role("button")).to_have_count(0)
    phone.context.unroute("**/api/v1/push")
    page.reload()
    all_sent(page)
    expect(mine.get_by_role("link", name="withdraw it")).to_be_visible()
    assert len(racks.calls_on(visit)) == 1


def test_a_server_that_cannot_be_reached_leaves_an_entry_open_to_change(
    racks: Racks, phones: NewPhone
) -> None:
    """As on a network at the racks that leads nowhere: the phone believes that it has a signal."""
    phone = phones(AWAY)
    visit, page = ready(racks, phone, "U-9")
    page.reload()
    phone.context.route("**/api/v1/**", lambda route: route.abort())
    fill_in(page, "U-9")
    save(page, "U-9")
    page.goto(f"{HERE}#/calls")
    expect(card(page, "U-9")).to_contain_text("Saved here. No connection at the last attempt.")
    change(page, "U-9")
    pick(page, "Conclusion", "Female")
    press_save(page, "U-9")
    phone.context.unroute("**/api/v1/**")
    all_sent(page)
    assert sexes(racks, visit) == ["female"]


def test_a_browser_without_locks_neither_loses_nor_doubles(racks: Racks, phone: Phone) -> None:
    phone.context.add_init_script(
        "Object.defineProperty(navigator, 'locks', {value: undefined, configurable: true})"
    )
    visit, page = ready(racks, phone, "V-1", "V-2")
    other = phone.tab("#/calls")
    phone.context.set_offline(True)
    for tag in ("V-1", "V-2"):
        page.bring_to_front()
        fill_in(page, tag)
        save(page, tag)
    other.bring_to_front()
    change(other, "V-1")
    pick(other, "Conclusion", "Female")
    press_save(other, "V-1")
    undo(other)
    pick(other, "Conclusion", "Male")
    press_save(other, "V-1")
    phone.context.set_offline(False)
    all_sent(other)
    all_sent(page)
    assert sexes(racks, visit) == ["male", "male"]
    assert len({one.about for one in racks.calls_on(visit)}) == 2


@pytest.mark.parametrize("off", [-2 * DAY, pytest.param(2 * DAY, id="ahead")])
def test_a_wrong_clock_moves_neither_the_wait_nor_the_time_of_the_check(
    racks: Racks, phone: Phone, off: float
) -> None:
    """Set right in the ten seconds: they are over, and what was saved goes once, or is changed."""
    visit = racks.visit("V-3")
    wrong_clock(phone, off)
    page = phone.signed_in()
    open_sheet(page, visit)
    phone.context.set_offline(True)
    fill_in(page, "V-3")
    expect(page.get_by_label("Correct the call’s time to")).to_be_checked()
    press_save(page, "V-3")
    (first,) = stored(page)["outbox"]
    set_clock(page, 0)
    page.reload()
    page.goto(f"{HERE}#/calls")
    change(page, "V-3")
    expect(page.get_by_label("Correct the call’s time to")).to_be_checked()
    pick(page, "Conclusion", "Female")
    press_save(page, "V-3")
    phone.context.set_offline(False)
    all_sent(page)
    (call,) = racks.calls_on(visit)
    assert call.body["conclusion"] == "female"
    apart = parse_moment(call.at) - parse_moment(first["fact"]["at"])
    assert abs(apart.total_seconds()) <= 3
    assert call.body["corrected"]["read"] == first["fact"]["body"]["corrected"]["read"]


def test_what_is_put_aside_stays_until_it_is_taken_up_or_deleted(
    racks: Racks, phone: Phone
) -> None:
    visit, page = ready(racks, phone, "V-4", "V-5")
    phone.context.set_offline(True)
    for tag in ("V-4", "V-5"):
        fill_in(page, tag)
        add_photo(page)
        save(page, tag)
    page.goto(f"{HERE}#/calls")
    for tag in ("V-4", "V-5"):
        card(page, tag).get_by_role("button", name="Put it aside").click()
        expect(card(page, tag).locator(".state")).to_have_text("Put aside")
    phone.context.set_offline(False)
    all_sent(page)
    page.reload()
    assert racks.calls_on(visit) == []
    card(page, "V-4").get_by_role("button", name="Send it after all").click()
    card(page, "V-5").get_by_role("button", name="Delete it").click()
    card(page, "V-5").get_by_role("button", name="Delete it for good").click()
    expect(card(page, "V-5")).to_have_count(0)
    all_sent(page)
    assert [one.about for one in racks.calls_on(visit)] == [visit.animals["V-4"]]
    assert stored(page)["photos"] == []


def test_what_was_undone_can_be_dropped_for_another_check(racks: Racks, phone: Phone) -> None:
    """The wrong animal was filled in; the next check of this one has a time of its own."""
    visit, page = ready(racks, phone, "V-7")
    saved(page, "V-7")
    undo(page)
    page.get_by_role("button", name="Begin an empty form").click()
    expect(page.get_by_label("Male", exact=True)).to_be_checked()
    page.get_by_role("button", name="Drop what is filled in").click()
    expect(page.get_by_label("Male", exact=True)).not_to_be_checked()
    expect(page.get_by_text("Its time stays")).to_be_hidden()
    held = stored(page)
    assert (held["drafts"], held["outbox"], racks.calls_on(visit)) == ([], [], [])


def test_an_entry_is_not_opened_over_what_was_begun_meanwhile(racks: Racks, phone: Phone) -> None:
    visit, page = ready(racks, phone, "V-6")
    phone.context.set_offline(True)
    saved(page, "V-6")
    fill_in(page, "V-6", sex="Female")
    draft_kept(page, '"sureness": "fairly_sure"')
    page.goto(f"{HERE}#/calls")
    card(page, "V-6").get_by_role("button", name="Change it").click()
    expect(page.locator("#announcement")).to_contain_text("Something else was begun")
    held = stored(page)
    assert [one["fact"]["body"]["conclusion"] for one in held["outbox"]] == ["male"]
    assert [one["form"]["conclusion"] for one in held["drafts"]] == ["female"]
    phone.context.set_offline(False)
    all_sent(page)
    assert sexes(racks, visit) == ["male"]
