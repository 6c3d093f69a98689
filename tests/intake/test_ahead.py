"""Calls are judged before their turn to write. What came in between moves them, or has them
judged anew under the lock; and nothing at all is written before."""

from collections.abc import Callable, Sequence
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from django.db import transaction
from tests.world import World, new_id, probing, tag_of

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.calls.models import Call, HeldCall
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.intake import judging, pieces
from scalewitness.intake.ahead import Ahead, judged_ahead
from scalewitness.intake.batch import Actor, Batch, OutOfTurn, flush_together
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.submission import Sealed
from scalewitness.ledger.models import Entry
from scalewitness.ledger.services.inserting import insert_rows
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper, Practitioner
from scalewitness.standings.models import Standing

pytestmark = pytest.mark.django_db


def call(world: World, animal: Animal, sex: str = "male", **more: Any) -> dict[str, Any]:
    return world.item("call_made", animal.pk, probing(sex, tag_of(animal)) | more)


def ahead_of(world: World, who: Keeper, *items: dict[str, Any]) -> Ahead | None:
    actor = Actor(keeper=who.pk)
    prepared, known = pieces.prepare(items, actor, world.now)
    return judged_ahead(prepared, Batch(actor, world.now, known, ahead=True))


def judged(world: World, who: Keeper, *items: dict[str, Any]) -> Ahead:
    found = ahead_of(world, who, *items)
    assert found is not None
    return found


def written(ahead: Ahead) -> list[Outcome] | None:
    with transaction.atomic():
        outcomes = ahead.take_turn()
        if outcomes is not None:
            flush_together(ahead.batch)
    return outcomes


def meanwhile(monkeypatch: pytest.MonkeyPatch, happens: Callable[[], object]) -> None:
    """Between judging the next batch and its turn."""

    def judge_then(prepared: Sequence[Sealed | Refused], batch: Batch) -> Ahead | None:
        found = judged_ahead(prepared, batch)
        assert found is not None
        monkeypatch.undo()
        happens()
        return found

    monkeypatch.setattr(pieces, "judged_ahead", judge_then)


def test_nothing_is_written_before_the_turn(world: World) -> None:
    animal = world.animal("A1")
    size = Entry.objects.count()
    ahead = judged(world, world.odile, call(world, animal))
    assert (Entry.objects.count(), Call.objects.count()) == (size, 0)
    outcomes = written(ahead)
    assert outcomes is not None
    assert [one.status for one in outcomes] == ["accepted"]
    assert Call.objects.get().position == size == outcomes[0].position


def test_what_came_in_between_moves_every_position(world: World) -> None:
    animal, other = world.animal("A1"), world.animal("A2")
    first, second = call(world, animal), call(world, animal, "female")
    ahead = judged(world, world.odile, first, second)
    expected = [one.position for one in ahead.outcomes]
    world.call(world.odile, other, "female")
    outcomes = written(ahead)
    assert outcomes is not None
    assert [one.position for one in outcomes] != expected
    for outcome, item in zip(outcomes, (first, second), strict=True):
        assert Entry.objects.get(fact=item["id"]).position == outcome.position
        assert Call.objects.get(pk=item["id"]).position == outcome.position
    for standing in Standing.objects.filter(animal=animal):
        assert Entry.objects.get(fact=standing.pk).position == standing.position
    assert sorted(Entry.objects.values_list("position", flat=True)) == [*range(ahead.batch.flush())]


@pytest.mark.parametrize("between", ["call", "weight", "grant", "particulars"])
def test_what_bears_on_it_has_it_judged_anew(world: World, between: str) -> None:
    animal = world.animal("A1")
    grant = world.make_partner(world.pim)
    ahead = judged(world, world.pim, call(world, animal))
    if between == "call":
        world.call(world.odile, animal, "female")
    elif between == "weight":
        noted = {"noted": {"type": "weight", "grams": "60"}}
        world.say(world.odile, "husbandry_noted", animal.pk, noted)
    elif between == "grant":
        world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    else:
        world.say(world.odile, "particulars_corrected", animal.pk, {"species": "boa_imperator"})
    size = Entry.objects.count()
    assert written(ahead) is None
    assert Entry.objects.count() == size


def test_the_same_item_sent_twice_at_once_is_taken_once(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    item = call(world, world.animal("A1"))
    twin: list[Outcome] = []
    meanwhile(monkeypatch, lambda: twin.extend(world.push(world.odile, item)))
    (outcome,) = world.push(world.odile, item)
    assert [twin[0].status, outcome.status] == ["accepted", "duplicate"]
    assert twin[0].position == outcome.position
    assert Call.objects.count() == 1


def test_a_call_in_between_is_known_to_the_one_after_it(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    animal = world.animal("A1")
    world.make_partner(world.pim)
    meanwhile(monkeypatch, lambda: world.call(world.odile, animal, "female"))
    (outcome,) = world.push(world.pim, call(world, animal))
    first, second = Call.objects.order_by("position")
    assert (first.by, second.by) == (world.odile.pk, world.pim.pk)
    assert (first.anchored_to, second.anchored_to) == (None, "female")
    assert outcome.position == second.position


def test_a_grant_that_ended_in_between_has_ended(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    animal, body = world.animal("A1"), {"grant": str(world.make_partner(world.pim))}
    revoke = lambda: world.say(world.odile, "grant_revoked", world.collection.pk, body)  # noqa: E731
    meanwhile(monkeypatch, revoke)
    item = call(world, animal) | {"at": rfc3339(world.now + timedelta(minutes=1))}
    (outcome,) = world.push(world.pim, item)
    assert outcome.status == "refused"
    assert not Call.objects.exists()


def test_what_makes_letters_is_not_done_ahead(world: World) -> None:
    """A verified sex that falls: its letters belong into the transaction of the call."""
    animal = world.verified("A1")
    world.sold(animal)
    letters, size = Letter.objects.count(), Entry.objects.count()
    world.pass_time(hours=1)
    against = [call(world, animal, "female") for _ in range(4)]
    assert ahead_of(world, world.odile, *against) is None
    assert (Letter.objects.count(), Entry.objects.count()) == (letters, size)
    outcomes = world.push(world.odile, *against)
    assert {one.status for one in outcomes} == {"accepted"}
    assert Letter.objects.count() > letters


def test_a_call_that_came_late_is_not_held_ahead(world: World) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal)
    item = call(world, animal, visit=str(visit))
    world.pass_time(days=3 + 14, hours=1)
    assert ahead_of(world, world.greta, item) is None
    assert not HeldCall.objects.exists()
    (outcome,) = world.push(world.greta, item)
    assert outcome.status == "held"


def test_a_rule_that_writes_unasked_writes_nothing_ahead(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    def writes(fact: Sealed, batch: Batch) -> int:
        insert_rows(Practitioner, [{"id": fact.id, "named_by_id": world.odile.pk}])
        return 0

    animal = world.animal("A1")
    monkeypatch.setitem(judging.RULES, "call_made", writes)
    assert ahead_of(world, world.odile, call(world, animal)) is None
    assert not Practitioner.objects.exists()


def test_what_reads_what_others_write_is_not_judged_ahead(world: World) -> None:
    animal = world.animal("A1")
    corrected = {"species": "boa_imperator"}
    item = world.item("particulars_corrected", animal.pk, corrected)
    assert ahead_of(world, world.odile, item) is None
    assert ahead_of(world, world.odile, call(world, animal), item) is None


def keeping(world: World, *, room: Any = None) -> list[dict[str, Any]]:
    """An animal, its tag and its weight, as an import sends them."""
    about = new_id(world.now)
    collection = str((room or world.collection).pk)
    return [
        world.item(kind, about, body)
        for kind, body in (
            ("animal_registered", {"collection": collection, "species": "python_regius"}),
            ("identifier_assigned", {"scheme": "tag", "code": "N1"}),
            ("husbandry_noted", {"noted": {"type": "weight", "grams": "60"}}),
        )
    ]


def test_facts_about_keeping_are_judged_ahead(world: World) -> None:
    items = keeping(world)
    ahead = judged(world, world.odile, *items)
    assert not Animal.objects.exists()
    world.animal("A1")
    outcomes = written(ahead)
    assert outcomes is not None
    assert [one.status for one in outcomes] == ["accepted"] * 3
    animal = Animal.objects.get(pk=items[0]["about"])
    for row, outcome in zip((animal.identifiers, animal.husbandry), outcomes[1:], strict=True):
        assert row.get().position == outcome.position


def test_a_partner_who_is_none_any_more_registers_nothing(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    body = {"grant": str(world.make_partner(world.pim))}
    revoke = lambda: world.say(world.odile, "grant_revoked", world.collection.pk, body)  # noqa: E731
    meanwhile(monkeypatch, revoke)
    outcomes = world.push(world.pim, *keeping(world))
    assert {one.status for one in outcomes} == {"refused"}
    assert not Animal.objects.exists()


@pytest.mark.parametrize("used_as", ["collection", "animal", "sale"])
def test_an_id_that_came_to_stand_for_something_in_between_is_not_registered(
    world: World, monkeypatch: pytest.MonkeyPatch, used_as: str
) -> None:
    other = world.animal("A1")
    first, *_ = keeping(world)
    about = UUID(first["about"])

    def use() -> None:
        if used_as == "collection":
            create_collection(world.stan, about, "Under the stairs", world.now)
        elif used_as == "animal":
            world.push(world.odile, world.item("animal_registered", about, first["body"]))
        else:
            world.draft(other, sale=about)

    meanwhile(monkeypatch, use)
    (outcome,) = world.push(world.odile, first)
    assert outcome.problem is not None
    assert outcome.problem["code"] == "id_reused"


def test_one_id_registers_one_animal_within_a_batch(world: World) -> None:
    first, *_ = keeping(world)
    again = world.item("animal_registered", UUID(first["about"]), first["body"])
    one, other = world.push(world.odile, first, again)
    assert (one.status, other.status) == ("accepted", "refused")
    assert other.problem is not None
    assert other.problem["code"] == "id_reused"


def test_a_guest_leaves_a_weight_and_nothing_else_and_a_stranger_nothing(world: World) -> None:
    animal = world.animal("A1")
    world.visit(world.greta, animal)
    weight, meal = (
        world.item("husbandry_noted", animal.pk, {"noted": noted})
        for noted in ({"type": "weight", "grams": "60"}, {"type": "meal", "taken": True})
    )
    ahead = judged(world, world.greta, weight, meal)
    assert [one.status for one in ahead.outcomes] == ["accepted", "refused"]
    (outcome,) = judged(world, world.stan, weight).outcomes
    assert outcome.problem is not None
    assert outcome.problem["code"] == "not_found"


def test_a_batch_ahead_of_its_turn_cannot_be_stored(world: World) -> None:
    ahead = judged(world, world.odile, call(world, world.animal("A1")))
    with pytest.raises(OutOfTurn), transaction.atomic():
        ahead.batch.flush()
    assert not Call.objects.exists()
