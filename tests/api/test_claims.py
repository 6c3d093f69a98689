"""An offer with claims of traits through the API: made, shown, confirmed, and disclosed when a
claim is withdrawn."""

import pytest
from django.utils import timezone
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.api.test_offers import way_in
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.domain.moments import rfc3339
from scalewitness.sales.models import Sale

pytestmark = pytest.mark.one_in(4)

HET = {"locus": "albino", "says": "carries_one", "basis": "parents"}
WORDS = "carries one copy of albino (100 % het), as known from its parents; stated by the seller"


@told_once
def claimed(world: World) -> tuple[Animal, str]:
    animal = world.animal("OS-11")
    made = world.say(world.odile, "trait_stated", animal.pk, HET)
    present(world)
    return animal, str(made.id)


@pytest.fixture
def sale(world: World, odile: Api, claimed: tuple[Animal, str]) -> Sale:
    animal, claim = claimed
    sale = world.draft(animal)
    terms = {"recheck_days": 14, "remedy": "refund", "claims": [claim]}
    terms["expires"] = rfc3339(timezone.now().replace(microsecond=0, year=2030))
    sent = fact() | terms
    made = odile.post(f"/sales/{sale.pk}/offer", sent)
    assert made.status == 201, made.body
    assert odile.post(f"/sales/{sale.pk}/offer", sent).status == 200
    return sale


def test_the_buyer_reads_it_and_confirms_it(sale: Sale) -> None:
    path, buyer = way_in(), Api()
    shown = buyer.get(path).body
    assert shown["animals"][0]["claims"] == [WORDS]
    sent = {"seen": shown["seen"], "shown": shown["shown"]}
    sent |= {"id": str(new_id(timezone.now())), "at": rfc3339(timezone.now())}
    assert buyer.post(f"{path}/confirmation", sent).status in {200, 201}


def test_withdrawn_it_holds_the_sale_and_what_was_read_before_confirms_nothing(
    odile: Api, sale: Sale, claimed: tuple[Animal, str]
) -> None:
    path, buyer = way_in(), Api()
    shown = buyer.get(path).body
    assert odile.post(f"/traits/{claimed[1]}/withdrawal", fact()).status == 201
    again = buyer.get(path).body
    assert again["animals"][0]["claims"] == [f"{WORDS} (withdrawn)"]
    assert again["held"] == ["claim_withdrawn"]
    sent = {"seen": shown["seen"], "shown": shown["shown"]}
    sent |= {"id": str(new_id(timezone.now())), "at": rfc3339(timezone.now())}
    refused = buyer.post(f"{path}/confirmation", sent)
    assert (refused.status, refused.code) == (409, "standing_moved")


def test_what_nobody_stated_of_it_is_offered_with_nothing(
    world: World, odile: Api, claimed: tuple[Animal, str]
) -> None:
    sale = world.draft(world.animal("OS-12"))
    sent = fact() | {"recheck_days": 14, "remedy": "refund", "claims": [claimed[1]]}
    sent["expires"] = rfc3339(timezone.now().replace(microsecond=0, year=2030))
    answer = odile.post(f"/sales/{sale.pk}/offer", sent)
    assert (answer.status, answer.code) == (422, "out_of_range")


def test_a_disclosure_of_a_claim_says_that_it_is_of_one(
    world: World, odile: Api, claimed: tuple[Animal, str]
) -> None:
    animal, claim = claimed
    sale = world.draft(animal)
    offer = world.offer(sale, claims=[{"animal": str(animal.pk), "stated": claim}])
    world.confirm(sale, offer.id or "", offer.position or 0)
    world.say(world.odile, "payment_recorded", sale.pk)
    world.say(world.odile, "trait_withdrawn", animal.pk, {"stated": claim})
    (owed,) = odile.get("/disclosures").body["items"]
    assert (owed["change"], owed["claim"]["stated"]) == ("withdrawn", claim)
    assert owed["claim"]["in_words"] == "carries one copy of albino (100 % het)"
    assert owed["letters"][0]["state"] == "waiting"
    (theirs,) = Api().get(f"{way_in('claim_disclosure')}/disclosure").body["items"]
    assert theirs["id"] == owed["id"]
