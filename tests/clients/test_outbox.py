"""What the outbox gives up, sends on and puts on top of what, whatever became of it."""

import json
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any

import pytest
from tests.clients.conftest import a_key
from tests.world import new_id, probing

from scalewitness_cli import outbox
from scalewitness_cli.devicekey import DeviceKey
from scalewitness_cli.outbox import Item, State
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store

NOW, LATER = "2026-11-29T12:00:00.000Z", "2026-11-29T13:00:00.000Z"


def call(note: str | None = None) -> dict[str, Any]:
    said = {
        "id": str(new_id()),
        "kind": "call_made",
        "at": NOW,
        "about": str(new_id()),
        "body": probing("male"),
    }
    return said | ({"texts": {"note": note}} if note else {})


def as_json(fact: dict[str, Any]) -> Any:
    return json.loads(json.dumps(fact))


def edit(animal: str, version: int, **fields: Any) -> dict[str, Any]:
    return {
        "id": str(new_id()),
        "record": f"animals/{animal}",
        "base_version": version,
        "fields": fields,
    }


def stored(store: Store, key: DeviceKey, state: State, *, sent: bool) -> Item:
    """A fact that has come to this."""
    (item,) = outbox.add(store, key, [call()], NOW)
    if sent:
        outbox.next_batch(store)
    with store.change() as connection:
        outbox.set_state(connection, item.id, state)
    return outbox.item_named(store, item.id)


def settle(store: Store, status: str, **more: Any) -> list[Item]:
    """Sends what waits and gets this answer for each."""
    batch = outbox.next_batch(store)
    outbox.settle(store, batch, [{"id": one.id, "status": status, **more} for one in batch], LATER)
    return [outbox.item_named(store, one.id) for one in batch]


# --- giving up ----------------------------------------------------------------------------

MAY_BE_DROPPED: list[tuple[State, bool, bool]] = [
    # its state, whether it was sent, whether it may be given up
    ("waiting", False, True),
    ("waiting", True, False),
    ("accepted", True, False),
    ("accepted", False, False),
    ("held", True, True),
    ("conflict", True, True),
    ("refused", True, True),
    ("clock", False, True),
    ("clock", True, True),
]


@pytest.mark.parametrize(("state", "sent", "may"), MAY_BE_DROPPED)
def test_what_may_be_given_up(
    store: Store, key: DeviceKey, state: State, sent: bool, may: bool
) -> None:
    """Never what was sent and not answered: it may be in the log."""
    item = stored(store, key, state, sent=sent)
    assert item.attempted == sent
    if may:
        outbox.drop(store, item, LATER)
        dropped = outbox.item_named(store, item.id)
        assert (dropped.state, dropped.settled_at) == ("dropped", LATER)
        return
    with pytest.raises(Stopped, match="withdrawn"):
        outbox.drop(store, item, LATER)
    assert outbox.item_named(store, item.id) == item


def test_giving_one_up_leaves_the_others(store: Store, key: DeviceKey) -> None:
    one, other = outbox.add(store, key, [call(), call()], NOW)
    outbox.drop(store, one, LATER)
    assert [item.id for item in outbox.next_batch(store)] == [other.id]
    assert outbox.counts(store) == {"dropped": 1, "waiting": 1}


# --- edits on top of edits ----------------------------------------------------------------


def edits(store: Store) -> list[tuple[int, bool]]:
    rows = store.rows("SELECT * FROM outbox WHERE what = 'edit' ORDER BY seq")
    return [
        (outbox.item_named(store, row["id"]).sent["base_version"], bool(row["attempted"]))
        for row in rows
    ]


def test_a_later_edit_of_the_same_field_goes_on_top_of_the_earlier(
    store: Store, key: DeviceKey
) -> None:
    animal = str(new_id())
    for name in ("Ash", "Birch"):
        outbox.add_edit(store, key, edit(animal, 1, name=name), animal, NOW)
    settle(store, "accepted", version=2)
    assert edits(store) == [(1, True), (2, False)]


@pytest.mark.parametrize(
    ("status", "version"), [("refused", 2), ("conflict", 2), ("accepted", None)]
)
def test_nothing_goes_on_top_of_what_was_not_taken(
    store: Store, key: DeviceKey, status: str, version: int | None
) -> None:
    animal = str(new_id())
    for name in ("Ash", "Birch"):
        outbox.add_edit(store, key, edit(animal, 1, name=name), animal, NOW)
    settle(store, status, **({} if version is None else {"version": version}))
    assert edits(store) == [(1, True), (1, False)]


def test_an_edit_that_may_have_arrived_stays_as_it_was_sent(store: Store, key: DeviceKey) -> None:
    """Its id with another content would be two edits under one name."""
    animal = str(new_id())
    for name in ("Ash", "Birch"):
        outbox.add_edit(store, key, edit(animal, 1, name=name), animal, NOW)
    (first,) = outbox.next_batch(store)
    outbox.next_batch(store, without=[first.seq])  # the second goes out, and no answer comes
    outbox.settle(store, [first], [{"id": first.id, "status": "accepted", "version": 2}], LATER)
    assert edits(store) == [(1, True), (1, True)]


def test_edits_of_other_fields_other_records_and_facts_stay(store: Store, key: DeviceKey) -> None:
    animal, other = str(new_id()), str(new_id())
    outbox.add_edit(store, key, edit(other, 1, name="Earlier"), other, NOW)
    outbox.add_edit(store, key, edit(animal, 1, name="Ash"), animal, NOW)
    outbox.add_edit(store, key, edit(animal, 1, rack="B2"), animal, NOW)
    outbox.add_edit(store, key, edit(other, 1, name="Cedar"), other, NOW)
    (fact,) = outbox.add(store, key, [call() | {"about": animal}], NOW)
    first, done, *_ = outbox.next_batch(store)
    outbox.settle(store, [done], [{"id": done.id, "status": "accepted", "version": 5}], LATER)
    assert edits(store) == [(1, True), (1, True), (1, False), (1, False)]
    assert outbox.item_named(store, fact.id).sent == fact.sent
    assert first.about == other


def test_an_edit_replaced_is_kept_among_the_dropped(store: Store, key: DeviceKey) -> None:
    animal = str(new_id())
    outbox.add_edit(store, key, edit(animal, 1, name="Ash"), animal, NOW)
    (old,) = settle(store, "conflict")
    again = edit(animal, 4, name="Ash")
    outbox.replace_edit(store, key, old, again, LATER)
    dropped, waiting = (outbox.item_named(store, one) for one in (old.id, again["id"]))
    assert (dropped.state, dropped.settled_at) == ("dropped", LATER)
    assert (waiting.state, waiting.what, waiting.about, waiting.said, waiting.stored_at) == (
        "waiting", "edit", animal, again, LATER,
    )  # fmt: skip


# --- sending ------------------------------------------------------------------------------


def test_of_one_records_edits_only_the_first_is_sent(store: Store, key: DeviceKey) -> None:
    animal, other = str(new_id()), str(new_id())
    for about, name in ((animal, "Ash"), (animal, "Birch"), (other, "Cedar")):
        outbox.add_edit(store, key, edit(about, 1, name=name), about, NOW)
    (fact,) = outbox.add(store, key, [call() | {"about": animal}], NOW)
    batch = outbox.next_batch(store)
    assert [one.said.get("fields", {}).get("name") for one in batch] == ["Ash", "Cedar", None]
    assert batch[2].id == fact.id
    assert [one.attempted for one in batch] == [False] * 3, "as they were before this time"


def test_a_fact_about_an_animal_keeps_no_edit_of_it_waiting(store: Store, key: DeviceKey) -> None:
    animal = str(new_id())
    (fact,) = outbox.add(store, key, [call() | {"about": animal}], NOW)
    outbox.add_edit(store, key, edit(animal, 1, name="Ash"), animal, NOW)
    assert [one.what for one in outbox.next_batch(store)] == ["fact", "edit"]
    assert outbox.item_named(store, fact.id).attempted


def test_a_push_has_no_more_items_than_it_may(
    store: Store, key: DeviceKey, monkeypatch: pytest.MonkeyPatch
) -> None:
    facts = outbox.add(store, key, [call() for _ in range(3)], NOW)
    monkeypatch.setattr(outbox, "MOST_ITEMS", 2)
    assert [one.id for one in outbox.next_batch(store)] == [one.id for one in facts[:2]]


def test_a_push_has_no_more_bytes_than_it_may_but_always_one_item(
    store: Store, key: DeviceKey, monkeypatch: pytest.MonkeyPatch
) -> None:
    facts = outbox.add(store, key, [call() for _ in range(3)], NOW)
    sizes = [len(row["sent"]) for row in store.rows("SELECT sent FROM outbox ORDER BY seq")]
    for most, count in ((sizes[0] + sizes[1], 2), (sizes[0] + sizes[1] - 1, 1), (1, 1)):
        monkeypatch.setattr(outbox, "MOST_BYTES", most)
        assert len(outbox.next_batch(store)) == count
    monkeypatch.undo()
    without = outbox.next_batch(store, without=[facts[0].seq])
    assert [one.id for one in without] == [one.id for one in facts[1:]]


BECOMES = {
    "accepted": "accepted",
    "duplicate": "accepted",
    "held": "held",
    "conflict": "conflict",
    "refused": "refused",
    "a word of a later server": "waiting",
}


@pytest.mark.parametrize("status", BECOMES)
def test_what_becomes_of_an_item_by_the_answer(store: Store, key: DeviceKey, status: str) -> None:
    outbox.add(store, key, [call()], NOW)
    (item,) = settle(store, status, position=7)
    assert (item.state, item.attempted) == (BECOMES[status], True)
    if item.state == "waiting":
        assert (item.position, item.answer, item.settled_at) == (None, None, None)
    else:
        assert (item.position, item.settled_at) == (7, LATER)
        assert item.answer == {"id": item.id, "status": status, "position": 7}
    assert [one.id for one in outbox.next_batch(store)] == (
        [item.id] if item.state == "waiting" else []
    )


def test_an_answer_about_something_else_is_not_noted(store: Store, key: DeviceKey) -> None:
    one, other = outbox.add(store, key, [call(), call()], NOW)
    batch = outbox.next_batch(store)
    crossed = [{"id": item.id, "status": "accepted"} for item in (other, one)]
    with pytest.raises(Stopped, match="does not fit"):
        outbox.settle(store, batch, crossed, LATER)
    with pytest.raises(ValueError, match=r"shorter|longer"):
        outbox.settle(store, batch, [{"id": one.id, "status": "accepted"}], LATER)
    assert outbox.counts(store) == {"waiting": 2}
    outbox.settle(store, batch, [{"status": "accepted"}, {"status": "refused"}], LATER)
    assert outbox.counts(store) == {"accepted": 1, "refused": 1}


# --- saying, and saying again -------------------------------------------------------------


def test_all_or_none_are_stored_with_what_comes_along(store: Store, key: DeviceKey) -> None:
    bad = call() | {"body": {"conclusion": "dragon"}}
    with pytest.raises(ValueError, match=r"."):
        outbox.add(store, key, [call(), bad], NOW)
    assert outbox.counts(store) == {}
    seen = []
    said = [call(), call()]
    made = outbox.add(store, key, said, NOW, along=lambda one: seen.append(one.in_transaction))
    assert seen == [True]
    assert [one.said for one in made] == said
    assert [(one.state, one.attempted, one.device, one.earlier) for one in made] == [
        ("waiting", False, key.device, [])
    ] * 2
    assert made[0].sent == as_json(key.signed(said[0]))


def test_what_is_here_already_is_not_stored_again(store: Store, key: DeviceKey) -> None:
    animal, fact = str(new_id()), call()
    change = edit(animal, 1, name="Ash")
    assert outbox.add_new(store, key, [[fact, change], [fact, call()]], NOW) == [2, 1]
    assert outbox.add_new(store, key, [[fact], [change]], NOW) == [0, 0]
    found = outbox.items(store, "waiting")
    assert [(one.what, one.about) for one in found] == [
        ("fact", fact["about"]), ("edit", animal), ("fact", found[2].about),
    ]  # fmt: skip
    assert found[0].sent["sig"]


def test_another_device_signs_anew_under_the_same_ids_and_salts(
    store: Store, key: DeviceKey
) -> None:
    animal, said = str(new_id()), call("Tensed at first.")
    (one,) = outbox.add(store, key, [said], NOW)
    outbox.add_edit(store, key, edit(animal, 1, name="Ash"), animal, NOW)
    kept = stored(store, key, "held", sent=False)
    new = a_key()
    outbox.resign(store, new)
    signed = outbox.item_named(store, one.id)
    assert (signed.device, signed.said, signed.sent["texts"]) == (
        new.device, said, one.sent["texts"],
    )  # fmt: skip
    assert signed.sent["sig"] != one.sent["sig"]
    assert signed.earlier == [one.sent | {"device": key.device}]
    assert outbox.item_named(store, kept.id) == kept
    outbox.resign(store, new)
    assert outbox.item_named(store, one.id) == signed, "the same signature is no other form"


def test_what_nobody_took_is_said_otherwise_under_its_id(store: Store, key: DeviceKey) -> None:
    item = stored(store, key, "clock", sent=False)
    otherwise = item.said | {"at": LATER}
    outbox.restate(store, item, key, otherwise)
    again = outbox.item_named(store, item.id)
    assert (again.state, again.said, again.sent["at"]) == ("waiting", otherwise, LATER)
    assert again.earlier == [item.sent | {"device": key.device}]


def taken_over(
    store: Store,
    key: DeviceKey,
    forms: Iterable[tuple[outbox.Fact, outbox.Fact]],
    photos: Mapping[str, bytes] = MappingProxyType({}),
) -> tuple[int, int]:
    """Facts, each as it was said and as it is signed here."""
    handed: list[outbox.Handed] = [("fact", said["about"], (said, sent)) for said, sent in forms]
    return outbox.take_over(store, key, handed, photos, NOW, lambda _: None)


def test_what_another_device_said_counts_as_sent(store: Store, key: DeviceKey) -> None:
    said, photo = call(), str(new_id())
    forms = [(said, key.signed(said))]
    assert taken_over(store, key, forms, {photo: b"picture"}) == (1, 1)
    assert taken_over(store, key, forms, {photo: b"picture"}) == (0, 0)
    (item,) = outbox.items(store, "waiting")
    assert (item.attempted, item.said, item.sent) == (True, said, as_json(forms[0][1]))
    with pytest.raises(Stopped):
        outbox.drop(store, item, LATER)
    assert [tuple(row) for row in store.rows("SELECT id FROM elsewhere")] == [(said["id"],)]


def test_what_is_new_among_what_was_taken_over_already_is_stored(
    store: Store, key: DeviceKey
) -> None:
    known, new = call(), call()
    taken_over(store, key, [(known, key.signed(known))])
    forms = [(one, key.signed(one)) for one in (known, new)]
    assert taken_over(store, key, forms) == (1, 0)
    assert [one.id for one in outbox.items(store, "waiting")] == [known["id"], new["id"]]


def test_an_item_is_named_by_either_end_of_its_id(store: Store, key: DeviceKey) -> None:
    one, other = outbox.add(store, key, [call(), call()], NOW)
    assert outbox.item_named(store, one.id[-12:].upper()) == one
    assert outbox.item_named(store, other.id) == other
    for beginning in ("", "no such", one.id[0]):
        with pytest.raises(Stopped, match="items here have an id like"):
            outbox.item_named(store, beginning)
