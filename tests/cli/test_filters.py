"""What a machine knows is found by what is asked, and a blind animal as its bare twin."""

from typing import Any

import pytest

from scalewitness_cli.filters import Filters

KIND = {"key": "python_regius", "common": "ball python", "scientific": "Python regius"}
CODES = [{"scheme": "tag", "code": "OS-1"}, {"scheme": "scale_photo", "code": "left flank"}]


def animal(**more: Any) -> dict[str, Any]:
    return {"id": "1", "sight": "all", "species": KIND, "identifiers": CODES, **more}


ONYX = animal(name="Onyx", rack="Room 2", traits=["piebald"], standing={"label": "verified male"},
              collection={"id": "7", "name": "The hall"})  # fmt: skip
BLIND = animal(sight="blind", collection={"id": "7", "name": "The hall"})


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, True),
        ({"text": "onyx"}, True),
        ({"text": "os-1"}, True),
        ({"text": "pieb"}, True),
        ({"text": "room 2"}, True),
        ({"text": "flank"}, True),
        ({"text": "Nettle"}, False),
        ({"species": "ball"}, True),
        ({"species": "boa"}, False),
        ({"standing": "verified"}, True),
        ({"standing": "unsexed"}, False),
        ({"sex": "male"}, True),
        ({"sex": "female"}, False),
        ({"standing": "verified", "sex": "female"}, False),
        ({"collection": "hall"}, True),
        ({"collection": "7"}, True),
        ({"collection": "loft"}, False),
    ],
    ids=str,
)
def test_an_animal_is_found_by_what_is_asked(asked: dict[str, str], found: bool) -> None:
    assert Filters(**asked).find(ONYX) is found


def test_what_nobody_checked_is_unsexed() -> None:
    assert Filters(standing="unsexed").find(animal())
    assert not Filters(sex="male").find(animal())


def test_a_blind_animal_is_found_by_its_sheet_alone() -> None:
    assert Filters(text="OS-1", species="python").find(BLIND)
    for asked in (
        {"standing": "unsexed"},
        {"sex": "female"},
        {"text": "flank"},
        {"collection": "hall"},
    ):
        assert not Filters(**asked).find(BLIND)
