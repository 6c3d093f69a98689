"""Clutches from the record: who belongs together, and the ratio's test."""

from datetime import datetime
from uuid import UUID

import pytest
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.breeding.queries.clutches import (
    CAUTION,
    Clutch,
    broods_in,
    clutch_with,
    clutches_of,
    ratio_in_words,
)
from scalewitness.domain.errors import NotFound
from scalewitness.domain.sexing.clutches import FirstCheck, sex_ratio

pytestmark = pytest.mark.django_db


def young(world: World, dam: Animal, count: int, hatched: str = "2026-08-01") -> list[Animal]:
    return [world.animal(f"{hatched}-{n}", hatched=hatched, dam=str(dam.pk)) for n in range(count)]


def seen_by(world: World) -> tuple[UUID, datetime]:
    return world.odile.pk, world.now


def clutches(world: World) -> list[Clutch]:
    broods = broods_in(world.collection, *seen_by(world))
    return clutches_of(broods, *seen_by(world))


def test_the_same_parents_and_day_make_a_clutch(world: World) -> None:
    dam, other = world.animal("D-1"), world.animal("D-2")
    first, second = young(world, dam, 3), young(world, dam, 2, "2026-09-01")
    third = young(world, other, 1)
    world.animal("no parent", hatched="2026-08-01")
    world.animal("no day", dam=str(dam.pk))
    found = [{one.pk for one in clutch.animals} for clutch in clutches(world)]
    assert found[0] == {one.pk for one in second}
    assert {frozenset(one) for one in found[1:]} == {
        frozenset(one.pk for one in first),
        frozenset(one.pk for one in third),
    }
    assert clutch_with(world.collection, first[0].pk, *seen_by(world)).dam == dam.pk
    with pytest.raises(NotFound):
        clutch_with(world.collection, dam.pk, *seen_by(world))


def test_counts_follow_the_standings(world: World) -> None:
    hatchlings = young(world, world.animal("D-1"), 4)
    (clutch,) = clutches(world)
    assert (str(clutch.counted), clutch.ratio) == ("0.0.4", None)
    for animal, sex in zip(hatchlings, ("male", "male", "female", "undetermined"), strict=True):
        world.call(world.odile, animal, sex)
    (clutch,) = clutches(world)
    labels = [world.label(one) for one in hatchlings]
    males = sum(label.endswith(" male") for label in labels)
    females = sum(label.endswith(" female") for label in labels)
    assert (males, females) == (2, 1)
    assert str(clutch.counted) == "2.1.1"


def test_an_even_clutch_everted_by_its_breeder_is_nothing_unusual(world: World) -> None:
    """The females are not sexed by it, so the count alone would say that all are males."""
    hatchlings = young(world, world.animal("D-1"), 12)
    for n, animal in enumerate(hatchlings):
        seen = {"method": "eversion", "manner": "manual", "seen": "hemipenes"}
        if n < 6:
            world.call(world.odile, animal, "male", body={"observed": seen})
        else:
            nothing = seen | {"seen": "nothing"}
            world.call(world.odile, animal, "female", body={"observed": nothing})
    (clutch,) = clutches(world)
    assert str(clutch.counted) == "6.0.6"
    assert clutch.ratio is not None
    assert (clutch.ratio.males, clutch.ratio.checked, clutch.ratio.nothing) == (6, 12, 6)
    assert (clutch.ratio.p, clutch.ratio.unusual) == (1.0, False)


def test_the_ratio_follows_the_first_calls_that_count(world: World) -> None:
    hatchlings = young(world, world.animal("D-1"), 7)
    for animal in hatchlings[:6]:
        first = world.call(world.odile, animal, "male")
        world.call(world.odile, animal, "female")
    (clutch,) = clutches(world)
    assert clutch.ratio is not None
    assert (clutch.ratio.males, clutch.ratio.checked) == (6, 6)
    assert clutch.ratio.unusual
    world.say(world.odile, "call_withdrawn", animal.pk, {"call": first.id})
    (clutch,) = clutches(world)
    assert clutch.ratio is None, "her second answer knew the first, and five are too few"


def test_the_words_give_the_exact_test_and_its_caution() -> None:
    """6 of 6: p = 2 / 2**6 = 0.03125; the interval's lower end is 0.025 ** (1 / 6) = 0.541."""
    ratio = sex_ratio([FirstCheck("male")] * 6)
    assert ratio is not None
    assert ratio.p == pytest.approx(0.03125)
    text = ratio_in_words(ratio)
    assert "p = 0.031" in text
    assert "between 54 and 100 in 100" in text
    assert CAUTION in text
