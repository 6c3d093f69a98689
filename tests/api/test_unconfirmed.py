"""What an account can do before its address is confirmed: store, sign, read its own."""

from typing import Any

import pytest
from tests.api.client import Api, fact
from tests.world import World, keeper, new_id

from scalewitness.people.services import vouch


@pytest.fixture
def una(world: World) -> Api:
    return Api(keeper("Una Proven", verified=False))


def item(world: World) -> dict[str, Any]:
    body = {"collection": str(world.collection.pk), "species": "python_regius"}
    return fact(body, kind="animal_registered", about=str(new_id()))


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("post", "/push", {"items": []}),
        ("post", "/push", {"items": [{"id": "x"}, {"record": "keepers/me"}]}),
        ("post", "/collections", {"id": str(new_id()), "name": "The long room"}),
        ("post", "/practitioners", {"id": str(new_id()), "name": "Dr Vole"}),
        ("patch", "/keepers/me", {"name": "Odile Marten"}),
    ],
)
def test_whatever_records_something_is_refused_whole(
    una: Api, method: str, path: str, body: object
) -> None:
    answer = getattr(una, method)(path, body)
    assert (answer.status, answer.code) == (403, "address_unconfirmed")


def test_it_reads_its_own_and_finds_nobody(world: World, una: Api) -> None:
    assert una.get("/keepers/me").body["email_verified"] is False
    assert una.get("/changes").status == 200
    assert una.get("/devices").status == 200
    answer = una.get("/keepers", email=world.odile.email)
    assert (answer.status, answer.code) == (403, "address_unconfirmed")


def test_its_devices_can_be_signed_out(una: Api) -> None:
    assert una.delete(f"/devices/{una.device.pk}").status == 204
    assert una.get("/devices").status == 401


def test_what_was_kept_is_taken_once_the_address_is_confirmed(world: World, una: Api) -> None:
    sent = {"items": [item(world)]}
    assert una.post("/push", sent).code == "address_unconfirmed"
    vouch("una.proven@keepers.example")
    (outcome,) = una.post("/push", sent).body["items"]
    assert outcome["problem"]["code"] == "not_found", "judged now: it is not Una's collection"
