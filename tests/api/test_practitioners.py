"""Naming whoever made a call that one reports."""

from tests.api.client import Api
from tests.world import World, new_id

from scalewitness.people.models import Practitioner
from scalewitness.people.queries import names_of


def test_a_veterinarian_is_named_once(world: World, odile: Api) -> None:
    sent = {"id": str(new_id()), "name": "Dr. Ines Aldous"}
    assert odile.post("/practitioners", sent).status == 201
    assert odile.post("/practitioners", sent).body == sent
    assert Practitioner.objects.get(pk=sent["id"]).named_by == world.odile


def test_an_id_does_not_change_hands(odile: Api, stan: Api) -> None:
    sent = {"id": str(new_id()), "name": "Dr. Ines Aldous"}
    odile.post("/practitioners", sent)
    for who, name in ((odile, "Dr. Someone Else"), (stan, "Dr. Ines Aldous")):
        answer = who.post("/practitioners", {**sent, "name": name})
        assert (answer.status, answer.code, answer.pointer) == (422, "wrong_shape", "/id")


def test_nobody_renames_a_keeper_by_the_back_door(world: World, stan: Api) -> None:
    """The names beside calls come from keepers and practitioners by id."""
    sent = {"id": str(world.odile.pk), "name": "Someone else"}
    answer = stan.post("/practitioners", sent)
    assert (answer.status, answer.code) == (422, "wrong_shape")
    assert names_of([world.odile.pk]) == {world.odile.pk: "Odile Marten"}


def test_an_id_has_one_spelling(odile: Api) -> None:
    sent = {"id": str(new_id()).upper(), "name": "Dr. Ines Aldous"}
    answer = odile.post("/practitioners", sent)
    assert (answer.status, answer.code, answer.pointer) == (422, "wrong_shape", "/id")


def test_control_characters_are_no_name(odile: Api) -> None:
    answer = odile.post("/practitioners", {"id": str(new_id()), "name": "Dr. Ines\nAldous"})
    assert (answer.status, answer.code) == (422, "out_of_range")


def test_a_keeper_finds_whom_they_named_and_nobody_elses(odile: Api, stan: Api) -> None:
    """So that a device without a signal can report somebody again under the same id."""
    first, again, other = (str(new_id()) for _ in range(3))
    for id, name in ((first, "Dr Ilse Brandt"), (again, "Dr Ilse Brandt"), (other, "A lab")):
        odile.post("/practitioners", {"id": id, "name": name})
    stan.post("/practitioners", {"id": str(new_id()), "name": "Dr Somebody"})
    Practitioner.objects.create(pk=new_id(), named_by_id=_me(odile), name="")
    assert odile.get("/practitioners").body["items"] == [
        {"id": other, "name": "A lab"},
        {"id": min(first, again), "name": "Dr Ilse Brandt"},
    ]


def _me(who: Api) -> str:
    found: str = who.get("/keepers/me").body["id"]
    return found
