"""The sight of an animal means the same wherever a query asks for it: it is put into SQL once."""

import pytest
from django.db.models import Count, Exists, OuterRef
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.calls.queries.visibility import visible_animals

pytestmark = pytest.mark.django_db


@pytest.fixture
def hers(world: World) -> list[Animal]:
    """Two that Greta may see whole, and two that she is to check blind, out of six."""
    animals = [world.animal(f"S{number}") for number in range(6)]
    world.view(world.greta, *animals[:2])
    world.visit(world.greta, *animals[2:4])
    return animals


def test_it_is_the_same_within_a_query_and_within_that_of_another(
    world: World, hers: list[Animal]
) -> None:
    whole, blind = {one.pk for one in hers[:2]}, {one.pk for one in hers[2:4]}
    seen = visible_animals(world.greta.pk, world.now)
    his = visible_animals(world.odile.pk, world.now).filter(sight="all")
    within = Animal.objects.filter(pk__in=seen.filter(sight="blind").values("pk"))
    assert {one.pk for one in within} == blind
    assert {one.pk for one in his.filter(pk__in=seen.values("pk"))} == whole | blind
    same = seen.filter(sight="all", pk=OuterRef("pk"))
    assert {one.pk for one in seen.filter(Exists(same))} == whole
    assert {one.pk for one in his.exclude(Exists(same))} >= blind
    assert not whole & {one.pk for one in his.exclude(Exists(same))}


def test_it_can_be_counted_by(world: World, hers: list[Animal]) -> None:
    seen = visible_animals(world.greta.pk, world.now).order_by()
    assert dict(seen.values_list("sight").annotate(Count("pk"))) == {"all": 2, "blind": 2}


def test_it_is_of_whoever_asks_and_of_when(world: World, hers: list[Animal]) -> None:
    asked = [(who.pk, world.now) for who in (world.greta, world.stan, world.odile)]
    assert [visible_animals(*one).count() for one in asked] == [4, 0, len(hers)]
    world.pass_time(days=4)
    assert visible_animals(world.greta.pk, world.now).count() == 2, "the visit closed"
