"""Identifiers made by clients: UUID version 7 (RFC 9562, 5.7).

The time inside is the client's claim. Nothing is ordered or trusted by it.
"""

import re
from typing import Final
from uuid import UUID

ENTROPY_BYTES: Final = 10
"""74 of these 80 bits survive; version and variant overwrite the other six."""

MAX_UNIX_MS: Final = 2**48 - 1

_HYPHENATED = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_UUID7 = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")


def is_uuid7(text: str) -> bool:
    """Whether ``text`` is a UUIDv7 in the one spelling used here: lower case, hyphens."""
    return _UUID7.fullmatch(text) is not None


def parse_uuid7(text: str) -> UUID:
    """Read a UUIDv7 written in lower case with hyphens. Raises ValueError otherwise.

    One spelling only: the id is hashed into the log and compared as text.
    """
    if not _HYPHENATED.fullmatch(text):
        raise ValueError("an id is a UUID in lower case with hyphens, 36 characters")
    parsed = UUID(text)
    _require_version_7(parsed)
    return parsed


def _require_version_7(value: UUID) -> None:
    if value.bytes[8] >> 6 != 0b10:
        raise ValueError("the id does not have the variant bits of RFC 9562")
    if value.version != 7:
        raise ValueError(f"the id is a UUID of version {value.version}, not 7")


def uuid7(unix_ms: int, entropy: bytes) -> UUID:
    """The UUIDv7 of a time in milliseconds since 1970 and ten bytes of fresh randomness.

    Raises ValueError when the time does not fit 48 bits or the bytes are not ten.
    """
    if not 0 <= unix_ms <= MAX_UNIX_MS:
        raise ValueError(f"{unix_ms} ms do not fit the 48 bits of a UUIDv7")
    if len(entropy) != ENTROPY_BYTES:
        raise ValueError(f"a UUIDv7 takes {ENTROPY_BYTES} random bytes, not {len(entropy)}")
    octets = bytearray(unix_ms.to_bytes(6, "big") + entropy)
    octets[6] = 0x70 | octets[6] & 0x0F
    octets[8] = 0x80 | octets[8] & 0x3F
    return UUID(bytes=bytes(octets))


def unix_ms(value: UUID) -> int:
    """The milliseconds since 1970 a UUIDv7 claims. Raises ValueError for other versions."""
    _require_version_7(value)
    return int.from_bytes(value.bytes[:6], "big")
