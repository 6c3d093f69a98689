"""How far an answer moves, beside the standing and on the offer."""

import pytest
from tests.api.client import Api
from tests.world import World

from scalewitness.animals.models import Animal


def shown(who: Api, animal: Animal, **query: object) -> dict:
    return who.get(f"/animals/{animal.pk}/standing", **query).body


def test_the_range_holds_the_answer_and_names_what_moves_it(
    world: World, odile: Api, animal: Animal
) -> None:
    world.call(world.odile, animal, "male")
    found = shown(odile, animal)
    moves = found["sensitivity"]
    assert moves["p_male"] == pytest.approx(found["p_male"], abs=1e-9)
    assert 0 < moves["p_low"] < moves["p_male"] < moves["p_high"] < 1
    assert moves["labels"][0] == found["label"]
    assert moves["mover"] == moves["moves"][0]
    assert moves["mover"]["by"] == max(one["by"] for one in moves["moves"]) > 0
    assert moves["mover"]["status"] in {
        "published", "web page", "common practice", "from memory", "our judgement",
    }  # fmt: skip
    assert moves["mover"]["what"] in moves["words"]
    assert "With other plausible numbers" in moves["words"]


def test_sources_are_those_of_the_numbers_used(world: World, odile: Api, animal: Animal) -> None:
    world.call(world.odile, animal, "male")
    found = shown(odile, animal)
    sources = {one["name"]: one["source"] for one in found["used"]}
    told = {one["name"]: one["source"] for one in found["sensitivity"]["moves"]}
    shared = told.keys() & sources.keys()
    assert shared
    assert {name: told[name] for name in shared} == {name: sources[name] for name in shared}


def test_an_earlier_position_is_measured_as_it_was(
    world: World, odile: Api, animal: Animal
) -> None:
    first = world.call(world.odile, animal, "male")
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    assert first.position is not None
    then = shown(odile, animal, at=first.position + 1)["sensitivity"]
    now = shown(odile, animal)["sensitivity"]
    assert then["p_male"] > 0.9
    assert then["p_male"] != now["p_male"]


def test_nothing_moves_an_answer_without_calls(odile: Api, animal: Animal) -> None:
    moves = shown(odile, animal)["sensitivity"]
    assert (moves["p_low"], moves["p_high"], moves["mover"], moves["moves"]) == (0.5, 0.5, None, [])
