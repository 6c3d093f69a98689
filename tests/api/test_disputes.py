"""Disputes: opened, read with who knew what, closed by a finding."""

from typing import Any

import pytest
from django.test import Client
from tests.api.client import Answer, Api, fact
from tests.api.conftest import present
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.mail.services.links import link_token

pytestmark = pytest.mark.one_in(4)


def object_to(who: Api, animal: Animal, /, **more: Any) -> Answer:
    body = {"animal": str(animal.pk), "ground": "party_objects", **more}
    sent = fact(body, about=str(new_id()), texts={"note": "Both probings were mine to watch."})
    return who.post("/disputes", sent)


@pytest.fixture
def contested(world: World) -> Animal:
    """A keeper's male, and a blind guest's female two days later."""
    present(world)
    animal = world.animal("A-1")
    world.call(world.odile, animal, "male")
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    assert world.label(animal) == "contested"
    return animal


def test_a_dispute_shows_who_knew_what(odile: Api, greta: Api, contested: Animal) -> None:
    made = object_to(odile, contested)
    assert made.status == 201
    path = made.headers["Location"].removeprefix("/api/v1")
    shown = odile.get(path).body
    assert (shown["ground"], shown["open"], shown["finding"]) == ("party_objects", True, None)
    assert shown["opened_by"]["name"] == "Odile Marten"
    assert shown["note"] == "Both probings were mine to watch."
    assert shown["standing"]["label"] == "contested"
    knew = [(one["conclusion"], one["blind"], one["anchored_to"]) for one in shown["evidence"]]
    assert knew == [("male", False, None), ("female", True, None)]
    assert [one["kind"] for one in shown["letters"]] == ["dispute_opened"]
    (listed,) = odile.get("/disputes").body["items"]
    assert (listed["id"], listed["open"]) == (shown["id"], True)


def test_a_guest_who_sees_the_animal_sees_the_dispute(
    odile: Api, greta: Api, stan: Api, contested: Animal
) -> None:
    path = object_to(odile, contested).headers["Location"].removeprefix("/api/v1")
    shown = greta.get(path).body
    assert (len(shown["evidence"]), shown["letters"]) == (2, [])
    assert stan.get(path).body == stan.get(f"/disputes/{new_id()}").body
    assert stan.get("/disputes").body["items"] == []


def test_a_finding_closes_it(world: World, odile: Api, contested: Animal) -> None:
    first = contested.calls.order_by("position").first()
    assert first is not None
    path = object_to(odile, contested).headers["Location"].removeprefix("/api/v1")
    body = {"outcome": "call_set_aside", "set_aside": [str(first.pk)], "remedy": "recheck"}
    sent = fact(body, texts={"reasons": "The depths belong to A-2."})
    assert odile.post(f"{path}/finding", sent).status == 201
    shown = odile.get(path).body
    assert (shown["open"], shown["finding"]["outcome"]) == (False, "call_set_aside")
    assert shown["finding"]["reasons"] == "The depths belong to A-2."
    assert (shown["finding"]["by"]["name"], shown["finding"]["remedy"]) == (
        "Odile Marten",
        "recheck",
    )
    assert [one["set_aside"] for one in shown["evidence"]] == [True, False]
    assert shown["evidence"][0]["finding"] == shown["finding"]["id"]
    again = odile.post(f"{path}/finding", fact({"outcome": "unresolved"}))
    assert (again.status, again.code) == (409, "not_now")


def test_a_call_is_not_set_aside_on_say_so(odile: Api, contested: Animal) -> None:
    """Only a later blind call by someone without an interest can do that."""
    last = contested.calls.order_by("position").last()
    assert last is not None
    path = object_to(odile, contested).headers["Location"].removeprefix("/api/v1")
    body = {"outcome": "call_set_aside", "set_aside": [str(last.pk)]}
    answer = odile.post(f"{path}/finding", fact(body))
    assert (answer.status, answer.code) == (403, "not_allowed")
    assert answer.pointer == "/body/set_aside/0"


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ({}, "wrong_shape"),
        ({"outcome": "seller_wins"}, "wrong_shape"),
        ({"outcome": "call_set_aside"}, "out_of_range"),
        ({"outcome": "calls_stand", "set_aside": [str(new_id())]}, "out_of_range"),
        ({"outcome": "call_set_aside", "set_aside": [str(new_id())]}, "out_of_range"),
        ({"outcome": "call_set_aside", "set_aside": ["x"]}, "wrong_shape"),
        ({"outcome": "unresolved", "remedy": "revenge"}, "wrong_shape"),
    ],
)
def test_findings_that_cannot_be(
    odile: Api, contested: Animal, body: dict[str, Any], code: str
) -> None:
    path = object_to(odile, contested).headers["Location"].removeprefix("/api/v1")
    answer = odile.post(f"{path}/finding", fact(body))
    assert (answer.status, answer.code) == (422, code)


def test_only_a_party_opens_one(stan: Api, greta: Api, contested: Animal) -> None:
    for who in (stan, greta):
        answer = object_to(who, contested)
        assert (answer.status, answer.code) == (404, "not_found")


def test_a_buyer_objects_about_what_they_were_sold(world: World, stan: Api, odile: Api) -> None:
    animal = world.animal("A-1")
    sale = world.sold(animal, email=world.stan.email)
    made = object_to(stan, animal, sale=str(sale.pk))
    assert made.status == 201
    shown = odile.get(made.headers["Location"].removeprefix("/api/v1")).body
    assert (shown["sale"], shown["opened_by"]["name"]) == (str(sale.pk), "Stan Okoro")


def test_a_buyer_with_an_account_reads_their_own_as_through_the_link(
    world: World, stan: Api, odile: Api
) -> None:
    present(world)
    animal = world.animal("A-1")
    sale = world.sold(animal, email=world.stan.email)
    path = object_to(stan, animal, sale=str(sale.pk)).headers["Location"].removeprefix("/api/v1")
    said = fact(texts={"statement": "I sold it as the record had it."})
    assert odile.post(f"{path}/statement", said).status == 201
    link = f"/offers/{link_token(sale.links.filter(purpose='disclosure').latest('pk').pk)}"
    shown = stan.get(path)
    assert (shown.status, shown.body) == (200, Api().get(f"{link}/dispute").body["items"][0])
    assert [one["who"] for one in shown.body["statements"]] == ["the seller"]
    browser = Client()
    browser.force_login(world.stan)
    page = browser.get(path, follow=True)
    assert (page.status_code, page.redirect_chain[0][0].startswith(link)) == (200, True)
    world.visit(world.stan, animal)
    assert stan.get(path).code == "not_found", "a blind guest is told nothing"


def test_one_dispute_at_a_time(odile: Api, contested: Animal) -> None:
    object_to(odile, contested)
    answer = object_to(odile, contested)
    assert (answer.status, answer.code) == (409, "not_now")


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"ground": "contested_standing"}, "out_of_range"),
        ({"ground": "boredom"}, "wrong_shape"),
        ({"animal": str(new_id())}, "not_found"),
        ({"sale": str(new_id())}, "not_found"),
        ({"cause": str(new_id())}, "out_of_range"),
    ],
)
def test_disputes_that_cannot_be(
    odile: Api, contested: Animal, more: dict[str, Any], code: str
) -> None:
    assert object_to(odile, contested, **more).code == code


def test_a_blind_guest_learns_of_no_dispute(
    world: World, odile: Api, stan: Api, contested: Animal
) -> None:
    path = object_to(odile, contested).headers["Location"].removeprefix("/api/v1")
    world.visit(world.stan, contested)
    assert stan.get("/disputes").body["items"] == []
    assert stan.get(path).code == "not_found"
