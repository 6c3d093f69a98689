"""Ways to a verified sex that must not work, and those that must, as one may try them."""

from typing import Any

import pytest
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.world import World, keeper, new_id, probing, vouched

from scalewitness.animals.models import Animal

pytestmark = pytest.mark.django_db
SEXES = ("male", "female")


def standing(odile: Api, animal: Animal) -> Any:
    return odile.get(f"/animals/{animal.pk}/standing").body


def guests(world: World, animal: Animal, sex: str, *names: str, **more: Any) -> None:
    """Each checks it blind, on a day of their own, and reads its chip."""
    more = {"body": probing(sex, world.chip(animal))} | more
    for name in names:
        world.pass_time(days=1)
        who = vouched(keeper(name), world.now)
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
@pytest.mark.some(2)
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
@pytest.mark.some(2)
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
    world.call(world.odile, animal, sex, body=probing(sex, world.chip(animal)))
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


# --- a male probed short three times -----------------------------------------------------------

DOCUMENT = "cd" * 32


def probed_short(world: World, animal: Animal, record: str) -> None:
    """As females are, by the owner alone or by three who did not know."""
    if record == "blind":
        guests(world, animal, "female", "Ann", "Ben", "Cleo")
    else:
        for _ in range(3):
            world.pass_time(days=1)
            world.call(world.odile, animal, "female")


def sired(world: World, odile: Api, animal: Animal, **more: Any) -> Any:
    """What a laboratory is said to have found, as its keeper sends it."""
    observed = {"method": "parentage", "found": "sire", "young": 6}
    excluded = ("other_males", "stored_sperm", "parthenogenesis")
    observed |= {f"{one}_excluded": True for one in excluded} | more
    named = odile.post("/practitioners", {"id": str(new_id()), "name": "Loci"}).body
    body = probing("male", world.chip(animal)) | {"observed": observed, "held_by": "not_held"}
    body |= {"reported": {"role": "laboratory", "who": named["id"]}, "document": DOCUMENT}
    return odile.post(f"/animals/{animal.pk}/calls", fact(body))


def read_by_stan(world: World, animal: Animal, call: str) -> None:
    """A keeper without a share in it, who was shown the animal and the report."""
    world.view(world.stan, animal)
    said = Api(world.stan).post(f"/calls/{call}/document", fact({"document": DOCUMENT}))
    assert said.status == 201


@pytest.mark.parametrize("species", ["python_regius", "boa_imperator", "serpentes"])
@pytest.mark.parametrize("record", ["owner", "blind"])
@pytest.mark.some(2)
def test_a_male_probed_short_is_verified_by_a_confirmed_test_that_leaves_nothing_else(
    world: World, odile: Api, species: str, record: str
) -> None:
    animal = world.animal("B-2", species)
    probed_short(world, animal, record)
    present(world)
    assert standing(odile, animal)["label"] != "verified male"
    call = sired(world, odile, animal).body["id"]
    told = standing(odile, animal)
    assert not told["label"].startswith("verified")
    assert not told["decisive"]
    read_by_stan(world, animal, call)
    found = standing(odile, animal)
    assert (found["label"], found["decisive"]) == ("verified male", True)
    lines = " ".join(one["text"] for one in found["lines"])
    assert "it is the father, with other males, stored sperm and young" in lines


@pytest.mark.parametrize("left", ["other_males", "stored_sperm", "parthenogenesis"])
@pytest.mark.parametrize("record", ["owner", "blind"])
@pytest.mark.some(2)
def test_with_anything_left_open_it_is_probable_at_most(
    world: World, odile: Api, left: str, record: str
) -> None:
    animal = world.animal("B-2")
    probed_short(world, animal, record)
    present(world)
    was = standing(odile, animal)["label"]
    call = sired(world, odile, animal, **{f"{left}_excluded": False}).body["id"]
    read_by_stan(world, animal, call)
    found = standing(odile, animal)
    assert found["label"] == ("contested" if was == "verified female" else "probable male")
    assert not found["decisive"]
    assert "was not ruled out, so by itself it settles nothing" in str(found["lines"])


def test_nobody_sends_a_test_of_parents_as_their_own(
    world: World, odile: Api, animal: Animal
) -> None:
    present(world)
    observed = {"method": "parentage", "found": "sire", "young": 6}
    excluded = ("other_males", "stored_sperm", "parthenogenesis")
    observed |= {f"{one}_excluded": True for one in excluded}
    body = probing("male", "A-1") | {"observed": observed}
    refused = odile.post(f"/animals/{animal.pk}/calls", fact(body))
    assert (refused.status, refused.pointer) == (422, "/body/reported")
    named = odile.post("/practitioners", {"id": str(new_id()), "name": "Dr Aldous"}).body
    body["reported"] = {"role": "veterinarian", "who": named["id"]}
    refused = odile.post(f"/animals/{animal.pk}/calls", fact(body))
    assert (refused.status, refused.pointer) == (422, "/body/reported")
    body |= {"conclusion": "female", "reported": {"role": "laboratory", "who": named["id"]}}
    refused = odile.post(f"/animals/{animal.pk}/calls", fact(body))
    assert (refused.status, refused.pointer) == (422, "/body/conclusion")


@pytest.mark.parametrize("sex", SEXES)
def test_a_mating_that_many_saw_verifies_nothing(
    world: World, odile: Api, animal: Animal, sex: str
) -> None:
    seen = probing(sex, "A-1") | {"observed": {"method": "visual", "feature": "mating"}}
    guests(world, animal, sex, *(f"Guest {n}" for n in range(6)), body=seen)
    assert standing(odile, animal)["label"] == "unsexed"
