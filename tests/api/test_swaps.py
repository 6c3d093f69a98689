"""Comparing the labels of animals that travelled together."""

import pytest
from tests.api.client import Api
from tests.api.conftest import present
from tests.plugins.told_once import told_once
from tests.world import World, keeper

from scalewitness.animals.models import Animal
from scalewitness.domain.moments import rfc3339

pytestmark = pytest.mark.one_in(4)


@told_once
def exchanged(world: World) -> tuple[Animal, Animal]:
    one, two = world.animal("S-1"), world.animal("S-2")
    for animal, sex in ((one, "female"), (two, "male")):
        world.call(world.odile, animal, sex)
        world.call(world.stan, animal, sex, visit=world.visit(world.stan, animal))
    world.pass_time(days=10)
    for guest in (world.greta, keeper("Nils Berg")):
        for animal, sex in ((one, "male"), (two, "female")):
            world.call(guest, animal, sex, visit=world.visit(guest, animal))
    return one, two


def path(world: World) -> str:
    return f"/collections/{world.collection.pk}/swaps"


def ids(*animals: Animal) -> str:
    return ",".join(str(one.pk) for one in animals)


def test_shares_in_words_and_numbers(
    world: World, odile: Api, exchanged: tuple[Animal, Animal]
) -> None:
    found = odile.get(path(world), animals=ids(*exchanged)).body
    first = found["explanations"][0]
    assert first["kind"] == "exchanged"
    assert sorted(first["animals"]) == sorted(first["really"]) == sorted(ids(*exchanged).split(","))
    assert found["moved_because"] == "first_contradiction"
    shares = [one["share"] for one in found["explanations"]]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) + found["others"] + found["discarded"] == pytest.approx(1)
    assert found["words"].startswith("Likeliest")
    assert "judges nobody" in found["words"]
    assert (found["bounded"], found["discarded"]) == (False, 0)


def test_the_moment_can_be_said(world: World, odile: Api, exchanged: tuple[Animal, Animal]) -> None:
    moment = rfc3339(world.now)
    found = odile.get(path(world), animals=ids(*exchanged), moved_at=moment).body
    assert found["moved_because"] == "said"
    answer = odile.get(path(world), animals=ids(*exchanged), moved_at="yesterday")
    assert (answer.status, answer.code) == (400, "malformed")


def test_larger_groups_say_what_was_left_aside(world: World, odile: Api) -> None:
    group = [world.animal(f"G-{n}") for n in range(8)]
    for n, animal in enumerate(group):
        world.call(world.odile, animal, "male" if n % 2 else "female")
    found = odile.get(path(world), animals=ids(*group)).body
    assert len(found["explanations"]) == 20
    assert found["discarded_prior"] > 0
    total = sum(one["share"] for one in found["explanations"])
    assert total + found["others"] + found["discarded"] == pytest.approx(1)
    assert "not followed one by one" in found["words"]


def test_two_to_twelve(world: World, odile: Api) -> None:
    group = [world.animal(f"G-{n}") for n in range(13)]
    for few in ([], group[:1], group[:1] * 2, group):
        answer = odile.get(path(world), animals=ids(*few))
        assert (answer.status, answer.code) == (400, "malformed")
    assert odile.get(path(world), animals="moss,fern").code == "malformed"
    assert odile.get(path(world)).code == "malformed"


def test_only_stewards_and_only_what_they_see(
    world: World, pim: Api, greta: Api, stan: Api, odile: Api, exchanged: tuple[Animal, Animal]
) -> None:
    world.make_partner(world.pim)
    present(world)
    assert pim.get(path(world), animals=ids(*exchanged)).status == 200
    other = world.animal("B-1")
    world.visit(world.greta, other)
    for who in (greta, stan):
        assert who.get(path(world), animals=ids(*exchanged)).code == "not_found"
    nowhere = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
    answer = odile.get(path(world), animals=f"{exchanged[0].pk},{nowhere}")
    assert answer.code == "not_found"
