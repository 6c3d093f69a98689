"""Signatures checked from the log's entries alone, by values only."""

from base64 import b64encode
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from scalewitness.domain.translog.devices import DeviceKeys, holds
from scalewitness.domain.translog.leaf import (
    STATED,
    Leaf,
    Stamp,
    leaf_bytes,
    read_leaf,
    signable_bytes,
)
from scalewitness.domain.translog.signatures import fingerprint

ODILE, GRETA = "keeper-odile", "keeper-greta"
KEY, OTHER = (Ed25519PrivateKey.from_private_bytes(bytes([n]) * 32) for n in (1, 2))


def public(key: Ed25519PrivateKey) -> str:
    return key.public_key().public_bytes_raw().hex()


def entry(
    kind: str, key: Ed25519PrivateKey | None = None, stamp: Stamp | None = None, **more: Any
) -> Leaf:
    """An entry by Odile on her phone, signed with ``key``, read back from its bytes."""
    said = {
        "kind": kind,
        "id": f"fact-{kind}",
        "by": ODILE,
        "device": "phone",
        "at": "2026-11-01T09:00:00.000Z",
        "about": "animal",
        "body": {},
    } | more
    sig = b64encode(key.sign(signable_bytes(**said))).decode() if key else None
    return read_leaf(leaf_bytes(**said, sig=sig, stamp=stamp))


def enrolment(
    key: Ed25519PrivateKey = KEY, signer: Ed25519PrivateKey | None = None, **more: Any
) -> Leaf:
    said = {"about": ODILE, "body": {"device": "phone", "key": public(key)}} | more
    return entry("device_key_enrolled", signer or key, **said)


def read(*leaves: Leaf) -> list[str | None]:
    devices = DeviceKeys()
    return [devices.read(leaf) for leaf in leaves]


def test_an_enrolled_device_signs() -> None:
    assert read(enrolment(), entry("call_made", KEY)) == [None, None]
    assert holds(entry("call_made", KEY), bytes.fromhex(public(KEY)))


def test_nobody_needs_to_sign() -> None:
    record = entry("standing_changed", by=None, device=None)
    assert read(enrolment(), entry("call_made"), record) == [None, None, None]
    assert not holds(entry("call_made"), bytes.fromhex(public(KEY)))


def test_a_signature_before_the_key_is_known_is_worth_nothing() -> None:
    assert read(entry("call_made", KEY)) == ["signed by a device without a key"]
    assert read(enrolment(), entry("call_made", KEY, device="tablet"))[1] is not None


@pytest.mark.parametrize(
    ("leaf", "why"),
    [
        (entry("call_made", OTHER), "the signature does not fit"),
        (entry("call_made", KEY, by=GRETA), "signed by another keeper's device"),
        (entry("call_made", KEY, by=None), "signed by another keeper's device"),
        (entry("call_made", KEY, device=None), "signed by a device without a key"),
    ],
    ids=["other key", "other keeper", "the record", "no device"],
)
def test_what_does_not_fit_is_told(leaf: Leaf, why: str) -> None:
    assert read(enrolment(), leaf) == [None, why]


@pytest.mark.parametrize("stamp", [None, Stamp("2026-11-01T09:00:01.000001Z", ("late",))])
def test_no_byte_that_the_device_stated_can_change(stamp: Stamp | None) -> None:
    signed = entry("call_made", KEY, stamp)
    assert read(enrolment(), signed) == [None, None]
    stated = {name: getattr(signed, name) for name in STATED}
    whole = leaf_bytes(**stated, sig=signed.sig, stamp=stamp)
    for before, after in (
        (b'"about":"animal"', b'"about":"animam"'),
        (b"09:00:00.000Z", b"09:00:00.001Z"),
        (b'"body":{}', b'"body":{"a":1}'),
        (b"fact-call_made", b"fact-call_madf"),
    ):
        assert before in whole
        changed = read_leaf(whole.replace(before, after))
        assert read(enrolment(), changed)[1] == "the signature does not fit"


@pytest.mark.parametrize("sig", ["", "!", "AAAA", "A" * 88])
def test_a_sig_that_is_none(sig: str) -> None:
    plain = entry("call_made")
    bad = read_leaf(
        leaf_bytes(
            **{name: getattr(plain, name) for name in STATED},
            sig=sig,
        )
    )
    assert read(enrolment(), bad) == [None, "the signature does not fit"]


@pytest.mark.parametrize(
    "leaf",
    [
        enrolment(signer=OTHER),
        enrolment(about=GRETA),
        enrolment(by=GRETA),
        enrolment(device="tablet"),
        enrolment(body={"device": "phone", "key": "00" * 32}),
        enrolment(body={"device": "phone", "key": "no key"}),
        enrolment(body={"device": "phone"}),
        entry("device_key_enrolled", about=ODILE, body={"device": "phone", "key": public(KEY)}),
    ],
    ids=["not possessed", "for another", "by another", "elsewhere", "weak", "no hex", "no key",
         "unsigned"],
)  # fmt: skip
def test_an_enrolment_that_proves_nothing(leaf: Leaf) -> None:
    devices = DeviceKeys()
    assert devices.read(leaf) is not None
    assert "phone" not in devices.enrolled


def test_one_key_a_device_and_one_device_a_key() -> None:
    second = enrolment(OTHER)
    there = {"device": "tablet", "body": {"device": "tablet", "key": public(KEY)}}
    assert [one is None for one in read(enrolment(), second, enrolment(**there))] == [
        True,
        False,
        False,
    ]


def test_after_its_revocation_nothing_new_is_taken() -> None:
    revoked = entry("device_revoked", about=ODILE, body={"device": "phone"})
    call = entry("call_made", KEY)
    assert read(enrolment(), call, revoked, call) == [
        None,
        None,
        None,
        "signed by a device that had been revoked",
    ]


@pytest.mark.parametrize("admitted", [True, False])
def test_a_held_call_is_judged_by_when_it_came(admitted: bool) -> None:
    revoked = entry("device_revoked", about=ODILE, body={"device": "phone"})
    call = entry("call_made", KEY)
    decided = entry(
        "late_call_decided", by=GRETA, device=None, body={"held": call.id, "admitted": admitted}
    )
    assert (read(enrolment(), revoked, decided, call)[3] is None) == admitted


@pytest.mark.parametrize("admitted", [True, False])
def test_a_note_held_with_a_call_enters_between_the_decision_and_the_call(admitted: bool) -> None:
    revoked = entry("device_revoked", about=ODILE, body={"device": "phone"})
    note, call = entry("husbandry_noted", KEY), entry("call_made", KEY)
    body = {"held": call.id, "admitted": admitted}
    decided = entry("late_call_decided", by=GRETA, device=None, body=body)
    faults = read(enrolment(), revoked, note, decided, note, call, note)
    assert [one is None for one in faults[2:]] == [False, True, admitted, admitted, False]


def test_a_fingerprint_is_eight_groups_of_four() -> None:
    """RFC 8032, 7.1, TEST 1; the digest by coreutils' sha256sum over the 32 bytes."""
    key = bytes.fromhex("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a")
    assert fingerprint(key) == "21fe 31df a154 a261 626b f854 046f d227"


def test_a_recovery_key_signs_what_gets_its_keeper_in_again_and_nothing_else() -> None:
    body = {"device": "phone", "key": public(KEY), "recovery": True}
    other = {"device": "tablet", "key": public(OTHER)}
    fine = [
        entry("signatures_required", KEY, body={"required": False}),
        entry("device_key_endorsed", KEY, body=other),
        entry("device_revoked", KEY, body={"device": "tablet"}),
    ]
    assert read(enrolment(body=body), *fine) == [None] * 4
    for wrong in (entry("call_made", KEY), entry("signatures_required", KEY)):
        why = "signed with a recovery key, which signs no such thing"
        assert read(enrolment(body=body), wrong) == [None, why]


@pytest.mark.parametrize("kind", ["device_revoked", "late_call_decided"])
@pytest.mark.parametrize("body", [{}, {"device": [], "held": [], "admitted": True}])
def test_a_body_that_came_past_the_record_is_a_fault_and_ends_no_reading(
    kind: str, body: dict[str, Any]
) -> None:
    found = read(enrolment(), entry(kind, body=body), entry("call_made", KEY))
    assert found == [None, "no fact of its kind has such a body", None]
