"""The page of an animal that was registered in error: stated there, and what is left of it."""

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import Here

from scalewitness.ledger.models import Entry

pytestmark = pytest.mark.one_in(6)


def test_it_leaves_every_list_and_its_page_says_so(here: Here, odile: Browser) -> None:
    animal, other = here.animal("E-1"), here.animal("K-1")
    here.name(animal, "Nettle")
    here.now_is_now()
    path, room = f"/animals/{animal.pk}", f"/collections/{here.collection.pk}"
    assert f"{path}/registration-error" in odile.open(path).links
    left = odile.open(odile.fill(f"{path}/registration-error", note="twice").goes_to)
    assert "Nettle was registered in error" in left.text
    assert "An animal was registered: python regius." in left.text
    assert "Its keeper says that the animal was registered in error." in left.text
    entry = Entry.objects.get(kind="registered_in_error")
    assert f"/receipts/{entry.fact}" in left.links
    assert odile.open(f"/receipts/{entry.fact}").status == 200
    for listing in ("/animals", "/animals?ended=only", room, f"{room}/sales/new",
                    f"{room}/animals/new", f"{room}/visits/new", "/animals?q=Nettle"):  # fmt: skip
        assert "Nettle" not in odile.open(listing).text.replace("Nettle is out of", ""), listing
    assert "1 animal" in odile.open("/animals").text
    for page in ("record", "particulars", "calls/new", "history", "end", "pairings/new"):
        assert odile.open(f"{path}/{page}").status == 404, page
    again = odile.open(f"{path}/registration-error")
    assert "registered in error, by its keeper's word" in odile.send(again.form()).text.replace(
        "’", "'"
    )
    made = odile.fill(f"{room}/animals/new", species="python_regius", scheme="tag",
                       identifier="E-1")  # fmt: skip
    assert made.status == 302, made.text
    assert other.identifiers.get().code == "K-1"


def test_a_stranger_and_a_partner_see_of_it_what_they_saw_before(
    here: Here, stan: Browser, greta: Browser
) -> None:
    animal = here.animal("E-1")
    here.make_partner(here.greta)
    here.say(here.greta, "registered_in_error", animal.pk, {})
    here.now_is_now()
    path = f"/animals/{animal.pk}"
    assert stan.open(path).status == 404
    assert stan.open(f"{path}/registration-error").status == 404
    assert "was registered in error" in greta.open(path).text
    assert "was registered in error" in Browser(here.odile).open(path).text


def test_what_stands_in_the_way_is_told_and_nothing_is_lost(here: Here, odile: Browser) -> None:
    animal = here.animal("E-1")
    here.draft(animal)
    here.now_is_now()
    path = f"/animals/{animal.pk}"
    refused = odile.fill(f"{path}/registration-error", note="twice")
    assert refused.status == 409
    assert "It is in a sale, if only drafted." in refused.text
    assert "state that it died or is lost" in refused.text
    assert refused.form().values["note"] == ["twice"]
    assert f"{path}" in odile.open("/animals").links
