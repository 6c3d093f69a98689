"""Whether a check was of the animal it was filed on, by photos that a stranger compares."""

from dataclasses import dataclass
from typing import Any, get_args
from uuid import UUID

import pytest
from tests.assessed import counted
from tests.pictures import body_of, plain_file
from tests.plugins.told_once import told_once
from tests.world import World, keeper, probing

from scalewitness.animals.models import Animal, Photo
from scalewitness.animals.services.photo_files import erase_photo_files
from scalewitness.domain.errors import Refused
from scalewitness.domain.photos_compared import after_comparisons
from scalewitness.domain.sexing.evidence import Compared
from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper
from scalewitness.standings.queries.evidence import (
    counting_calls,
    evidence_by_animal,
    evidence_of,
)
from scalewitness.standings.queries.logged import latest_standing
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]

EGGS = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}


@dataclass
class Pictured:
    """Eggs that Greta saw in a tub whose tag she read; Odile had a photo of the animal before.
    Stan, who has no share in it, sees both."""

    world: World
    animal: Animal
    call: str
    photo: str
    earlier: str

    def say(self, answer: str, who: Keeper | None = None, **other: str) -> Any:
        body = {"call": self.call, "photo": self.photo, "earlier": self.earlier} | other
        body["answer"] = answer
        return self.world.say(who or self.world.stan, "photos_compared", self.animal.pk, body)

    def refused(self, answer: str, who: Keeper | None = None, **other: str) -> str:
        with pytest.raises(Refused) as refusal:
            self.say(answer, who, **other)
        return str(refusal.value.as_problem()["code"])

    @property
    def label(self) -> str:
        return self.world.label(self.animal)

    @property
    def p_male(self) -> float:
        standing = latest_standing(self.animal.pk)
        assert standing is not None
        return float(standing.p_male)


def photo(world: World, who: Keeper, animal: Animal, width: int, call: str | None = None) -> str:
    picture = plain_file(width, 30)
    body = body_of(picture) | ({"of": call} if call else {})
    said = world.say(who, "photo_attached", animal.pk, body)
    assert said.id is not None
    take_photo_file(UUID(said.id), picture, Actor(keeper=who.pk), world.now)
    return said.id


@told_once
def pictured(world: World) -> Pictured:
    animal = world.animal("A1")
    earlier = photo(world, world.odile, animal, 40)
    visit = world.visit(world.greta, animal)
    made = world.call(world.greta, animal, "female", visit=visit, body={"observed": EGGS})
    assert made.id is not None
    own = photo(world, world.greta, animal, 50, made.id)
    world.view(world.stan, animal)
    return Pictured(world, animal, made.id, own, earlier)


def test_the_same_animal_counts_as_if_its_code_had_been_read(pictured: Pictured) -> None:
    assert pictured.label == "probable female"
    assert pictured.say("same").status == "accepted"
    assert pictured.label == "verified female"
    assert list(Replay().differences()) == []


def test_another_animal_weighs_less_and_settles_nothing(pictured: Pictured) -> None:
    before = pictured.p_male
    pictured.say("another")
    assert before < pictured.p_male < 0.3
    assert list(Replay().differences()) == []


def test_one_may_think_again(pictured: Pictured) -> None:
    pictured.say("another")
    assert pictured.refused("another") == "not_now"
    pictured.say("same")
    assert pictured.label == "verified female"
    assert list(Replay().differences()) == []


def test_rows_and_log_read_alike_at_every_position(pictured: Pictured) -> None:
    first = pictured.say("another")
    second = pictured.say("same")
    animal = pictured.animal.pk
    (now,) = evidence_by_animal([animal])[animal]
    assert now == evidence_of(counting_calls(animal)[0])
    assert now.compared == "same"
    for at, said in (
        (first.position - 1, None),
        (first.position, "another"),
        (second.position, "same"),
    ):
        assert evidence_of(counted(animal, at)[0]).compared == said


# --- who gains by bending it -------------------------------------------------------------------


def test_whoever_gains_by_it_or_made_it_confirms_nothing(pictured: Pictured) -> None:
    world = pictured.world
    world.make_partner(world.pim)
    for who in (world.odile, world.pim, world.greta):
        assert pictured.refused("same", who) == "not_allowed"


def test_whoever_is_still_to_check_it_blind_is_told_of_nothing(pictured: Pictured) -> None:
    world = pictured.world
    blind = keeper("Blair Dunn")
    world.visit(blind, pictured.animal)
    assert pictured.refused("same", blind) == "not_found"
    assert pictured.refused("same", keeper("Nel Out")) == "not_found"


def test_a_friend_does_not_outweigh_a_stranger_who_saw_another_animal(pictured: Pictured) -> None:
    world, friend = pictured.world, keeper("Fay Good")
    world.view(friend, pictured.animal)
    pictured.say("another")
    pictured.say("same", friend)
    assert pictured.label != "verified female"


def test_a_friend_who_sees_another_animal_does_not_raise_what_fell(world: World) -> None:
    """A seller would have an unfavourable check doubted, once it brought a verified sex down."""
    animal = world.verified("V1")
    earlier = photo(world, world.odile, animal, 40)
    made = world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    assert world.label(animal) == "contested"
    assert made.id is not None
    own = photo(world, world.greta, animal, 50, made.id)
    world.view(world.stan, animal)
    Pictured(world, animal, made.id, own, earlier).say("another")
    assert world.label(animal) == "contested"
    assert list(Replay().differences()) == []


def test_a_picture_taken_for_it_proves_nothing(pictured: Pictured) -> None:
    world = pictured.world
    later = photo(world, world.odile, pictured.animal, 60)
    assert pictured.refused("same", earlier=later) == "out_of_range"
    assert pictured.refused("same", earlier=pictured.photo) == "out_of_range"
    assert pictured.refused("same", photo=pictured.earlier) == "out_of_range"
    elsewhere = photo(world, world.odile, world.animal("A2"), 70)
    assert pictured.refused("same", earlier=elsewhere) == "out_of_range"


def test_what_nobody_can_look_at_is_not_compared(pictured: Pictured) -> None:
    erase_photo_files(Photo.objects.filter(pk=pictured.earlier), pictured.world.now)
    assert pictured.refused("same") == "not_now"


def test_a_transponder_tells_more_than_a_photo(pictured: Pictured) -> None:
    world, animal = pictured.world, pictured.animal
    body = probing("female", world.chip(animal)) | {"observed": EGGS}
    made = world.say(world.odile, "call_made", animal.pk, body)
    own = photo(world, world.odile, animal, 80, made.id)
    assert pictured.refused("same", call=made.id, photo=own) == "not_now"


def test_a_call_that_is_over_is_not_compared(pictured: Pictured) -> None:
    world = pictured.world
    world.say(world.greta, "call_withdrawn", pictured.animal.pk, {"call": pictured.call})
    assert pictured.refused("same") == "not_now"


# --- who hears of it -----------------------------------------------------------------------------


def told() -> set[str]:
    return set(Letter.objects.filter(kind="photos_compared").values_list("to", flat=True))


def test_those_concerned_hear_of_another_animal_and_of_second_thoughts(pictured: Pictured) -> None:
    world = pictured.world
    pictured.say("another")
    assert told() == {world.odile.email, world.greta.email}
    before = Letter.objects.count()
    pictured.say("same")
    assert Letter.objects.filter(kind="photos_compared").count() == 4
    assert Letter.objects.count() > before


def test_nobody_is_written_to_about_the_same_animal(pictured: Pictured) -> None:
    pictured.say("same")
    assert told() == set()


def test_buyers_to_whom_it_was_offered_on_it_hear_too(pictured: Pictured) -> None:
    pictured.say("same")
    pictured.world.sold(pictured.animal)
    friend = keeper("Fay Good")
    pictured.world.view(friend, pictured.animal)
    pictured.say("another", friend)
    buyers = Letter.objects.filter(kind="photos_compared_buyer").values_list("to", flat=True)
    assert list(buyers) == ["bela@buyers.example"]
    assert Letter.objects.filter(kind="disclosure", to="bela@buyers.example").exists()


@pytest.mark.parametrize("first", get_args(Compared))
@pytest.mark.parametrize("second", get_args(Compared))
def test_anybody_who_sees_another_animal_outweighs_the_others(first: str, second: str) -> None:
    said: list[Any] = [("one", first), ("two", second)]
    assert after_comparisons(said) == ("another" if "another" in (first, second) else "same")
    assert after_comparisons([*said, ("one", second)]) == second
    assert after_comparisons([]) is None
