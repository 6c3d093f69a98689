"""What animals carry, from what this reader may see and from nothing else."""

from itertools import count, product
from uuid import UUID

import pytest
from tests.breeding.genes import bred, state
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.breeding.queries.carrying import MOST_WHOLE, Stock, carried_by, stock_of
from scalewitness.breeding.queries.pedigrees import pedigree_for, with_identifiers
from scalewitness.breeding.queries.rests_on import rests_on
from scalewitness.domain.genetics.pedigree import Member, Pedigree
from scalewitness.domain.genetics.traits import locus
from scalewitness.people.models import Keeper

ALBINO = locus("python_regius", "albino")

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


def test_that_there_may_be_no_sire_at_all_is_told_with_the_chance(world: World) -> None:
    dam = world.animal("D-1")
    state(world, dam, "carries_one")
    for code, sire, told in (("Y-1", None, True), ("Y-2", world.animal("S-1"), False)):
        young = bred(world, code, sire, dam)
        found = pedigree_for(world.odile.pk, world.now, among=[young.pk])
        with_identifiers(found, found.relatives)
        lines = " ".join(rests_on(found, found.relatives[young.pk], ALBINO))
        assert ("without one (5 in 100; our judgement" in lines) is told


def test_a_parent_of_another_species_is_an_unknown_animal(world: World) -> None:
    sire, dam = world.animal("S-1", species="boa_imperator"), world.animal("D-1")
    young = bred(world, "Y-1", sire, dam)
    state(world, young, "does_not_show")
    found = pedigree_for(world.odile.pk, world.now, among=[young.pk])
    pedigree = stock_of(found, "python_regius").pedigree
    assert str(sire.pk) not in pedigree
    assert {UUID(one.id) for one in pedigree} == {dam.pk, young.pk}


def tangled(generations: int) -> tuple[Pedigree, UUID]:
    """Young of young of four animals, all mated with all, of which each shows nothing."""
    plain = {"albino": {one: float("wild" in one) or 0.01 for one in ALBINO.genotypes}}
    ids = (UUID(int=n) for n in count(1))
    last = [Member(str(next(ids)), male=n % 2, evidence=plain) for n in range(8)]
    members = [*last]
    for _ in range(generations):
        pairs = list(product(last[0::2], last[1::2]))[:8]
        last = [
            Member(
                str(next(ids)),
                male=n % 2,
                sires={sire.id: 0.9, last[0].id: 0.09} if sire is not last[0] else {sire.id: 0.99},
                dams={dam.id: 0.99},
                evidence=plain,
            )
            for n, (sire, dam) in enumerate(pairs)
        ]
        members += last
    return Pedigree(members), UUID(last[-1].id)


def test_a_tangled_pedigree_is_told_of_the_nearest_with_bounds_of_all() -> None:
    pedigree, animal = tangled(12)
    at = carried_by(Stock(pedigree, (ALBINO,)), animal, beside=())["albino"]
    assert at.taken is not None
    assert at.taken < len(pedigree)
    assert at.bounds is not None
    for genotype, chance_of in at.chances[animal].items():
        assert at.bounds.low[genotype] <= chance_of <= at.bounds.high[genotype]


def test_of_very_many_not_all_are_tried() -> None:
    pedigree, animal = tangled(MOST_WHOLE // 8)
    at = carried_by(Stock(pedigree, (ALBINO,)), animal, beside=())["albino"]
    assert (at.bounds, at.contradicts) == (None, False)
    assert sum(at.chances[animal].values()) == pytest.approx(1)
