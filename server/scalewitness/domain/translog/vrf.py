"""A verifiable random function: RSA-FDH-VRF-SHA256 (RFC 9381, section 4).

Whoever holds the private key turns an input into 32 bytes that nobody else can foretell, and can
show to anybody that these and no others belong to the input. That second half needs a key under
which every number has one root only. RFC 9381 leaves that to trust; here the operator is not
trusted with it, so a key comes with a :func:`certificate`.
"""

from collections.abc import Sequence
from hashlib import sha256
from math import gcd
from typing import Final

import msgspec

EXPONENT: Final = 65_537
"""Prime, so that raising to it is one to one or at least 65,537 to one."""
LEAST_BITS: Final = 2_048
MOST_BITS: Final = 4_096
ROOTS: Final = 8
"""In a certificate: each is there by chance once in 65,537 where roots are not unique, so that a
false key has a certificate with a probability of at most 2^-128 (the image of a map of a group to
itself that is k to one is a k-th of it; Goldberg, Reyzin, Sagga and Baldimtsi 2019 have the
general case)."""
SUITE: Final = b"\x01"
CERTIFIED: Final = b"map key "


class VrfKey(msgspec.Struct, frozen=True):
    """The public half: an RSA modulus; the exponent is always :data:`EXPONENT`."""

    modulus: int

    @property
    def length(self) -> int:
        """Bytes of the modulus, and of a proof."""
        return (self.modulus.bit_length() + 7) // 8

    def to_bytes(self) -> bytes:
        """The modulus, big-endian."""
        return self.modulus.to_bytes(self.length, "big")

    @property
    def hash(self) -> bytes:
        """32 bytes that stand for the key in the log."""
        return sha256(self.to_bytes()).digest()

    def output(self, proof: bytes, alpha: bytes) -> bytes | None:
        """The 32 bytes that belong to ``alpha``, or None where the proof does not show it."""
        root = int.from_bytes(proof, "big")
        if len(proof) != self.length or root >= self.modulus:
            return None
        if gcd(root, self.modulus) != 1 or pow(root, EXPONENT, self.modulus) != self.encoded(alpha):
            return None
        return output_of(proof)

    def encoded(self, alpha: bytes) -> int:
        """What a proof is the root of: MGF1 over the suite, the key and the input."""
        salt = self.length.to_bytes(4, "big") + self.to_bytes()
        return int.from_bytes(_mgf1(SUITE + b"\x01" + salt + alpha, self.length - 1), "big")

    def is_certified(self, roots: Sequence[bytes]) -> bool:
        """Whether the key is of an allowed length and the roots show that proofs are unique."""
        if not LEAST_BITS <= self.modulus.bit_length() <= MOST_BITS or not self.modulus % 2:
            return False
        return len(roots) == ROOTS and all(
            self.output(root, to_certify(number)) is not None for number, root in enumerate(roots)
        )


def read_key(data: bytes) -> VrfKey:
    """:meth:`VrfKey.to_bytes` back."""
    return VrfKey(int.from_bytes(data, "big"))


def output_of(proof: bytes) -> bytes:
    """The 32 bytes that a proof which holds is for."""
    return sha256(SUITE + b"\x02" + proof).digest()


def to_certify(number: int) -> bytes:
    """The input that root ``number`` of a certificate is for."""
    return CERTIFIED + bytes([number])


def _mgf1(seed: bytes, length: int) -> bytes:
    """RFC 8017, appendix B.2.1, with SHA-256."""
    blocks = (sha256(seed + count.to_bytes(4, "big")).digest() for count in range(-(-length // 32)))
    return b"".join(blocks)[:length]
