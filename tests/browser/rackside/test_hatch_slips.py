"""Slips on a hatch day: a double tap, signing out before anything is registered, putting aside a
registration that was refused, sexing young that are to be left in peace."""

import pytest
from playwright.sync_api import Page, expect
from tests.browser.rackside.conftest import (
    HERE,
    Phone,
    Racks,
    fresh_id,
    moment,
    said,
    stored,
    until,
)
from tests.browser.rackside.hatching import Thumb, answer, clutch, signed_in
from tests.world import PASSWORD

pytestmark = pytest.mark.one_in(2)

TWICE = "(button) => { button.click(); button.click(); }"

SIGN_IN = """async ([email, password]) => {
  const { signIn } = await import("/rackside/app/account.js");
  const { load, state } = await import("/rackside/app/state.js");
  Object.assign(state, { outbox: [], sittings: [] }); // as in a tab that has not heard of them yet
  const told = await signIn(email, password, "phone", "").catch(({ message }) => message);
  await load();
  return told;
}"""

REFUSE = """async () => {
  const { change } = await import("/rackside/store/outbox.js");
  const { changed, state } = await import("/rackside/app/state.js");
  const { id } = state.outbox.find(({ fact }) => fact.kind === "animal_registered");
  await change([id], ([one]) => [
    {...one, state: "refused", tries: 1, problem: {detail: "Not like this."}},
  ]);
  await changed();
}"""


def test_a_hatch_day_is_begun_once_and_is_not_lost_by_signing_out(
    racks: Racks, phone: Phone
) -> None:
    made = clutch(racks, "HD")
    page = signed_in(phone, made)
    page.goto(f"{HERE}#/hatch/new?pairing={made.pairing}")
    thumb = Thumb(page)
    thumb.key_in("2")
    page.get_by_role("button", name="Begin").evaluate(TWICE)
    thumb.at("-01")
    page.get_by_role("button", name="Not weighed").dblclick()
    thumb.at("-02")
    thumb.key_in("12")
    thumb.press("Next")
    expect(page.get_by_role("link", name="Sex them")).to_be_visible()
    assert len(stored(page)["sittings"]) == 1
    told = page.evaluate(SIGN_IN, ["greta@keepers.example", PASSWORD])
    assert "of somebody else wait on this phone" in told
    page.goto(f"{HERE}#/phone")
    expect(page.get_by_text("Of 2 young of a hatch day something is not stated")).to_be_visible()
    expect(page.get_by_text("not on record yet. Signing out")).to_have_count(0)
    leave = page.get_by_role("button", name="Delete them and sign out")
    expect(leave).to_be_disabled()
    page.get_by_label("Lose all 2").check()
    expect(leave).to_be_enabled()
    assert len(stored(page)["sittings"]) == 1
    page.goto(f"{HERE}#/rack/%")
    expect(page.get_by_role("heading", name="Not here")).to_be_visible()
    put_aside_when_refused(phone, page)


def put_aside_when_refused(phone: Phone, page: Page) -> None:
    """What waited for the registration goes with it: nothing waits for ever."""
    phone.context.set_offline(True)
    page.goto(f"{HERE}#/hatch/{stored(page)['sittings'][0]['id']}")
    page.get_by_role("button", name="Register 2 young").click()
    expect(page.get_by_role("button", name="Register 2 young")).to_have_count(0)
    page.evaluate(REFUSE)
    page.goto(f"{HERE}#/calls")
    refused = page.get_by_role("heading", name="Needs you").locator("..")
    expect(refused.get_by_role("link", name="Put it right on the list")).to_be_visible()
    refused.get_by_role("button", name="Put it aside").click()
    expect(page.get_by_role("heading", name="Needs you")).to_have_count(0)
    of_it = [one for one in stored(page)["outbox"] if one["state"] == "aside"]
    kinds = {one["fact"]["kind"] for one in of_it}
    assert {"animal_registered", "identifier_assigned"} <= kinds
    assert len({one["fact"]["about"] for one in of_it}) == 1


def test_young_that_are_registered_are_sexed_with_what_speaks_against_it(
    racks: Racks, phone: Phone
) -> None:
    made = clutch(racks, "HW")
    young = fresh_id()
    body = {"collection": made.room, "species": "python_regius", "hatched": moment()[:10]}
    meal = {"noted": {"type": "meal", "taken": True}}
    racks.push(
        racks.odile,
        said("animal_registered", young, body),
        said("identifier_assigned", young, {"scheme": "tag", "code": "HW-one"}),
        said("husbandry_noted", young, meal),
    )
    page = signed_in(phone, made)
    until(page, lambda: young in str(stored(page)["facts"]), "the meal to be here")
    page.goto(f"{HERE}#/hatch")
    page.get_by_role("button", name="HW-one").evaluate(TWICE)
    expect(page.get_by_text("It was fed less than 72 hours ago")).to_be_visible()
    expect(page.get_by_text("The yolk may not be taken up yet")).to_be_visible()
    answer(Thumb(page))
    expect(page.get_by_text("Nobody else holds it")).to_be_visible()
    expect(page.get_by_role("button", name="Hemipenes")).to_be_visible()
