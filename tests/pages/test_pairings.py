"""A breeder plans the season, and sees at once what it no longer rests on."""

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.world import new_id

from scalewitness.animals.services import create_collection
from scalewitness.breeding.models import Pairing

pytestmark = pytest.mark.one_in(6)


def test_a_pairing_is_planned_seen_and_dropped(here: Here, odile: Browser) -> None:
    sire, dam = here.verified("V-1"), here.animal("F-1")
    here.name(sire, "Barnaby")
    here.name(dam, "Fern")
    here.now_is_now()
    path = f"/animals/{sire.pk}/pairings/new"
    assert path in odile.open(f"/animals/{sire.pk}").html
    planned = odile.fill(path, mate=str(dam.pk), season="2027")
    assert planned.goes_to == "/pairings"
    pairing = Pairing.objects.get()
    assert (pairing.sire, pairing.dam) == (sire, dam), "the record's own word for each is offered"
    page = odile.open("/pairings")
    assert "2027" in page.text
    assert "Barnaby : verified male" in page.text
    assert "Fern : unsexed. It is not verified as female." in page.text
    assert "It is not verified as male" not in page.text
    assert f"/collections/{here.collection.pk}/seasons/2027" in page.html, "the whole season"
    for animal in (sire, dam):
        assert "Planned pairings" in odile.open(f"/animals/{animal.pk}").text
    dropped = odile.send(page.form("/end"))
    assert dropped.goes_to == "/pairings"
    assert "None is planned" in odile.open("/pairings").text
    again = odile.send(page.form("/end"))
    assert again.goes_to == "/pairings", "the same form sent twice says the same twice"


def test_a_cross_is_planned_by_whoever_says_that_it_is_one(here: Here, odile: Browser) -> None:
    """Hybrids are bred; far more often the other species is a slip."""
    ball, corn = here.animal("B-1"), here.animal("C-1", species="pantherophis_guttatus")
    here.now_is_now()
    path = f"/animals/{ball.pk}/pairings/new?mate={corn.pk}"
    sent = {"role": "sire", "season": "2028"}
    assert "no trait of a parent tells their sex" in odile.open(path).text
    refused = odile.fill(path, **sent)
    assert refused.status == 422
    assert "It is a corn snake, the other a ball python." in refused.text
    assert not Pairing.objects.exists()
    assert odile.fill(path, **sent, cross="on").goes_to == "/pairings"
    shown = odile.open("/pairings").text
    assert "A cross of ball python and corn snake." in shown
    assert "“snake of a species not listed”" in shown
    assert "It is not verified as male." in shown, "the sex of both is as unsure as ever"


def test_young_of_a_cross_are_of_a_species_not_listed(here: Here, odile: Browser) -> None:
    ball, corn = here.animal("B-1"), here.animal("C-1", species="pantherophis_guttatus")
    here.now_is_now()
    path = f"/collections/{here.collection.pk}/clutches/new?sire={ball.pk}&dam={corn.pk}"
    clutch = {"hatched": "2026-08-01", "number": "2", "pattern": "HY-##", "first": "1"}
    asked = odile.fill(path, **clutch)
    assert "Young of two species are each a “snake of a species not listed”." in asked.text
    grid = odile.fill(path, **clutch, species="serpentes")
    assert "HY-01" in grid.html


def test_what_speaks_against_it_is_said(here: Here, odile: Browser) -> None:
    animal, other = here.animal("M-1"), here.animal("F-1")
    here.call(here.odile, animal, "female")
    here.now_is_now()
    odile.fill(f"/animals/{animal.pk}/pairings/new", role="sire", mate=str(other.pk), season="2027")
    assert "The record speaks against its being male." in odile.open("/pairings").text


def test_what_is_wrong_stays_in_the_form(here: Here, odile: Browser) -> None:
    animal, other = here.animal("M-1"), here.animal("F-1")
    here.now_is_now()
    path = f"/animals/{animal.pk}/pairings/new"
    refused = odile.fill(path, role="sire", mate=str(other.pk), season="1066")
    assert refused.status == 422
    assert "1066" in refused.html
    assert odile.fill(path, role="sire", mate=str(other.pk), season="2027").goes_to
    twice = odile.fill(path, role="sire", mate=str(other.pk), season="2027")
    assert twice.status == 409
    assert "planned already" in twice.text


def test_a_guest_plans_nothing(here: Here, greta: Browser) -> None:
    animal = here.animal("M-1")
    here.visit(here.greta, animal)
    here.now_is_now()
    assert greta.open(f"/animals/{animal.pk}/pairings/new").status == 404
    assert "None is planned" in greta.open("/pairings").text


def test_the_other_keeper_agrees_on_the_page(here: Here, odile: Browser) -> None:
    room = create_collection(here.stan, new_id(here.now), "Stan's shelf", here.now)
    own, his = here.animal("M-1"), here.animal("S-1", room=room)
    look = {"to": str(here.odile.pk), "role": "viewer"}
    here.say(here.stan, "grant_given", room.pk, look)
    here.now_is_now()
    odile.fill(f"/animals/{own.pk}/pairings/new", role="sire", mate=str(his.pk), season="2027")
    assert "it waits for the other keeper" in odile.open("/pairings").text
    stan = Browser(here.stan)
    assert "ask its keeper for access" in stan.open("/pairings").text
    here.view(here.stan, own)
    page = stan.open("/pairings")
    assert "it waits for your agreement" in page.text
    assert stan.send(page.form("/agreement")).goes_to == "/pairings"
    for browser in (odile, stan):
        assert "Not agreed yet" not in browser.open("/pairings").text
