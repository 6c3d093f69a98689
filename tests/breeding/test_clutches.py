"""Clutches from the record: who belongs together, and the ratio's test."""

import pytest
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.breeding.queries.clutches import (
    CAUTION,
    broods_in,
    clutch_with,
    clutches_of,
    ratio_in_words,
)
from scalewitness.domain.errors import NotFound
from scalewitness.domain.sexing.clutches import Tally, sex_ratio

pytestmark = pytest.mark.django_db


def young(world: World, dam: Animal, count: int, hatched: str = "2026-08-01") -> list[Animal]:
    return [world.animal(f"{hatched}-{n}", hatched=hatched, dam=str(dam.pk)) for n in range(count)]


def test_the_same_parents_and_day_make_a_clutch(world: World) -> None:
    dam, other = world.animal("D-1"), world.animal("D-2")
    first, second = young(world, dam, 3), young(world, dam, 2, "2026-09-01")
    third = young(world, other, 1)
    world.animal("no parent", hatched="2026-08-01")
    world.animal("no day", dam=str(dam.pk))
    found = [
        {one.pk for one in clutch.animals} for clutch in clutches_of(broods_in(world.collection))
    ]
    assert found[0] == {one.pk for one in second}
    assert {frozenset(one) for one in found[1:]} == {
        frozenset(one.pk for one in first),
        frozenset(one.pk for one in third),
    }
    assert clutch_with(world.collection, first[0].pk).dam == dam.pk
    with pytest.raises(NotFound):
        clutch_with(world.collection, dam.pk)


def test_counts_follow_the_standings(world: World) -> None:
    hatchlings = young(world, world.animal("D-1"), 4)
    (clutch,) = clutches_of(broods_in(world.collection))
    assert (str(clutch.counted), clutch.ratio) == ("0.0.4", None)
    for animal, sex in zip(hatchlings, ("male", "male", "female", "undetermined"), strict=True):
        world.call(world.odile, animal, sex)
    (clutch,) = clutches_of(broods_in(world.collection))
    labels = [world.label(one) for one in hatchlings]
    males = sum(label.endswith(" male") for label in labels)
    females = sum(label.endswith(" female") for label in labels)
    assert (males, females) == (2, 1)
    assert str(clutch.counted) == "2.1.1"


def test_the_words_give_the_exact_test_and_its_caution() -> None:
    """5 of 5: p = 2 / 2**5 = 0.0625; the interval's lower end is 0.025 ** (1 / 5) = 0.478."""
    ratio = sex_ratio(Tally(5, 0, 1))
    assert ratio.p == pytest.approx(0.0625)
    text = ratio_in_words(ratio)
    assert "p = 0.0625" in text
    assert "between 48 and 100 in 100" in text
    assert CAUTION in text
