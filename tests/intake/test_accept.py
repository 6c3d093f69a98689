"""The one way in: what is accepted, once, and what is not."""

from datetime import timedelta
from uuid import UUID

import pytest
from tests.world import World, new_id, probing

from scalewitness.animals.services import edit
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.pieces import Piece
from scalewitness.intake.services import accept
from scalewitness.intake.submission import Sealed
from scalewitness.ledger.models import Entry, Head, Text
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.ledger.services.writing import Logged

pytestmark = pytest.mark.django_db


def test_positions_are_dense_and_the_head_agrees(world: World) -> None:
    animal = world.animal("A1")
    world.call(world.odile, animal, "male")
    positions = list(Entry.objects.order_by("position").values_list("position", flat=True))
    assert positions == list(range(Head.objects.get().size))


def test_the_same_again_is_a_duplicate_with_the_first_position(world: World) -> None:
    animal = world.animal("A1")
    item = world.item("call_made", animal.pk, probing("male", "A1"))
    (first,) = world.push(world.odile, item)
    (again,) = world.push(world.odile, item)
    assert (first.status, again.status) == ("accepted", "duplicate")
    assert first.position == again.position
    assert animal.calls.count() == 1


def test_the_same_twice_in_one_batch_counts_once(world: World) -> None:
    animal = world.animal("A1")
    item = world.item("call_made", animal.pk, probing("male", "A1"))
    outcomes = world.push(world.odile, item, dict(item))
    assert [one.status for one in outcomes] == ["accepted", "duplicate"]
    assert animal.calls.count() == 1


def test_the_same_note_twice_in_one_batch_counts_once(world: World) -> None:
    animal = world.animal("A1")
    noted = {"noted": {"type": "weight", "grams": "500"}}
    item = world.item("husbandry_noted", animal.pk, noted, texts={"note": "after a shed"})
    outcomes = world.push(world.odile, item, item, item | {"texts": {"note": "before it"}})
    assert [one.status for one in outcomes] == ["accepted", "duplicate", "refused"]
    assert outcomes[0].position == outcomes[1].position
    assert Text.objects.get(fact=item["id"]).text == "after a shed"


def test_a_retry_that_overtook_the_first_answer_is_a_duplicate(world: World) -> None:
    # The retry is read and sealed while the first still waits for the lock.
    animal = world.animal("A1")
    noted = {"noted": {"type": "weight", "grams": "500"}}
    item = world.item("husbandry_noted", animal.pk, noted, texts={"note": "after a shed"})
    odile = Actor(world.odile.pk)
    early = Piece([item], odile, world.now, world.odile.pk)
    early.prepare()
    (first,) = world.push(world.odile, item)
    early.take()
    (again,) = early.outcomes
    assert (again.status, again.position) == ("duplicate", first.position)


def test_an_id_with_other_content_is_refused(world: World) -> None:
    animal = world.animal("A1")
    item = world.item("call_made", animal.pk, probing("male", "A1"))
    world.push(world.odile, item)
    (outcome,) = world.push(world.odile, item | {"body": probing("female", "A1")})
    assert outcome.problem is not None
    assert (outcome.problem["code"], outcome.problem["status"]) == ("id_reused", 422)


def test_another_keeper_cannot_take_over_an_id(world: World) -> None:
    animal = world.animal("A1")
    world.make_partner(world.pim)
    item = world.item("call_made", animal.pk, probing("male", "A1"))
    world.push(world.odile, item)
    (outcome,) = world.push(world.pim, item)
    assert outcome.problem is not None
    assert outcome.problem["code"] == "id_reused"
    assert animal.calls.get().by == world.odile.pk


def test_one_bad_item_sinks_no_other(world: World) -> None:
    animal = world.animal("A1")
    good = [world.item("call_made", animal.pk, probing("male", "A1")) for _ in range(2)]
    bad: list[object] = [
        None,
        {"kind": "call_made"},
        world.item("call_made", animal.pk, {"conclusion": "male"}),
        world.item("standing_changed", animal.pk, {}),
        world.item("call_made", animal.pk, probing("male")) | {"about": f"{animal.pk}\n"},
        world.item("call_made", new_id(), probing("male")),
        world.item("call_made", animal.pk, probing("male"), at=world.now + timedelta(days=2)),
    ]
    outcomes = world.push(world.odile, good[0], *bad, good[1])
    assert [one.status for one in outcomes] == ["accepted", *["refused"] * len(bad), "accepted"]
    assert [one.problem["code"] for one in outcomes if one.problem] == [
        "wrong_shape",
        "wrong_shape",
        "wrong_shape",
        "unknown_kind",
        "wrong_shape",
        "not_found",
        "future_date",
    ]


def test_a_clock_ahead_is_accepted_and_flagged(world: World) -> None:
    animal = world.animal("A1")
    outcome = world.call(world.odile, animal, "male", at=world.now + timedelta(minutes=6))
    assert outcome.flags == ("clock_ahead",)
    entry = Entry.objects.get(position=outcome.position)
    assert entry.flags == ["clock_ahead"]
    assert (entry.claimed_at, entry.received_at) == (world.now + timedelta(minutes=6), world.now)


def test_free_text_stays_out_of_the_log_and_can_be_erased(world: World) -> None:
    animal = world.animal("A1")
    said = "Odile held her by the door"
    outcome = world.call(world.odile, animal, "female", texts={"note": said})
    entry = Entry.objects.get(position=outcome.position)
    assert said.encode() not in bytes(entry.leaf)
    kept = Text.objects.get(fact=entry.fact)
    assert kept.text == said
    assert len(leaf_of(entry).body["note"]) == 64
    (again,) = world.push(
        world.odile,
        world.item(
            "call_made",
            animal.pk,
            probing("female", "A1"),
            id=entry.fact,
            texts={"note": said},
        ),
    )
    assert again.status == "duplicate"


def test_no_name_or_address_enters_the_log(world: World) -> None:
    sale = world.sold(world.verified("V1"))
    world.call(world.odile, sale.animals.get(), "female")
    log = b"".join(bytes(leaf) for leaf in Entry.objects.values_list("leaf", flat=True))
    personal = ["Odile", "Marten", "Greta", "Bela", "Novak", "example", "The long room"]
    assert [word for word in personal if word.encode() in log] == []


def test_a_value_the_database_refuses_sinks_only_its_item(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stand-in for the surprise no check foresees: a rule whose row cannot be stored."""
    from django.db import DataError

    from scalewitness.intake import kinds

    animal = world.animal("A1")
    rule = kinds.RULES["husbandry_noted"]

    def surprised(fact: object, batch: object) -> int | None:
        position = rule(fact, batch)  # type: ignore[arg-type]
        if fact.body.noted.grams == "666":  # type: ignore[attr-defined]
            raise DataError("value out of range")
        return position

    monkeypatch.setitem(kinds.RULES, "husbandry_noted", surprised)
    items = [
        world.item("husbandry_noted", animal.pk, {"noted": {"type": "weight", "grams": grams}})
        for grams in ("400", "666", "410")
    ]
    outcomes = world.push(world.odile, *items)
    assert [one.status for one in outcomes] == ["accepted", "refused", "accepted"]
    assert animal.husbandry.count() == 2
    assert list(Entry.objects.order_by("position").values_list("position", flat=True)) == list(
        range(Head.objects.get().size)
    )


def test_an_unknown_actor_may_say_nothing(world: World) -> None:
    animal = world.animal("A1")
    outcomes = accept([world.item("call_made", animal.pk, probing("male"))], Actor(), world.now)
    assert outcomes[0].problem is not None
    assert outcomes[0].problem["code"] == "not_found"


def test_a_visit_is_told_in_the_hosts_time(world: World) -> None:
    animal = world.animal("A1")
    with pytest.raises(Refused) as refused:
        world.say(
            world.odile,
            "visit_invited",
            new_id(),
            {
                "collection": str(world.collection.pk),
                "guest": str(world.greta.pk),
                "animals": [str(animal.pk)],
                "opens": rfc3339(world.now),
                "closes": rfc3339(world.now - timedelta(days=1)),
            },
        )
    assert refused.value.as_problem()["code"] == "out_of_range"


def test_a_correction_loses_no_edit_that_came_in_between(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    animal = world.animal("A1")

    def log(batch: Batch, fact: Sealed, **more: UUID | None) -> Logged[object]:
        # After the rule has read the animal, before it writes: an edit takes no log lock.
        edit(animal, {"name": "Maple"}, version=1, by=world.odile, now=world.now)
        return write(batch, fact, **more)

    write = Batch.log
    monkeypatch.setattr(Batch, "log", log)
    body = {"species": "python_regius", "traits": ["pied"]}
    world.say(world.odile, "particulars_corrected", animal.pk, body)
    animal.refresh_from_db()
    assert (animal.name, animal.traits, animal.version) == ("Maple", ["pied"], 3)
