"""Whoever corrects an animal's particulars loses none of its parents that they do not see."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

import pytest
from tests.api.client import Api
from tests.breeding.test_uses import hand_over, lend, young_of
from tests.pages.browser import Browser
from tests.world import World, new_id

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.domain.errors import Refused

PLAIN = {"species": "python_regius", "hatched": "2026-08-02"}


@pytest.fixture
def shelf(world: World) -> Collection:
    """Greta's own collection."""
    return create_collection(world.greta, new_id(world.now), "Shelf", world.now)


def correct(world: World, animal: Animal, **more: Any) -> None:
    made = world.say(world.greta, "particulars_corrected", animal.pk, PLAIN | more)
    assert made.status == "accepted"


def refused(world: World, animal: Animal, **more: Any) -> Mapping[str, Any]:
    with pytest.raises(Refused) as caught:
        correct(world, animal, **more)
    return caught.value.as_problem()


def test_of_a_parent_that_its_keeper_is_to_check_blind_none_is_lost_and_nothing_told(
    world: World, shelf: Collection
) -> None:
    dam, other, bare = world.animal("D-1"), world.animal("O-1"), world.animal("B-1")
    young = world.animal("Y-1", hatched="2026-08-01")
    lend(world, shelf, young, bare)
    world.pass_time(days=1)
    visit = world.visit(world.greta, dam, other)
    said = {**PLAIN, "dam": str(dam.pk)}
    assert world.say(world.odile, "particulars_corrected", young.pk, said).status == "accepted"
    told, of_none = refused(world, young), refused(world, bare)
    assert told == of_none
    assert (told["status"], told["code"]) == (409, "not_now")
    young.refresh_from_db()
    assert young.dam == dam.pk
    for animal in (dam, other):
        world.call(world.greta, animal, "female", visit=visit)
    correct(world, bare)
    correct(world, young, dam=str(dam.pk))


def test_parents_that_are_told_may_be_corrected_meanwhile(world: World, shelf: Collection) -> None:
    animal, told = world.animal("D-1"), world.animal("T-1")
    young = world.animal("Y-1", hatched="2026-08-01", sire=str(told.pk))
    lend(world, shelf, young)
    world.visit(world.greta, animal)
    correct(world, young, sire=str(told.pk))
    young.refresh_from_db()
    assert (young.sire, str(young.hatched)) == (told.pk, PLAIN["hatched"])


@pytest.fixture
def bought(world: World, shelf: Collection) -> tuple[Animal, UUID]:
    """An animal, and its dam that stayed with the seller."""
    dam = world.animal("D-1")
    young = young_of(world, dam)
    hand_over(world, young, shelf)
    return young, dam.pk


def test_the_parent_of_an_animal_that_was_bought_stays_in_its_page(
    world: World, bought: tuple[Animal, UUID]
) -> None:
    young, dam = bought
    browser = Browser(world.greta)
    page = browser.open(f"/animals/{young.pk}/particulars")
    assert "The one on record, which you may not see" in page.text
    browser.send(page.form(), hatched="2026-08-02")
    young.refresh_from_db()
    assert (str(young.hatched), young.dam) == ("2026-08-02", dam)


def test_and_may_be_named_again_over_the_api_but_no_other_unseen_one(
    world: World, bought: tuple[Animal, UUID]
) -> None:
    young, dam = bought
    told = Api(world.greta).get(f"/animals/{young.pk}").body["dam"]
    assert told == str(dam)
    correct(world, young, dam=told)
    young.refresh_from_db()
    assert young.dam == dam
    hidden = world.animal("H-1")
    for more in ({"dam": str(hidden.pk)}, {"sire": told}):
        assert refused(world, young, **more)["code"] == "out_of_range"
