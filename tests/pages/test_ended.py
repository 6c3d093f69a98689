"""The pages of an animal that died, is lost or was stolen."""

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import MALE, Here

pytestmark = pytest.mark.one_in(6)


def test_a_keeper_says_so_and_it_leaves_the_lists(here: Here, odile: Browser) -> None:
    animal, other = here.animal("B-1"), here.animal("B-2")
    here.name(animal, "Nettle")
    here.name(other, "Clove")
    here.now_is_now()
    path, room = f"/animals/{animal.pk}", f"/collections/{here.collection.pk}"
    assert f"{path}/end" in odile.open(path).links
    page = odile.open(odile.fill(f"{path}/end", why="died", day="2026-11-20").goes_to)
    assert "Its keeper says that the animal died. As of 20 November 2026" in page.text
    assert "Sell" not in page.text
    assert f"{path}/plan" not in page.links
    for listing in (room, "/animals"):
        listed = odile.open(listing)
        assert "Nettle" not in listed.text
        assert "1 that died" in listed.text
        gone = odile.open(f"{listing}?ended=only").text
        assert "Nettle" in gone
        assert "Clove" not in gone
    assert "0 males, 0 females, 1 not settled" in odile.open(room).text
    for picked in ("sales/new", "visits/new"):
        found = odile.open(f"{room}/{picked}").text
        assert "Clove" in found
        assert "Nettle" not in found
    assert "animal ended" in odile.open(f"{path}/history").text.lower()
    page = odile.open(odile.fill(f"{path}/end", why="mistake").goes_to)
    assert "animal died" not in page.text
    assert "Nettle" in odile.open(room).text


def test_a_buyer_reads_it_on_the_offer(here: Here, odile: Browser, anyone: Browser) -> None:
    sale = here.draft(animal := here.verified("B-1"))
    here.now_is_now()
    here.offer(sale)
    token = here.token(sale)
    odile.fill(f"/animals/{animal.pk}/end", why="lost")
    page = anyone.open(f"/offers/{token}")
    assert "An animal of this offer is said to have died, or to be lost or stolen." in page.text
    assert "Its keeper says that the animal is lost." in page.text
    assert "You say that an animal of it died, or is lost" in odile.open(f"/sales/{sale.pk}").text


def test_a_blind_guest_has_it_no_more_to_check(here: Here, odile: Browser, greta: Browser) -> None:
    animal = here.animal("B-1")
    here.name(animal, MALE)
    visit = here.visit(here.greta, animal, days=60)
    here.now_is_now()
    assert "B-1" in greta.open(f"/visits/{visit}/sheet").text
    odile.fill(f"/animals/{animal.pk}/end", why="died")
    assert "B-1" not in greta.open(f"/visits/{visit}/sheet").text
    page = greta.open(f"/animals/{animal.pk}")
    assert "Its keeper says that the animal died." in page.text
    assert MALE not in page.html
