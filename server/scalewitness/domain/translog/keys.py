"""The keys of signed notes: names, key IDs, verifier keys and signers (C2SP signed-note).

Three kinds are known: a log's plain Ed25519 key, and a witness's cosigning keys, Ed25519
(cosignature/v1) and ML-DSA-44 (C2SP tlog-cosignature).
"""

import struct
from enum import IntEnum
from hashlib import sha256
from typing import Final

import msgspec
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.asymmetric.mldsa import MLDSA44PublicKey

from scalewitness.domain.translog.base64s import decode64, encode64
from scalewitness.domain.translog.checkpoints import NotACheckpoint, read_body
from scalewitness.domain.translog.signatures import is_public_key, verify_ed25519

KEY_ID_BYTES: Final = 4
STAMP_BYTES: Final = 8
SIGNER_PREFIX: Final = "PRIVATE+KEY+"


class BadKey(ValueError):
    """The text is not a key as C2SP signed-note writes it."""


class KeyType(IntEnum):
    ED25519 = 0x01
    COSIGNATURE = 0x04
    COSIGNATURE_ML_DSA = 0x06


_PUBLIC_BYTES: Final = {
    KeyType.ED25519: 32,
    KeyType.COSIGNATURE: 32,
    KeyType.COSIGNATURE_ML_DSA: 1312,  # FIPS 204, table 2
}


class Verified(msgspec.Struct, frozen=True):
    """A signature that holds: by whom and, for a cosignature, when (Unix seconds)."""

    name: str
    key_id: bytes
    type: KeyType
    at: int | None = None


class VerifierKey(msgspec.Struct, frozen=True):
    """A public key and the name it signs under."""

    name: str
    type: KeyType
    public: bytes

    @property
    def key_id(self) -> bytes:
        """Four bytes that pick the key; they do not identify it."""
        return key_id(self.name, self.type, self.public)

    def __str__(self) -> str:
        return f"{self.name}+{self.key_id.hex()}+{encode64(bytes([self.type]) + self.public)}"

    def check(self, text: str, signature: bytes) -> Verified | None:
        """The signature over a note's text, or None where it does not hold.

        ``signature`` is what follows the key ID in the signature line.
        """
        if self.type is KeyType.ED25519:
            holds = verify_ed25519(self.public, text.encode(), signature)
            return Verified(self.name, self.key_id, self.type) if holds else None
        if len(signature) <= STAMP_BYTES:
            return None
        (at,) = struct.unpack(">Q", signature[:STAMP_BYTES])
        holds = self._cosigned(text, at, signature[STAMP_BYTES:])
        return Verified(self.name, self.key_id, self.type, at) if holds else None

    def _cosigned(self, text: str, at: int, signature: bytes) -> bool:
        if self.type is KeyType.COSIGNATURE:
            return verify_ed25519(self.public, cosigned_text(text, at), signature)
        try:
            message = cosigned_struct(self.name, text, at)
            MLDSA44PublicKey.from_public_bytes(self.public).verify(signature, message)
        except (InvalidSignature, NotACheckpoint, ValueError):
            return False
        return True


def cosigned_text(text: str, at: int) -> bytes:
    """What an Ed25519 cosigner signs: the time, then the whole checkpoint body."""
    return f"cosignature/v1\ntime {at}\n{text}".encode()


def cosigned_struct(name: str, text: str, at: int) -> bytes:
    """What an ML-DSA-44 cosigner signs: a binary structure over the whole tree."""
    seen = read_body(text)
    return b"".join(
        (
            b"subtree/v1\n\0",
            _short(name),
            struct.pack(">Q", at),
            _short(seen.origin),
            struct.pack(">QQ", 0, seen.size),
            seen.root,
        )
    )


def _short(text: str) -> bytes:
    data = text.encode()
    if len(data) > 255:
        raise ValueError("a name of more than 255 bytes")
    return bytes([len(data)]) + data


def key_id(name: str, type: KeyType, public: bytes) -> bytes:
    return sha256(name.encode() + b"\n" + bytes([type]) + public).digest()[:KEY_ID_BYTES]


def is_key_name(name: str) -> bool:
    """Not empty, no Unicode space, no plus sign, no control character."""
    return bool(name) and "+" not in name and not any(c.isspace() or c < " " for c in name)


def read_verifier(text: str) -> VerifierKey:
    """A verifier key from ``name+hex8+base64``.

    Raises:
        BadKey: other shapes, unknown types, wrong lengths, an ID that is not the key's.
    """
    name, id_hex, material = _split(text)
    type, public = _material(material)
    if len(public) != _PUBLIC_BYTES[type]:
        raise BadKey(f"a key of this type has {_PUBLIC_BYTES[type]} bytes, not {len(public)}")
    if type is not KeyType.COSIGNATURE_ML_DSA and not is_public_key(public):
        raise BadKey("the public key binds nobody")
    key = VerifierKey(name, type, public)
    if key.key_id.hex() != id_hex:
        raise BadKey("the key ID is not that of the key")
    return key


def _split(text: str) -> tuple[str, str, str]:
    parts = text.split("+", 2)  # base64 has plus signs of its own
    if len(parts) != 3 or not is_key_name(parts[0]):
        raise BadKey("a key reads name+ID+base64")
    return parts[0], parts[1], parts[2]


def _material(text: str) -> tuple[KeyType, bytes]:
    try:
        data = decode64(text)
        return KeyType(data[0]), data[1:]
    except (ValueError, IndexError):
        raise BadKey("the key is not base64 of a known type") from None


class Signer(msgspec.Struct, frozen=True):
    """A private Ed25519 key that signs notes under a name, or cosigns them."""

    name: str
    type: KeyType
    seed: bytes

    def __repr__(self) -> str:
        return f"<signer {self.name}>"  # never the seed

    @property
    def verifier(self) -> VerifierKey:
        public = Ed25519PrivateKey.from_private_bytes(self.seed).public_key()
        return VerifierKey(self.name, self.type, public.public_bytes_raw())

    def secret(self) -> str:
        """The text that :func:`read_signer` reads back; keep it out of logs."""
        material = encode64(bytes([self.type]) + self.seed)
        return f"{SIGNER_PREFIX}{self.name}+{self.verifier.key_id.hex()}+{material}"

    def sign(self, text: str, at: int | None = None) -> bytes:
        """What follows the key ID in a signature line. ``at``: Unix seconds, for a
        cosigner only.

        Raises:
            ValueError: a time for a plain key, or none for a cosigner.
        """
        if (self.type is KeyType.COSIGNATURE) != (at is not None):
            raise ValueError("a cosignature has a time, a signature has none")
        key = Ed25519PrivateKey.from_private_bytes(self.seed)
        if at is None:
            return key.sign(text.encode())
        return struct.pack(">Q", at) + key.sign(cosigned_text(text, at))


def read_signer(text: str) -> Signer:
    """A signer from ``PRIVATE+KEY+name+hex8+base64``.

    Raises:
        BadKey: other shapes, or an ID that is not the key's. The text is not repeated.
    """
    if not text.startswith(SIGNER_PREFIX):
        raise BadKey(f"a private key starts with {SIGNER_PREFIX}")
    name, id_hex, material = _split(text.removeprefix(SIGNER_PREFIX))
    type, seed = _material(material)
    if type is KeyType.COSIGNATURE_ML_DSA or len(seed) != 32:
        raise BadKey("only Ed25519 keys, of 32 bytes, sign here")
    signer = Signer(name, type, seed)
    if signer.verifier.key_id.hex() != id_hex:
        raise BadKey("the key ID is not that of the key")
    return signer
