"""A forged, moved or borrowed signature on a fact is refused, and a
second fitting one changes nothing."""

from base64 import b64decode, b64encode
from collections.abc import Callable
from hashlib import sha512
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from tests.signing import Item, Phone, call, code, entry_of, phone
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.domain.translog.leaf import read_leaf, signed_bytes
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept
from scalewitness.ledger.models import Entry

pytestmark = pytest.mark.django_db

ORDER = 2**252 + 27742317777372353535851937790883648493
"""Of the base point's group (RFC 8032, 5.1)."""


@pytest.fixture
def odile(world: World) -> Phone:
    return phone(world, world.odile)


def tampered(**change: Any) -> Callable[[Item, Animal], Item]:
    return lambda item, other: (
        item
        | {name: value(item, other) if callable(value) else value for name, value in change.items()}
    )


REPLAYS = {
    "another id": tampered(id=lambda item, other: str(new_id())),
    "another animal": tampered(about=lambda item, other: str(other.pk)),
    "another time": tampered(at=lambda item, other: item["at"].replace(".000Z", ".001Z")),
    "another kind": tampered(kind="call_withdrawn", body={"call": str(new_id())}),
    "another conclusion": tampered(body=lambda item, other: probing("female")),
    "a text slipped in": tampered(texts={"note": "never said"}),
}


@pytest.mark.parametrize("change", REPLAYS.values(), ids=REPLAYS)
@pytest.mark.parametrize("sent_before", [False, True])
def test_a_signature_fits_no_other_fact(
    world: World, odile: Phone, change: Callable[[Item, Animal], Item], sent_before: bool
) -> None:
    animal, other = world.animal("A1"), world.animal("A2")
    item = call(odile, animal)
    if sent_before:
        odile.send(item)
    before = Entry.objects.count()
    good = call(odile, other)
    outcomes = odile.push(change(item, other), good)
    assert (code(outcomes[0]), outcomes[1].status) == ("bad_signature", "accepted")
    assert outcomes[0].problem is not None
    assert outcomes[0].problem["errors"][0]["pointer"] == "/sig"
    assert Call.objects.filter(animal=animal).count() == int(sent_before)
    assert Entry.objects.count() == before + 2  # the good call and the standing after it


def malleable(signature: bytes) -> bytes:
    """A second signature for the same message, were S not held below the group's order."""
    s = int.from_bytes(signature[32:], "little") + ORDER
    return signature[:32] + s.to_bytes(32, "little")


FORGERIES = {
    "R changed": lambda signature: bytes([signature[0] ^ 1]) + signature[1:],
    "S + L": malleable,
    "of another message": lambda signature: Ed25519PrivateKey.generate().sign(b"else"),
    "nothing": lambda signature: bytes(64),
}
"""The must-refuse cases of tests/vectors/uuid7_ed25519.json, made of a fitting signature."""


@pytest.mark.parametrize("forge", FORGERIES.values(), ids=FORGERIES)
def test_a_forged_signature_is_refused(
    world: World, odile: Phone, forge: Callable[[bytes], bytes]
) -> None:
    animal = world.animal("A1")
    item = call(odile, animal)
    forged = item | {"sig": b64encode(forge(b64decode(item["sig"]))).decode()}
    assert code(odile.send(forged)) == "bad_signature"
    assert not Entry.objects.filter(fact=item["id"]).exists()
    assert odile.send(item).status == "accepted", "the id was not used up"
    assert code(odile.send(forged)) == "bad_signature", "nor is it a repeat"


@pytest.mark.parametrize(
    "sig", ["", "AAAA", "A" * 85 + "B==", "A" * 86, "A" * 86 + "==\n", 7, "_" * 85 + "A=="]
)
def test_what_is_no_signature_at_all(world: World, odile: Phone, sig: object) -> None:
    item = call(odile, world.animal("A1")) | {"sig": sig}
    outcome = odile.send(item)
    assert code(outcome) == "wrong_shape"
    assert outcome.problem is not None
    assert outcome.problem["errors"][0]["pointer"] == "/sig"


def test_another_devices_key_does_not_sign_here(world: World, odile: Phone) -> None:
    animal, tablet = world.animal("A1"), phone(world, world.odile, name="tablet")
    keyless = phone(world, world.odile, enrolled=False)
    world.make_partner(world.pim)
    pim = phone(world, world.pim)
    for sender in (tablet, keyless, pim):
        assert code(sender.send(call(odile, animal))) == "bad_signature"
    borrowed = call(odile, animal)
    assert code(accept([borrowed], Actor(keeper=world.odile.pk), world.now)[0]) == "bad_signature"
    someone = Actor(keeper=world.stan.pk, device=odile.device.pk)  # no token gives this
    assert code(accept([borrowed], someone, world.now)[0]) == "bad_signature"
    assert code(keyless.send(call(keyless, animal))) == "bad_signature"
    assert not animal.calls.exists()


def test_a_buyer_has_no_device_to_sign_on(world: World, odile: Phone) -> None:
    sale = world.draft(world.verified("V1"))
    world.offer(sale)
    item = world.item("sale_confirmed", sale.pk, world.look(sale))
    outcome = accept([odile.key.signed(item)], world.buyer(sale), world.now)[0]
    assert code(outcome) == "bad_signature"


def test_a_second_fitting_signature_would_change_nothing(
    world: World, odile: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ed25519 as RFC 8032 has it gives one signature a message, but a signer may draw its
    nonce at random; the verifier cannot tell. The first one is kept."""
    item = call(odile, world.animal("A1"))
    first = odile.send(item)
    other = item | {"sig": b64encode(random_nonce_signature(odile, item)).decode()}
    assert other["sig"] != item["sig"]
    again = odile.send(other)
    assert (again.status, again.position) == ("duplicate", first.position)
    assert read_leaf(bytes(entry_of(item).leaf)).sig == item["sig"]


def random_nonce_signature(one: Phone, item: Item) -> bytes:
    """RFC 8032, 5.1.6, with another r than the one the seed gives."""
    private = one.key._private
    half = sha512(private.private_bytes_raw()).digest()[:32]
    scalar = int.from_bytes(half, "little") & ~7 & ~(1 << 255) | (1 << 254)
    scalar &= (1 << 255) - 1
    # R = rB for the r of another key: its public key is that point, its clamped scalar r.
    nonce = Ed25519PrivateKey.generate()
    r = int.from_bytes(sha512(nonce.private_bytes_raw()).digest()[:32], "little")
    r = (r & ~7 & ((1 << 255) - 1)) | (1 << 254)
    point = nonce.public_key().public_bytes_raw()
    message = signed_bytes(read_leaf(bytes(entry_of(item).leaf)))
    public = private.public_key().public_bytes_raw()
    k = int.from_bytes(sha512(point + public + message).digest(), "little")
    return point + ((r + k * scalar) % ORDER).to_bytes(32, "little")
