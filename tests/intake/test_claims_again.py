"""Claims are judged again whenever what proves their parents changes, and only their keepers'."""

import pytest
from tests.families import Family, brood_test, confirm, family, result_of
from tests.intake.test_claims import HET, bought, changes, disprove, het, letters
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.errors import Refused
from scalewitness.traits.models import ClaimChange

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@told_once
def fallen(world: World) -> Family:
    known = family(world)
    het(world, known.young)
    disprove(world, known)
    assert changes() == [True]
    return known


@told_once
def doubled(world: World) -> tuple[Family, Animal]:
    """Two young are on record of a brood of which one was tested."""
    known = family(world, proved=False)
    other = sibling(world, known, "Y-2")
    confirm(world, known.sire, brood_test(world, known.sire))
    het(world, known.young)
    disprove(world, known)
    assert changes() == []
    return known, other


def sibling(world: World, known: Family, tag: str) -> Animal:
    parents = {"sire": str(known.sire.pk), "dam": str(known.dam.pk)}
    return world.animal(tag, hatched=hatched(known), **parents)


def hatched(known: Family) -> str:
    assert known.young.hatched is not None
    return known.young.hatched.isoformat()


def test_it_stands_again_once_the_witness_of_the_eggs_takes_it_back(
    world: World, fallen: Family
) -> None:
    call = fallen.dam.calls.get(method="reproduction")
    world.say(world.fenna, "witness_withdrawn", fallen.dam.pk, {"call": str(call.pk)})
    assert changes() == [True, False]


def test_it_stands_again_once_a_parent_is_on_record_no_more(world: World, fallen: Family) -> None:
    body = {"species": "python_regius", "sire": str(fallen.sire.pk), "hatched": hatched(fallen)}
    world.say(world.odile, "particulars_corrected", fallen.young.pk, body)
    assert changes() == [True, False]


def test_one_more_of_the_brood_made_up_afterwards_undoes_no_proof(
    world: World, fallen: Family
) -> None:
    """Else a seller would bring a fallen claim back by registering a snake that is none."""
    late = sibling(world, fallen, "Y-2")
    het(world, late)
    assert changes() == [True], "and nothing is proved of the late one"


def test_it_falls_once_another_is_no_longer_of_the_brood(
    world: World, doubled: tuple[Family, Animal]
) -> None:
    """And nothing was stated of the young itself, or of its parents, since."""
    _, other = doubled
    body = {"species": "python_regius", "hatched": hatched(doubled[0])}
    fact = world.say(world.odile, "particulars_corrected", other.pk, body).id
    assert changes() == [True]
    assert str(ClaimChange.objects.get().cause) == fact


def test_it_falls_once_another_was_registered_in_error(
    world: World, doubled: tuple[Family, Animal]
) -> None:
    world.say(world.odile, "registered_in_error", doubled[1].pk)
    assert changes() == [True]


def test_young_registered_after_their_test_are_proved_until_there_are_more_than_it_tested(
    world: World,
) -> None:
    known = family(world, proved=False)
    confirm(world, known.sire, brood_test(world, known.sire, young=2))
    late = sibling(world, known, "Y-2")
    disprove(world, known)
    het(world, late)
    assert changes() == [True]
    sibling(world, known, "Y-3")
    assert changes() == [True, False]


def test_a_stranger_who_may_look_at_the_young_finds_out_nothing_of_its_parents(
    world: World,
) -> None:
    """By stating all that there is, one would learn of each trait whether it falls."""
    known = family(world)
    disprove(world, known)
    world.view(world.greta, known.young)
    claim = world.say(world.greta, "trait_stated", known.young.pk, HET).id or ""
    assert changes() == []
    named = [{"animal": str(known.young.pk), "stated": claim}]
    with pytest.raises(Refused, match="Nobody who keeps or kept"):
        world.offer(world.draft(known.young), claims=named)


def test_it_falls_once_the_parents_are_kept_by_whoever_tested_them(world: World) -> None:
    """Whose word counts of an animal changes with its keeper, and the claims with it."""
    known = family(world)
    het(world, known.young)
    room = create_collection(world.stan, new_id(world.now), "Stan's", world.now)
    world.say(world.stan, "grant_given", room.pk, {"to": str(world.odile.pk), "role": "partner"})
    world.view(world.stan, known.sire, known.dam)
    tested = {"locus": "albino", "says": "carries_none", "basis": "dna"}
    for one in (known.sire, known.dam):
        texts = {"laboratory": "The bench in the valley"}
        world.say(world.stan, "trait_stated", one.pk, tested, texts=texts)
    assert changes() == []
    for one in (known.sire, known.dam):
        world.say(world.odile, "custody_changed", one.pk, {"to": str(room.pk), "why": "given"})
    assert changes() == [True]


def test_two_claims_that_fall_by_one_fact_are_each_owed_once(world: World) -> None:
    """Each by its own letter: the newest about the same claim replaces none about another."""
    known = family(world, proved=False)
    named = [het(world, known.young, locus=one) for one in ("albino", "piebald")]
    sold = bought(world, known.young, *named)
    for locus in ("albino", "piebald"):
        for one in (known.sire, known.dam):
            result_of(world, one, "carries_none", locus)
    assert changes() == []
    confirm(world, known.sire, known.test)
    owed = Disclosure.objects.order_by("position")
    assert {str(one.claim) for one in owed} == set(named)
    assert [(one.sale_id, one.change) for one in owed] == [(sold.pk, "fell")] * 2
    assert [kind for kind, _ in letters(sold)] == ["claim_disclosure"] * 2
