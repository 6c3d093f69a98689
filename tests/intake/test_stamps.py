"""What the record stamps on a fact as it comes in is in the entry's own bytes: its sender can make
these from the answer, and nobody can alter it beside them."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from functools import partial
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from tests.ledger.growing import leaves
from tests.signing import Phone, phone
from tests.world import World, probing

from scalewitness.domain.translog.leaf import STATED, Leaf, Stamp, leaf_bytes, read_leaf
from scalewitness.domain.translog.receipts import prove, read_receipt
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness.intake.outcomes import Outcome
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services import writing
from scalewitness.ledger.services.receipting import receipt_of
from scalewitness.ledger.services.signing import log_signer

pytestmark = pytest.mark.django_db


def entry_at(position: int | None) -> Leaf:
    return read_leaf(bytes(Entry.objects.get(position=position).leaf))


def made_by(sender: Phone, item: dict[str, Any], outcome: Outcome) -> bytes:
    """The entry as its sender makes it: from what was sent, and what was answered."""
    stated = {name: item[name] for name in ("kind", "id", "at", "about", "body", "sig")}
    sent_by = {"by": str(sender.actor.keeper), "device": str(sender.device.pk)}
    return leaf_bytes(**stated, **sent_by, stamp=outcome.stamp)


@pytest.fixture
def odile(world: World) -> Phone:
    return phone(world, world.odile)


def test_its_sender_can_make_the_very_bytes_from_the_answer(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    world.now += timedelta(microseconds=1_500_001)
    ahead = world.now + timedelta(hours=2)
    item = odile.key.signed(world.item("call_made", animal.pk, probing("male"), at=ahead))
    outcome = odile.send(item)
    assert outcome.stamp == Stamp("2026-11-01T09:00:01.500001Z", ("clock_ahead",))
    stored = Entry.objects.get(position=outcome.position)
    assert made_by(odile, item, outcome) == bytes(stored.leaf)


def test_one_sent_again_is_answered_with_the_first_stamp(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    item = odile.key.signed(world.item("call_made", animal.pk, probing("male")))
    first, twice = odile.push(item, dict(item))
    world.now += timedelta(minutes=7)
    again = odile.send(item)
    assert (twice.status, again.status) == ("duplicate", "duplicate")
    assert first.stamp == twice.stamp == again.stamp == entry_at(first.position).stamp


def test_what_only_its_sender_is_told_is_not_stamped(world: World) -> None:
    """That another record bears a number is for whoever read it, and no part of the fact."""
    code = {"scheme": "transponder", "code": "276098106234567"}
    one, other = world.animal("A1"), world.animal("B1")
    world.say(world.odile, "identifier_assigned", one.pk, code)
    item = world.item("identifier_assigned", other.pk, code)
    (outcome,) = world.push(world.odile, item)
    assert outcome.flags == ("known_elsewhere",)
    assert outcome.stamp == Stamp("2026-11-01T09:00:00.000000Z", ())


@contextmanager
def before_stamps(patched: pytest.MonkeyPatch) -> Iterator[None]:
    """As the record wrote its entries when there was version 1 only."""

    def unstamped(*, stamp: Stamp, **stated: Any) -> bytes:
        return leaf_bytes(**stated)

    with patched.context() as earlier:
        earlier.setattr(writing, "leaf_bytes", unstamped)
        earlier.setattr(writing.Writer, "stamp_at", lambda *_: None)
        yield


@pytest.mark.usefixtures("db")
def test_a_record_begun_without_stamps_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    with before_stamps(monkeypatch):
        world = World()
        odile = phone(world, world.odile)
        animal = world.animal("A1")
        item = odile.key.signed(world.item("call_made", animal.pk, probing("male")))
        first = odile.send(item)
    assert entry_at(first.position).stamp is None
    again = odile.send(item)
    assert (again.status, again.position, again.stamp) == ("duplicate", first.position, None)
    later = odile.send(odile.key.signed(world.item("call_made", animal.pk, probing("female"))))
    assert entry_at(later.position).stamp == later.stamp is not None
    for position in (first.position, later.position):
        receipt = receipt_of(Entry.objects.get(position=position), world.now)
        shown = prove(read_receipt(str(receipt).encode()), log_signer().verifier)
        assert shown.entry == entry_at(position)
    err = StringIO()
    call_command("fsck", stdout=StringIO(), stderr=err)
    assert err.getvalue() == ""
    assert len(leaves()) == tip().size


def test_every_other_stamp_is_another_entry(world: World, odile: Phone) -> None:
    item = odile.key.signed(world.item("call_made", world.animal("A1").pk, probing("male")))
    outcome = odile.send(item)
    stored = entry_at(outcome.position)
    again = partial(leaf_bytes, **{name: getattr(stored, name) for name in (*STATED, "sig")})
    assert stored.stamp is not None
    kept = Entry.objects.get(position=outcome.position)
    assert leaf_hash(again(stamp=stored.stamp)) == bytes(kept.leaf_hash)
    for other in (
        Stamp("2026-11-01T09:00:00.000001Z", ()),
        Stamp(stored.stamp.received, ("late",)),
        None,
    ):
        assert leaf_hash(again(stamp=other)) != bytes(kept.leaf_hash)
