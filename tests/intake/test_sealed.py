"""A late call enters the log as it comes, under seal: it cannot disappear, and tells nothing."""

from collections.abc import Mapping
from datetime import timedelta
from io import StringIO
from typing import Any
from uuid import UUID

import msgspec
import pytest
from django.core.management import call_command
from tests.intake.test_late import decide, late_visit, statuses
from tests.world import World, keeper, probing

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call, HeldCall
from scalewitness.calls.services import hold_call
from scalewitness.domain.errors import NotFound
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.base64s import decode64, encode64
from scalewitness.domain.translog.leaf import Leaf, Stamp, leaf_bytes, read_leaf
from scalewitness.domain.translog.sealing import (
    NotSealed,
    SealedCall,
    is_sealed,
    require_sealed,
    seal,
)
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.closing import seal_waiting
from scalewitness.intake.outcomes import Outcome
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.people.models import Keeper
from scalewitness.receipts.queries import entry_seen, readable

pytestmark = pytest.mark.django_db


def fsck() -> None:
    """Raises at any difference."""
    call_command("fsck", stdout=StringIO(), stderr=StringIO())


def as_version_1(item: Mapping[str, Any], by: Keeper, **more: Any) -> bytes:
    """What the sender's own client makes of what it sent."""
    sent = {"body": item["body"], "sig": None, "device": None} | more
    named = {name: item[name] for name in ("id", "kind", "about", "at")}
    return leaf_bytes(**named, **sent, by=by.pk)


def sealing(world: World, animal: Animal) -> tuple[Any, Outcome, Leaf]:
    """A late call, what its sender was answered, and the entry that came of it."""
    _, call = late_visit(world, animal)
    (held,) = world.push(world.greta, call)
    return call, held, leaf_of(Entry.objects.get(kind="call_held"))


def given(outcome: Outcome) -> SealedCall:
    assert outcome.seal is not None
    return outcome.seal


def test_a_late_call_enters_the_log_as_it_comes(world: World) -> None:
    animal = world.animal("A1")
    call, held, leaf = sealing(world, animal)
    assert (leaf.by, leaf.about, leaf.body["held"]) == (None, str(animal.pk), held.id)
    assert leaf.body.keys() == {"held", "sealed"}
    assert leaf.at == rfc3339(world.now)
    kept = given(held)
    sent = as_version_1(call, world.greta)
    assert is_sealed(sent, bytes.fromhex(kept.salt), leaf.body["sealed"])
    assert require_sealed(kept, [sent]) == bytes(Entry.objects.get(position=kept.position).leaf)
    assert Entry.objects.get(position=kept.position).kind == "call_held"
    fsck()


def test_the_same_again_counts_once_and_is_answered_alike(world: World) -> None:
    animal = world.animal("A1")
    _, call = late_visit(world, animal)
    first = world.push(world.greta, call, call)
    again = world.push(world.greta, call)
    assert statuses([*first, *again]) == ["held"] * 3
    assert first[0] == first[1] == again[0]
    assert Entry.objects.filter(kind="call_held").count() == 1


def test_what_goes_with_a_call_has_no_entry_of_its_own(world: World) -> None:
    """How many photos there are would tell of eggs."""
    animal = world.animal("A1")
    weight, call = world.push(world.greta, *late_visit(world, animal))
    assert (weight.status, weight.seal) == ("held", None)
    assert call.seal is not None
    assert Entry.objects.filter(kind="call_held").count() == 1


def test_calls_of_one_visit_say_so_and_those_of_two_do_not(world: World) -> None:
    animal = world.animal("A1")
    (_, call) = late_visit(world, animal)
    more = [world.item("call_made", animal.pk, call["body"], at=world.now) for _ in range(2)]
    for one in more:
        one["at"] = call["at"]
    world.push(world.greta, call, *more)
    _, other = late_visit(world, animal)
    world.push(world.greta, other)
    bodies = [leaf_of(one).body for one in Entry.objects.filter(kind="call_held")]
    assert sorted(one.get("same_visit_as", "") for one in bodies) == ["", "", *[call["id"]] * 2]


# --- nobody can tell what it says -----------------------------------------------------------


@pytest.mark.parametrize("sex", ["male", "female"])
def test_no_guess_tells_without_the_salt(world: World, sex: str) -> None:
    """Whoever knows all but the salt: the id, the time, the visit, the body of a likely call."""
    animal = world.animal("A1")
    call, held, leaf = sealing(world, animal)
    guess = call | {"body": call["body"] | {"conclusion": sex}}
    sent = as_version_1(guess, world.greta)
    for salt in (b"\0" * 32, sent[:32], UUID(held.id or "").bytes * 2):
        assert not is_sealed(sent, salt, leaf.body["sealed"])
    two = (seal(as_version_1(call, world.greta), bytes([one]) * 32) for one in (1, 2))
    assert len({leaf.body["sealed"], *two}) == 3


def test_a_host_who_sends_a_guess_is_refused_alike_whether_it_is_right(world: World) -> None:
    animal = world.animal("A1")
    call, held, _ = sealing(world, animal)
    told = []
    for sex in ("male", "female"):
        guess = call | {"body": probing(sex, "A1") | {"visit": call["body"]["visit"]}}
        told.append(msgspec.to_builtins(world.push(world.odile, guess)))
    assert told[0] == told[1]
    assert told[0][0]["status"] == "refused"
    assert given(held).salt not in str(told)


def test_host_and_examiner_read_that_it_came_and_a_blind_guest_does_not(world: World) -> None:
    animal = world.animal("A1")
    _, held, _ = sealing(world, animal)
    world.visit(world.stan, animal)
    (entry,) = Entry.objects.filter(kind="call_held")
    assert readable(world.odile.pk, [entry], world.now) == {entry.position}
    assert readable(world.greta.pk, [entry], world.now) == {entry.position}
    assert not readable(world.stan.pk, [entry], world.now)
    assert entry_seen(world.greta.pk, UUID(held.id or ""), world.now) == entry
    for other in (world.odile, world.stan):
        with pytest.raises(NotFound):
            entry_seen(other.pk, UUID(held.id or ""), world.now)


def test_its_sender_is_not_shown_what_others_sent_late(world: World) -> None:
    """A second blind guest, whose own call waits too, reads of theirs alone."""
    animal = world.animal("A1")
    sealing(world, animal)
    nell = keeper(f"Nell Newcome {world.house}".strip())
    visit = world.visit(nell, animal, days=1)
    at = world.now + timedelta(hours=2)
    world.pass_time(days=16)
    own = world.call(nell, animal, "male", visit=visit, at=at)
    entries = list(Entry.objects.filter(kind="call_held"))
    assert readable(nell.pk, entries, world.now) == {given(own).position}


# --- what is decided is a fact on top -------------------------------------------------------


@pytest.mark.parametrize("admitted", [True, False])
def test_a_decision_leaves_the_seal_and_reveals_it_or_not(world: World, admitted: bool) -> None:
    animal = world.animal("A1")
    call, held, leaf = sealing(world, animal)
    decide(world, animal, held.id, admitted)
    after = Entry.objects.filter(about=animal.pk, position__gt=given(held).position)
    kinds = list(after.order_by("position").values_list("kind", flat=True))
    revealed = ["call_made", "standing_changed"] if admitted else []
    assert kinds == ["late_call_decided", *revealed]
    assert leaf_of(Entry.objects.get(kind="call_held")) == leaf
    assert [str(one.pk) for one in Call.objects.all()] == [call["id"]] * admitted
    fsck()


# --- those held before they had an entry ----------------------------------------------------


def held_before(world: World, animal: Animal) -> str:
    """As an earlier release held it: in the table alone."""
    _, call = late_visit(world, animal)
    hold_call(
        submission={
            "id": call["id"],
            "at": call["at"].replace("Z", "+00:00"),
            "body": call["body"],
            "flags": [],
            "sig": None,
        },
        by=world.greta.pk,
        device=None,
        animal=animal.pk,
        collection=animal.collection_id,
        received_at=world.now,
        kind="call_made",
        grant=UUID(call["body"]["visit"]),
    )
    world.pass_time(days=3)
    return str(call["id"])


@pytest.mark.parametrize("admitted", [True, False])
def test_one_held_before_is_still_decided(world: World, admitted: bool) -> None:
    animal = world.animal("A1")
    decide(world, animal, held_before(world, animal), admitted)
    assert Call.objects.count() == admitted
    assert seal_waiting(world.now) == 0
    fsck()


def test_one_held_before_is_sealed_once_with_the_time_it_came(world: World) -> None:
    animal = world.animal("A1")
    held = held_before(world, animal)
    came = HeldCall.objects.get(pk=held).received_at
    assert [seal_waiting(world.now) for _ in range(2)] == [1, 0]
    (entry,) = Entry.objects.filter(kind="call_held")
    assert rfc3339(entry.claimed_at) == rfc3339(came)
    assert entry.received_at == world.now
    fsck()
    decide(world, animal, held, True)
    assert Call.objects.count() == 1
    fsck()


# --- what its sender's client makes of the answer -------------------------------------------


def tampered(kept: SealedCall, **more: Any) -> SealedCall:
    return msgspec.structs.replace(kept, **more)


def with_body(kept: SealedCall, **more: Any) -> SealedCall:
    leaf = read_leaf(decode64(kept.entry))
    members = msgspec.structs.asdict(leaf) | more
    stamp = Stamp(members.pop("received"), members.pop("flags"))
    return tampered(kept, entry=encode64(leaf_bytes(**members, stamp=stamp)))


def test_a_client_takes_no_entry_that_seals_something_else(world: World) -> None:
    animal = world.animal("A1")
    call, held, leaf = sealing(world, animal)
    kept, sent = given(held), [as_version_1(call, world.greta)]
    other = as_version_1(call | {"body": probing("female", "A1")}, world.greta)
    cases = {
        "not what was sent": (kept, [other]),
        "cannot be read": (tampered(kept, entry="AAAA"), sent),
        "salt": (tampered(kept, salt="00"), sent),
        "what it seals": (tampered(kept, salt="00" * 32), sent),
        "another call": (with_body(kept, about=str(fresh_id(world.now))), sent),
        "record's own": (with_body(kept, by=str(world.odile.pk)), sent),
        "no entry": (with_body(kept, kind="late_call_decided"), sent),
    }
    for why, (one, forms) in cases.items():
        with pytest.raises(NotSealed, match=why):
            require_sealed(one, forms)
    assert leaf.kind == "call_held"
