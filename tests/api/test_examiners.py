"""Examiners and their agreement by endpoint: figures with where they come from."""

import pytest
from tests.api.client import Api
from tests.api.conftest import present
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.intake.statements import update_examiner_records

pytestmark = pytest.mark.one_in(4)


def settled_female(world: World, tag: str, said: str) -> Animal:
    """Greta says what she says, blind; then Odile sees the animal lay."""
    animal = world.animal(tag)
    world.call(world.greta, animal, said, visit=world.visit(world.greta, animal))
    world.lays(animal)
    world.pass_time(days=4)
    return animal


def test_a_record_names_its_fact_its_prior_and_its_numbers(world: World, odile: Api) -> None:
    settled_female(world, "E1", "female")
    settled_female(world, "E2", "male")
    update_examiner_records(world.now)
    present(world)
    body = odile.get(f"/examiners/{world.greta.pk}").body
    (rate,) = [one for one in body["rates"] if one["sex"] == "female"]
    assert (rate["logged"]["wrong"], rate["logged"]["right"]) == (1, 1)
    assert rate["logged"]["prior"] == pytest.approx({"a": 1.7, "b": 38.3})
    assert rate["provisional"]["provisional"] is True
    assert body["pooled"]["source"]
    assert {"converged", "differ", "outdone", "seed"} <= body["pooled"].keys()
    assert body["record"]["version"] == f"records-{body['record']['position']}"
    used = {one["name"]: one for one in body["used"]}
    assert used["error.keeper.a"]["value"] == 2
    for name in ("p0", "p1", "alpha", "beta", "drift.even", "harm.prior.a"):
        assert used[name]["status"]
    assert odile.get(f"/examiners/{world.greta.pk}").body == body


def test_a_standing_names_the_records_it_was_weighed_by(
    world: World, odile: Api, stan: Api
) -> None:
    settled_female(world, "E1", "female")
    animal = settled_female(world, "E2", "male")
    update_examiner_records(world.now)
    present(world)
    world.visit(world.stan, animal, blind=False)
    path = f"/animals/{animal.pk}/standing"
    body = odile.get(path).body
    (used,) = [one for one in body["settled"] if one["examiner"] == str(world.greta.pk)]
    logged = odile.get(f"/examiners/{world.greta.pk}").body
    (rate,) = [one for one in logged["rates"] if one["sex"] == "female"]
    for name in ("wrong", "right", "mean", "low", "high"):
        assert used[name] == rate["logged"][name], name
    assert used["version"] == body["examiner_records"] == logged["record"]["version"]
    assert not body["settled_withheld"]
    assert stan.get(path).body["settled"] == body["settled"]
    world.visit(world.stan, world.animal("B1"))
    shown = stan.get(path).body
    assert (shown["settled"], shown["settled_withheld"]) == ([], True)
    assert odile.get(path, at=0).body["settled"] == []


def test_strangers_and_blind_guests_find_nobody(world: World, stan: Api, pim: Api) -> None:
    animal = settled_female(world, "E1", "female")
    present(world)
    before = stan.get(f"/examiners/{world.greta.pk}")
    world.visit(world.stan, animal)
    blind = stan.get(f"/examiners/{world.greta.pk}")
    assert before.status == blind.status == 404
    assert before.body == blind.body == pim.get(f"/examiners/{world.greta.pk}").body


def test_ones_own_record_tells_no_truth_of_animals_out_of_sight(world: World, greta: Api) -> None:
    settled_female(world, "E1", "male")
    present(world)
    body = greta.get(f"/examiners/{world.greta.pk}").body
    assert (body["animals"], body["rates"], body["pooled"]) == (0, [], None)


def test_agreement_is_for_those_who_hold_the_collection(
    world: World, odile: Api, greta: Api
) -> None:
    for tag, said in (("P1", "male"), ("P2", "female")):
        animal = world.animal(tag)
        for guest in (world.greta, world.stan):
            world.call(guest, animal, said, visit=world.visit(guest, animal))
        world.pass_time(days=4)
    present(world)
    path = f"/collections/{world.collection.pk}/agreement"
    body = odile.get(path).body
    assert (body["animals"], body["compared"]) == (2, 2)
    assert body["fleiss_kappa"]["value"] == body["krippendorff_alpha"]["value"] == 1
    (pair,) = body["pairs"]
    assert {pair["first"]["name"], pair["second"]["name"]} == {"Greta Lund", "Stan Okoro"}
    assert (pair["animals"], pair["agreed"], pair["kappa"]["value"]) == (2, 2, 1)
    assert greta.get(path).status == 404
