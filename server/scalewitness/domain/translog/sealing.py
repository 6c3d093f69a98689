"""A late call under seal: while its host decides, the log holds a hash of it and no more.

What a call says could be guessed, there is so little to choose from. 32 random bytes stand between
the hash and a guess; whoever sent the call has them, and the record.
"""

import hmac
from hashlib import sha256
from typing import Annotated, Final

from msgspec import Meta, Struct

from scalewitness.domain.translog.commitment import SALT_BYTES

KIND: Final = "call_held"


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
