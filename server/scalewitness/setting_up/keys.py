"""New keys for a log."""

import os
import secrets

from cryptography.hazmat.primitives.asymmetric.rsa import generate_private_key

from scalewitness.domain.translog.keys import KeyType, Signer, is_key_name
from scalewitness.domain.translog.vrf import EXPONENT, LEAST_BITS
from scalewitness.domain.translog.vrf_signing import VrfSigner


def fresh_log_key(origin: str) -> Signer:
    """A new key for the log ``origin``, a name it keeps for good.

    Raises:
        ValueError: the name has spaces, plus signs or control characters.
    """
    if not is_key_name(origin):
        raise ValueError("an origin has no spaces, plus signs or control characters")
    return Signer(origin, KeyType.ED25519, os.urandom(32))


def fresh_map_key() -> VrfSigner:
    """A new key that the map of subjects is blinded under."""
    return VrfSigner(generate_private_key(EXPONENT, LEAST_BITS))


def fresh_secret(characters: int = 43) -> str:
    """Made at random, of letters, digits, ``-`` and ``_``."""
    return secrets.token_urlsafe(characters)[:characters]
