"""Small pieces that wait at once are written together, long ones in several transactions; each
item comes to what it would come to by itself."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection, connections
from tests.waiting import ENOUGH
from tests.world import World, new_id, probing, tag_of

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.intake import batch as batches
from scalewitness.intake import pace, pieces, services
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.pace import Pace
from scalewitness.intake.pieces import Piece
from scalewitness.intake.services import accept
from scalewitness.ledger.models import Entry, Text
from scalewitness.people.models import Keeper
from scalewitness.standings.queries.replay import Replay


@pytest.fixture(autouse=True)
def unhurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on a machine with nothing else to do; what hurry does, tests say themselves."""
    monkeypatch.setattr(batches, "HOLDING", ENOUGH)
    monkeypatch.setattr(services, "TIMEOUT", ENOUGH)


def transactions(since: int) -> int:
    """In how many the log grew, by what PostgreSQL keeps of each row."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(DISTINCT xmin::text) FROM ledger_entry WHERE position >= %s", [since]
        )
        return int(cursor.fetchone()[0])


def call(world: World, animal: Animal, sex: str = "male", **more: Any) -> dict[str, Any]:
    return world.item("call_made", animal.pk, probing(sex, tag_of(animal)) | more)


def weights(world: World, animal: Animal, count: int) -> list[dict[str, Any]]:
    return [
        world.item("husbandry_noted", animal.pk, {"noted": {"type": "weight", "grams": str(n)}})
        for n in range(1, count + 1)
    ]


def at_once(*sendings: Callable[[], list[Outcome]]) -> list[list[Outcome]]:
    """All wait for their turn, in this order, and are let go together."""
    services.TURNS.take(None)
    waiting = lambda: sum(map(len, services.TURNS._line.values()))  # noqa: E731
    with ThreadPoolExecutor(len(sendings)) as threads:
        try:
            going = []
            for number, one in enumerate(sendings, 1):
                going.append(threads.submit(closing, one))
                while waiting() < number:
                    pass
        finally:
            services.TURNS.leave()
        return [one.result(60) for one in going]


def closing(send: Callable[[], list[Outcome]]) -> list[Outcome]:
    try:
        return send()
    finally:
        connections.close_all()


def by(world: World, who: Keeper, *items: Any) -> Callable[[], list[Outcome]]:
    return lambda: accept(list(items), Actor(keeper=who.pk), world.now)


def test_single_pushes_that_wait_at_once_are_committed_together(lasting_world: World) -> None:
    world = lasting_world
    animals = [world.animal(f"T{n}") for n in range(5)]
    world.make_partner(world.pim)
    began = Entry.objects.count()
    items = [call(world, one) for one in animals]
    people = [world.odile, world.pim, world.odile, world.pim, world.odile]
    outcomes = at_once(*(by(world, who, item) for who, item in zip(people, items, strict=True)))
    assert [one.status for (one,) in outcomes] == ["accepted"] * 5
    assert transactions(began) == 1
    for who, item, (outcome,) in zip(people, items, outcomes, strict=True):
        entry = Entry.objects.get(fact=item["id"])
        assert (entry.by, entry.position) == (who.pk, outcome.position)
    order = Entry.objects.filter(position__gte=began).values_list("position", flat=True)
    assert sorted(order) == list(range(began, began + 10))


def test_of_two_calls_on_one_animal_at_once_the_second_knows_the_first(
    lasting_world: World,
) -> None:
    world = lasting_world
    animal = world.animal("T1")
    world.make_partner(world.pim)
    at_once(
        by(world, world.odile, call(world, animal, "female")),
        by(world, world.pim, call(world, animal)),
    )
    first, second = Call.objects.order_by("position")
    assert (first.by, second.by) == (world.odile.pk, world.pim.pk)
    assert (first.anchored_to, second.anchored_to) == (None, "female")


def counted_once() -> None:
    """Each call weighs as the log alone has it, and nobody was anchored to themselves."""
    assert list(Replay().differences()) == []
    assert set(Call.objects.values_list("anchored_to", flat=True)) == {None}


def test_a_call_that_waited_for_one_that_came_to_nothing_counts_once(lasting_world: World) -> None:
    """It was judged ahead, and is judged anew since both are about one animal: what was judged
    first is no call on record."""
    world = lasting_world
    animal = world.animal("T1")
    visit = world.visit(world.greta, animal)
    (strangers,), (guests,) = at_once(
        by(world, world.stan, call(world, animal)),
        by(world, world.greta, call(world, animal, visit=str(visit))),
    )
    assert (strangers.status, guests.status) == ("refused", "accepted")
    assert Call.objects.get().blind
    counted_once()


def test_sixty_animals_are_taken_together(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(services, "PACE", Pace())
    world = lasting_world
    animals = [world.animal(f"T{n}") for n in range(60)]
    began = Entry.objects.count()
    outcomes = accept(
        [call(world, one) for one in animals], Actor(keeper=world.odile.pk), world.now
    )
    assert {one.status for one in outcomes} == {"accepted"}
    assert transactions(began) == 1


def test_the_same_item_twice_at_once_is_taken_once(lasting_world: World) -> None:
    world = lasting_world
    item = call(world, world.animal("T1"))
    (one,), (other,) = at_once(by(world, world.odile, item), by(world, world.odile, item))
    assert [one.status, other.status] == ["accepted", "duplicate"]
    assert one.position == other.position


def test_what_fails_in_one_is_the_loss_of_nobody_beside_it(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A value that only the database refuses, once all are written together."""
    world = lasting_world
    good, bad = (world.animal(tag) for tag in ("T1", "T2"))
    sane = Batch.keep_texts

    def breaks(batch: Batch, fact: Any) -> None:
        sane(batch, fact)
        if fact.about == bad.pk:
            batch.keep(Text, {"fact": fact.id, "field": "note", "salt": None, "text": "x"})

    monkeypatch.setattr(Batch, "keep_texts", breaks)
    (one,), (other,) = at_once(
        by(world, world.odile, call(world, good)), by(world, world.odile, call(world, bad))
    )
    assert (one.status, other.status) == ("accepted", "refused")
    assert Call.objects.get().animal_id == good.pk
    counted_once()


def test_a_fault_of_one_is_told_to_it_alone(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = lasting_world
    good, bad = (world.animal(tag) for tag in ("T1", "T2"))
    whole = pieces.prepare

    def prepare(items: Sequence[Any], *rest: Any) -> Any:
        if items[0]["about"] == str(bad.pk):
            raise RuntimeError("a fault of ours")
        return whole(items, *rest)

    monkeypatch.setattr(pieces, "prepare", prepare)
    fails = by(world, world.odile, call(world, bad))
    sent = by(world, world.odile, call(world, good))

    def expecting_a_fault() -> list[Outcome]:
        with pytest.raises(RuntimeError):
            fails()
        return []

    _, (outcome,), _ = at_once(sent, by(world, world.odile, call(world, good)), expecting_a_fault)
    assert outcome.status == "accepted"
    assert Call.objects.count() == 2


def slow_pace() -> Pace:
    slow = Pace()
    slow.note(pace.FEWEST, 60.0)
    return slow


def test_a_long_push_is_taken_in_several_transactions_in_order(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = lasting_world
    animal = world.animal("T1")
    items = weights(world, animal, 2 * pace.FEWEST + 1)
    monkeypatch.setattr(services, "PACE", slow_pace())
    began = Entry.objects.count()
    outcomes = accept(items, Actor(keeper=world.odile.pk), world.now)
    assert transactions(began) == 3
    assert [one.id for one in outcomes] == [item["id"] for item in items]
    assert [one.position for one in outcomes] == list(range(began, began + len(items)))


def test_what_is_slow_to_judge_gives_others_their_turn_in_between(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Kinds whose rules read and write one by one: the log is let go of once the time is up."""
    world = lasting_world
    animals = [world.animal(f"T{n}") for n in range(4)]
    began = Entry.objects.count()
    items = [
        world.item("particulars_corrected", one.pk, {"species": "boa_imperator"}) for one in animals
    ]
    monkeypatch.setattr(batches, "HOLDING", 0.0)
    outcomes = accept(items, Actor(keeper=world.odile.pk), world.now)
    assert [one.status for one in outcomes] == ["accepted"] * 4
    assert [one.id for one in outcomes] == [item["id"] for item in items]
    assert transactions(began) == 4


def test_within_a_transaction_begun_elsewhere_all_of_it_is_one(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(batches, "HOLDING", 0.0)
    animal = world.animal("T1")
    began = Entry.objects.count()
    outcomes = accept(weights(world, animal, 300), Actor(keeper=world.odile.pk), world.now)
    assert {one.status for one in outcomes} == {"accepted"}
    assert transactions(began) == 1


def test_hundreds_of_animals_take_few_statements(
    lasting_world: World,
    django_assert_max_num_queries: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(services, "PACE", Pace())
    world = lasting_world
    items = []
    for number in range(80):
        about = new_id(world.now)
        body = {"collection": str(world.collection.pk), "species": "python_regius"}
        items.append(world.item("animal_registered", about, body))
        tag = {"scheme": "tag", "code": f"I{number}"}
        items.append(world.item("identifier_assigned", about, tag))
    with django_assert_max_num_queries(30):
        outcomes = accept(items, Actor(keeper=world.odile.pk), world.now)
    assert {one.status for one in outcomes} == {"accepted"}
    stored = Animal.objects.filter(collection=world.collection)
    assert stored.count() == 80
    first = stored.get(pk=items[0]["about"])
    history = first.history.get()
    assert (history.history_type, history.version, history.history_user) == ("+", 1, None)
    assert [one.code for one in first.identifiers.all()] == ["I0"]


def test_a_piece_begun_before_does_not_come_along_again(lasting_world: World) -> None:
    """Else one that cannot be written with others would never be written."""
    world = lasting_world
    piece = Piece(
        [call(world, world.animal("T1"))], Actor(keeper=world.odile.pk), world.now, world.odile.pk
    )
    assert not piece.is_begun
    piece.prepare()
    assert piece.is_begun


def test_a_stretch_is_as_long_as_the_log_may_be_held_for() -> None:
    known = Pace()
    assert known.stretch() == pace.MOST
    known.note(100, 2 * pace.WANTED)
    assert known.stretch() == 50
    known.note(1, 60.0)  # one item says nothing of many
    assert known.stretch() == 50
    known.note(50, pace.WANTED / 10)  # the machine has less to do; not forgotten at once
    assert 50 < known.stretch() < 60
    for _ in range(40):
        known.note(100, 0.001)
    assert known.stretch() == pace.MOST
    known.note(100, 60.0)
    assert known.stretch() == pace.FEWEST


@pytest.mark.parametrize("odd", [{"kind": []}, {"kind": {}}, {"kind": None}, {}, [], None, "x", 7])
def test_an_item_that_is_no_fact_is_refused_alone_where_pushes_take_turns(
    lasting_world: World, odd: object
) -> None:
    world = lasting_world
    good = call(world, world.animal("T1"))
    outcomes = accept([odd, good], Actor(keeper=world.odile.pk), world.now)
    assert [one.status for one in outcomes] == ["refused", "accepted"]
