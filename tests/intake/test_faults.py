"""Every write broken twice: “failed and not stored”, and “failed, but stored”.

The pairs follow the fault tests of sunlight (``internal/ctlog/ctlog_test.go``): after
either, saying the same again must leave exactly what one undisturbed saying leaves.
"""

from typing import Any

import pytest
from django.db import DatabaseError, DataError, OperationalError
from tests.breaking import answer_lost, lost_after, stored
from tests.turns import turns
from tests.world import World, probing, tag_of

from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.translog.record_map import KIND
from scalewitness.intake.batch import Batch
from scalewitness.intake.services import Outcome
from scalewitness.ledger.models import Checkpoint, Entry, GivenOut
from scalewitness.ledger.queries.tree import root_at, tip
from scalewitness.ledger.services.signing import sign_checkpoint


def whole() -> None:
    """The log as fsck would see it: dense, and the tiles bear out the head."""
    head = tip()
    positions = list(Entry.objects.order_by("position").values_list("position", flat=True))
    assert positions == list(range(head.size))
    assert root_at(head.size) == head.root


class Fall:
    """A call that fells a verified animal that was sold: the longest chain of writes there
    is, with standing, dispute, disclosure and letters."""

    def __init__(self, world: World) -> None:
        self.world = world
        animal = world.verified("F1")
        world.sold(animal)
        visit = world.visit(world.greta, animal)
        body = probing("female", tag_of(animal)) | {"visit": str(visit)}
        self.item = world.item("call_made", animal.pk, body, texts={"note": "it glided on"})

    def say(self) -> Outcome:
        (outcome,) = self.world.push(self.world.greta, self.item)
        return outcome


def test_failed_and_not_stored(lasting_world: World, pytestconfig: pytest.Config) -> None:
    """Whichever statement fails, nothing is left of it; said again, it counts once. An ordinary
    run has a third of them fail, another with each seed."""
    fall = Fall(lasting_world)
    before = stored()
    for statements, turn in enumerate(turns(pytestconfig, 3)):
        if not turn:
            continue
        try:
            with lost_after(statements) as through:
                outcome = fall.say()
        except OperationalError:
            assert stored() == before, f"left behind after {through[-1:]}"
            continue
        break
    assert statements > 20  # the gate was in the way of all of it
    assert outcome.status == "accepted"
    assert Disclosure.objects.count() == 1
    whole()


def test_failed_but_stored(lasting_world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """The commit was done but its answer lost: said again, it is the same fact at the same
    position, and nothing is twice."""
    fall = Fall(lasting_world)
    with answer_lost(monkeypatch, 1), pytest.raises(OperationalError):
        fall.say()
    after = stored()
    outcome = fall.say()
    assert outcome.status == "duplicate"
    assert Entry.objects.get(fact=fall.item["id"]).position == outcome.position
    assert stored() == after
    assert Disclosure.objects.count() == 1
    whole()


class Refusing:
    """A database that refuses the text of some items, and is lost under others."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, faults: dict[str, DatabaseError]) -> None:
        self.faults = faults
        keep = Batch.keep_texts

        def keep_texts(batch: Batch, fact: Any) -> None:
            if fault := self.faults.get(str(fact.id)):
                raise fault
            keep(batch, fact)

        monkeypatch.setattr(Batch, "keep_texts", keep_texts)


def weights(world: World, count: int) -> list[dict[str, Any]]:
    animal, noted = world.animal("F1").pk, {"noted": {"type": "weight", "grams": "100"}}
    return [world.item("husbandry_noted", animal, noted) for _ in range(count)]


@pytest.mark.parametrize("bad", [{0}, {4}, {8}, {0, 8}, {3, 4}, set(range(9))])
def test_what_only_the_database_refuses_takes_no_other_with_it(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch, bad: set[int]
) -> None:
    world = lasting_world
    items = weights(world, 9)
    with monkeypatch.context() as patch:
        Refusing(patch, {items[n]["id"]: DataError("no such value") for n in bad})
        outcomes = world.push(world.odile, *items)
    assert [one.id for one in outcomes] == [one["id"] for one in items]
    assert {n for n, one in enumerate(outcomes) if one.status == "refused"} == bad
    kept = {str(one) for one in Entry.objects.values_list("fact", flat=True)}
    assert {n for n, one in enumerate(items) if one["id"] not in kept} == bad
    whole()


def test_a_fault_of_the_database_refuses_no_item(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One item cannot be stored, so fewer are tried at a time; and then the connection is lost
    under another. That one was not judged, and its keeper must not be told that the record
    does not want it."""
    world = lasting_world
    items = weights(world, 4)
    lost = {items[0]["id"]: OperationalError("lost"), items[3]["id"]: DataError("no such value")}
    before = stored()
    with monkeypatch.context() as patch:
        Refusing(patch, lost)
        with pytest.raises(OperationalError):
            world.push(world.odile, *items)
    assert stored() == before
    assert [one.status for one in world.push(world.odile, *items)] == ["accepted"] * 4


def test_signing_failed_and_not_stored(lasting_world: World) -> None:
    statements, signed = 0, None
    while signed is None:
        try:
            with lost_after(statements):
                signed = sign_checkpoint(lasting_world.now)
        except OperationalError:
            assert not GivenOut.objects.exists()
            statements += 1
    assert statements > 4
    assert (signed.size, Checkpoint.objects.count()) == (tip().size, 1)
    assert Entry.objects.filter(kind=KIND).count() == 1
    whole()


@pytest.mark.parametrize("commit", [1, 2, 3])
def test_signing_failed_but_stored(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch, commit: int
) -> None:
    """The first commit is of the entry that states the map, the second of the signature, the third
    of the word that it may be given out."""
    with answer_lost(monkeypatch, commit), pytest.raises(OperationalError):
        sign_checkpoint(lasting_world.now)
    stated = Entry.objects.get(kind=KIND)
    assert (Checkpoint.objects.count(), GivenOut.objects.count()) == (commit > 1, commit > 2)
    kept = Checkpoint.objects.first() or sign_checkpoint(lasting_world.now)
    assert sign_checkpoint(lasting_world.now) == kept
    assert kept.size == tip().size == stated.position + 1
    lasting_world.animal("F2")
    assert sign_checkpoint(lasting_world.now).size == tip().size > kept.size
