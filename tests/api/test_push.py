"""Many facts at once: each on its own, in order, safe to send again."""

import json
from typing import Any

import pytest
from django.conf import settings
from django.utils import timezone
from tests.api.client import Api
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.ledger.queries.tree import tip


def test_one_bad_item_never_sinks_the_others(world: World, odile: Api, animal: Animal) -> None:
    world.now = timezone.now()
    new = new_id()
    body = {"collection": str(world.collection.pk), "species": "python_regius"}
    registered = world.item("animal_registered", new, body)
    tagged = world.item("identifier_assigned", new, {"scheme": "tag", "code": "P-1"})
    called = world.item("call_made", new, probing("male", "P-1"))
    items: list[Any] = [
        registered,
        tagged,
        {**tagged, "body": {"scheme": "tag", "code": "other"}},
        world.item("crystal_gazing", new, {}),
        world.item("standing_changed", new, {}),
        world.item("identifier_assigned", new_id(), {"scheme": "tag", "code": "P-2"}),
        world.item("call_made", new, probing("male", "P-1") | {"conclusion": "both"}),
        called,
        called,
        "nonsense",
        None,
        {"id": "x"},
        {**tagged, "id": str(new_id()), "about": "not an id"},
    ]
    answer = odile.post("/push", {"items": items})
    assert answer.status == 200
    told = [(one["status"], one.get("problem", {}).get("code")) for one in answer.body["items"]]
    assert told == [
        ("accepted", None),
        ("accepted", None),
        ("refused", "id_reused"),
        ("refused", "unknown_kind"),
        ("refused", "unknown_kind"),
        ("refused", "not_found"),
        ("refused", "wrong_shape"),
        ("accepted", None),
        ("duplicate", None),
        ("refused", "wrong_shape"),
        ("refused", "wrong_shape"),
        ("refused", "wrong_shape"),
        ("refused", "wrong_shape"),
    ]
    positions = [one["position"] for one in answer.body["items"] if "position" in one]
    assert positions == sorted(positions)
    assert answer.body["items"][6]["problem"]["errors"][0]["pointer"] == "/body/conclusion"
    assert len(odile.get(f"/animals/{new}/calls").body["items"]) == 1


def test_every_outcome_names_the_item_it_answers(world: World, odile: Api, animal: Animal) -> None:
    """Also where the item was refused before its id was looked at."""
    world.now = timezone.now()
    called = world.item("call_made", animal.pk, probing("male", "P-1"))
    ahead = {**called, "id": str(new_id()), "at": "2099-01-01T00:00:00.000Z"}
    long_code = world.item("identifier_assigned", animal.pk, {"scheme": "tag", "code": "9" * 80})
    edit = {"id": str(new_id()), "record": "animals/none", "base_version": 1, "fields": {}}
    items: list[Any] = [ahead, called, long_code, edit, {"id": "x"}, {"id": "x" * 201}, {"id": 7}]
    outcomes = odile.post("/push", {"items": [*items, None]}).body["items"]
    named = [one["id"] for one in outcomes]
    assert named == [*(one["id"] for one in items[:4]), "x", None, None, None]
    assert [one["status"] for one in outcomes] == ["refused", "accepted"] + ["refused"] * 6


def test_a_push_sent_again_is_all_duplicates(world: World, odile: Api, animal: Animal) -> None:
    world.now = timezone.now()
    items = [
        world.item("identifier_assigned", animal.pk, {"scheme": "tag", "code": f"P-{n}"})
        for n in range(3)
    ]
    first = odile.post("/push", {"items": items}).body["items"]
    size = tip().size
    again = odile.post("/push", {"items": items}).body["items"]
    assert {one["status"] for one in again} == {"duplicate"}
    assert [one["position"] for one in again] == [one["position"] for one in first]
    assert tip().size == size


def test_an_id_reused_for_what_the_log_cannot_even_write(
    world: World, odile: Api, animal: Animal
) -> None:
    """Integers beyond 2^53−1 have no canonical form (RFC 8785)."""
    item = world.item("identifier_assigned", animal.pk, {"scheme": "tag", "code": "P-1"})
    odile.post("/push", {"items": [item]})
    huge = {**item, "kind": "sale_confirmed", "body": {"offer": str(new_id()), "seen": 2**60}}
    long = {**item, "kind": "grant_given", "body": {"to": str(new_id()), "role": "viewer"}}
    long["body"]["animals"] = [str(new_id())] * 2000
    outcomes = odile.post("/push", {"items": [huge, long]}).body["items"]
    codes = [one["problem"]["code"] for one in outcomes]
    assert codes == ["wrong_shape", "too_large"]


def test_a_push_has_a_greatest_length(odile: Api) -> None:
    answer = odile.post("/push", {"items": [None] * (settings.PUSH_LIMIT + 1)})
    assert (answer.status, answer.code) == (413, "too_large")
    assert odile.post("/push", {"items": [None] * settings.PUSH_LIMIT}).status == 200
    assert odile.post("/push", {"items": []}).body == {"items": []}


@pytest.mark.parametrize("body", [{}, {"items": {}}, {"items": None}, {"items": [], "more": 1}])
def test_pushes_that_cannot_be(odile: Api, body: object) -> None:
    answer = odile.raw("POST", "/push", json.dumps(body).encode())
    assert (answer.status, answer.code) == (422, "wrong_shape")


def test_deep_and_odd_items_are_refused_and_not_a_surprise(
    world: World, odile: Api, animal: Animal
) -> None:
    deep: Any = "x"
    for _ in range(25):
        deep = [deep]
    odd: list[Any] = [
        world.item("identifier_assigned", animal.pk, {"scheme": "tag", "code": deep}),
        world.item("husbandry_noted", animal.pk, {"noted": {"type": "weight", "grams": 1e300}}),
        world.item("call_made", animal.pk, {"observed": {"method": ["probing"]}}),
        {**world.item("call_made", animal.pk, {}), "texts": {"\x00": "x"}},
        {**world.item("call_made", animal.pk, {}), "kind": "\x00"},
        {**world.item("call_made", animal.pk, {}), "at": "2026-11-01T09:00:00+99:99"},
        {**world.item("call_made", animal.pk, {}), "at": "9999-12-31T23:59:59-14:00"},
        {**world.item("call_made", animal.pk, {}), "at": "0001-01-01T00:00:00+14:00"},
    ]
    outcomes = odile.post("/push", {"items": odd}).body["items"]
    assert {one["status"] for one in outcomes} == {"refused"}
    assert all(one["problem"]["code"] for one in outcomes)
