"""A log entry as bytes: what is hashed into the tree, and what a device signs.

The entry carries its own version, and every member is always present (null where there is
nothing to say), so a missing member can never be mistaken for an empty one.

Version 1 holds what the sender stated. Version 2, which every new entry has, adds what the
record stamped on it when it came in: the time received and the flags. What a device signs is
in both versions the same, the *statement*: the entry of version 1 with ``sig`` null.
"""

from collections.abc import Mapping
from typing import Annotated, Any, Final
from uuid import UUID

import msgspec

from scalewitness.domain.translog.canonical import (
    NotCanonical,
    canonical_bytes,
    parse_strict,
    read_plain,
)

MAX_ENTRY_BYTES: Final = 65_535
"""The length prefix of C2SP tlog-tiles entry bundles is a uint16."""

Received = Annotated[
    str, msgspec.Meta(pattern=r"^[0-9]{4}(-[0-9]{2}){2}T[0-9]{2}(:[0-9]{2}){2}\.[0-9]{6}Z$")
]
"""A time of the record's own clock: RFC 3339 in UTC, to the microsecond."""


class EntryTooLarge(ValueError):
    """The entry would not fit the two-byte length prefix of an entry bundle."""


class NotALeaf(ValueError):
    """Canonical JSON, but not an entry of this log."""


class Stamp(msgspec.Struct, frozen=True):
    """What the record itself puts on a fact as it comes in: when it ``received`` it, and
    ``flags`` such as ``clock_ahead`` or ``late``."""

    received: Received
    flags: tuple[str, ...] = ()


class Leaf(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag=1, tag_field="v"
):
    """One entry of the log, of version 1.

    ``kind`` names the fact, ``id`` is its UUIDv7, ``by`` the keeper's pseudonymous id,
    ``device`` the device that made it, ``at`` the claimed time (RFC 3339), ``about`` the
    animal or other thing it concerns, ``sig`` the device's signature over
    :func:`signable_bytes`.
    """

    kind: str
    id: str
    by: str | None
    device: str | None
    at: str
    about: str | None
    body: dict[str, Any]
    sig: str | None

    @property
    def stamp(self) -> Stamp | None:
        """What the record added; None in version 1, whose entries tell nothing of it."""
        return None


class StampedLeaf(Leaf, frozen=True, kw_only=True, forbid_unknown_fields=True, tag=2):
    """An entry of version 2: with the record's stamp."""

    received: Received
    flags: tuple[str, ...]

    @property
    def stamp(self) -> Stamp:
        return Stamp(self.received, self.flags)


STATED: Final = tuple(name for name in Leaf.__struct_fields__ if name != "sig")


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
    stamp: Stamp | None = None,
) -> bytes:
    """The entry's canonical bytes, at most :data:`MAX_ENTRY_BYTES`: of version 2 with a
    ``stamp``, else of version 1.

    Raises :class:`EntryTooLarge`, and ``NotCanonical`` where a value has no canonical form.
    """
    members: dict[str, object] = {
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
    if stamp is not None:
        members |= {"v": 2, "received": stamp.received, "flags": list(stamp.flags)}
    entry = canonical_bytes(members)
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
    """The bytes a device signs: the statement, which is the entry of version 1 with ``sig``
    null. A device cannot know what the record will stamp on it. Raises as :func:`leaf_bytes`."""
    return leaf_bytes(
        kind=kind, id=id, by=by, device=device, at=at, about=about, body=body, sig=None
    )


def signed_bytes(leaf: Leaf) -> bytes:
    """What the signature of an entry read back is over, whatever its version."""
    return signable_bytes(**{name: getattr(leaf, name) for name in STATED})


def unstamped_bytes(leaf: Leaf) -> bytes:
    """An entry read back as one of version 1: the statement with its signature."""
    return leaf_bytes(**{name: getattr(leaf, name) for name in (*STATED, "sig")})


def read_leaf(data: bytes) -> Leaf:
    """Read an entry back, accepting only the very bytes :func:`leaf_bytes` writes.

    Raises ``BadJson`` for what is not strict JSON, ``NotCanonical`` where writing the
    content again gives other bytes, :class:`NotALeaf` for other members or types.
    """
    value = read_plain(data) if len(data) <= MAX_ENTRY_BYTES else None
    if value is None:
        value = parse_strict(data, MAX_ENTRY_BYTES)
        if canonical_bytes(value) != data:
            raise NotCanonical("the bytes are not the canonical form of their content")
    try:
        return msgspec.convert(value, Leaf | StampedLeaf)
    except msgspec.ValidationError as fault:
        raise NotALeaf(str(fault)) from None
