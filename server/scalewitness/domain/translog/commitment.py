"""Salted commitments: the log holds a hash, the text lives outside and can be erased.

Once text and salt are deleted, the hash tells nothing: 32 random bytes stand between it
and a guess at the text.
"""

import hmac
import unicodedata
from hashlib import sha256
from typing import Final

SALT_BYTES: Final = 32


def commit(text: str, salt: bytes) -> str:
    """Lower-case hex SHA-256 over ``salt`` and the UTF-8 of the NFC text.

    The salt has exactly 32 secret random bytes, a fresh one for every text. Raises
    ValueError for another length and for text with lone surrogates.
    """
    if len(salt) != SALT_BYTES:
        raise ValueError(f"a salt has {SALT_BYTES} bytes, not {len(salt)}")
    try:
        encoded = unicodedata.normalize("NFC", text).encode()
    except UnicodeEncodeError:
        raise ValueError("the text holds a lone surrogate") from None
    return sha256(salt + encoded).hexdigest()


def opens(commitment: str, text: str, salt: bytes) -> bool:
    """Whether ``text`` and ``salt`` open the commitment, compared in constant time."""
    return hmac.compare_digest(commitment.encode(errors="replace"), commit(text, salt).encode())
