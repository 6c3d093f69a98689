"""What a device's token alone does not do for a keeper with a second factor."""

from typing import Any
from uuid import uuid4

import pytest
from tests.api.client import Api
from tests.second_factors import WRONG, App, app_of
from tests.world import World, new_id

from scalewitness.ledger.models import Text
from scalewitness.people.models import Grant

CODE = "Second-Factor-Code"


def partnership(world: World, role: str = "partner") -> dict[str, Any]:
    return {
        "id": str(new_id()),
        "about": str(world.collection.pk),
        "body": {"to": str(world.stan.pk), "role": role},
    }


@pytest.fixture
def app(world: World) -> App:
    return app_of(world.odile)


def test_a_token_alone_makes_nobody_a_partner(world: World, odile: Api, app: App) -> None:
    said = partnership(world)
    refused = odile.post("/grants", said)
    assert (refused.status, refused.code) == (403, "second_factor_required")
    assert refused.body["kinds"] == ["totp", "recovery_code"]
    assert refused.body["page"] == f"http://testserver/collections/{world.collection.pk}/grants/new"
    wrong = odile.post("/grants", said, {CODE: WRONG})
    assert (wrong.status, wrong.code) == (403, "second_factor_wrong")
    assert not Grant.objects.exists()
    assert odile.get("/keepers/me").status == 200, "the device is not signed out by that"
    code = app.code()
    assert odile.post("/grants", said, {CODE: code}).status == 201
    assert odile.post("/grants", said, {CODE: code}).status == 200, "a repeat needs no other"
    other = partnership(world) | {"body": {"to": str(world.greta.pk), "role": "partner"}}
    assert odile.post("/grants", other, {CODE: code}).code == "second_factor_wrong"


def test_nor_does_a_push_of_the_same_fact(world: World, odile: Api, app: App) -> None:
    item = {"kind": "grant_given", "at": "2026-11-01T09:00:00.000Z", **partnership(world)}
    pushed = odile.post("/push", {"items": [item]}, {CODE: app.code()})
    (outcome,) = pushed.body["items"]
    assert outcome["problem"]["code"] == "second_factor_required"
    assert outcome["problem"]["page"].endswith("/grants/new")
    assert not Grant.objects.exists()


def test_letting_somebody_look_is_not_grave(world: World, odile: Api, app: App) -> None:
    assert odile.post("/grants", partnership(world, "viewer")).status == 201


def test_who_has_no_second_factor_goes_on_as_before(world: World, odile: Api) -> None:
    assert odile.post("/grants", partnership(world), {CODE: WRONG}).status == 201


def test_a_token_alone_erases_nothing(world: World, odile: Api, app: App) -> None:
    made = world.call(world.odile, world.animal("E1"), "male", texts={"note": "Keep me."})
    path = f"/facts/{made.id}/texts"
    refused = odile.delete(path)
    assert (refused.status, refused.code) == (403, "second_factor_required")
    assert refused.body["page"] == f"http://testserver/texts/{made.id}/erasure"
    assert odile.delete(path, {CODE: WRONG}).code == "second_factor_wrong"
    assert Text.objects.count() == 1
    assert odile.delete(path, {CODE: app.code()}).status == 204
    assert not Text.objects.exists()


def test_what_is_not_ones_own_looks_as_ever(world: World, stan: Api) -> None:
    app_of(world.stan)
    made = world.call(world.odile, world.animal("E1"), "male", texts={"note": "Keep me."})
    assert stan.delete(f"/facts/{made.id}/texts").status == 404
    assert stan.delete(f"/facts/{uuid4()}/texts").status == 404
    assert stan.post("/grants", partnership(world)).status == 404


def test_where_the_operator_asks_for_one_a_device_without_can_only_sign_out(
    world: World, odile: Api, settings: object
) -> None:
    settings.SECOND_FACTOR = "required"
    for answer in (
        odile.get("/keepers/me"),
        odile.get("/animals"),
        odile.get("/changes"),
        odile.post("/push", {"items": []}),
        odile.post("/grants", partnership(world)),
    ):
        assert (answer.status, answer.code) == (403, "second_factor_missing")
    app = app_of(world.odile)
    assert odile.get("/keepers/me").status == 200
    app.row.delete()
    assert odile.delete(f"/devices/{odile.device.pk}").status == 204
