"""A device's signature on a fact: taken when it fits and the device may still sign, and kept."""

import json
import unicodedata
from base64 import b64decode, b64encode
from datetime import timedelta

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import (
    Ed25519PrivateKey,
    Ed25519PublicKey,
)
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.signing import Item, Phone, call, code, entry_of, phone
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.calls.models import HeldCall
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.devices import DeviceKeys
from scalewitness.domain.translog.leaf import read_leaf
from scalewitness.intake.pieces import Piece
from scalewitness.ledger.models import Entry
from scalewitness.people.models import DeviceKey
from scalewitness.standings.queries.dossier import dossier
from scalewitness.standings.queries.replay import Replay

pytestmark = pytest.mark.django_db


@pytest.fixture
def odile(world: World) -> Phone:
    return phone(world, world.odile)


def test_a_signed_call_keeps_its_signature_in_the_log(world: World, odile: Phone) -> None:
    item = call(odile, world.animal("A1"))
    assert odile.send(item).status == "accepted"
    leaf = read_leaf(bytes(entry_of(item).leaf))
    assert (leaf.sig, leaf.device) == (item["sig"], str(odile.device.pk))


def test_what_is_signed_is_what_was_stated_with_sig_null(world: World, odile: Phone) -> None:
    """All of the entry but what the record stamped on it. Checked without any of our code: json
    of the standard library writes RFC 8785 for members in ASCII and text and integers only, and
    cryptography verifies."""
    item = call(odile, world.animal("A1"), texts={"note": "by the door"})
    odile.send(item)
    stored = json.loads(bytes(entry_of(item).leaf))
    signature = b64decode(stored["sig"])
    assert (stored.pop("received"), stored.pop("flags")) == ("2026-11-01T09:00:00.000000Z", [])
    stated = stored | {"sig": None, "v": 1}
    plain = json.dumps(stated, sort_keys=True, separators=(",", ":"))
    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(odile.key.public))
    key.verify(signature, plain.encode())


def test_a_signature_made_without_our_client_is_taken(world: World) -> None:
    """As a browser would: raw public key, JSON with sorted members, base64."""
    one = phone(world, world.odile, enrolled=False)
    private = Ed25519PrivateKey.generate()
    public = private.public_key().public_bytes_raw().hex()
    said = {"device": str(one.device.pk), "key": public}
    item = world.item("device_key_enrolled", world.odile.pk, said)
    leaf = item | {"v": 1, "by": said["device"] and str(world.odile.pk), "sig": None}
    leaf["device"] = said["device"]
    plain = json.dumps(leaf, sort_keys=True, separators=(",", ":"))
    item["sig"] = b64encode(private.sign(plain.encode())).decode()
    assert one.send(item).status == "accepted"
    assert DeviceKey.objects.get().public == public


def test_a_later_reader_checks_every_signature_from_the_log_alone(
    world: World, odile: Phone
) -> None:
    animal = world.animal("A1")
    odile.push(call(odile, animal), world.item("call_made", animal.pk, probing("female")))
    odile.send(odile.revocation())
    leaves = [
        bytes(leaf) for leaf in Entry.objects.order_by("position").values_list("leaf", flat=True)
    ]
    devices = DeviceKeys()
    assert [devices.read(read_leaf(leaf)) for leaf in leaves] == [None] * len(leaves)
    assert devices.enrolled[str(odile.device.pk)].key == bytes.fromhex(odile.key.public)
    signed = [leaf for leaf in leaves if b'"call_made"' in leaf and b'"sig":null' not in leaf]
    forged = signed[0].replace(b'"conclusion":"male"', b'"conclusion":"female"')
    assert devices.read(read_leaf(forged)) is not None


def test_a_revoked_device_signs_nothing_more(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    before, after = call(odile, animal), call(odile, animal)
    odile.send(before)
    assert odile.send(odile.revocation()).status == "accepted"
    assert code(odile.send(after)) == "bad_signature"
    (known,) = dossier(animal).calls
    assert known.signed, "what was signed stays signed"


def test_a_revocation_counts_within_a_batch_too(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    first, second = call(odile, animal), call(odile, animal)
    outcomes = odile.push(first, odile.revocation(), second)
    assert [one.status for one in outcomes] == ["accepted", "accepted", "refused"]
    assert code(outcomes[2]) == "bad_signature"


def test_a_revocation_between_the_check_and_the_lock_counts(world: World, odile: Phone) -> None:
    item = call(odile, world.animal("A1"))
    proved = Piece([item], odile.actor, world.now, odile.actor.keeper)
    proved.prepare()
    odile.send(odile.revocation())
    proved.take()
    assert code(proved.outcomes[0]) == "bad_signature"


def test_key_and_first_signed_call_may_come_in_one_batch(world: World) -> None:
    one, animal = phone(world, world.odile, enrolled=False), world.animal("A1")
    outcomes = one.push(one.enrolment(), call(one, animal))
    assert [outcome.status for outcome in outcomes] == ["accepted", "accepted"]
    early = phone(world, world.odile, enrolled=False, name="tablet")
    outcomes = early.push(call(early, animal), early.enrolment())
    assert [outcome.status for outcome in outcomes] == ["refused", "accepted"]


def test_the_very_same_again_is_a_duplicate(world: World, odile: Phone) -> None:
    item = call(odile, world.animal("A1"), texts={"note": "slow to settle"})
    first, twice = odile.push(item, dict(item))
    again = odile.send(item)
    assert [first.status, twice.status, again.status] == ["accepted", "duplicate", "duplicate"]
    assert first.position == twice.position == again.position


def test_a_repeat_is_the_same_with_a_signature_or_without(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    signed = call(odile, animal)
    bare = {name: value for name, value in signed.items() if name != "sig"}
    first = odile.send(signed)
    assert (odile.send(bare).status, odile.send(bare).position) == ("duplicate", first.position)
    late = world.item("call_made", animal.pk, probing("female"))
    unsigned = odile.send(late)
    again = odile.send(odile.key.signed(late))
    assert (again.status, again.position) == ("duplicate", unsigned.position)
    assert read_leaf(bytes(entry_of(late).leaf)).sig is None, "the log keeps the first as it came"


def test_a_repeat_from_the_keepers_next_device(world: World, odile: Phone) -> None:
    """A phone is lost before its answer came: its facts are sent again from the next one,
    with the old signature or with a new one."""
    item = call(odile, world.animal("A1"), texts={"note": "calm"})
    first = odile.send(item)
    odile.send(odile.revocation())
    tablet = phone(world, world.odile, name="tablet")
    plain = {name: value for name, value in item.items() if name != "sig"}
    plain |= {"body": probing("male"), "texts": {"note": "calm"}}
    for again in (item, tablet.key.signed(plain), plain):
        outcome = tablet.send(again)
        assert (outcome.status, outcome.position) == ("duplicate", first.position)
    greta = phone(world, world.greta)
    assert code(greta.send(item)) == "bad_signature"
    assert read_leaf(bytes(entry_of(item).leaf)).sig == item["sig"]


def test_text_is_signed_in_nfc(world: World, odile: Phone) -> None:
    """An e with a combining acute, as some keyboards give it: the log holds NFC."""
    animal = world.animal("A1")
    loose = unicodedata.normalize("NFD", "Crème été")
    said = {"species": "python_regius", "traits": [loose]}
    item = world.item("particulars_corrected", animal.pk, said, texts={"note": loose})
    signed = odile.key.signed(item)
    assert odile.send(signed).status == "accepted"
    leaf = read_leaf(bytes(entry_of(item).leaf))
    assert leaf.body["traits"] == [unicodedata.normalize("NFC", loose)]
    stored = json.loads(bytes(entry_of(item).leaf)) | {"sig": None, "v": 1}
    stated = {name: one for name, one in stored.items() if name not in {"received", "flags"}}
    plain = json.dumps(stated, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(odile.key.public))
    key.verify(b64decode(signed["sig"]), plain.encode())


def test_a_time_in_another_spelling_is_signed_as_the_log_writes_it(
    world: World, odile: Phone
) -> None:
    item = call(odile, world.animal("A1"))
    hours = world.now + timedelta(hours=2)
    loose = item | {"at": rfc3339(hours).replace("Z", "+02:00")}
    assert odile.send(loose).status == "accepted"


def test_a_signer_salts_its_own_texts(world: World, odile: Phone) -> None:
    item = call(odile, world.animal("A1"), texts={"note": "slow to settle"})
    outcome = odile.send(item | {"texts": {"note": "slow to settle"}})
    assert outcome.problem is not None
    assert (code(outcome), "Salt the texts" in outcome.problem["detail"]) == ("wrong_shape", False)
    loose = item | {"texts": {"note": "slow to settle"}, "body": probing("male")}
    outcome = odile.send(loose)
    assert outcome.problem is not None
    assert (code(outcome), "Salt the texts" in outcome.problem["detail"]) == ("bad_signature", True)


def held(world: World, one: Phone, animal: Animal) -> Item:
    """A signed call of a guest that arrives more than 14 days after the visit."""
    visit = world.visit(world.greta, animal)
    at = world.now + timedelta(hours=1)
    item = call(one, animal, body={"visit": str(visit)}, at=at, texts={"note": "late"})
    world.pass_time(days=20)
    assert one.send(item).status == "held"
    return item


@pytest.mark.parametrize("revoked", [False, True])
def test_a_held_call_enters_with_its_signature(world: World, revoked: bool) -> None:
    animal, greta = world.animal("A1"), phone(world, world.greta)
    item = held(world, greta, animal)
    assert HeldCall.objects.get().submission["sig"] == item["sig"]
    assert greta.send(item).status == "held"
    if revoked:
        greta.send(greta.revocation())
    decision = {"held": item["id"], "admitted": True}
    world.say(world.odile, "late_call_decided", animal.pk, decision)
    leaf = read_leaf(bytes(entry_of(item).leaf))
    assert (leaf.sig, leaf.device) == (item["sig"], str(greta.device.pk))
    assert dossier(animal).calls[0].signed
    devices = DeviceKeys()
    entries = Entry.objects.order_by("position")
    assert {devices.read(read_leaf(bytes(entry.leaf))) for entry in entries} == {None}
    assert greta.send(item).status == "duplicate"


def test_a_forged_call_is_not_held(world: World) -> None:
    animal, greta = world.animal("A1"), phone(world, world.greta)
    item = held(world, greta, animal)
    forged = item | {"id": str(new_id())}
    assert code(greta.send(forged)) == "bad_signature"
    assert HeldCall.objects.count() == 1


def test_replay_and_standings_do_not_mind_signatures(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    odile.push(call(odile, animal), call(odile, animal, "female"))
    assert list(Replay().differences()) == []


def test_unsigned_batches_ask_for_no_key(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    items = [world.item("call_made", animal.pk, probing("male")) for _ in range(3)]
    with CaptureQueriesContext(connection) as asked:
        odile.push(*items)
    assert not [one for one in asked if "people_devicekey" in one["sql"]]
    signed = [call(odile, animal) for _ in range(20)]
    with CaptureQueriesContext(connection) as asked:
        odile.push(*signed)
    assert len([one for one in asked if "people_devicekey" in one["sql"]]) == 2
