"""Ed25519 (RFC 8032) checks, with no second signature for the same message."""

from functools import lru_cache
from hashlib import sha256
from typing import Final

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

PUBLIC_KEY_BYTES: Final = 32
SIGNATURE_BYTES: Final = 64

_PRIME: Final = 2**255 - 19
_D: Final = -121665 * pow(121666, -1, _PRIME) % _PRIME
_SIGN_BIT: Final = 1 << 255


@lru_cache(maxsize=1_024)  # one device's facts come together
def is_public_key(key: bytes) -> bool:
    """Whether ``key`` is a 32-byte encoding that can bind its holder.

    Refused are encodings with y ≥ p and points of small order: for those anyone can write
    signatures, so "signed on the examiner's device" would mean nothing.
    """
    if len(key) != PUBLIC_KEY_BYTES:
        return False
    y = int.from_bytes(key, "little") & ~_SIGN_BIT
    return y < _PRIME and not _has_small_order(y)


def _has_small_order(y: int) -> bool:
    """Whether the point with this y lies in the subgroup of order 8.

    y = ±1 has order 1 or 2, y = 0 order 4. For order 8 doubling must give y = 0, which on
    −x² + y² = 1 + d·x²·y² (RFC 8032, 5.1) means x² = −y², hence d·y⁴ + 2·y² = 1.
    """
    if y in (0, 1, _PRIME - 1):
        return True
    return (_D * pow(y, 4, _PRIME) + 2 * y * y - 1) % _PRIME == 0


def fingerprint(key: bytes) -> str:
    """For people to compare: half the key's SHA-256 as eight groups of four hex digits."""
    digits = sha256(key).hexdigest()[:32]
    return " ".join(digits[at : at + 4] for at in range(0, 32, 4))


def verify_ed25519(public_key: bytes, message: bytes, signature: bytes) -> bool:
    """Whether the 64-byte ``signature`` over ``message`` is by ``public_key`` (32 bytes).

    False, never an error, for any other length and for a key :func:`is_public_key`
    refuses. The library itself refuses an S not below the group order (RFC 8032, 5.1.7),
    which would otherwise make a second signature; the tests hold it to that.
    """
    if len(signature) != SIGNATURE_BYTES or not is_public_key(public_key):
        return False
    try:
        Ed25519PublicKey.from_public_bytes(public_key).verify(signature, message)
    except InvalidSignature:
        return False
    return True
