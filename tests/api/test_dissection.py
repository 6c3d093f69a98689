"""What a veterinarian sees of the gonads, in life or after death: decisive once confirmed."""

from typing import Any

import pytest
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.world import World, keeper, new_id

from scalewitness.animals.models import Animal
from scalewitness.people.models import Keeper, Practitioner
from scalewitness.people.services import enter_address

pytestmark = pytest.mark.django_db


@pytest.fixture
def vet() -> Keeper:
    return keeper("Ines Aldous")


def report(odile: Api, seen: str, conclusion: str, **more: Any) -> dict[str, Any]:
    """As a veterinarian's who is named for it."""
    named = odile.post("/practitioners", {"id": str(new_id()), "name": "Dr. Ines Aldous"}).body
    body = {
        "conclusion": conclusion,
        "sureness": "fairly_sure",
        "observed": {"method": "endoscopy", "seen": seen, **more},
        "identified": {"by": "tag", "code": "A-1"},
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
    path, sent = f"/animals/{animal.pk}", report(odile, seen, sex, post_mortem=True)
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
