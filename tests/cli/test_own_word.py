"""Whoever runs the record, or knows the password, speaks in a keeper's name: the keeper's own
command says so, with the entry's bytes; and from the rule on nothing of it is taken at all."""

import json
from typing import Any

import pytest
from tests.cli.rooms import Machine, Room, envelope, new_animal
from tests.world import probing

from scalewitness.domain.translog.leaf import read_leaf

pytestmark = pytest.mark.one_in(2)


@pytest.fixture
def odile(room: Room) -> Machine:
    return room.at_work("odile")


def unsigned_call(odile: Machine, animal: str, tag: str) -> dict[str, Any]:
    return envelope("call_made", animal, probing("male", tag))


def test_a_fact_nobody_signed_is_listed_and_confirmed_or_not(odile: Machine) -> None:
    animal = new_animal(odile, "W1")
    done = odile.sync()
    assert done["in_my_name"] >= 2, "registered by a program that signs nothing"
    assert done["forged"] == 0
    answer = odile.run("alarms")
    assert answer.status == 1
    found = [json.loads(one) for one in odile.run("alarms", "--json").out.splitlines()]
    (one,) = [one for one in found if animal in one["leaf"] and one["kind"] == "animal_registered"]
    leaf = read_leaf(one["leaf"].encode())
    assert (leaf.about, leaf.sig, one["why"]) == (animal, None, "unsigned")
    device = one["device"]
    assert odile.well("in-my-name", "--mine", device) == []
    assert odile.run("alarms").status == 0
    assert odile.sync()["in_my_name"] == 0, "said once"
    more = unsigned_call(odile, animal, "W1")
    assert odile.api.post("push", json={"items": [more]}).status_code == 200
    assert odile.sync()["in_my_name"] == 1, "of what came later it was not said"
    (listed,) = odile.well("in-my-name", "--not-mine", more["id"], status=1)
    assert listed["answer"] == "not mine"
    assert odile.run("acknowledge", listed["alarm"], "--because", "withdrawn").status == 0
    assert odile.run("alarms").status == 0


def test_what_this_machine_said_is_its_own(odile: Machine) -> None:
    new_animal(odile, "W2")
    before = odile.sync()["in_my_name"]
    odile.check("W2")
    assert odile.sync()["in_my_name"] == before
