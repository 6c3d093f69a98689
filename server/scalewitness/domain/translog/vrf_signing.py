"""The private half of the verifiable random function. Only the server has it, and the library that
takes roots eight times as fast as Python does."""

from functools import cached_property
from hashlib import sha256

from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_der_private_key,
)
from gmpy2 import powmod

from scalewitness.domain.translog.base64s import decode64, encode64
from scalewitness.domain.translog.vrf import (
    EXPONENT,
    LEAST_BITS,
    MOST_BITS,
    ROOTS,
    VrfKey,
    to_certify,
)


class BadMapKey(ValueError):
    """The text is not a private key as :meth:`VrfSigner.secret` writes it."""


class VrfSigner:
    """The private half."""

    def __init__(self, key: RSAPrivateKey) -> None:
        numbers = key.private_numbers()
        self._der = key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
        self._p, self._q = numbers.p, numbers.q
        self._dp, self._dq, self._inverse = numbers.dmp1, numbers.dmq1, numbers.iqmp
        self.key = VrfKey(numbers.public_numbers.n)

    def prove(self, alpha: bytes) -> bytes:
        """The one proof for ``alpha``, as long as the modulus."""
        number = self.key.encoded(alpha)
        first = int(powmod(number, self._dp, self._p))
        second = int(powmod(number, self._dq, self._q))
        root = second + (first - second) * self._inverse % self._p * self._q
        return root.to_bytes(self.key.length, "big")

    @cached_property
    def certificate(self) -> tuple[bytes, ...]:
        """Roots that show proofs under this key to be unique; see :meth:`VrfKey.is_certified`."""
        return tuple(self.prove(to_certify(number)) for number in range(ROOTS))

    @cached_property
    def blinding(self) -> bytes:
        """32 secret bytes for what else is to be blinded under this key."""
        return sha256(b"map blinding " + self._der).digest()

    def secret(self) -> str:
        """The private key as one line of text: base64 of PKCS #8."""
        return encode64(self._der)


def read_vrf_signer(text: str) -> VrfSigner:
    """:meth:`VrfSigner.secret` back.

    Raises:
        BadMapKey: it is none, or of another length or exponent than is used here.
    """
    try:
        key = load_der_private_key(decode64(text), None)
    except (ValueError, TypeError) as fault:
        raise BadMapKey(f"no private key in base64 of PKCS #8: {fault}") from None
    if not isinstance(key, RSAPrivateKey) or not LEAST_BITS <= key.key_size <= MOST_BITS:
        raise BadMapKey(f"no RSA key of {LEAST_BITS} to {MOST_BITS} bits")
    if key.public_key().public_numbers().e != EXPONENT:
        raise BadMapKey(f"its exponent is not {EXPONENT}")
    return VrfSigner(key)
