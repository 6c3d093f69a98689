"""The season on the phone: what one sees of a planned pairing is noted with one tap, without a
signal too, and none of it stays on the phone of whoever is to check one of the two blind."""

import httpx
import pytest
from playwright.sync_api import Page, expect
from tests.browser.rackside.conftest import (
    HERE,
    Phone,
    Racks,
    all_sent,
    fresh_id,
    moment,
    said,
    stored,
    until,
)

pytestmark = pytest.mark.one_in(3)


def planned(racks: Racks, who: httpx.Client, sire: str, dam: str) -> str:
    pairing, season = fresh_id(), int(moment()[:4])
    racks.push(who, said("pairing_planned", pairing, {"sire": sire, "dam": dam, "season": season}))
    return pairing


def the_season(page: Page, pairing: str) -> None:
    """The racks are shared: another test's animal may bear the same tag."""
    page.get_by_role("link", name="Animals", exact=True).first.click()
    page.get_by_label("Find by tag, transponder or name").fill("SE-2")
    page.locator(f'a[href="#/season/{pairing}"]').click()


def test_a_tap_notes_what_is_seen_without_a_signal_signed_and_once(
    racks: Racks, phone: Phone
) -> None:
    visit = racks.visit("SE-1", "SE-2")
    sire, dam = visit.animals.values()
    pairing = planned(racks, racks.odile, sire, dam)
    page = phone.signed_in("odile")
    until(page, lambda: pairing in str(stored(page)["meta"]), "the pairing to be kept")
    phone.context.set_offline(True)
    the_season(page, pairing)
    expect(page.get_by_role("heading", name="SE-2 with SE-1")).to_be_visible()
    assert page.get_by_text("no check at all").count(), "what matters for her stands beside it"
    assert not page.get_by_role("button", name="Young born, today").count(), "it lays"
    tap = page.get_by_role("button", name="Seen together, today")
    tap.click()
    expect(tap).to_be_disabled()
    page.get_by_label("Good eggs").fill("six")
    eggs = page.get_by_role("button", name="Eggs laid, today")
    eggs.click()
    expect(page.get_by_role("alert")).to_contain_text("That is no count")
    page.get_by_label("Good eggs").fill("6")
    page.locator("input[name=laid-slugs]").fill("1")
    eggs.click()
    expect(eggs).to_be_disabled()
    expect(page.get_by_role("button", name="It was not so")).to_have_count(2)
    take_back_and_withdraw(page, phone, dam)
    together, laid = (one for one in racks.entries("season_noted") if one.about == pairing)
    assert together.body == {"what": "seen_together", "on": moment()[:10]}
    assert laid.body == {"what": "laid", "on": moment()[:10], "good": 6, "slugs": 1}
    assert None not in (together.sig, laid.sig)
    (withdrawn,) = (one for one in racks.entries("season_note_withdrawn") if one.about == pairing)
    assert withdrawn.body == {"noted": together.id}
    assert phone.complaints == []


@pytest.mark.one_in(1)
def take_back_and_withdraw(page: Page, phone: Phone, dam: str) -> None:
    """From the animal's page; before it is sent nothing of it stays, after that a withdrawal."""
    noted = page.get_by_role("listitem").filter(has_text="Seen together on")
    season = page.url
    page.goto(f"{HERE}#/own/{dam}")
    apart = page.get_by_role("button", name="Apart", exact=True)
    apart.click()
    expect(apart).to_be_disabled()
    page.get_by_role("link", name="All of the season").click()
    mistaken = page.get_by_role("listitem").filter(has_text="Apart on")
    mistaken.get_by_role("button", name="It was not so").click()
    expect(mistaken).to_have_count(0)
    phone.context.set_offline(False)
    all_sent(page)
    page.goto(season)
    noted.get_by_role("button", name="It was not so").click()
    expect(noted).to_have_count(0)
    all_sent(page)


def test_no_pairing_is_kept_by_whoever_is_to_check_one_of_the_two_blind(
    racks: Racks, phone: Phone
) -> None:
    """Though the other one is their own."""
    room, mate = fresh_id(), fresh_id()
    racks.greta.post("collections", json={"id": room, "name": "Hers"}).raise_for_status()
    racks.push(
        racks.greta,
        said("animal_registered", mate, {"collection": room, "species": "python_regius"}),
        said("identifier_assigned", mate, {"scheme": "tag", "code": "SE-2"}),
    )
    odile = racks.odile.get("keepers/me").json()["id"]
    look = {"to": odile, "role": "viewer", "until": moment(86_400)}
    racks.push(racks.greta, said("grant_given", room, look))
    own = racks.visit("SE-3")
    pairing = planned(racks, racks.odile, own.animals["SE-3"], mate)
    other = planned(racks, racks.greta, mate, mate_of(racks, room))
    page = phone.signed_in("greta")
    until(page, lambda: other in str(stored(page)["meta"]), "her own pairing to be kept")
    assert pairing not in str(stored(page)["meta"])
    assert phone.complaints == []


def mate_of(racks: Racks, room: str) -> str:
    animal = fresh_id()
    racks.push(
        racks.greta,
        said("animal_registered", animal, {"collection": room, "species": "python_regius"}),
        said("identifier_assigned", animal, {"scheme": "tag", "code": "SE-4"}),
    )
    return animal
