"""A check that was made before its animal was held off is noted and sent all the same."""

import pytest
from tests.cli.rooms import Machine, Room, envelope, invite, new_animal, push

from scalewitness.domain.moments import rfc3339
from scalewitness_cli.identity import moment_now


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    return room.at_work("odile")


@pytest.mark.parametrize("when", ["noted before", "noted after"])
@pytest.mark.some(1)
def test_a_check_of_before_the_hold_is_neither_lost_nor_refused(
    room: Room, odile: Machine, when: str
) -> None:
    tag = f"Yew-{when[-5:].strip()}"
    animal = new_animal(odile, tag)
    greta = room.keeper("greta")
    greta.sign_in(room.log_key)
    visit = invite(odile, greta, animal)
    greta.sync()
    made = rfc3339(moment_now())
    if when == "noted before":
        greta.check(tag)
    push(
        odile.api, envelope("husbandry_noted", animal, {"noted": {"type": "health", "sign": "ill"}})
    )
    if when == "noted after":
        greta.sync()
        (held,) = greta.well("sheet")
        assert (held["rows"], held["left_alone"]) == ([], [tag])
        greta.check(tag, "--at", made)
    assert {one["state"] for one in greta.well("unsent")} == {"waiting"}
    assert greta.sync()["sent"] == 1
    assert greta.well("unsent") == []
    (call,) = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert (call["blind"], call["visit"]) == (True, visit)
    (row,) = greta.well("sheet")[0]["rows"]
    assert row["own_call"] == call["id"]
