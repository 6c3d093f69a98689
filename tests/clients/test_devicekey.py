"""What this device signs is what the log will hold."""

import json
from base64 import b64decode
from hashlib import sha256

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from scalewitness_cli.devicekey import DeviceKey

DEVICE = "0b7a3c5e-1111-4222-8333-444455556666"
FACT = {
    "id": "019a3c5e-0000-7000-8000-000000000001",
    "kind": "husbandry_noted",
    "at": "2026-11-01T11:00:00+02:00",
    "about": "019a3c5e-0000-7000-8000-000000000002",
    "body": {"noted": {"type": "weight", "grams": "500"}, "note": None},
    "texts": {"note": "apre\u0300s la mue"},
}


@pytest.fixture
def key() -> DeviceKey:
    return DeviceKey(Ed25519PrivateKey.generate(), keeper="keeper", device=DEVICE)


def test_the_signature_is_over_the_entry_as_the_log_holds_it(key: DeviceKey) -> None:
    """The entry is written here by hand, as RFC 8785 has it: sorted, no spaces, NFC."""
    sent = key.signed(FACT)
    salt, text = bytes.fromhex(sent["texts"]["note"]["salt"]), "apr\u00e8s la mue"
    note = sha256(salt + text.encode()).hexdigest()
    entry = (
        '{"about":"019a3c5e-0000-7000-8000-000000000002","at":"2026-11-01T09:00:00.000Z",'
        f'"body":{{"note":"{note}","noted":{{"grams":"500","type":"weight"}}}},"by":"keeper",'
        f'"device":"{DEVICE}","id":"019a3c5e-0000-7000-8000-000000000001",'
        '"kind":"husbandry_noted","sig":null,"v":1}'
    )
    key._private.public_key().verify(b64decode(sent["sig"]), entry.encode())
    assert sent["texts"]["note"]["text"] == text
    assert len(salt) == 32


def test_members_at_their_default_are_left_out(key: DeviceKey) -> None:
    fact = {name: value for name, value in FACT.items() if name != "texts"}
    assert key.signed(fact)["body"] == {"noted": {"type": "weight", "grams": "500"}}


def test_salts_are_never_used_twice(key: DeviceKey) -> None:
    salts = {key.signed(FACT)["texts"]["note"]["salt"] for _ in range(5)}
    assert len(salts) == 5


def test_an_enrolment_is_signed_with_the_key_it_names(key: DeviceKey) -> None:
    sent = key.enrolment(FACT["id"], "2026-11-01T09:00:00Z")
    assert bytes.fromhex(sent["key"]) == key._private.public_key().public_bytes_raw()
    entry = {
        "about": "keeper",
        "at": "2026-11-01T09:00:00.000Z",
        "body": {"device": DEVICE, "key": sent["key"]},
        "by": "keeper",
        "device": DEVICE,
        "id": FACT["id"],
        "kind": "device_key_enrolled",
        "sig": None,
        "v": 1,
    }
    plain = json.dumps(entry, sort_keys=True, separators=(",", ":"))
    key._private.public_key().verify(b64decode(sent["sig"]), plain.encode())


def test_a_body_that_is_not_its_kinds_is_not_signed(key: DeviceKey) -> None:
    with pytest.raises(ValueError, match="noted"):
        key.signed(FACT | {"body": {}})
