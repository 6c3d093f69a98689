"""Visits: invited, answered, worked from, called off."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from tests.api.client import Answer, Api, fact
from tests.api.conftest import present
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.domain.cautions import BEFORE_A_CHECK
from scalewitness.domain.moments import rfc3339

pytestmark = pytest.mark.one_in(4)


def invite(who: Api, world: World, *animals: Animal, **more: Any) -> Answer:
    now = timezone.now()
    body = {
        "collection": str(world.collection.pk),
        "guest": str(world.greta.pk),
        "animals": [str(animal.pk) for animal in animals],
        "opens": rfc3339(now - timedelta(minutes=1)),
        "closes": rfc3339(now + timedelta(days=2)),
        **more,
    }
    return who.post("/visits", fact(body, about=str(new_id())))


def test_a_visit_from_invitation_to_call(
    world: World, odile: Api, greta: Api, animal: Animal
) -> None:
    made = invite(odile, world, animal)
    assert made.status == 201
    path = made.headers["Location"].removeprefix("/api/v1")
    assert greta.get(path).body["state"] == "invited"
    assert greta.get(f"/animals/{animal.pk}").status == 404
    assert greta.post(f"{path}/answer", fact(accepted=True)).status == 201
    assert greta.get(path).body["state"] == "open"
    assert greta.get(f"/animals/{animal.pk}").body["sight"] == "blind"
    sent = fact(probing("male", "A-1") | {"visit": path.rpartition("/")[2]})
    assert greta.post(f"/animals/{animal.pk}/calls", sent).status == 201
    shown = odile.get(f"/calls/{sent['id']}").body
    assert (shown["blind"], shown["interested"], shown["anchored_to"]) == (True, False, None)


def test_each_side_sees_its_own(
    world: World, odile: Api, pim: Api, greta: Api, stan: Api, animal: Animal
) -> None:
    world.make_partner(world.pim)
    path = invite(odile, world, animal).headers["Location"].removeprefix("/api/v1")
    for host in (odile, pim):
        shown = host.get(path).body
        assert shown["animals"] == [str(animal.pk)]
        assert shown["collection"]["name"] == "The long room"
        assert host.get("/visits").body["items"] == [shown]
    shown = greta.get(path).body
    assert (shown["animals"], shown["count"], shown["collection"]["name"]) == (None, 1, None)
    assert shown["host"]["name"] == "Odile Marten"
    assert stan.get(path).code == "not_found"
    assert stan.get("/visits").body["items"] == []


def test_the_sheet_is_ordered_by_tag(world: World, odile: Api, greta: Api) -> None:
    present(world)
    animals = [world.animal(tag) for tag in ("C-3", "A-1", "B-2")]
    for animal, sex in zip(animals, ("male", "female", "male"), strict=True):
        world.call(world.odile, animal, sex)
    visit = world.visit(world.greta, *animals)
    sheet = greta.get(f"/visits/{visit}/sheet").body
    codes = [row["identifiers"][0]["code"] for row in sheet["animals"]]
    assert codes == ["A-1", "B-2", "C-3"]
    assert sheet["cautions"] == list(BEFORE_A_CHECK)
    assert all("standing" not in row for row in sheet["animals"])
    host = odile.get(f"/visits/{visit}/sheet").body
    labels = [row["standing"]["label"] for row in host["animals"]]
    assert labels == ["probable female", "probable male", "probable male"]


def test_a_sheet_is_a_guests_while_the_visit_is_open(
    world: World, odile: Api, greta: Api, stan: Api, animal: Animal
) -> None:
    visit = invite(odile, world, animal).headers["Location"].removeprefix("/api/v1")
    answer = greta.get(f"{visit}/sheet")
    assert (answer.status, answer.code) == (409, "not_now")
    assert stan.get(f"{visit}/sheet").code == "not_found"
    assert odile.get(f"{visit}/sheet").status == 200
    greta.post(f"{visit}/answer", fact(accepted=True))
    assert greta.get(f"{visit}/sheet").status == 200
    odile.post(f"{visit}/cancellation", fact())
    assert greta.get(f"{visit}/sheet").code == "not_now"
    assert greta.get(f"/animals/{animal.pk}").code == "not_found"


def test_a_visit_that_is_over_shows_nothing(world: World, greta: Api, animal: Animal) -> None:
    visit = world.visit(world.greta, animal, days=2)  # thirty days ago
    assert greta.get(f"/visits/{visit}").body["state"] == "over"
    assert greta.get(f"/visits/{visit}/sheet").code == "not_now"
    assert greta.get("/animals").body["items"] == []


def test_an_invitation_is_answered_once_and_by_the_guest(
    world: World, odile: Api, greta: Api, stan: Api, animal: Animal
) -> None:
    visit = invite(odile, world, animal).headers["Location"].removeprefix("/api/v1")
    for who in (odile, stan):
        assert who.post(f"{visit}/answer", fact(accepted=True)).code == "not_found"
    assert greta.post(f"{visit}/answer", fact(accepted=False)).status == 201
    assert greta.get(visit).body["state"] == "declined"
    answer = greta.post(f"{visit}/answer", fact(accepted=True))
    assert (answer.status, answer.code) == (409, "not_now")


@pytest.mark.parametrize("accepted", [None, "yes", 1])
def test_an_answer_is_yes_or_no(
    world: World, odile: Api, greta: Api, animal: Animal, accepted: object
) -> None:
    visit = invite(odile, world, animal).headers["Location"].removeprefix("/api/v1")
    answer = greta.post(f"{visit}/answer", fact(accepted=accepted))
    assert (answer.code, answer.pointer) == ("wrong_shape", "/accepted")


def test_the_guest_does_not_cancel(world: World, odile: Api, greta: Api, animal: Animal) -> None:
    visit = invite(odile, world, animal).headers["Location"].removeprefix("/api/v1")
    assert greta.post(f"{visit}/cancellation", fact()).code == "not_found"


@pytest.mark.parametrize(
    ("more", "code", "pointer"),
    [
        ({"animals": []}, "wrong_shape", "/body/animals"),
        ({"animals": [str(new_id())]}, "out_of_range", "/body/animals"),
        ({"animals": "all"}, "wrong_shape", "/body/animals"),
        ({"guest": str(new_id())}, "out_of_range", "/body/guest"),
        ({"collection": str(new_id())}, "not_found", "/body/collection"),
        ({"closes": "2020-01-01T00:00:00.000Z"}, "out_of_range", "/body/closes"),
        ({"closes": "2099-01-01T00:00:00.000Z"}, "out_of_range", "/body/closes"),
        ({"opens": "2026-02-30T00:00:00.000Z"}, "out_of_range", "/body/opens"),
        ({"opens": "today"}, "wrong_shape", "/body/opens"),
        ({"blind": "yes"}, "wrong_shape", "/body/blind"),
    ],
)
def test_invitations_that_cannot_be(
    world: World, odile: Api, animal: Animal, more: dict[str, Any], code: str, pointer: str
) -> None:
    answer = invite(odile, world, animal, **more)
    assert (answer.code, answer.pointer) == (code, pointer)


def test_the_end_of_time_is_no_surprise(world: World, odile: Api, animal: Animal) -> None:
    opens, closes = "9999-12-30T00:00:00.000Z", "9999-12-31T23:59:59.999Z"
    made = invite(odile, world, animal, opens=opens, closes=closes)
    assert made.status == 201
    shown = odile.get(made.headers["Location"].removeprefix("/api/v1")).body
    assert (shown["opens"][:10], shown["state"]) == ("9999-12-30", "invited")


def test_a_blind_sheet_needs_something_to_tell_animals_apart(world: World, odile: Api) -> None:
    about, body = new_id(), {"collection": str(world.collection.pk), "species": "python_regius"}
    world.say(world.odile, "animal_registered", about, body)
    answer = invite(odile, world, Animal(pk=about))
    assert (answer.code, answer.pointer) == ("out_of_range", "/body/animals/0")
