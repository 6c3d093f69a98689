"""The pedigree that a reader may see: of what they are told, and of nothing else."""

from uuid import UUID

import pytest
from tests.breeding.genes import bred, sired
from tests.breeding.test_uses import hand_over
from tests.intake.test_season_notes import note, paired
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.breeding.queries.carrying import stock_of
from scalewitness.breeding.queries.pedigrees import PedigreeSeen, pedigree_for
from scalewitness.domain.errors import Refused
from scalewitness.people.models import Keeper

pytestmark = pytest.mark.one_in(2)


def read(world: World, who: Keeper, *among: Animal) -> PedigreeSeen:
    return pedigree_for(who.pk, world.now, among=[one.pk for one in among])


def named(found: PedigreeSeen, *animals: Animal) -> set[UUID]:
    return found.relatives.keys() - {one.pk for one in animals}


def test_it_reaches_over_parents_and_young_however_far(world: World) -> None:
    sire, dam, other = (world.animal(tag) for tag in ("S-1", "D-1", "D-2"))
    first, half = bred(world, "Y-1", sire, dam), bred(world, "Y-2", sire, other)
    grand = bred(world, "G-1", first, half)
    apart = world.animal("A-1")
    found = read(world, world.odile, grand)
    assert found.relatives.keys() == {one.pk for one in (sire, dam, other, first, half, grand)}
    assert apart.pk not in found.relatives
    assert found.relatives[grand.pk].sires.of[first.pk] == pytest.approx(0.99)


def test_of_what_a_reader_may_not_see_nothing_stands_in_it(world: World) -> None:
    """A viewer of three: their dam is not theirs to see, nor is hers."""
    grand = world.animal("G-1")
    dam = bred(world, "D-1", None, grand)
    young = [bred(world, f"Y-{n}", None, dam) for n in (1, 2)]
    world.view(world.stan, *young)
    seen = read(world, world.stan, young[0])
    assert seen.relatives.keys() == {young[0].pk}
    assert seen.relatives[young[0].pk].dams.of == {None: 1.0}


def test_a_parent_that_one_is_told_of_and_does_not_see_stands_there_bare(world: World) -> None:
    """Its buyer is told who the dam of both is; she stayed with the seller."""
    shelf = create_collection(world.greta, new_id(world.now), "Shelf", world.now)
    grand = world.animal("G-1")
    dam = bred(world, "D-1", None, grand)
    young = [bred(world, f"Y-{n}", None, dam) for n in (1, 2)]
    for one in young:
        hand_over(world, one, shelf)
    found = read(world, world.greta, young[0])
    assert named(found, *young) == {dam.pk}, "half siblings stay half siblings"
    bare = found.relatives[dam.pk]
    assert (bare.animal, bare.standing, bare.male, bare.dam) == (None, None, 0.0, None)


def test_whoever_is_to_check_one_blind_has_no_pedigree_of_it(world: World) -> None:
    animal, dam = world.animal("A-1"), world.animal("D-1")
    young = bred(world, "Y-1", animal, dam)
    world.make_partner(world.greta)
    assert read(world, world.greta, young).relatives[young.pk].sire == animal.pk
    world.visit(world.stan, animal)
    assert read(world, world.stan, animal).relatives == {}


def test_who_else_she_was_with_makes_a_sire_less_sure(world: World) -> None:
    sire, earlier, beside, dam = (world.animal(tag) for tag in ("S-1", "S-2", "S-3", "D-1"))
    bred(world, "Y-1", earlier, dam, hatched="2022-08-01")
    young = bred(world, "Y-2", sire, dam, hatched="2025-08-01")
    pair = {"sire": str(beside.pk), "dam": str(dam.pk), "season": 2025}
    world.say(world.odile, "pairing_planned", new_id(world.now), pair)
    found = read(world, world.odile, young).relatives[young.pk].sires
    assert found.doubts == ("no_test", "kept_sperm", "second_male")
    assert found.of == pytest.approx({sire.pk: 0.74, earlier.pk: 0.05, beside.pk: 0.2, None: 0.01})


def test_a_pairing_that_was_dropped_counts_where_the_two_were_seen_together(world: World) -> None:
    sire, other, dam = (world.animal(tag) for tag in ("S-1", "S-2", "D-1"))
    young = bred(world, "Y-1", sire, dam, hatched="2026-08-01")
    pairing = paired(world, other, dam, 2026)
    world.say(world.odile, "pairing_dropped", pairing)
    assert read(world, world.odile, young).relatives[young.pk].sires.doubts == ("no_test",)
    again = paired(world, other, dam, 2026)
    note(world, world.odile, again, "seen_together")
    world.say(world.odile, "pairing_dropped", again)
    doubts = read(world, world.odile, young).relatives[young.pk].sires.doubts
    assert doubts == ("no_test", "second_male")


def test_sperm_is_kept_for_six_years_and_no_longer(world: World) -> None:
    sire, earlier, dam = (world.animal(tag) for tag in ("S-1", "S-2", "D-1"))
    bred(world, "Y-1", earlier, dam, hatched="2016-08-01")
    young = bred(world, "Y-2", sire, dam, hatched="2025-08-01")
    assert read(world, world.odile, young).relatives[young.pk].sires.doubts == ("no_test",)


def test_nothing_is_its_own_ancestor(world: World) -> None:
    animal, dam = world.animal("A-1"), world.animal("D-1")
    young = bred(world, "Y-1", animal, dam)
    grand = bred(world, "G-1", young, dam)
    for parent in (animal, young, grand):
        said = {"species": "python_regius", "dam": str(parent.pk)}
        with pytest.raises(Refused) as caught:
            world.say(world.odile, "particulars_corrected", animal.pk, said)
        assert "descend from itself" in str(caught.value)


def test_and_where_it_was_closed_out_of_sight_those_parents_are_left_out(world: World) -> None:
    """Two keepers, each of whom corrects what the other does not see."""
    animal, dam = world.animal("A-1"), world.animal("D-1")
    young = bred(world, "Y-1", animal, dam)
    grand = bred(world, "G-1", young, dam)
    Animal.objects.filter(pk=animal.pk).update(sire=grand.pk)
    found = read(world, world.odile, animal).relatives
    assert found[animal.pk].sires.doubts == ("own_ancestor",)
    assert (found[animal.pk].sire, found[animal.pk].dam) == (None, None)
    assert found.keys() == {animal.pk}


def test_a_dam_s_own_son_may_sire_her_young_and_nothing_loops(world: World) -> None:
    """When he hatched is not known: all males that she was ever with might be his sire, himself
    among them."""
    first, dam = world.animal("S-1"), world.animal("D-1")
    parents = {"sire": str(first.pk), "dam": str(dam.pk)}
    son, brother = (world.animal(tag, **parents) for tag in ("Y-1", "Y-2"))
    for n, sire in enumerate((son, brother)):
        bred(world, f"G-{n}", sire, dam)
    found = read(world, world.odile, son)
    assert found.relatives[son.pk].sires.of == pytest.approx({first.pk: 0.94, None: 0.06})
    assert str(son.pk) in stock_of(found, "python_regius").pedigree


@pytest.mark.parametrize(
    ("tested", "excluded", "certain"), [(2, True, True), (1, True, False), (2, False, False)]
)
def test_a_confirmed_test_that_leaves_nothing_open_makes_parents_certain(
    world: World, tested: int, excluded: bool, certain: bool
) -> None:
    """It names no young: it speaks of them all, or of nobody knows which."""
    sire, earlier, dam = (world.animal(tag) for tag in ("S-1", "S-2", "D-1"))
    bred(world, "Y-0", earlier, dam, hatched="2023-08-01")
    young, _ = (bred(world, f"Y-{n}", sire, dam) for n in (1, 2))
    sired(world, sire, tested, stored_sperm_excluded=excluded)
    found = read(world, world.odile, young).relatives[young.pk]
    assert (found.sires.doubts == (), found.dams.doubts == ()) == (certain, certain)


def test_what_nobody_confirmed_makes_nothing_certain(world: World) -> None:
    sire, dam = world.animal("S-1"), world.animal("D-1")
    young = bred(world, "Y-1", sire, dam)
    call = sired(world, sire, 1)
    assert not read(world, world.odile, young).relatives[young.pk].sires.doubts
    world.say(world.odile, "call_withdrawn", sire.pk, {"call": call})
    assert read(world, world.odile, young).relatives[young.pk].sires.doubts == ("no_test",)
