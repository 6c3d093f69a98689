"""Letting others see a collection."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from tests.api.client import Api, fact
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.domain.moments import rfc3339


def give(who: Api, world: World, role: str = "viewer", **more: Any) -> Any:
    body = {"to": str(world.stan.pk), "role": role, **more}
    return who.post("/grants", fact(body, about=str(world.collection.pk)))


def test_a_grant_gives_sight_and_its_revocation_takes_it(
    world: World, odile: Api, stan: Api, animal: Animal
) -> None:
    path = f"/animals/{animal.pk}"
    assert stan.get(path).status == 404
    answer = give(odile, world)
    assert (answer.status, answer.body["status"]) == (201, "accepted")
    assert answer.headers["Location"] == "/api/v1/grants"
    assert stan.get(path).body["sight"] == "all"
    assert odile.post(f"/grants/{answer.body['id']}/revocation", fact()).status == 201
    assert stan.get(path).status == 404


def test_both_sides_see_it_with_its_state(world: World, odile: Api, stan: Api) -> None:
    until = rfc3339(timezone.now() + timedelta(days=2))
    grant = give(odile, world, until=until).body["id"]
    (given,), (held,) = odile.get("/grants").body["items"], stan.get("/grants").body["items"]
    assert (given["given"], held["given"]) == (True, False)
    assert given["id"] == held["id"] == grant
    assert held["collection"]["name"] == "The long room"
    assert (held["role"], held["animals"], held["state"]) == ("viewer", None, "in_force")
    stan.post(f"/grants/{grant}/revocation", fact())
    assert odile.get("/grants").body["items"][0]["state"] == "ended"


def test_a_grant_for_some_animals_names_them(
    world: World, odile: Api, stan: Api, animal: Animal
) -> None:
    other = world.animal("A-2")
    give(odile, world, animals=[str(animal.pk)])
    assert odile.get("/grants").body["items"][0]["animals"] == [str(animal.pk)]
    assert stan.get(f"/animals/{animal.pk}").status == 200
    assert stan.get(f"/animals/{other.pk}").status == 404


def test_a_grant_that_waits_for_a_blind_check_says_until_when(
    world: World, odile: Api, stan: Api, animal: Animal
) -> None:
    world.now = timezone.now() - timedelta(minutes=5)
    visit = world.visit(world.stan, animal)
    give(odile, world)
    (given,), (held,) = odile.get("/grants").body["items"], stan.get("/grants").body["items"]
    assert (given["state"], held["state"]) == ("waiting", "waiting")
    assert given["waits_until"] == held["waits_until"]
    assert (given["waits_for"], held["waits_for"]) == ([str(animal.pk)], [])
    assert stan.get(f"/animals/{animal.pk}").body["sight"] == "blind"
    world.call(world.stan, animal, "male", visit=visit)
    (given,) = odile.get("/grants").body["items"]
    assert (given["state"], given["waits_until"], given["waits_for"]) == ("in_force", None, [])
    assert stan.get(f"/animals/{animal.pk}").body["sight"] == "all"


def test_strangers_see_no_grants(world: World, odile: Api, greta: Api) -> None:
    grant = give(odile, world).body["id"]
    assert greta.get("/grants").body["items"] == []
    assert greta.post(f"/grants/{grant}/revocation", fact()).code == "not_found"


def test_nobody_gives_sight_of_what_is_not_theirs(world: World, greta: Api) -> None:
    assert give(greta, world).code == "not_found"


def test_a_partner_does_not_let_others_in(world: World, pim: Api) -> None:
    world.make_partner(world.pim)
    assert give(pim, world).code == "not_found"


def test_a_grant_ends_once(world: World, odile: Api) -> None:
    grant = give(odile, world).body["id"]
    odile.post(f"/grants/{grant}/revocation", fact())
    answer = odile.post(f"/grants/{grant}/revocation", fact())
    assert (answer.status, answer.code) == (409, "not_now")


@pytest.mark.parametrize(
    ("more", "code", "pointer"),
    [
        ({"role": "owner"}, "wrong_shape", "/body/role"),
        ({"until": "2020-01-01T00:00:00.000Z"}, "out_of_range", "/body/until"),
        ({"until": "2099-02-30T00:00:00.000Z"}, "out_of_range", "/body/until"),
        ({"until": "tomorrow"}, "wrong_shape", "/body/until"),
        ({"role": "partner", "animals": []}, "wrong_shape", "/body/animals"),
        ({"animals": [str(new_id())]}, "out_of_range", "/body/animals"),
        ({"to": str(new_id())}, "out_of_range", "/body/to"),
        ({"to": 7}, "wrong_shape", "/body/to"),
    ],
)
def test_grants_that_cannot_be(
    world: World, odile: Api, more: dict[str, Any], code: str, pointer: str
) -> None:
    answer = give(odile, world, **more)
    assert (answer.status, answer.code, answer.pointer) == (422, code, pointer)
