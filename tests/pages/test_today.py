"""What waits, for whom, and what comes next."""

from datetime import timedelta

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.plugins.told_once import told_once
from tests.world import new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.pages.home.pending import Group, Pending
from scalewitness.pages.home.today import pending

pytestmark = pytest.mark.one_in(6)


def found(here: Here, group: Group) -> list[Pending]:
    return pending(here.odile, here.now)[group]


def titled(here: Here, group: Group) -> list[tuple[str, str]]:
    return [(one.what, one.about) for one in found(here, group)]


@told_once
def onyx(here: Here) -> Animal:
    animal = here.verified("OS-1")
    here.name(animal, "Onyx")
    here.now_is_now()
    return animal


def test_a_sale_is_followed_from_draft_to_handover(here: Here, onyx: Animal) -> None:
    sale = here.draft(onyx)
    buyer = sale.buyer.name
    assert titled(here, "needs") == [(f"Make {buyer} the offer", "Onyx")]
    offer = here.offer(sale)
    assert titled(here, "needs") == []
    assert titled(here, "waits") == [(f"{buyer} reads the offer", "Onyx")]
    here.confirm(sale, str(offer.id), here.look(sale)["seen"])
    assert titled(here, "needs") == [(f"Record {buyer}’s payment", "Onyx")]
    assert "to be paid by" in found(here, "needs")[0].since
    here.say(here.odile, "payment_recorded", sale.pk)
    assert titled(here, "needs") == [(f"Hand it over to {buyer}", "Onyx")]
    here.say(here.odile, "handed_over", sale.pk)
    assert titled(here, "needs") == titled(here, "waits") == []


def test_an_offer_about_to_lapse_needs_its_seller(here: Here, onyx: Animal) -> None:
    sale = here.draft(onyx)
    here.offer(sale)
    assert titled(here, "needs") == []
    here.pass_time(days=5)
    ((what, _),) = titled(here, "needs")
    assert what == f"{sale.buyer.name} reads the offer, which is about to lapse"


def test_a_visit_is_followed_by_its_host(here: Here, onyx: Animal) -> None:
    visit = here.invite(here.greta, onyx)
    assert titled(here, "waits") == [
        (f"{here.greta.name} has not answered your invitation", "1 animal, blind")
    ]
    here.say(here.greta, "visit_accepted", visit)
    assert titled(here, "coming") == [(f"{here.greta.name} is checking", "1 animal, blind")]
    here.pass_time(days=4)
    assert titled(here, "coming") == [(f"{here.greta.name}’s visit is over", "1 animal, blind")]
    here.pass_time(days=8)
    assert titled(here, "coming") == []


def test_a_pairing_whose_sex_fell_is_urgent(here: Here, onyx: Animal) -> None:
    dam = here.verified("OS-2", "female")
    pair = {"sire": str(onyx.pk), "dam": str(dam.pk), "season": 2027}
    here.say(here.odile, "pairing_planned", new_id(here.now), pair)
    assert titled(here, "needs") == []
    here.pass_time(days=1)
    here.call(here.fenna, dam, "male", visit=here.visit(here.fenna, dam))
    urgent = [one for one in found(here, "needs") if one.urgent]
    assert ("A pairing of 2027 hangs on a dam that is contested", "OS-2") in [
        (one.what, one.about) for one in urgent
    ]


def test_who_bought_is_told_to_the_sellers_side_alone(here: Here, onyx: Animal) -> None:
    sale = here.sold(onyx)
    here.pass_time(days=1)
    here.call(here.fenna, onyx, "female", visit=here.visit(here.fenna, onyx))
    here.view(here.stan, onyx)
    assert ("A dispute is open", f"Onyx, sold to {sale.buyer.name}") in titled(here, "needs")
    seen = [(one.what, one.about) for one in pending(here.stan, here.now)["needs"]]
    assert seen == [("A dispute is open", "Onyx")]


def test_collections_are_told_in_words_and_as_a_strip(
    here: Here, odile: Browser, onyx: Animal
) -> None:
    here.animal("OS-9")
    page = odile.open("/")
    assert "1 male, 0 females, 1 not settled" in page.text
    assert "1 not checked for a year" in page.text
    assert 'aria-label="1 unsexed, 1 verified male"' in page.html
    (there,) = {one for one in page.links if "checked=over_a_year" in one}
    assert "OS-9" in odile.open(there).text
    assert "Onyx" not in odile.open(there).text


def test_since_when_is_said_in_words(here: Here, onyx: Animal) -> None:
    sale = here.draft(onyx)
    for after, said in ((0, "today"), (1, "yesterday"), (3, "for 3 days"), (30, "for 4 weeks")):
        when = sale.drafted_at + timedelta(days=after, hours=1)
        assert [one.since for one in pending(here.odile, when)["needs"]] == [said]


def test_what_is_to_be_checked_before_a_season_or_a_sale_is_coming_up(
    here: Here, onyx: Animal
) -> None:
    plain = here.animal("OS-3")
    here.call(here.odile, plain, "female")
    pair = {"sire": str(onyx.pk), "dam": str(plain.pk), "season": 2027}
    here.say(here.odile, "pairing_planned", new_id(here.now), pair)
    label = here.label(plain)
    assert titled(here, "coming") == [(f"The dam of 2027 is {label}: check it first", "OS-3")]
    sale = here.draft(plain)
    first = f"To be sold to {sale.buyer.name}, and {label}: check it first"
    assert (first, "OS-3") in titled(here, "coming")
    here.draft(onyx)
    assert "Onyx" not in {about for _, about in titled(here, "coming")}
    assert pending(here.stan, here.now)["coming"] == []


def test_of_an_animal_that_left_a_draft_tells_nothing(here: Here) -> None:
    """It may be another's by now, whose record is not the seller's to read."""
    animal = here.animal("OS-3")
    sale = here.draft(animal)
    there = titled(here, "coming")
    assert there == [(f"To be sold to {sale.buyer.name}, and unsexed: check it first", "OS-3")]
    room = create_collection(here.odile, new_id(here.now), "Another room", here.now)
    here.say(here.odile, "custody_changed", animal.pk, {"to": str(room.pk), "why": "moved"})
    assert titled(here, "coming") == []
