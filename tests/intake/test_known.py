"""What is read before the lock is held counts only if nothing came in between."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from tests.ledger.growing import append
from tests.world import World, probing, tag_of

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.intake.batch import Actor
from scalewitness.intake.known import Known
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.pieces import Piece
from scalewitness.people.models import Keeper

pytestmark = pytest.mark.django_db


class Waiting:
    """A call by Odile's guest or herself, all about it read, waiting for the lock."""

    def __init__(self, world: World, who: Keeper, animal: Animal, **more: Any) -> None:
        body = probing("male", tag_of(animal)) | more
        item = world.item("call_made", animal.pk, body, at=world.now + timedelta(minutes=1))
        self.piece = Piece([item], Actor(keeper=who.pk), world.now, who.pk)
        self.piece.prepare()
        self.known = self.piece._known

    def take(self) -> Outcome:
        self.piece.take()
        (outcome,) = self.piece.outcomes
        return outcome


def test_another_call_in_between_is_known(world: World) -> None:
    animal = world.animal("K1")
    waiting = Waiting(world, world.odile, animal)
    world.make_partner(world.pim)
    waiting_too = Waiting(world, world.pim, animal)
    assert waiting.take().status == "accepted"
    assert waiting_too.take().status == "accepted"
    first, second = Call.objects.filter(animal=animal).order_by("position")
    assert (first.anchored_to, second.anchored_to) == (None, "male")


def test_a_grant_that_ended_in_between_has_ended(world: World) -> None:
    animal = world.animal("K2")
    grant = world.make_partner(world.pim)
    waiting = Waiting(world, world.pim, animal)
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    refused = waiting.take()
    assert refused.status == "refused"
    assert not Call.objects.filter(animal=animal).exists()


def test_a_policy_adopted_or_an_animal_corrected_in_between_counts(world: World) -> None:
    animal = world.animal("K3")
    waiting = Waiting(world, world.odile, animal)
    world.say(world.odile, "particulars_corrected", animal.pk, {"species": "boa_imperator"})
    assert waiting.known.is_stale()
    waiting.take()
    read = Known(None, world.now).of(animal.pk)
    assert read is not None
    assert read.label == world.label(animal)


def test_calls_on_other_animals_change_nothing(world: World) -> None:
    animal, other = world.animal("K4"), world.animal("K5")
    waiting = Waiting(world, world.odile, animal)
    world.call(world.odile, other, "female")
    assert not waiting.known.is_stale()
    assert waiting.take().status == "accepted"


def test_calls_in_one_batch_come_to_what_they_come_to_one_by_one(world: World) -> None:
    """Label, probabilities and circumstances of each step, and of the animals beside."""
    together, singly = world.animal("K6"), world.animal("K7")
    sexes = ["male", "male", "female", "female", "male"]

    def items(animal: Animal) -> list[dict[str, Any]]:
        bodies = [probing("male", tag_of(animal)) | {"conclusion": sex} for sex in sexes]
        return [world.item("call_made", animal.pk, body) for body in bodies]

    outcomes = world.push(world.odile, *items(together))
    assert {one.status for one in outcomes} == {"accepted"}
    for item in items(singly):
        world.push(world.odile, item)
    assert story(together) == story(singly)
    assert len(story(together)) == len(sexes)


def test_a_weight_in_the_same_batch_counts_for_the_call_after_it(world: World) -> None:
    """The life stage follows from it, where no hatch date is known."""
    animal, other = world.animal("K8"), world.animal("K9")
    at = world.now
    call = lambda one: world.item("call_made", one.pk, probing("male", tag_of(one)), at=at)  # noqa: E731
    weight = {"noted": {"type": "weight", "grams": "60"}}
    light = world.item("husbandry_noted", animal.pk, weight, at=at)
    outcomes = world.push(world.odile, call(other), call(animal), light, call(animal), call(other))
    assert {one.status for one in outcomes} == {"accepted"}
    before, after = animal.calls.order_by("position")
    assert after.stage == "hatchling" != before.stage
    assert {one.stage for one in other.calls.all()} == {before.stage}


def story(animal: Animal) -> list[tuple[Any, ...]]:
    steps = zip(
        animal.calls.order_by("position"), animal.standings.order_by("position"), strict=True
    )
    return [
        (call.anchored_to, call.identity, one.label, one.p_male, one.p_male_pessimistic)
        for call, one in steps
    ]


def test_what_came_in_between_is_found_without_reading_the_log(world: World) -> None:
    """PostgreSQL, Row Estimation: of a range with one end it expects a third of the rows."""
    append(3_000)
    waiting = Waiting(world, world.odile, world.animal("K6"))
    ((statement, values),) = waiting.known.staleness()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE ledger_entry")
        cursor.execute("SET LOCAL plan_cache_mode = force_generic_plan")
        numbered = statement.replace("%s", "$1", 1).replace("%s", "$2", 1).replace("%s", "$3", 1)
        cursor.execute(f"PREPARE came_in (bigint, text, text[]) AS {numbered}")
        cursor.execute("EXPLAIN EXECUTE came_in (%s, %s, %s)", values)
        plan = "\n".join(line for (line,) in cursor.fetchall())
        cursor.execute("DEALLOCATE came_in")
    assert "Index Scan using ledger_entry_pkey" in plan
    assert "Seq Scan on ledger_entry" not in plan
