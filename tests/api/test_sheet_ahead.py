"""A guest who accepted has the sheet before the visit opens, for rooms without a signal, and
learns nothing by that which a blind examiner may not know."""

from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from django.utils import timezone
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.domain.moments import rfc3339

BLIND_ROW = {"id", "sight", "species", "hatched", "identifiers", "condition", "hold_off",
             "own_call"}  # fmt: skip


def coming(
    world: World, *animals: Animal, blind: bool = True, accepted: bool = True, **ahead: float
) -> str:
    """Greta's visit, which opens after ``ahead``: its path in the API."""
    present(world)
    opens = timezone.now() + timedelta(**(ahead or {"hours": 12}))
    visit = new_id(world.now)
    body = {
        "collection": str(world.collection.pk),
        "guest": str(world.greta.pk),
        "animals": [str(animal.pk) for animal in animals],
        "opens": rfc3339(opens),
        "closes": rfc3339(opens + timedelta(days=1)),
        "blind": blind,
    }
    world.say(world.odile, "visit_invited", visit, body)
    if accepted:
        world.say(world.greta, "visit_accepted", visit)
    return f"/visits/{visit}"


def noted(world: World, animal: Animal, **what: Any) -> None:
    world.say(world.odile, "husbandry_noted", animal.pk, {"noted": what})


@pytest.mark.parametrize("blind", [True, False])
def test_it_tells_when_it_opens_and_nothing_of_a_sex(world: World, greta: Api, blind: bool) -> None:
    """Also of a visit that is not blind: what the record says is there from its opening."""
    animal = world.verified("V-1")
    noted(world, animal, type="weight", grams="1450")
    for sign in ("gravid", "well"):
        noted(world, animal, type="health", sign=sign)
    path = coming(world, animal, blind=blind)
    sheet = greta.get(f"{path}/sheet").body
    assert sheet["visit"]["state"] == "accepted"
    assert sheet["visit"]["opens"] > rfc3339(timezone.now())
    (row,) = sheet["animals"]
    assert set(row) == BLIND_ROW
    assert (row["sight"], row["own_call"]) == ("blind", None)
    assert row["identifiers"] == [{"scheme": "tag", "code": "V-1"}]
    assert (row["condition"]["grams"], "health" in row["condition"]) == ("1450", False)


def test_it_is_the_same_to_the_byte_whatever_was_found_before(world: World, greta: Api) -> None:
    """Two animals that differ in nothing but calls, standing and what tells a sex. One that was
    gravid is as one that was ill: see `test_held_off.py`."""
    plain, told = world.animal("A-1"), world.animal("A-2")
    for animal in (plain, told):
        noted(world, animal, type="weight", grams="900")
    world.call(world.odile, told, "male")
    for sign in ("gravid", "well"):
        noted(world, told, type="health", sign=sign)
    first, second = greta.get(f"{coming(world, plain, told)}/sheet").body["animals"]
    assert first.pop("id") != second.pop("id")
    assert first.pop("identifiers") != second.pop("identifiers")
    assert first == second


def test_it_gives_no_sight_of_the_animals(world: World, greta: Api, animal: Animal) -> None:
    path = coming(world, animal)
    assert len(greta.get(f"{path}/sheet").body["animals"]) == 1
    assert greta.get(f"/animals/{animal.pk}").code == "not_found"
    assert greta.get("/animals").body["items"] == []
    assert [one for one in greta.get("/changes").body["items"] if one.get("animal")] == []


def test_nobody_watches_a_weight_change_for_months(world: World, greta: Api) -> None:
    animal = world.animal("A-1")
    noted(world, animal, type="weight", grams="1450")
    noted(world, animal, type="meal", taken=True)
    (row,) = greta.get(f"{coming(world, animal, days=8)}/sheet").body["animals"]
    assert set(row["condition"].values()) == {None}
    (row,) = greta.get(f"{coming(world, animal, days=6)}/sheet").body["animals"]
    assert row["condition"]["grams"] == "1450"


def test_it_is_only_for_the_guest_who_accepted(
    world: World, odile: Api, greta: Api, stan: Api, animal: Animal
) -> None:
    asked = coming(world, animal, accepted=False)
    assert greta.get(f"{asked}/sheet").code == "not_now"
    accepted = coming(world, animal)
    assert stan.get(f"{accepted}/sheet").code == "not_found"
    assert odile.get(f"{accepted}/sheet").body["animals"][0]["sight"] == "all"
    greta.post(f"{asked}/answer", fact(accepted=False))
    assert greta.get(f"{asked}/sheet").code == "not_now"


def test_it_ends_with_the_visit_and_with_the_animals_stay(
    world: World, odile: Api, greta: Api
) -> None:
    stays, leaves = world.animal("A-1"), world.animal("A-2")
    path = coming(world, stays, leaves)
    cellar = create_collection(world.odile, new_id(), "The cellar", world.now)
    moved = {"to": str(cellar.pk), "why": "moved"}
    world.say(world.odile, "custody_changed", leaves.pk, moved)
    (row,) = greta.get(f"{path}/sheet").body["animals"]
    assert UUID(row["id"]) == stays.pk
    odile.post(f"{path}/cancellation", fact())
    answer = greta.get(f"{path}/sheet")
    assert (answer.status, answer.code) == (409, "not_now")
