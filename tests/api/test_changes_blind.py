"""Blind is blind in the feed too: what it says, how much and in what order.

Two worlds are compared that differ in nothing but which animal the earlier calls are about:
the one that the guest is to check, or one out of their sight. So the log is equally long.
"""

import re
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.utils import timezone
from msgspec import structs
from tests.api.client import Api
from tests.api.feeding import Replica, pull
from tests.world import World, keeper, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.sync import Reached, SnapshotRun, read_cursor, written
from scalewitness.people.models import Keeper

UUID_ = re.compile(rb"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
TIME = re.compile(rb"20\d\d-\d\d-\d\dT[0-9:.]+(?:Z|\+00:00)")
SIG = re.compile(rb'"cursor":"([^"]*)"')


def played(*, about_the_blind: bool, limit: int) -> list[bytes]:
    """All that the blind guest is ever sent, byte by byte, but for ids, times and cursors;
    of cursors what they hold."""
    answers: list[bytes] = []
    with transaction.atomic():
        for raw in _story(about_the_blind, limit):
            cursor = read_cursor(SIG.search(raw)[1].decode())  # type: ignore[index]
            run = cursor.run and (cursor.run.goal.size, cursor.run.step)
            held = (cursor.facts, cursor.covered, cursor.sight.size, run, cursor.profile)
            plain = SIG.sub(b"", TIME.sub(b"time", UUID_.sub(b"id", raw)))
            answers.append(plain + repr(held).encode())
        transaction.set_rollback(True)
    return answers


def _story(about_the_blind: bool, limit: int) -> Iterator[bytes]:
    world = World(now=timezone.now() - timedelta(days=20))
    blind, hidden, other = (_later(world).animal(tag) for tag in ("B-1", "H-1", "O-1"))
    target = blind if about_the_blind else hidden
    first = world.call(world.odile, target, "male")
    guest = keeper("Fern Former")
    world.call(guest, target, "male", visit=world.visit(guest, blind, hidden))
    world.now = timezone.now() - timedelta(seconds=5)
    visit = world.visit(world.greta, blind, other)
    api, cursor = Api(world.greta), None
    yield from (found := _raw(api, cursor, limit))
    second = keeper("Anna After")
    their_visit = world.visit(second, blind, hidden)
    world.call(second, target, "female", visit=their_visit)
    _say_more(world, target, str(first.id), second)
    yield from (found := _raw(api, _cursor(found), limit))
    world.say(
        world.odile, "husbandry_noted", blind.pk, {"noted": {"type": "weight", "grams": "900"}}
    )
    yield from (found := _raw(api, _cursor(found), limit))
    world.call(world.greta, other, "male", visit=visit)
    yield from (found := _raw(api, _cursor(found), limit))
    world.say(world.odile, "visit_cancelled", visit)
    yield from _raw(api, _cursor(found), limit)


def _later(world: World) -> World:
    """So that ids, which begin with the time, have the same order every time."""
    world.pass_time(seconds=1)
    return world


def _say_more(world: World, target: Animal, call: str, witness: Keeper) -> None:
    """Whatever else rests on calls: withdrawal, objection, a witness, offer, dispute."""
    eggs = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    laid = world.call(world.odile, target, "female", body={"observed": eggs})
    world.say(witness, "witness_stated", target.pk, {"call": laid.id})
    world.make_partner(world.pim)
    world.say(world.pim, "call_objected", target.pk, {"call": call, "ground": "other"})
    world.say(world.odile, "call_withdrawn", target.pk, {"call": call})
    sale = world.draft(target)
    world.offer(sale, expires=rfc3339(timezone.now() + timedelta(days=5)))


def _raw(api: Api, cursor: str | None, limit: int) -> list[bytes]:
    answers: list[bytes] = []
    more = True
    while more:
        query: dict[str, Any] = {"limit": limit} | ({"cursor": cursor} if cursor else {})
        response = Client().get("/api/v1/changes", query, headers=api.headers)
        assert response.status_code == 200
        answers.append(response.content)
        body = response.json()
        cursor, more = body["cursor"], body["more"]
    return answers


def _cursor(answers: list[bytes]) -> str:
    return SIG.search(answers[-1])[1].decode()  # type: ignore[index]


def test_a_visit_that_opens_on_a_parent_tells_nothing_of_its_young(db: None) -> None:
    """The guest may look at the young one and at its dam; then they are to check its sire. Had the
    young one come anew, now without its dam, they would have known."""
    world = World(now=timezone.now() - timedelta(minutes=2))
    sire, dam = (_later(world).animal(tag) for tag in ("S-1", "D-1"))
    young = _later(world).animal("K-1", sire=str(sire.pk), dam=str(dam.pk))
    world.view(world.greta, young, dam)
    api = Api(world.greta)
    _, cursor = pull(api)
    before = api.get(f"/animals/{young.pk}").body
    assert (before["sire"], before["dam"]) == (None, str(dam.pk))
    _later(world)
    visit = world.visit(world.greta, sire)
    items, cursor = pull(api, cursor)
    assert {one["animal"]["id"] for one in items if "animal" in one} == {str(sire.pk)}
    assert api.get(f"/animals/{young.pk}").body == before
    _later(world)
    world.call(world.greta, sire, "male", visit=visit)
    items, _ = pull(api, cursor)
    assert {str(sire.pk), str(young.pk)} <= {
        one["animal"]["id"] for one in items if "animal" in one
    }
    assert api.get(f"/animals/{young.pk}").body["sire"] == str(sire.pk)


@pytest.mark.parametrize("is_parent", [True, False])
def test_no_cursor_from_the_future_tells_what_waits_for_a_check(db: None, is_parent: bool) -> None:
    """Cursors are the client's to write. Once their check is awaited no more, Greta sees all of the
    collection; a cursor that is of then gets neither the ids in it nor which young are of it."""
    world = World(now=timezone.now() - timedelta(days=2))
    room = create_collection(world.odile, new_id(world.now), "Hatchlings", world.now)
    secret, hidden = world.animal("B-1"), world.animal("H-1")
    young = world.animal("Y-1", room=room, dam=str((secret if is_parent else hidden).pk))
    given = {"to": str(world.greta.pk), "role": "viewer"}
    world.say(world.odile, "grant_given", room.pk, given | {"animals": [str(young.pk)]})
    world.visit(world.greta, secret)
    world.say(world.odile, "grant_given", world.collection.pk, given)
    _, cursor = pull(Api(world.greta))
    later = read_cursor(cursor)
    at = Reached.of(later.sight.size, world.now + timedelta(days=60))
    for forged in (
        structs.replace(later, sight=at),
        structs.replace(later, run=SnapshotRun(at, "animals")),
        structs.replace(later, sight=at, run=SnapshotRun(at, "animals")),
    ):
        items = Api(world.greta).get("/changes", cursor=written(forged)).body["items"]
        found = str(items)
        assert str(hidden.pk) not in found
        assert str(young.pk) not in found


@pytest.mark.parametrize("limit", [100, 1])
def test_the_feed_of_a_blind_guest_is_the_same_with_and_without_earlier_calls(
    db: None, limit: int
) -> None:
    without = played(about_the_blind=False, limit=limit)
    with_calls = played(about_the_blind=True, limit=limit)
    assert len(without) >= 4
    assert b'"sight":"blind"' in without[0] + without[1]
    assert with_calls == without


def test_the_comparison_sees_what_is_open(db: None) -> None:
    """Once the guest's own call is in, the two worlds do differ."""

    def last(about_the_blind: bool) -> bytes:
        with transaction.atomic():
            world = World(now=timezone.now() - timedelta(days=2))
            blind, hidden = world.animal("B-1"), world.animal("H-1")
            world.call(world.odile, blind if about_the_blind else hidden, "male")
            world.call(world.greta, blind, "male", visit=world.visit(world.greta, blind))
            found = b"".join(_raw(Api(world.greta), None, 100))
            transaction.set_rollback(True)
        return SIG.sub(b"", TIME.sub(b"time", UUID_.sub(b"id", found)))

    assert last(True) != last(False)


def test_edits_that_a_blind_guest_is_not_shown_do_not_show(
    world: World, odile: Api, greta: Api, animal: Animal
) -> None:
    world.now = timezone.now()
    world.visit(world.greta, animal)
    _, cursor = pull(greta)
    path = f"/animals/{animal.pk}"
    for number, edit in enumerate(({"name": "King"}, {"rack": "Breeders"}, {"description": "M"})):
        odile.patch(path, edit, {"If-Match": f'"v{number + 1}"'})
    body = {"species": "python_regius", "traits": ["coral glow"]}
    world.say(world.odile, "particulars_corrected", animal.pk, body)
    for noted in ({"type": "health", "sign": "well"}, {"type": "shed", "stage": "opaque"}):
        world.say(world.odile, "husbandry_noted", animal.pk, {"noted": noted})
    texts = {"note": "He courts her."}
    world.say(world.odile, "husbandry_noted", animal.pk, {"noted": {"type": "remark"}}, texts=texts)
    photo = {"scheme": "scale_photo", "code": "ventral-42"}
    world.say(world.odile, "identifier_assigned", animal.pk, photo)
    items, cursor = pull(greta, cursor)
    assert [one["type"] for one in items] == ["animal"]  # the shed
    assert items[0]["animal"] == greta.get(path).body
    odile.patch(path, {"hold_off": True}, {"If-Match": '"v5"'})
    items, cursor = pull(greta, cursor)
    assert [one["animal"]["hold_off"] for one in items] == [True]
    assert pull(greta, cursor)[0] == []


def test_a_blind_guests_own_word_comes_back_to_them(
    world: World, greta: Api, animal: Animal
) -> None:
    world.now = timezone.now()
    world.visit(world.greta, animal)
    _, cursor = pull(greta)
    weight = {"noted": {"type": "weight", "grams": "400"}}
    world.say(world.greta, "husbandry_noted", animal.pk, weight)
    items, _ = pull(greta, cursor)
    assert [one["type"] for one in items] == ["fact"]
    replica = Replica(str(world.greta.pk))
    for one in pull(greta)[0]:
        replica.take(one)
    assert replica.animals[str(animal.pk)] == greta.get(f"/animals/{animal.pk}").body


def test_a_blind_guest_is_told_what_was_decided_of_their_own_late_call(
    world: World, greta: Api, animal: Animal
) -> None:
    """And of nothing else: while it waits, nothing moves."""
    visit = world.visit(world.greta, animal, days=1)
    at = world.now + timedelta(hours=1)
    world.pass_time(days=25)
    body = probing("male", "A-1") | {"visit": str(visit)}
    held = world.say(world.greta, "call_made", animal.pk, body, at=at)
    assert held.status == "held"
    _, cursor = pull(greta)
    decided = {"held": held.id, "admitted": True}
    world.say(world.odile, "late_call_decided", animal.pk, decided)
    items, _ = pull(greta, cursor)
    assert [one["entry"]["kind"] for one in items] == ["late_call_decided", "call_made"]
    assert items[1]["entry"]["id"] == held.id
