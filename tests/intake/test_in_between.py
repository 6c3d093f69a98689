"""What comes in after a batch was prepared, and before the log is locked for it, counts."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from tests.world import World, new_id, probing, tag_of

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.calls.models import Call, HeldCall
from scalewitness.domain.moments import rfc3339
from scalewitness.intake import pieces
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.pieces import Piece
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.tree import tip
from scalewitness.mail.models import Letter
from scalewitness.standings.models import Standing

pytestmark = pytest.mark.django_db


def call(world: World, animal: Animal, sex: str = "male", **more: Any) -> dict[str, Any]:
    return world.item("call_made", animal.pk, probing(sex, tag_of(animal)) | more)


def meanwhile(monkeypatch: pytest.MonkeyPatch, happens: Callable[[], object]) -> None:
    """After the next piece was prepared, before the log is locked for it."""
    prepare = pieces.prepare

    def prepare_then(*given: Any) -> Any:
        prepared = prepare(*given)
        monkeypatch.undo()
        happens()
        return prepared

    monkeypatch.setattr(pieces, "prepare", prepare_then)


def test_what_came_in_between_has_its_positions(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    animal, other = world.animal("A1"), world.animal("A2")
    items = [call(world, animal), call(world, animal, "female")]
    meanwhile(monkeypatch, lambda: world.call(world.odile, other, "female"))
    outcomes = world.push(world.odile, *items)
    for outcome, item in zip(outcomes, items, strict=True):
        assert Entry.objects.get(fact=item["id"]).position == outcome.position
        assert Call.objects.get(pk=item["id"]).position == outcome.position
    for standing in Standing.objects.filter(animal=animal):
        assert Entry.objects.get(fact=standing.pk).position == standing.position
    assert sorted(Entry.objects.values_list("position", flat=True)) == [*range(tip().size)]


@pytest.mark.parametrize("between", ["call", "weight", "grant", "particulars"])
def test_what_bears_on_it_has_it_read_anew(world: World, between: str) -> None:
    animal = world.animal("A1")
    grant = world.make_partner(world.pim)
    piece = Piece([call(world, animal)], Actor(keeper=world.pim.pk), world.now, world.pim.pk)
    piece.prepare()
    assert not piece._known.is_stale()
    if between == "call":
        world.call(world.odile, animal, "female")
    elif between == "weight":
        noted = {"noted": {"type": "weight", "grams": "60"}}
        world.say(world.odile, "husbandry_noted", animal.pk, noted)
    elif between == "grant":
        world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    else:
        world.say(world.odile, "particulars_corrected", animal.pk, {"species": "boa_imperator"})
    assert piece._known.is_stale()


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


def test_a_fall_is_written_whole(world: World) -> None:
    """A verified sex that falls: its letters belong into the transaction of the call."""
    animal = world.verified("A1")
    world.sold(animal)
    letters = Letter.objects.count()
    world.pass_time(hours=1)
    outcomes = world.push(world.odile, *(call(world, animal, "female") for _ in range(4)))
    assert {one.status for one in outcomes} == {"accepted"}
    assert Letter.objects.count() > letters


def test_a_call_that_came_late_is_held(world: World) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal)
    item = call(world, animal, visit=str(visit))
    world.pass_time(days=3 + 14, hours=1)
    (outcome,) = world.push(world.greta, item)
    assert outcome.status == "held"
    assert HeldCall.objects.count() == 1


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


def test_an_animal_registered_in_between_moves_the_next(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    items = keeping(world)
    meanwhile(monkeypatch, lambda: world.animal("A1"))
    outcomes = world.push(world.odile, *items)
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
    (outcome,) = world.push(world.stan, weight)
    assert outcome.problem is not None
    assert outcome.problem["code"] == "not_found"
    outcomes = world.push(world.greta, weight, meal)
    assert [one.status for one in outcomes] == ["accepted", "refused"]
