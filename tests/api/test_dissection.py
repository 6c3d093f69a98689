"""What a veterinarian sees of the gonads, in life or after death, once it is confirmed: it settles
a sex, or that the animal has none of the two."""

from typing import Any

import pytest
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.world import World, keeper, new_id

from scalewitness.animals.models import Animal
from scalewitness.disclosures.models import Disclosure
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper, Practitioner
from scalewitness.people.services import enter_address
from scalewitness.sales.queries import progress_of, sale_of
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@pytest.fixture
def vet() -> Keeper:
    return keeper("Ines Aldous")


def report(world: World, odile: Api, animal: Animal, seen: str, sex: str, **more: Any) -> Any:
    """As a veterinarian's who is named for it and read the animal's chip."""
    named = odile.post("/practitioners", {"id": str(new_id()), "name": "Dr. Ines Aldous"}).body
    body = {
        "conclusion": sex,
        "sureness": "fairly_sure",
        "observed": {"method": "endoscopy", "seen": seen, **more},
        "identified": {"by": "transponder", "code": world.chip(animal)},
        "held_by": "not_held",
        "reported": {"role": "veterinarian", "who": named["id"]},
    }
    return fact(body)


def confirmed(world: World, vet: Keeper, call: str) -> None:
    """By her own account, at an address that the operator entered."""
    enter_address(Practitioner.objects.get(), vet.email, new_id(world.now), world.now)
    assert Api(vet).post(f"/calls/{call}/answer", fact({"answer": "confirmed"})).status == 201


def label(odile: Api, animal: Animal) -> str:
    return str(odile.get(f"/animals/{animal.pk}/standing").body["label"])


@pytest.mark.parametrize(("seen", "sex"), [("testes", "male"), ("ovaries", "female")])
def test_a_dissection_settles_the_sex_once_its_veterinarian_confirms(
    world: World, odile: Api, animal: Animal, vet: Keeper, seen: str, sex: str
) -> None:
    present(world)
    path, sent = f"/animals/{animal.pk}", report(world, odile, animal, seen, sex, post_mortem=True)
    early = odile.post(f"{path}/calls", sent)
    assert (early.status, early.pointer) == (422, "/body/observed/post_mortem")
    odile.post(f"{path}/end", fact({"why": "died"}))
    assert odile.post(f"{path}/calls", sent).status == 201
    assert label(odile, animal) in {f"probable {sex}", "unsexed"}
    confirmed(world, vet, sent["id"])
    assert label(odile, animal) == f"verified {sex}"
    lines = " ".join(one["text"] for one in odile.get(f"{path}/standing").body["lines"])
    assert f"Opened it after death and saw {seen}" in lines
    assert "settles the sex by itself" in lines


def test_confirmed_organs_of_both_sexes_take_it_out_of_either(
    world: World, odile: Api, vet: Keeper
) -> None:
    """Owed as for a fall; and no number of calls verifies it again."""
    animal = world.verified("A-1")
    bought = world.sold(animal)
    present(world)
    path, sent = f"/animals/{animal.pk}", report(world, odile, animal, "both", "undetermined")
    wrong = fact(sent["body"] | {"conclusion": "male"})
    refused = odile.post(f"{path}/calls", wrong)
    assert (refused.status, refused.pointer) == (422, "/body/conclusion")
    assert odile.post(f"{path}/calls", sent).status == 201
    said = odile.get(f"{path}/standing").body
    assert said["label"] == "verified male", "on the sender's word nothing changes"
    assert "organs of both sexes were seen" in " ".join(one["text"] for one in said["lines"])
    assert not Disclosure.objects.exists()
    confirmed(world, vet, sent["id"])
    found = odile.get(f"{path}/standing").body
    assert (found["label"], found["reasons"]) == ("contested", ["atypical"])
    assert found["lines"][0]["text"].startswith("It is neither male nor female")
    (owed,) = Disclosure.objects.all()
    assert (owed.to_id, owed.change) == (bought.buyer_id, "fell")
    assert Letter.objects.filter(kind="disclosure").exists()
    for name in ("Dan", "Eve", "Finn"):
        who = keeper(name)
        world.call(who, animal, "male", visit=world.visit(who, animal))
    assert label(odile, animal) == "contested"
    assert not list(Replay().differences())


def test_a_denied_report_of_both_gives_the_sex_back(world: World, odile: Api, vet: Keeper) -> None:
    animal = world.verified("A-1")
    sale = world.draft(animal)
    world.offer(sale)
    present(world)
    sent = report(world, odile, animal, "both", "undetermined")
    odile.post(f"/animals/{animal.pk}/calls", sent)
    confirmed(world, vet, sent["id"])
    held = sale_of(sale.pk)
    assert held is not None
    assert progress_of(held).held == ("standing_fell",)
    assert Api(vet).post(f"/calls/{sent['id']}/answer", fact({"answer": "denied"})).status == 201
    assert label(odile, animal) == "verified male"
