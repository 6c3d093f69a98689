"""A late call under seal: while its host decides, the log holds a hash of it and no more.

What a call says could be guessed, there is so little to choose from. 32 random bytes stand between
the hash and a guess; whoever sent the call has them, and the record.
"""

import hmac
from collections.abc import Sequence
from hashlib import sha256
from typing import Annotated, Final

from msgspec import Meta, Struct

from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.commitment import SALT_BYTES
from scalewitness.domain.translog.leaf import read_leaf

KIND: Final = "call_held"


class NotSealed(ValueError):
    """The entry seals something else, or is none that seals a call. The text says why."""


class SealedCall(Struct, frozen=True):
    """For whoever sent a call that is held: the ``entry`` that seals it (base64) at its
    ``position`` in the log, and the ``salt`` that opens it, in hexadecimal."""

    position: Annotated[int, Meta(ge=0)]
    entry: str
    salt: str


def seal(sent: bytes, salt: bytes) -> str:
    """Hexadecimal SHA-256 over ``salt`` and ``sent``: the entry of version 1 that the call would
    be, with its signature.

    Raises:
        ValueError: the salt has another length than 32 bytes.
    """
    if len(salt) != SALT_BYTES:
        raise ValueError(f"a salt has {SALT_BYTES} bytes, not {len(salt)}")
    return sha256(salt + sent).hexdigest()


def is_sealed(sent: bytes, salt: bytes, sealed: str) -> bool:
    """Whether this is what was sealed."""
    return hmac.compare_digest(sealed.encode(errors="replace"), seal(sent, salt).encode())


def require_sealed(given: SealedCall, forms: Sequence[bytes]) -> bytes:
    """See that the entry seals a call that was sent in one of these ``forms``, entries of version
    1; the entry's bytes.

    Raises:
        NotSealed: it does not.
    """
    try:
        entry, salt = decode64(given.entry), bytes.fromhex(given.salt)
        leaf = read_leaf(entry)
        sealed = str(leaf.body.get("sealed"))
        fitting = [read_leaf(one) for one in forms if is_sealed(one, salt, sealed)]
    except ValueError as fault:
        raise NotSealed(f"it cannot be read: {fault}") from None
    if leaf.kind != KIND or leaf.by is not None:
        raise NotSealed("it is no entry of the record's own that seals a call")
    if not fitting:
        raise NotSealed("what it seals is not what was sent")
    if (leaf.about, leaf.body.get("held")) != (fitting[0].about, fitting[0].id):
        raise NotSealed("it speaks of another call")
    return entry
