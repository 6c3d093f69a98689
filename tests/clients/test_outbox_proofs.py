"""What the outbox still wants proved, and what a log lost."""

from tests.clients.test_outbox import LATER, NOW, call, edit, settle
from tests.world import new_id

from scalewitness_cli import outbox
from scalewitness_cli.devicekey import DeviceKey
from scalewitness_cli.store import Store


def test_what_waits_for_its_receipt(store: Store, key: DeviceKey) -> None:
    """Accepted facts from the one position to before the other, in the log's order."""
    facts = outbox.add(store, key, [call() for _ in range(4)], NOW)
    batch = outbox.next_batch(store)
    answers = [
        {"id": one.id, "status": "accepted", "position": 9 - n} for n, one in enumerate(batch)
    ]
    outbox.settle(store, batch, answers, LATER)
    assert [one.position for one in outbox.unproved(store)] == [6, 7, 8, 9]
    assert outbox.unproved(store, below=6) == []
    assert [one.position for one in outbox.unproved(store, 7, 9)] == [7, 8]
    outbox.keep_receipt(store, outbox.item_named(store, facts[1].id), "a receipt", None)
    outbox.keep_receipt(store, outbox.item_named(store, facts[2].id), None, "another entry")
    assert [one.position for one in outbox.unproved(store)] == [6, 7, 9]
    assert [(one.id, one.fault) for one in outbox.faults(store)] == [(facts[2].id, "another entry")]


def test_a_receipt_is_waited_for_from_the_first_position_to_the_last_there_may_be(
    store: Store, key: DeviceKey
) -> None:
    for position in (0, 2**53 - 1):
        outbox.add(store, key, [call()], NOW)
        settle(store, "accepted", position=position)
    assert [one.position for one in outbox.unproved(store)] == [0, 2**53 - 1]


def test_edits_and_what_another_device_may_have_sent_need_no_receipt(
    store: Store, key: DeviceKey
) -> None:
    animal, said, own = str(new_id()), call(), call()
    outbox.add_edit(store, key, edit(animal, 1, name="Ash"), animal, NOW)
    handed: list[outbox.Handed] = [("fact", said["about"], (said, key.signed(said)))]
    outbox.take_over(store, key, handed, {}, NOW, lambda _: None)
    outbox.add(store, key, [own], NOW)
    settle(store, "duplicate", position=3)
    assert [one.id for one in outbox.unproved(store)] == [own["id"]]


def test_what_a_log_lost_is_sent_again_and_its_proof_is_kept(store: Store, key: DeviceKey) -> None:
    animal = str(new_id())
    kept, gone = outbox.add(store, key, [call(), call()], NOW)
    outbox.add_edit(store, key, edit(animal, 1, name="Ash"), animal, NOW)
    waiting_edit = edit(animal, 1, rack="B2")
    outbox.add_edit(store, key, waiting_edit, animal, NOW)
    accepted = settle(store, "accepted", position=5)
    for one in accepted[:2]:
        outbox.keep_receipt(store, one, f"receipt of {one.id}", None)
    outbox.offer_again(store, [outbox.item_named(store, gone.id)], "old.example/log")
    assert outbox.lost(store) == {
        gone.id: outbox.Lost("old.example/log", 5, f"receipt of {gone.id}")
    }
    again = outbox.item_named(store, gone.id)
    assert (again.state, again.attempted, again.sent) == ("waiting", True, gone.sent)
    assert (again.position, again.answer, again.settled_at, again.receipt, again.fault) == (
        None, None, None, None, None,
    )  # fmt: skip
    assert outbox.item_named(store, kept.id).state == "accepted"
    taken = outbox.item_named(store, accepted[2].id)
    assert (taken.what, taken.state, taken.attempted) == ("edit", "waiting", True)
    assert not outbox.item_named(store, waiting_edit["id"]).attempted
