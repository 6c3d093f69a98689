"""Where animals are kept, and how much of one is shown, in the app's pure modules. How places are
written is common practice, no source."""

from typing import Any

import pytest

RACKS = {
    "R2-14": "R2",
    "r2 / 14": "r2",
    "R2 14b": "R2",
    "Room 1, R2-14": "Room 1, R2",
    "Rack 2, tub 14": "Rack 2",
    "A-3": "A",
    "B3.12": "B3",
    "Rack 2": "Rack 2",
    "R2": "R2",
    " Quarantine ": "Quarantine",
    "R2–14": "R2",
    "14": "",
    "": "",
}


def test_a_rack_is_told_from_its_tubs(modules: Any) -> None:
    assert modules("places", "given.map((one) => m.rackOf(one))", list(RACKS)) == [*RACKS.values()]


def test_places_are_in_the_order_one_walks_along(modules: Any) -> None:
    walked = ["R2-2", "R2-9", "R2-14", "R2-14b", "R10-1", "Shelf", ""]
    script = "m.inOrder(given, (one) => [one, ''])"
    assert modules("places", script, walked[::-1]) == walked
    named = [["R1-1", "B-2"], ["R1-1", "B-10"], ["", "A-1"], ["", "A-2"]]
    assert modules("places", "m.inOrder(given, (one) => one)", named[::-1]) == named


ANIMAL = {
    "id": "1", "sight": "all", "species": {"key": "python_regius", "common": "Ball python"},
    "hatched": "2024-05-01", "name": "Nettle", "rack": "Males 3", "sire": "2", "traits": ["clown"],
    "standing": {"label": "proven male"}, "description": "sire of 2024", "hold_off": False,
    "identifiers": [
        {"scheme": "tag", "code": "B-1"}, {"scheme": "scale_photo", "code": "made as a male"},
    ],
    "condition": {
        "grams": "311", "weighed_at": None, "fed_at": None, "shed": None, "health": "gravid",
    },
}  # fmt: skip


def test_of_a_blind_animal_nothing_is_left_but_what_its_sheet_shows(modules: Any) -> None:
    seen, blind = modules("sight", "[m.isBlind(given), m.isBlind(m.blindly(given))]", ANIMAL)
    assert (seen, blind) == (False, True)
    assert modules("sight", "m.blindly(given)", ANIMAL) == {
        "id": "1", "sight": "blind", "species": ANIMAL["species"], "hatched": "2024-05-01",
        "identifiers": [{"scheme": "tag", "code": "B-1"}], "hold_off": False,
        "condition": {"grams": "311", "weighed_at": None, "fed_at": None, "shed": None},
    }  # fmt: skip


def called(state: str, visit: str = "v") -> dict[str, Any]:
    fact = {"kind": "call_made", "about": "1"}
    return {"fact": fact, "state": state, "shown": {"visit": visit}}


@pytest.mark.parametrize(
    ("blind", "own_call", "outbox", "awaited"),
    [
        (True, None, [], ["1"]),
        (True, None, [called("saved")], ["1"]),
        (True, None, [called("sent")], ["1"]),
        (True, None, [called("held")], ["1"]),
        (True, None, [called("accepted", "another")], ["1"]),
        (True, None, [called("accepted")], []),
        (True, {"id": "c", "position": 7}, [], []),
        (False, None, [], []),
    ],
)
def test_who_is_to_check_one_blind_is_blind_to_it_until_their_own_call_is_in(
    modules: Any, *, blind: bool, own_call: Any, outbox: list[Any], awaited: list[str]
) -> None:
    """A call that can still be changed opens nothing."""
    rows = [{"animal": "1", "own_call": own_call}]
    visits = [{"id": "v", "blind": blind, "rows": rows}, {"id": "w", "blind": True, "rows": None}]
    assert modules("sight", "[...m.awaited(given[0], given[1])]", [visits, outbox]) == awaited
