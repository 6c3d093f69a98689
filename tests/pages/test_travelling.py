"""“Animals that travelled together”: from the collection, from a dispute, and who may ask."""

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.world import keeper, new_id

from scalewitness.animals.models import Animal
from scalewitness.disputes.models import Dispute

pytestmark = pytest.mark.one_in(6)


def exchanged(here: Here) -> tuple[Animal, Animal]:
    one, two = here.animal("S-1"), here.animal("S-2")
    for animal, sex in ((one, "female"), (two, "male")):
        here.call(here.odile, animal, sex)
        here.call(here.stan, animal, sex, visit=here.visit(here.stan, animal))
    here.pass_time(days=10)
    for guest in (here.greta, keeper("Nils Berg")):
        for animal, sex in ((one, "male"), (two, "female")):
            here.call(guest, animal, sex, visit=here.visit(guest, animal))
    here.now_is_now()
    return one, two


def test_from_the_collection_to_the_shares(here: Here, odile: Browser) -> None:
    one, two = exchanged(here)
    path = f"/collections/{here.collection.pk}/swaps"
    assert path in odile.open(f"/collections/{here.collection.pk}").links
    form = odile.open(path).form()
    assert form.method == "get"
    page = odile.open(f"{path}?animals={one.pk}&animals={two.pk}&moved_at=")
    assert "Likeliest, with about" in page.text
    assert "the labels of these two animals were exchanged" in page.text
    assert "S-1 is really S-2" in page.text
    assert "S-2 is really S-1" in page.text
    assert "never a verdict" in page.text
    assert "just before the first call that contradicts" in page.text


def test_a_dispute_leads_there_with_its_animal_ticked(here: Here, odile: Browser) -> None:
    animal = here.verified("V-1")
    sibling, other = here.animal("V-2"), here.animal("C-1", species="pantherophis_guttatus")
    here.sold(animal)
    here.pass_time(days=1)
    here.call(here.stan, animal, "female", visit=here.visit(here.stan, animal))
    here.now_is_now()
    page = odile.open(f"/disputes/{Dispute.objects.get().pk}")
    (link,) = (one for one in page.links if "/swaps" in one)
    asked = odile.open(link)
    ticked = [given["value"] for tag, given in asked.tags if "checked" in given]
    assert ticked == [str(animal.pk)]
    assert str(sibling.pk) in asked.html
    assert str(other.pk) not in asked.html


def test_one_alone_or_an_unknown_one_is_refused(here: Here, odile: Browser) -> None:
    one, _ = exchanged(here)
    path = f"/collections/{here.collection.pk}/swaps"
    refused = odile.open(f"{path}?animals={one.pk}&moved_at=")
    assert refused.status == 422
    assert "Choose from 2 to 12 animals." in refused.text
    assert odile.open(f"{path}?animals={one.pk}&animals={here.collection.pk}").status == 422


def test_no_guest_and_no_stranger(here: Here, greta: Browser, stan: Browser) -> None:
    one, two = exchanged(here)
    path = f"/collections/{here.collection.pk}/swaps?animals={one.pk}&animals={two.pk}"
    assert [who.open(path).status for who in (greta, stan)] == [404, 404]


def test_a_dispute_compares_those_checked_together_at_once(here: Here, odile: Browser) -> None:
    one, two = here.animal("S-1"), here.animal("S-2")
    before, after = ("female", "male"), ("male", "female")
    guests = here.stan, keeper("Nils Berg"), here.greta, keeper("Ada Holm")
    for guest, sexes in zip(guests, (before, before, after, after), strict=True):
        visit = here.visit(guest, one, two)
        for animal, sex in zip((one, two), sexes, strict=True):
            here.call(guest, animal, sex, visit=visit)
        here.pass_time(days=5)
    objection = {"animal": str(one.pk), "ground": "party_objects"}
    dispute = new_id(here.now)
    here.say(here.odile, "dispute_opened", dispute, objection)
    here.now_is_now()
    page = odile.open(f"/disputes/{dispute}")
    assert "Compared with S-2" in page.text
    assert "Likeliest, with about" in page.text
    assert "the labels of these two animals were exchanged" in page.text
    (link,) = (found for found in page.links if "/swaps" in found)
    assert "S-1 is really S-2" in odile.open(link).text
