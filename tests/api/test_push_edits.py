"""Edits of records in a push: merged field by field, in conflict where people overlap."""

from typing import Any

import pytest
from django.utils import timezone
from tests.api.client import Api
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.ledger.queries.tree import tip
from scalewitness.people.models import RecordEdit

pytestmark = pytest.mark.one_in(4)


def edit(record: str, base_version: int = 1, **fields: Any) -> dict[str, Any]:
    return {
        "id": str(new_id(timezone.now())),
        "record": record,
        "base_version": base_version,
        "fields": fields,
    }


def send(api: Api, *items: object) -> list[Any]:
    answer = api.post("/push", {"items": list(items)})
    assert answer.status == 200, answer
    outcomes: list[Any] = answer.body["items"]
    return outcomes


@pytest.fixture
def path(animal: Animal) -> str:
    return f"animals/{animal.pk}"


def test_edits_that_do_not_overlap_merge(world: World, odile: Api, pim: Api, path: str) -> None:
    world.make_partner(world.pim)
    (one,) = send(odile, edit(path, name="Basil"))
    (two,) = send(pim, edit(path, rack="B2", description="Bites"))
    assert (one["status"], one["version"], two["status"], two["version"]) == (
        "accepted", 2, "accepted", 3,
    )  # fmt: skip
    shown = odile.get(f"/{path}").body
    assert (shown["name"], shown["rack"], shown["description"]) == ("Basil", "B2", "Bites")
    edits = odile.get(f"/{path}/history").body["edits"]
    assert [(one["by"], list(one["fields"])) for one in edits] == [
        ("Odile Marten", ["name"]), ("Pim Alder", ["rack", "description"]),
    ]  # fmt: skip


def test_edits_that_overlap_are_for_people_to_settle(
    world: World, odile: Api, pim: Api, path: str
) -> None:
    world.make_partner(world.pim)
    send(odile, edit(path, name="Basil", rack="B1"))
    sent = edit(path, name="Oregano", rack="B1", hold_off=True)
    (outcome,) = send(pim, sent)
    assert (outcome["status"], outcome["version"]) == ("conflict", 2)
    assert outcome["conflicts"] == {"name": {"yours": "Oregano", "stands": "Basil"}}
    assert "problem" not in outcome
    shown = odile.get(f"/{path}").body
    assert (shown["name"], shown["hold_off"], shown["version"]) == ("Basil", False, 2)
    assert send(pim, sent)[0]["status"] == "conflict"  # nothing was taken, so it is no repeat
    (settled,) = send(pim, edit(path, 2, name="Oregano", hold_off=True))
    assert (settled["status"], settled["version"]) == ("accepted", 3)


def test_the_same_edit_again_is_a_duplicate(world: World, odile: Api, path: str) -> None:
    sent = edit(path, name="Basil")
    assert send(odile, sent, sent)[1] == {"id": sent["id"], "status": "duplicate", "version": 2}
    send(odile, edit(path, 2, name="Oregano"))
    assert send(odile, sent)[0]["status"] == "duplicate"
    assert odile.get(f"/{path}").body["name"] == "Oregano"
    (reused,) = send(odile, sent | {"fields": {"name": "Dill"}})
    assert (reused["status"], reused["problem"]["code"]) == ("refused", "id_reused")
    assert RecordEdit.objects.count() == 2


def test_the_same_value_twice_is_no_overlap(world: World, odile: Api, pim: Api, path: str) -> None:
    world.make_partner(world.pim)
    send(odile, edit(path, name="Basil"))
    (outcome,) = send(pim, edit(path, name="Basil"))
    assert (outcome["status"], outcome["version"]) == ("accepted", 2)


def test_facts_between_do_not_make_a_conflict(world: World, odile: Api, path: str) -> None:
    """They move the version, but not what people edit."""
    world.now = timezone.now()
    animal = path.removeprefix("animals/")
    corrected = world.item("particulars_corrected", animal, {"species": "boa_imperator"})
    accepted = send(odile, corrected, edit(path, name="Basil"), edit(path, rack="B1"))
    assert [one["status"] for one in accepted] == ["accepted"] * 3
    assert odile.get(f"/{path}").body["version"] == 4


def test_items_are_taken_in_the_order_sent(world: World, odile: Api) -> None:
    world.now, new = timezone.now(), new_id()
    body = {"collection": str(world.collection.pk), "species": "python_regius"}
    registered = world.item("animal_registered", new, body)
    tagged = world.item("identifier_assigned", new, {"scheme": "tag", "code": "P-1"})
    early, late = edit(f"animals/{new}", name="Too soon"), edit(f"animals/{new}", name="Basil")
    outcomes = send(odile, early, registered, late, tagged)
    assert [one["status"] for one in outcomes] == ["refused", "accepted", "accepted", "accepted"]
    assert [one["id"] for one in outcomes] == [
        one["id"] for one in (early, registered, late, tagged)
    ]
    assert outcomes[0]["problem"]["code"] == "not_found"


def test_collections_and_ones_own_name(world: World, odile: Api, pim: Api) -> None:
    world.make_partner(world.pim)
    path = f"collections/{world.collection.pk}"
    assert send(odile, edit(path, name="Upstairs"))[0]["version"] == 2
    (clash,) = send(pim, edit(path, name="Downstairs"))
    assert clash["conflicts"] == {"name": {"yours": "Downstairs", "stands": "Upstairs"}}
    sent = edit("keepers/me", name="Odile M.")
    assert [one["status"] for one in send(odile, sent, sent)] == ["accepted", "duplicate"]
    (stale,) = send(odile, edit("keepers/me", name="O. Marten"))
    assert stale["conflicts"] == {"name": {"yours": "O. Marten", "stands": "Odile M."}}
    assert odile.get("/keepers/me").body["name"] == "Odile M."


def test_who_may_not_edit_is_told_nothing(
    world: World, greta: Api, stan: Api, path: str, animal: Animal
) -> None:
    world.now = timezone.now()
    world.visit(world.greta, animal, blind=False)
    other = f"animals/{new_id()}"
    for api in (greta, stan):
        outcomes = send(api, edit(path, name="x"), edit(other, name="x"))
        refused, invented = (one["problem"] for one in outcomes)
        assert refused == invented
        assert refused["code"] == "not_found"
    assert send(stan, edit(f"collections/{world.collection.pk}", name="x"))[0]["problem"] == refused


def test_the_next_keeper_learns_nothing_of_what_the_last_one_wrote(
    world: World, odile: Api, stan: Api, path: str, animal: Animal
) -> None:
    """A guess at an earlier version is in conflict whether it was right or wrong."""
    world.now = timezone.now()
    send(odile, edit(path, name="King"), edit(path, rack="Breeders"))
    shelf = create_collection(world.stan, new_id(), "Shelf", world.now)
    sale = world.sold(animal, email=world.stan.email)
    moved = {"to": str(shelf.pk), "why": "sold", "sale": str(sale.pk)}
    world.say(world.odile, "custody_changed", animal.pk, moved)
    for version in (1, 2, 3):
        (outcome,) = send(stan, edit(path, version, name="Mine"))
        assert outcome["conflicts"] == {"name": {"yours": "Mine", "stands": ""}}


@pytest.mark.parametrize(
    ("change", "code", "pointer"),
    [
        ({"fields": {}}, "wrong_shape", "/fields"),
        ({"fields": {"sire": "x"}}, "wrong_shape", "/fields"),
        ({"fields": {"version": 9}}, "wrong_shape", "/fields/..."),
        ({"fields": {"name": True}}, "wrong_shape", "/fields/name"),
        ({"fields": {"hold_off": "yes"}}, "wrong_shape", "/fields/hold_off"),
        ({"fields": {"name": "x" * 81}}, "out_of_range", "/fields/name"),
        ({"fields": {"rack": "a\nb"}}, "out_of_range", "/fields/rack"),
        ({"base_version": 0}, "wrong_shape", "/base_version"),
        ({"base_version": 2}, "out_of_range", "/base_version"),
        ({"record": "animals/none"}, "wrong_shape", "/record"),
        ({"record": "sales/x"}, "wrong_shape", "/record"),
        ({"record": None}, "wrong_shape", "/record"),
        ({"id": "x"}, "wrong_shape", "/id"),
        ({"more": 1}, "wrong_shape", None),
    ],
)
def test_edits_that_cannot_be(
    odile: Api, path: str, change: dict[str, Any], code: str, pointer: str | None
) -> None:
    (outcome,) = send(odile, edit(path, name="Basil") | change)
    assert (outcome["status"], outcome["problem"]["code"]) == ("refused", code), outcome
    if pointer and "..." not in pointer:
        assert outcome["problem"]["errors"][0]["pointer"] == pointer
    assert odile.get(f"/{path}").body["version"] == 1


def test_an_id_that_stands_for_a_fact(world: World, odile: Api, path: str) -> None:
    fact = str(world.call(world.odile, Animal.objects.get(), "male").id)
    (outcome,) = send(odile, edit(path, name="Basil") | {"id": fact})
    assert outcome["problem"]["code"] == "id_reused"


def test_an_edit_is_no_fact(odile: Api, path: str) -> None:
    size = tip().size
    send(odile, edit(path, name="Basil"))
    assert tip().size == size
