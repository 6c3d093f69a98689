"""An animal that is not to be handled is on no blind guest's sheet, and nothing tells them why."""

from typing import Any

import pytest
from tests.api.client import Api
from tests.api.conftest import present
from tests.api.feeding import pull
from tests.pages.browser import Browser
from tests.world import World, probing

from scalewitness.animals.models import Animal
from scalewitness.animals.services import edit
from scalewitness.domain.cautions import HOLD_OFF

pytestmark = pytest.mark.one_in(4)

SIGNS = ("gravid", "ill", "injured", "under_treatment")


def note(world: World, animal: Animal, sign: str) -> None:
    noted = {"noted": {"type": "health", "sign": sign}}
    assert world.say(world.odile, "husbandry_noted", animal.pk, noted).status == "accepted"


def hold(world: World, animal: Animal, how: str) -> None:
    """By a note, or because its keeper asks for it."""
    if how != "asked":
        note(world, animal, how)
        return
    fields = {"hold_off": True}
    edit(animal, fields, version=animal.version, by=world.odile, now=world.now)


@pytest.fixture
def other(world: World) -> Animal:
    return world.animal("O-1")


@pytest.fixture
def sheet(world: World, greta: Api, animal: Animal, other: Animal) -> Any:
    """Asks for it."""
    present(world)
    visit = world.visit(world.greta, animal, other)
    return lambda: greta.get(f"/visits/{visit}/sheet").body


def tags(rows: Any) -> list[str]:
    return [one["identifiers"][0]["code"] for one in rows]


@pytest.mark.parametrize("how", [*SIGNS, "asked"])
def test_whatever_the_reason_it_is_on_no_blind_sheet_and_one_sentence_says_so(
    world: World, greta: Api, sheet: Any, animal: Animal, how: str
) -> None:
    tag = animal.identifiers.get().code
    assert tags(sheet()["animals"]) == sorted([tag, "O-1"])
    hold(world, animal, how)
    shown = sheet()
    assert tags(shown["animals"]) == ["O-1"]
    assert (tags(shown["held_off"]), shown["notice"]) == ([tag], HOLD_OFF)
    whole = greta.get(f"/animals/{animal.pk}").body
    assert whole["hold_off"] is True
    page = Browser(world.greta).open(f"/animals/{animal.pk}")
    listed = Browser(world.greta).open(f"/visits/{shown['visit']['id']}/sheet")
    for text in (page.text, listed.text):
        assert HOLD_OFF in text
    for said in (str({**shown, "cautions": ()}), str(whole), page.text):
        assert not any(sign.replace("_", " ") in said.replace("_", " ") for sign in SIGNS)


def test_noted_as_well_it_is_back(world: World, sheet: Any, animal: Animal) -> None:
    for sign in SIGNS:
        note(world, animal, sign)
    note(world, animal, "well")
    shown = sheet()
    assert (len(shown["animals"]), shown["held_off"], shown["notice"]) == (2, [], None)


def test_the_feed_tells_that_it_is_held_off_and_not_of_any_other_note(
    world: World, greta: Api, sheet: Any, animal: Animal
) -> None:
    _, cursor = pull(greta)
    told = []
    for sign in ("well", "ill", "gravid", "under_treatment", "other", "well"):
        note(world, animal, sign)
        items, cursor = pull(greta, cursor)
        told.append([one["animal"]["hold_off"] for one in items])
    assert told == [[], [True], [], [], [False], []]


def test_a_check_that_was_made_before_is_taken(
    world: World, sheet: Any, greta: Api, animal: Animal
) -> None:
    visit = sheet()["visit"]["id"]
    note(world, animal, "ill")
    body = probing("male", animal.identifiers.get().code) | {"visit": visit}
    made = world.say(world.greta, "call_made", animal.pk, body)
    assert made.status == "accepted"
    assert len(sheet()["animals"]) == 2
    assert animal.calls.get().blind


def test_the_host_is_asked_whether_it_is_still_so(
    world: World, sheet: Any, animal: Animal, other: Animal
) -> None:
    note(world, animal, "gravid")
    hold(world, other, "asked")
    host, path = Browser(world.odile), f"/visits/{sheet()['visit']['id']}"
    home = host.open("/")
    assert "Held off from your guest: is it still so?" in home.text
    assert path in home.links
    page = host.open(path)
    assert "last noted as gravid" in page.text
    assert f"/animals/{animal.pk}/husbandry/health" in page.links
    assert f"/animals/{other.pk}/record" in page.links
    assert "gravid" not in Browser(world.greta).open(path).text
    note(world, animal, "well")
    assert "gravid" not in host.open(path).text


def test_how_many_there_are_to_check_does_not_tell_that_one_is_held_off(
    world: World, greta: Api, sheet: Any, animal: Animal
) -> None:
    path = f"/visits/{sheet()['visit']['id']}"

    def told() -> tuple[Any, ...]:
        (listed,) = greta.get("/visits").body["items"]
        return listed, greta.get(path).body, Browser(world.greta).open(path).text

    before = told()
    note(world, animal, "gravid")
    assert told() == before
    assert before[0]["count"] == 2
