"""Vouching over the API: for an examiner, and that an account is the practice's it says it is."""

import pytest
from tests.api.client import Api, fact
from tests.world import World, keeper, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.people.models import Keeper

pytestmark = pytest.mark.django_db
VET = {"practice": "veterinarian"}


@pytest.fixture
def vet(world: World) -> Keeper:
    return keeper("Ines Aldous")


@pytest.fixture
def reported(world: World, odile: Api, animal: Animal, vet: Keeper) -> str:
    """An endoscopy in the vet's name, at an address that its sender gave."""
    named = odile.post("/practitioners", {"id": str(new_id()), "name": "Dr. Ines Aldous"}).body
    given = odile.put(f"/practitioners/{named['id']}/address", {"email": vet.email})
    assert given.status == 204
    body = probing("male", world.chip(animal)) | {"held_by": "sedated"}
    body |= {"observed": {"method": "endoscopy", "seen": "testes"}}
    body |= {"reported": {"role": "veterinarian", "who": named["id"]}}
    made: str = odile.post(f"/animals/{animal.pk}/calls", fact(body)).body["id"]
    return made


def vouch(who: Keeper, vet: Keeper, **body: object) -> int:
    return Api(who).post(f"/keepers/{vet.pk}/voucher", fact(VET | body)).status


def label_after_her_answer(odile: Api, animal: Animal, vet: Keeper, call: str) -> str:
    assert Api(vet).post(f"/calls/{call}/answer", fact({"answer": "confirmed"})).status == 201
    label: str = odile.get(f"/animals/{animal.pk}/standing").body["label"]
    return label


def test_a_practice_that_two_confirm_who_are_tied_to_nobody_verifies_what_it_confirms(
    world: World, odile: Api, animal: Animal, vet: Keeper, reported: str
) -> None:
    assert [vouch(who, vet) for who in (world.stan, world.fenna)] == [201, 201]
    (shown,) = Api(world.stan).get("/vouchers").body["items"]
    assert (shown["keeper"]["name"], shown["practice"]) == ("Ines Aldous", "veterinarian")
    (hers,) = Api(vet).get("/reports").body["items"]
    assert hers["confirms"] is True
    assert label_after_her_answer(odile, animal, vet, reported) == "verified male"


def test_a_seller_with_free_accounts_makes_no_practice(
    world: World, odile: Api, animal: Animal, vet: Keeper, reported: str
) -> None:
    """Nor with a partner, nor by vouching themselves."""
    new = keeper("New")
    shown = Api(new).get("/vouchers").body
    assert shown == {"footing": "none", "deceived": False, "may_vouch": False, "items": []}
    assert vouch(new, vet) == 403
    world.make_partner(world.pim)
    assert [vouch(who, vet) for who in (world.odile, world.pim)] == [201, 201]
    assert label_after_her_answer(odile, animal, vet, reported) != "verified male"


def test_a_voucher_ends_and_nobody_gives_it_twice(world: World, vet: Keeper) -> None:
    assert [vouch(world.stan, vet), vouch(world.stan, vet)] == [201, 409]
    assert vouch(world.stan, vet, vouches=False) == 201
    assert Api(world.stan).get("/vouchers").body["items"] == []
    assert vouch(world.fenna, vet, vouches=False) == 404, "she never gave one"
    assert Api(world.fenna).get("/vouchers").body["footing"] == "founder"
