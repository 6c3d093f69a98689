"""A log entry as bytes: what is hashed into the tree, and what a device signs.

The entry carries its own version, and every member is always present (null where there is
nothing to say), so a missing member can never be mistaken for an empty one.
"""

from collections.abc import Mapping
from typing import Any, Final, Literal
from uuid import UUID

import msgspec

from scalewitness.domain.translog.canonical import NotCanonical, canonical_bytes, parse_strict

MAX_ENTRY_BYTES: Final = 65_535
"""The length prefix of C2SP tlog-tiles entry bundles is a uint16."""


class EntryTooLarge(ValueError):
    """The entry would not fit the two-byte length prefix of an entry bundle."""


class NotALeaf(ValueError):
    """Canonical JSON, but not an entry of this log."""


class Leaf(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One entry of the log.

    ``kind`` names the fact, ``id`` is its UUIDv7, ``by`` the keeper's pseudonymous id,
    ``device`` the device that made it, ``at`` the claimed time (RFC 3339), ``about`` the
    animal or other thing it concerns, ``sig`` the device's signature over
    :func:`signable_bytes`.
    """

    v: Literal[1]
    kind: str
    id: str
    by: str | None
    device: str | None
    at: str
    about: str | None
    body: dict[str, Any]
    sig: str | None


def leaf_bytes(
    *,
    kind: str,
    id: UUID | str,
    by: UUID | str | None,
    device: UUID | str | None,
    at: str,
    about: UUID | str | None,
    body: Mapping[str, object],
    sig: str | None,
) -> bytes:
    """The entry's canonical bytes, at most :data:`MAX_ENTRY_BYTES`.

    Raises :class:`EntryTooLarge`, and ``NotCanonical`` where a value has no canonical form.
    """
    entry = canonical_bytes(
        {
            "v": 1,
            "kind": kind,
            "id": id,
            "by": by,
            "device": device,
            "at": at,
            "about": about,
            "body": body,
            "sig": sig,
        }
    )
    if len(entry) > MAX_ENTRY_BYTES:
        raise EntryTooLarge(f"the entry has {len(entry)} bytes, at most {MAX_ENTRY_BYTES} fit")
    return entry


def signable_bytes(
    *,
    kind: str,
    id: str,
    by: str | None,
    device: str | None,
    at: str,
    about: str | None,
    body: Mapping[str, object],
) -> bytes:
    """The bytes a device signs: the entry with ``sig`` null. Raises as :func:`leaf_bytes`."""
    return leaf_bytes(
        kind=kind, id=id, by=by, device=device, at=at, about=about, body=body, sig=None
    )


def signed_bytes(leaf: Leaf) -> bytes:
    """What the signature of an entry read back is over."""
    members = {name: getattr(leaf, name) for name in leaf.__struct_fields__ if name != "v"}
    return leaf_bytes(**(members | {"sig": None}))


def read_leaf(data: bytes) -> Leaf:
    """Read an entry back, accepting only the very bytes :func:`leaf_bytes` writes.

    Raises ``BadJson`` for what is not strict JSON, ``NotCanonical`` where writing the
    content again gives other bytes, :class:`NotALeaf` for other members or types.
    """
    value = parse_strict(data, MAX_ENTRY_BYTES)
    if canonical_bytes(value) != data:
        raise NotCanonical("the bytes are not the canonical form of their content")
    try:
        return msgspec.convert(value, Leaf)
    except msgspec.ValidationError as fault:
        raise NotALeaf(str(fault)) from None
