"""The log's private keys: ``python -m stack.logkey ORIGIN`` makes them for production."""

import os
import sys
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.rsa import generate_private_key

from scalewitness.domain.translog.keys import KeyType, Signer, is_key_name
from scalewitness.domain.translog.vrf import EXPONENT, LEAST_BITS
from scalewitness.domain.translog.vrf_signing import VrfSigner
from stack.secretfile import kept_secret


def fresh_log_key(origin: str) -> Signer:
    """A new key for the log ``origin``, a name it keeps for good.

    Raises:
        ValueError: the name has spaces, plus signs or control characters.
    """
    if not is_key_name(origin):
        raise ValueError("an origin has no spaces, plus signs or control characters")
    return Signer(origin, KeyType.ED25519, os.urandom(32))


def kept_log_key(path: Path, origin: str) -> str:
    """The key in the file, made for ``origin`` the first time."""
    return kept_secret(path, lambda: fresh_log_key(origin).secret())


def fresh_map_key() -> VrfSigner:
    """A new key that the map of subjects is blinded under."""
    return VrfSigner(generate_private_key(EXPONENT, LEAST_BITS))


def kept_map_key(path: Path) -> str:
    """The key in the file that the map of subjects is blinded under, made the first time."""
    return kept_secret(path, lambda: fresh_map_key().secret())


def main(arguments: list[str]) -> int:
    """Print fresh keys for the environment, and the public half to give to others."""
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m stack.logkey ORIGIN, such as record.example.org/log\n")
        return 2
    try:
        signer = fresh_log_key(arguments[0])
    except ValueError as fault:
        sys.stderr.write(f"{fault}\n")
        return 2
    sys.stdout.write(f"LOG_SIGNING_KEY={signer.secret()}\n")
    sys.stdout.write(f"LOG_MAP_KEY={fresh_map_key().secret()}\n")
    sys.stderr.write(f"public: {signer.verifier}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
