"""Whether the signatures in the log hold, from its entries alone.

A device's key enters the log as a fact that the key itself signs. So anyone who holds the
entries can check every later signature, for ever, without asking the server who was who.
"""

from collections.abc import Mapping
from typing import Any, Final

import msgspec

from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.leaf import Leaf, signed_bytes
from scalewitness.domain.translog.signatures import verify_ed25519

ENROLLED: Final = "device_key_enrolled"
REVOKED: Final = "device_revoked"
ENDORSED: Final = "device_key_endorsed"
RULED: Final = "signatures_required"
DECIDED: Final = "late_call_decided"
READ_WHOLE: Final = frozenset({ENROLLED, REVOKED, RULED, DECIDED})
"""Of which the body bears on signatures."""
WITH_A_CALL: Final = frozenset({"husbandry_noted", "photo_attached"})


class Enrolled(msgspec.Struct, frozen=True):
    """A key the log knows, and whose device holds it."""

    keeper: str
    key: bytes
    recovery: bool = False


class DeviceKeys(msgspec.Struct):
    """The devices as the log tells of them. Feed it every entry from position 0, in order.
    A plain value, so that a long reading can be put down and gone on with.

    The record checks a call when it comes in; one held for its host's decision may enter
    after its device was revoked. That it came before, only the record can say.
    """

    enrolled: dict[str, Enrolled] = {}
    keys: set[bytes] = set()
    revoked: set[str] = set()
    released: set[str] = set()
    """Calls that their host admitted; each is forgotten once it was read."""

    def read(self, leaf: Leaf, held: bytes | None = None) -> str | None:
        """Take the next entry in; what is wrong with its signature, or None. ``held``: a key
        under which its signature was seen to hold before.

        An entry without a signature is fine unless it enrols a key.
        """
        fault = self._fault(leaf, held)
        if fault is None:
            self._learn(leaf)
        return fault

    def read_unsigned(self, id: str) -> None:
        """Take in the next entry, which has no signature and tells of none (:func:`bears_on`)."""
        self.released.discard(id)

    def _fault(self, leaf: Leaf, held: bytes | None) -> str | None:
        if leaf.kind == ENROLLED:
            return self._enrolment_fault(leaf, held)
        if not _is_read_so(leaf):
            return "no fact of its kind has such a body"
        if leaf.sig is None:
            return None
        known = self.enrolled.get(leaf.device or "")
        if known is None:
            return "signed by a device without a key"
        if known.keeper != leaf.by:
            return "signed by another keeper's device"
        if leaf.device in self.revoked and not self._was_released(leaf):
            return "signed by a device that had been revoked"
        if known.recovery and not recovers(leaf.kind, leaf.body):
            return "signed with a recovery key, which signs no such thing"
        fits = held == known.key or holds(leaf, known.key)
        return None if fits else "the signature does not fit"

    def _was_released(self, leaf: Leaf) -> bool:
        """Whether its host admitted it: a call, or what was taken with one, just before that."""
        return leaf.id in self.released or (leaf.kind in WITH_A_CALL and bool(self.released))

    def _enrolment_fault(self, leaf: Leaf, held: bytes | None) -> str | None:
        device, key = leaf.body.get("device"), _unhexed(leaf.body.get("key"))
        if leaf.by is None or leaf.by != leaf.about or device != leaf.device:
            return "a key enrolled for someone else"
        if device in self.enrolled or key in self.keys:
            return "the device or the key was enrolled before"
        fits = held == key or holds(leaf, key)
        return None if fits else "the key does not sign its own enrolment"

    def _learn(self, leaf: Leaf) -> None:
        body = leaf.body
        if leaf.kind == ENROLLED:
            self._enrol(body, leaf.by or "")
        elif leaf.kind == REVOKED:
            self.revoked.add(body["device"])
        elif leaf.kind == DECIDED and body["admitted"]:
            self.released.add(body["held"])
        self.released.discard(leaf.id)

    def _enrol(self, body: Mapping[str, Any], keeper: str) -> None:
        key = bytes.fromhex(body["key"])
        self.enrolled[body["device"]] = Enrolled(keeper, key, body.get("recovery", False))
        self.keys.add(key)


def recovers(kind: str, body: Mapping[str, Any]) -> bool:
    """Whether it is what a keeper states with a recovery key: that nothing has to be signed any
    more, that a device is theirs, or that one is lost."""
    return kind in {ENDORSED, REVOKED} or (kind == RULED and body.get("required") is False)


def bears_on(leaf: Leaf) -> bool:
    """Whether an entry is signed, or tells which signatures hold."""
    return leaf.sig is not None or leaf.kind in READ_WHOLE


def holds(leaf: Leaf, key: bytes) -> bool:
    """Whether the entry carries a signature, and it is by this key over this entry."""
    try:
        signature = decode64(leaf.sig or "")
    except ValueError:
        return False
    return verify_ed25519(key, signed_bytes(leaf), signature)


def _is_read_so(leaf: Leaf) -> bool:
    """Whether its body has what is read of it here: an entry may have come past the record."""
    if leaf.kind == REVOKED:
        return isinstance(leaf.body.get("device"), str)
    if leaf.kind == DECIDED:
        return "admitted" in leaf.body and isinstance(leaf.body.get("held"), str)
    return True


def _unhexed(text: object) -> bytes:
    try:
        return bytes.fromhex(text) if isinstance(text, str) else b""
    except ValueError:
        return b""
