"""Ways to a verified sex that must not work, and those that must, as one may try them."""

from typing import Any

import pytest
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.world import World, keeper, new_id, probing

from scalewitness.animals.models import Animal

pytestmark = pytest.mark.django_db
SEXES = ("male", "female")


def standing(odile: Api, animal: Animal) -> Any:
    return odile.get(f"/animals/{animal.pk}/standing").body


def guests(world: World, animal: Animal, sex: str, *names: str, **more: Any) -> None:
    """Each checks it blind, on a day of their own."""
    for name in names:
        world.pass_time(days=1)
        who = keeper(name)
        assert world.call(who, animal, sex, visit=world.visit(who, animal), **more).id


@pytest.mark.parametrize("sex", SEXES)
def test_the_same_again_in_one_sitting_changes_nothing(
    world: World, odile: Api, animal: Animal, sex: str
) -> None:
    guests(world, animal, sex, "Ann")
    present(world)
    odile.post(f"/animals/{animal.pk}/calls", fact(probing(sex, "A-1")))
    once = standing(odile, animal)
    for _ in range(5):
        odile.post(f"/animals/{animal.pk}/calls", fact(probing(sex, "A-1")))
    again = standing(odile, animal)
    assert abs(again["p_male"] - once["p_male"]) < 1e-9
    assert again["label"] == once["label"] == f"probable {sex}"


@pytest.mark.parametrize("sex", SEXES)
@pytest.mark.parametrize("others", [False, True], ids=["the owner again", "others who knew"])
def test_ten_who_knew_verify_nothing_after_one_blind_check(
    world: World, odile: Api, animal: Animal, sex: str, others: bool
) -> None:
    guests(world, animal, sex, "Ann")
    for n in range(10):
        world.pass_time(days=1)
        who = keeper(f"Knowing {n}") if others else world.odile
        visit = world.visit(who, animal, blind=False) if others else None
        assert world.call(who, animal, sex, visit=visit).id
    found = standing(odile, animal)
    assert found["label"] == f"probable {sex}"
    assert "needs_second_examiner" in found["reasons"]


REPORTS: dict[str, tuple[str, dict[str, Any]]] = {
    "endoscopy": ("female", {"method": "endoscopy", "seen": "ovaries"}),
    "dna": (
        "female",
        {"method": "dna", "system": "ZW", "sample": "shed", "found": "heterogametic"},
    ),
    "ultrasound": ("female", {"method": "ultrasound", "seen": "follicles"}),
    "eggs": ("female", {"method": "reproduction", "event": "laid_eggs", "witnessed": True}),
}


@pytest.mark.parametrize("species", ["pantherophis_guttatus", "pituophis_ruthveni"])
@pytest.mark.parametrize("reports", [[one] for one in REPORTS] + [list(REPORTS)], ids="-".join)
def test_the_sellers_word_for_others_proofs_verifies_nothing(
    world: World, odile: Api, species: str, reports: list[str]
) -> None:
    """One of them, or all of them together; the page says whose word it is."""
    animal = present(world).animal("B-2", species)
    named = odile.post("/practitioners", {"id": str(new_id()), "name": "Dr. Nobody Else"}).body
    for name in reports:
        conclusion, observed = REPORTS[name]
        body = probing("female", "B-2") | {"conclusion": conclusion, "observed": observed}
        if name != "eggs":
            role = "laboratory" if name == "dna" else "veterinarian"
            body["reported"] = {"role": role, "who": named["id"]}
        assert odile.post(f"/animals/{animal.pk}/calls", fact(body)).status == 201
    found = standing(odile, animal)
    assert found["label"] in ("probable female", "unsexed")
    assert not found["decisive"]


@pytest.mark.parametrize(
    "species", ["serpentes", "morelia_viridis", "pituophis_ruthveni", "eryx_colubrinus"]
)
def test_probing_verifies_no_species_that_nobody_has_ranges_for(
    world: World, odile: Api, species: str
) -> None:
    """And says so: of what snakes it speaks, and what is missing."""
    animal = world.animal("B-2", species)
    deep = probing("male", "B-2")
    for run in deep["observed"]["passes"]:
        run["depth"] = "11"
    guests(world, animal, "male", *(f"Guest {n}" for n in range(6)), body=deep)
    found = standing(odile, animal)
    assert found["label"] in ("probable male", "unsexed")
    lines = " ".join(one["text"] for one in found["lines"])
    assert "In snakes in general females usually probe" in lines
    assert "In this species" not in lines
    assert "nobody has published how deep this species probes" in lines


@pytest.mark.parametrize("sex", SEXES)
def test_two_blind_guests_verify(world: World, odile: Api, animal: Animal, sex: str) -> None:
    guests(world, animal, sex, "Ann", "Ben")
    assert standing(odile, animal)["label"] == f"verified {sex}"


@pytest.mark.parametrize("sex", SEXES)
def test_the_owners_first_check_and_one_blind_guest_verify(
    world: World, odile: Api, animal: Animal, sex: str
) -> None:
    world.call(world.odile, animal, sex)
    guests(world, animal, sex, "Ann")
    assert standing(odile, animal)["label"] == f"verified {sex}"


@pytest.mark.parametrize("sex", SEXES)
def test_two_later_blind_checks_correct_one_slip(
    world: World, odile: Api, animal: Animal, sex: str
) -> None:
    guests(world, animal, sex, "Ann", "Ben")
    guests(world, animal, "female" if sex == "male" else "male", "Cleo")
    assert standing(odile, animal)["label"] == "contested"
    guests(world, animal, sex, "Dan", "Eve")
    assert standing(odile, animal)["label"] == f"verified {sex}"
