"""What animals carry, from what this reader may see and from nothing else."""

from uuid import UUID

import pytest
from tests.breeding.genes import bred, state
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.breeding.queries.carrying import carried_by, stock_of
from scalewitness.breeding.queries.pedigrees import pedigree_for
from scalewitness.people.models import Keeper

HET = ("wild", "albino")


def chance(world: World, who: Keeper, animal: Animal, genotype: tuple[str, ...] = HET) -> float:
    found = pedigree_for(who.pk, world.now, among=[animal.pk])
    at = carried_by(stock_of(found, animal.species), animal.pk, beside=())
    return at["albino"].chances[animal.pk].get(genotype, 0.0) if at else 0.0


def test_plain_young_of_two_carriers_are_two_thirds_het(world: World) -> None:
    """2/3 of the plain young of two carriers carry it (Mendel); looks are misread now and then."""
    sire, dam = world.animal("S-1"), world.animal("D-1")
    for parent in (sire, dam):
        state(world, parent, "carries_one")
    young = bred(world, "Y-1", sire, dam)
    state(world, young, "does_not_show")
    assert chance(world, world.odile, young) == pytest.approx(2 / 3, abs=0.015)


def test_and_a_visible_young_of_its_own_proves_it(world: World) -> None:
    sire, dam = world.animal("S-1"), world.animal("D-1")
    before = chance(world, world.odile, sire)
    young = bred(world, "Y-1", sire, dam)
    state(world, young, "shows")
    assert before == 0.0
    assert chance(world, world.odile, sire) > 0.9


def test_what_is_stated_of_an_animal_out_of_sight_changes_nothing(world: World) -> None:
    """Neither a grandparent nor a dam that the reader may not see, whatever is stated of them."""
    grand = world.animal("G-1")
    dam = bred(world, "D-1", None, grand)
    young = bred(world, "Y-1", None, dam)
    world.view(world.stan, young)
    state(world, young, "does_not_show")
    before = chance(world, world.stan, young), chance(world, world.odile, young)
    state(world, grand, "carries_two", basis="dna")
    assert chance(world, world.stan, young) == before[0]
    assert chance(world, world.odile, young) > 0.4 > before[1]


def test_a_statement_withdrawn_leaves_what_was_before(world: World) -> None:
    sire, dam = world.animal("S-1"), world.animal("D-1")
    young = bred(world, "Y-1", sire, dam)
    state(world, young, "does_not_show")
    before = chance(world, world.odile, young)
    made = state(world, sire, "carries_two")
    assert chance(world, world.odile, young) > 0.9
    world.say(world.odile, "trait_withdrawn", sire.pk, {"stated": made})
    assert chance(world, world.odile, young) == before


def test_a_sire_stated_falsely_gives_way_to_what_the_young_show(world: World) -> None:
    """Two that a test says carry none, and albino young: another is likelier to be the sire."""
    sire, dam = world.animal("S-1"), world.animal("D-1")
    state(world, sire, "carries_none")
    state(world, dam, "carries_one")
    young = bred(world, "Y-1", sire, dam)
    state(world, young, "shows")
    assert chance(world, world.odile, young, ("albino", "albino")) > 0.5


def test_young_of_one_clutch_share_whoever_sired_them(world: World) -> None:
    sire, dam = world.animal("S-1"), world.animal("D-1")
    young = [bred(world, f"Y-{n}", sire, dam) for n in range(3)]
    found = pedigree_for(world.odile.pk, world.now, among=[young[0].pk])
    litters = {one.litter for one in stock_of(found, "python_regius").pedigree}
    assert len(litters - {None}) == 1


def test_what_is_concluded_from_parents_counts_only_where_those_are_silent(world: World) -> None:
    sire = world.animal("S-1")
    young = bred(world, "Y-1", sire, None)
    state(world, young, "carries_one", basis="parents")
    alone = chance(world, world.odile, young)
    assert alone > 0.8
    state(world, sire, "carries_none")
    assert chance(world, world.odile, young) < 0.01


def test_a_parent_of_another_species_is_an_unknown_animal(world: World) -> None:
    sire, dam = world.animal("S-1", species="boa_imperator"), world.animal("D-1")
    young = bred(world, "Y-1", sire, dam)
    state(world, young, "does_not_show")
    found = pedigree_for(world.odile.pk, world.now, among=[young.pk])
    pedigree = stock_of(found, "python_regius").pedigree
    assert str(sire.pk) not in pedigree
    assert {UUID(one.id) for one in pedigree} == {dam.pk, young.pk}
