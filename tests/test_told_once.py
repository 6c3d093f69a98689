"""What is told once for several tests is whole for each, and what one does to it no other sees."""

from dataclasses import dataclass

import pytest
from tests.plugins.told_once import told_once
from tests.world import START, World

from scalewitness.animals.models import Animal

pytestmark = pytest.mark.django_db
told: list[str] = []


@dataclass
class Seen:
    world: World
    animal: Animal


@told_once
def animal(world: World) -> Animal:
    told.append("animal")
    world.pass_time(days=1)
    return world.animal("A1")


@told_once
def seen(world: World, animal: Animal) -> Seen:
    told.append("seen")
    world.call(world.odile, animal, "male")
    return Seen(world, animal)


@pytest.mark.parametrize("time", range(3))
def test_it_is_told_once_and_what_a_test_adds_is_gone(
    world: World, seen: Seen, animal: Animal, time: int
) -> None:
    assert told.count("seen") == 1
    assert seen.world is world
    assert seen.animal is animal
    assert (world.label(animal), world.collection.animals.count()) == ("probable male", 1)
    world.pass_time(days=1)
    animal.name = "Changed"
    world.animal("A2")


@pytest.mark.parametrize("time", range(2))
def test_a_test_of_less_begins_with_less(world: World, animal: Animal, time: int) -> None:
    assert animal.name == ""
    assert world.label(animal) == "unsexed"
    world.call(world.odile, animal, "female")


@told_once
def later(world: World) -> Animal:
    assert world.now == START, "what another story told of this world is gone with it"
    world.pass_time(days=3)
    return world.animal("A1")


def test_another_story_begins_as_the_first_did(world: World, later: Animal) -> None:
    assert (world.now - START).days == 3
    assert world.label(later) == "unsexed"


def test_a_test_of_the_world_alone_begins_with_it(world: World) -> None:
    assert not Animal.objects.exists()
