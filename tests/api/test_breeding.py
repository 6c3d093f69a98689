"""What animals carry, a pairing's prospects and kinship, over the API."""

import pytest
from tests.api.client import Api
from tests.breeding.genes import bred, state
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal

pytestmark = pytest.mark.django_db


@told_once
def family(world: World) -> list[Animal]:
    """Sire and dam, carriers both, and their plain young."""
    sire, dam = world.animal("S-1"), world.animal("D-1")
    for parent in (sire, dam):
        state(world, parent, "carries_one")
    young = bred(world, "Y-1", sire, dam)
    state(world, young, "does_not_show")
    return [sire, dam, young]


def test_what_an_animal_carries_with_what_that_rests_on(world: World, family: list[Animal]) -> None:
    sire, dam, young = family
    found = Api(world.odile).get(f"/animals/{young.pk}/carries").body
    assert found["relatives"] == 2
    (locus,) = found["loci"]
    assert locus["locus"] == "albino"
    chances = {tuple(one["genotype"]): one["chance"] for one in locus["chances"]}
    assert chances["wild", "albino"] == pytest.approx(2 / 3, abs=0.015)
    assert sum(chances.values()) == pytest.approx(1)
    assert any("S-1" in line for line in locus["rests_on"])
    tree = {one["id"]: one for one in found["pedigree"]}
    assert tree[str(young.pk)]["sire"] == str(sire.pk)
    assert tree[str(young.pk)]["dam_doubts"] == ["no_test"]
    assert tree[str(dam.pk)]["sire_doubts"] == ["sire_unnamed"]


def test_a_pairing_s_prospects(world: World, family: list[Animal]) -> None:
    sire, dam, _ = family
    found = Api(world.odile).get(f"/animals/{sire.pk}/prospects", mate=dam.pk, young=8).body
    assert found["pair"] == pytest.approx(0.5), "both are unsexed"
    shown = next(one for one in found["alike"] if one["looks"] == "albino")
    assert shown["chance"] == pytest.approx(0.25, abs=0.005)
    assert shown["expected"] == pytest.approx(2, abs=0.04)
    assert shown["at_least"] == pytest.approx(1 - 0.75**8, abs=0.01)
    assert shown["overall"] == pytest.approx(shown["at_least"] / 2)
    assert found["kinship"]["kinship"] == 0
    assert found["harm"] == []


def test_kinship_of_a_parent_and_its_young(world: World, family: list[Animal]) -> None:
    """1/4 (Wright 1922)."""
    sire, _, young = family
    found = Api(world.odile).get(f"/animals/{sire.pk}/kinship", **{"with": young.pk}).body
    assert found["kinship"] == 0.25
    assert "as close as full siblings, or as a parent and its young" in found["words"][0]


def test_a_cross_is_said(world: World, family: list[Animal]) -> None:
    boa = world.animal("B-1", species="boa_imperator")
    api, path = Api(world.odile), f"/animals/{family[0].pk}/prospects"
    assert api.get(path, mate=boa.pk).status == 400
    assert api.get(path, mate=boa.pk, cross="yes").body["not_worked_out"] == "cross"


def test_one_that_is_out_of_sight_and_one_that_never_was_are_answered_alike(
    world: World, family: list[Animal]
) -> None:
    sire, dam, _ = family
    world.view(world.stan, sire)
    world.visit(world.stan, dam)
    api = Api(world.stan)
    for path in ("prospects?mate=", "kinship?with="):
        hidden, nothing = (api.get(f"/animals/{sire.pk}/{path}{one}") for one in (dam.pk, new_id()))
        assert hidden.status == nothing.status == 404
        assert hidden.body["code"] == nothing.body["code"]
    assert api.get(f"/animals/{sire.pk}/kinship").status == 400
    assert api.get(f"/animals/{dam.pk}/carries").status == 404
    assert api.get(f"/animals/{sire.pk}/carries").body["loci"][0]["chances"]
