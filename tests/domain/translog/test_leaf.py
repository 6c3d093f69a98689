import json
from typing import Any

import pytest

from scalewitness.domain.translog.canonical import BadJson, NotCanonical
from scalewitness.domain.translog.leaf import (
    MAX_ENTRY_BYTES,
    EntryTooLarge,
    Leaf,
    NotALeaf,
    Stamp,
    StampedLeaf,
    leaf_bytes,
    read_leaf,
    signable_bytes,
    signed_bytes,
)

ENTRY: dict[str, Any] = {
    "kind": "call",
    "id": "017f22e2-79b0-7cc3-98c4-dc0c0c07398f",
    "by": "0190a000-0000-7000-8000-000000000001",
    "device": None,
    "at": "2026-05-01T09:30:00.000Z",
    "about": "0190a000-0000-7000-8000-000000000002",
    "body": {"method": "probing", "passes": [{"side": "left", "depth": "9"}]},
    "sig": None,
}
STAMP = Stamp("2026-05-01T09:31:00.000250Z", ("clock_ahead", "late"))
STAMPED = {"v": 2, "received": STAMP.received, "flags": list(STAMP.flags)}


def as_sent(members: dict[str, Any]) -> bytes:
    return json.dumps(members, sort_keys=True, separators=(",", ":")).encode()


def with_body_of(length: int) -> dict[str, Any]:
    return ENTRY | {"body": {"pad": "x" * length}}


def test_the_bytes_are_the_sorted_compact_object_with_every_member_present() -> None:
    # Written out by hand from RFC 8785: sorted names, no spaces.
    assert leaf_bytes(**ENTRY) == (
        b'{"about":"0190a000-0000-7000-8000-000000000002",'
        b'"at":"2026-05-01T09:30:00.000Z",'
        b'"body":{"method":"probing","passes":[{"depth":"9","side":"left"}]},'
        b'"by":"0190a000-0000-7000-8000-000000000001",'
        b'"device":null,'
        b'"id":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f",'
        b'"kind":"call","sig":null,"v":1}'
    )


def test_version_2_has_what_the_record_stamped_on_it() -> None:
    # Written out by hand from RFC 8785: sorted names, no spaces.
    assert leaf_bytes(**ENTRY, stamp=STAMP) == (
        b'{"about":"0190a000-0000-7000-8000-000000000002",'
        b'"at":"2026-05-01T09:30:00.000Z",'
        b'"body":{"method":"probing","passes":[{"depth":"9","side":"left"}]},'
        b'"by":"0190a000-0000-7000-8000-000000000001",'
        b'"device":null,'
        b'"flags":["clock_ahead","late"],'
        b'"id":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f",'
        b'"kind":"call","received":"2026-05-01T09:31:00.000250Z","sig":null,"v":2}'
    )


def test_an_entry_reads_back_as_it_was_written() -> None:
    signed = ENTRY | {"sig": "c2lnbmF0dXJl"}
    assert read_leaf(leaf_bytes(**signed)) == Leaf(**signed)
    assert read_leaf(leaf_bytes(**signed)).stamp is None
    stamped = read_leaf(leaf_bytes(**signed, stamp=STAMP))
    assert stamped == StampedLeaf(**signed, received=STAMP.received, flags=STAMP.flags)
    assert stamped.stamp == STAMP


def test_a_signature_covers_the_same_in_both_versions() -> None:
    signed = ENTRY | {"sig": "c2lnbmF0dXJl"}
    for stamp in (None, STAMP):
        assert signed_bytes(read_leaf(leaf_bytes(**signed, stamp=stamp))) == leaf_bytes(**ENTRY)


def test_a_device_signs_the_entry_with_the_signature_null() -> None:
    signed = leaf_bytes(**(ENTRY | {"sig": "c2lnbmF0dXJl"}))
    unsigned = {name: value for name, value in ENTRY.items() if name != "sig"}
    assert signable_bytes(**unsigned) == signed.replace(b'"c2lnbmF0dXJl"', b"null")


def test_text_is_normalised_before_it_is_hashed() -> None:
    decomposed = leaf_bytes(**(ENTRY | {"body": {"tag": "e\u0301"}}))
    assert decomposed == leaf_bytes(**(ENTRY | {"body": {"tag": "\u00e9"}}))


def test_an_entry_fits_the_two_byte_length_prefix_or_is_refused() -> None:
    overhead = len(leaf_bytes(**with_body_of(0)))
    largest = leaf_bytes(**with_body_of(MAX_ENTRY_BYTES - overhead))
    assert len(largest) == 65_535
    assert read_leaf(largest).kind == "call"
    with pytest.raises(EntryTooLarge):
        leaf_bytes(**with_body_of(MAX_ENTRY_BYTES - overhead + 1))


def test_a_fraction_in_a_body_is_refused_where_it_stands() -> None:
    with pytest.raises(NotCanonical) as caught:
        leaf_bytes(**(ENTRY | {"body": {"passes": [{"depth": 9.5}]}}))
    assert caught.value.pointer == "/body/passes/0/depth"


@pytest.mark.parametrize(
    "change",
    [
        lambda data: data + b"\n",
        lambda data: data.replace(b":", b": ", 1),
        lambda data: data.replace(b"call", b"c\\u0061ll"),
        lambda data: data.replace(b'"kind":"call","sig":null', b'"sig":null,"kind":"call"'),
        lambda data: data.replace(b'"9"', '"e\u0301"'.encode()),
    ],
    ids=["newline", "space", "escape", "order", "not NFC"],
)
def test_other_bytes_of_the_same_content_are_refused(change: Any) -> None:
    data = leaf_bytes(**ENTRY)
    assert change(data) != data
    with pytest.raises(NotCanonical):
        read_leaf(change(data))


@pytest.mark.parametrize(
    "changes",
    [
        {"v": 2},
        {"v": 3},
        {"v": 0},
        {"v": True},
        {"received": STAMP.received, "flags": []},
        {"received": None, "flags": None},
        STAMPED | {"received": None},
        STAMPED | {"received": "2026-05-01T09:31:00.000Z"},
        STAMPED | {"received": "2026-05-01T09:31:00.000250+00:00"},
        STAMPED | {"flags": None},
        STAMPED | {"flags": "late"},
        STAMPED | {"flags": [1]},
        STAMPED | {"extra": None},
        {"v": "1"},
        {"extra": None},
        {"kind": None},
        {"id": 7},
        {"body": []},
        {"body": None},
        {"sig": 1},
        {"at": None},
    ],
)
def test_canonical_json_that_is_no_entry_is_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(NotALeaf):
        read_leaf(as_sent({"v": 1} | ENTRY | changes))


@pytest.mark.parametrize("version", [{"v": 1}, STAMPED], ids=["1", "2"])
def test_every_member_must_be_present(version: dict[str, Any]) -> None:
    whole = version | ENTRY
    assert read_leaf(as_sent(whole)).kind == "call"
    for missing in whole:
        with pytest.raises(NotALeaf):
            read_leaf(as_sent({name: one for name, one in whole.items() if name != missing}))


def test_bytes_that_are_not_strict_json_are_refused() -> None:
    for data in (b"", b"\xff", b'{"v":1,"v":1}', b" " * (MAX_ENTRY_BYTES + 1)):
        with pytest.raises(BadJson):
            read_leaf(data)
    with pytest.raises(NotALeaf):
        read_leaf(b"[]")
