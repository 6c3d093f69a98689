"""Statements of traits through the one way in: who makes them, and what they may say."""

from typing import Any

import pytest
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.domain.errors import Refused
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.rules import traits as rule
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Keeper
from scalewitness.traits.queries import statements_of

pytestmark = pytest.mark.django_db
HET: dict[str, Any] = {"locus": "albino", "says": "carries_one", "basis": "claimed"}
LOOKS: dict[str, Any] = {"locus": "albino", "says": "does_not_show", "basis": "seen"}
TESTED: dict[str, Any] = {"locus": "albino", "says": "carries_one", "basis": "dna"}
POSSIBLE: dict[str, Any] = HET | {"says": "may_carry", "chance": "0.660000"}


@told_once
def animal(world: World) -> Animal:
    return world.animal("OS-11")


def state(world: World, who: Keeper, animal: Animal, body: dict[str, Any], **texts: str) -> Outcome:
    return world.say(who, "trait_stated", animal.pk, body, texts=texts)


def refused(world: World, who: Keeper, animal: Animal, body: dict[str, Any], **texts: str) -> Any:
    with pytest.raises(Refused) as problem:
        state(world, who, animal, body, **texts)
    said = problem.value.as_problem()
    return said["code"], said.get("pointer") or next(
        (one["pointer"] for one in said.get("errors", ())), None
    )


def test_two_people_contradict_each_other_and_both_are_on_record(
    world: World, animal: Animal
) -> None:
    world.view(world.stan, animal)
    state(world, world.odile, animal, HET)
    state(world, world.stan, animal, HET | {"says": "carries_none", "basis": "young"})
    found = statements_of([animal.pk])[animal.pk]
    assert [(one.by, one.says) for one in found] == [
        (world.odile.pk, "carries_one"),
        (world.stan.pk, "carries_none"),
    ]


def test_a_statement_withdrawn_is_one_no_more_and_only_by_its_maker(
    world: World, animal: Animal
) -> None:
    made = state(world, world.odile, animal, HET)
    world.make_partner(world.pim)
    body = {"stated": made.id}
    for who in (world.pim, world.stan):
        with pytest.raises(Refused) as problem:
            world.say(who, "trait_withdrawn", animal.pk, body)
        assert problem.value.as_problem()["code"] == "not_found"
    world.say(world.odile, "trait_withdrawn", animal.pk, body, texts={"note": "Mixed up."})
    assert statements_of([animal.pk]) == {}
    with pytest.raises(Refused) as again:
        world.say(world.odile, "trait_withdrawn", animal.pk, body)
    assert again.value.as_problem()["code"] == "not_now"


def test_it_is_withdrawn_of_the_animal_it_is_about(world: World, animal: Animal) -> None:
    made, other = state(world, world.odile, animal, HET), world.animal("OS-12")
    with pytest.raises(Refused):
        world.say(world.odile, "trait_withdrawn", other.pk, {"stated": made.id})
    assert statements_of([animal.pk])


def test_whoever_lost_sight_of_it_may_still_take_it_back(world: World, animal: Animal) -> None:
    grant = world.view(world.stan, animal)
    made = state(world, world.stan, animal, HET)
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    assert refused(world, world.stan, animal, LOOKS) == ("not_found", None)
    world.say(world.stan, "trait_withdrawn", animal.pk, {"stated": made.id})
    assert statements_of([animal.pk]) == {}


def test_of_an_animal_to_be_checked_blind_there_is_none_before_the_check(
    world: World, animal: Animal
) -> None:
    visit = world.visit(world.greta, animal)
    assert refused(world, world.greta, animal, LOOKS) == ("not_found", None)
    assert refused(world, world.greta, animal, LOOKS | {"locus": "none"}) == ("not_found", None)
    world.call(world.greta, animal, "male", visit=visit)
    assert state(world, world.greta, animal, LOOKS).status == "accepted"


def test_words_and_laboratories_are_beside_the_log(world: World, animal: Animal) -> None:
    own = {"says": "shows", "basis": "seen"}
    state(world, world.odile, animal, own, words="a line down its back, from Ilse's house")
    state(world, world.odile, animal, TESTED, laboratory="Dr Brandt's", sample="B-1177")
    words, tested = statements_of([animal.pk])[animal.pk]
    assert (words.locus, words.words) == (None, "a line down its back, from Ilse's house")
    assert (tested.laboratory, tested.sample) == ("Dr Brandt's", "B-1177")
    leaves = b"".join(bytes(one.leaf) for one in Entry.objects.filter(kind="trait_stated"))
    assert not any(word in leaves for word in (b"Ilse", b"Brandt", b"1177"))


@pytest.mark.parametrize(
    ("body", "texts", "problem"),
    [
        (HET | {"locus": "none_such"}, {}, ("out_of_range", "/body/locus")),
        (HET | {"allele": "none_such"}, {}, ("out_of_range", "/body/allele")),
        (HET | {"locus": "coral_glow", "allele": "coral_glow_two"}, {},
            ("out_of_range", "/body/allele")),
        ({"says": "shows", "basis": "seen"}, {}, ("wrong_shape", "/body/locus")),
        (LOOKS, {"words": "white"}, ("wrong_shape", "/body/words")),
        ({"says": "shows", "basis": "seen", "allele": "a"}, {"words": "white"},
            ("wrong_shape", "/body/allele")),
        (HET | {"basis": "seen"}, {}, ("out_of_range", "/body/basis")),
        (HET | {"chance": "0.500000"}, {}, ("wrong_shape", "/body/chance")),
        (HET | {"says": "may_carry"}, {}, ("wrong_shape", "/body/chance")),
        (POSSIBLE | {"chance": "1.000000"}, {}, ("out_of_range", "/body/chance")),
        (POSSIBLE | {"chance": "0.000000"}, {}, ("out_of_range", "/body/chance")),
        (TESTED, {}, ("wrong_shape", "/texts/laboratory")),
        (HET, {"laboratory": "Brandt"}, ("wrong_shape", "/body/basis")),
        (HET, {"sample": "B-1"}, ("wrong_shape", "/body/basis")),
    ],
)  # fmt: skip
def test_what_it_cannot_say_is_refused_at_its_place(
    world: World,
    animal: Animal,
    body: dict[str, Any],
    texts: dict[str, str],
    problem: tuple[str, str],
) -> None:
    assert refused(world, world.odile, animal, body, **texts) == problem


def test_a_trait_is_looked_up_in_the_sheet_of_the_species(world: World) -> None:
    boa = world.animal("BC-1", species="boa_constrictor")
    assert refused(world, world.odile, boa, HET) == ("out_of_range", "/body/locus")


def test_a_look_is_named_where_copies_show(world: World, animal: Animal) -> None:
    two = LOOKS | {"locus": "coral_glow", "allele": "coral_glow_two", "says": "shows"}
    assert state(world, world.odile, animal, two).status == "accepted"


def test_the_same_is_stated_once(world: World, animal: Animal) -> None:
    state(world, world.odile, animal, HET)
    assert refused(world, world.odile, animal, HET) == ("not_now", None)
    assert state(world, world.odile, animal, HET | {"basis": "parents"}).status == "accepted"


def test_one_person_covers_no_animal_with_statements(
    world: World, animal: Animal, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rule, "MOST", 2)
    own = {"says": "shows", "basis": "seen"}
    made = [state(world, world.odile, animal, own, words=f"word {n}") for n in range(2)]
    assert refused(world, world.odile, animal, own, words="one more") == ("not_now", None)
    world.say(world.odile, "trait_withdrawn", animal.pk, {"stated": made[0].id})
    assert state(world, world.odile, animal, own, words="one more").status == "accepted"


def test_of_an_animal_that_is_none_nothing_is_stated(world: World, animal: Animal) -> None:
    with pytest.raises(Refused) as problem:
        world.say(world.odile, "trait_stated", new_id(world.now), HET)
    assert problem.value.as_problem()["code"] == "not_found"
