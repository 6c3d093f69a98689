"""A recovery key as it is printed and typed: 20 random bytes in eight groups of five characters.

Four characters of a group carry the secret, five bits each; the fifth checks them and the group's
place. So any one mistyped character of a group is found, any two neighbours in a group that were
swapped, and any group in another's place. The alphabet is Crockford's base 32
(crockford.com/base32.html): no I, L, O or U; I and L are read as 1, O as 0.
"""

from collections.abc import Iterator, Sequence
from hashlib import sha256
from typing import Final

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

SECRET_BYTES: Final = 20
ALPHABET: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
READ_AS: Final = str.maketrans("ILO", "110")
GROUPS, CARRYING = 8, 4
BITS: Final = 5
REDUCED_BY: Final = 0b100101
"""x⁵ + x² + 1, which makes a field of the 32 characters."""
DERIVED: Final = b"scalewitness recovery key 1\n"


class Mistyped(ValueError):
    """It is no recovery key as printed; says where."""


def spelled(secret: bytes) -> str:
    """The 20 bytes as printed: eight groups with spaces between them."""
    digits = list(_digits(secret))
    groups = (digits[at : at + CARRYING] for at in range(0, len(digits), CARRYING))
    return " ".join(
        "".join(ALPHABET[one] for one in (*group, _check(number, group)))
        for number, group in enumerate(groups, start=1)
    )


def read(typed: str) -> bytes:
    """The 20 bytes; upper or lower case, with any spaces and hyphens.

    Raises:
        Mistyped: a character is missing or too many, or a group does not fit its check.
    """
    plain = "".join(typed.replace("-", " ").split()).upper().translate(READ_AS)
    if strange := sorted({one for one in plain if one not in ALPHABET}):
        raise Mistyped(f"“{strange[0]}” is in no recovery key.")
    wanted = GROUPS * (CARRYING + 1)
    if len(plain) != wanted:
        raise Mistyped(f"A recovery key has {wanted} characters; these are {len(plain)}.")
    groups = [plain[at : at + CARRYING + 1] for at in range(0, wanted, CARRYING + 1)]
    secret = 0
    for number, group in enumerate(groups, start=1):
        *carrying, check = (ALPHABET.index(one) for one in group)
        if check != _check(number, carrying):
            raise Mistyped(f"Group {number} of {GROUPS}, “{group}”, is mistyped.")
        for one in carrying:
            secret = secret << BITS | one
    return secret.to_bytes(SECRET_BYTES, "big")


def private_key(secret: bytes) -> Ed25519PrivateKey:
    """The key that the secret stands for, the same each time."""
    return Ed25519PrivateKey.from_private_bytes(sha256(DERIVED + secret).digest())


def _digits(secret: bytes) -> Iterator[int]:
    number = int.from_bytes(secret, "big")
    for at in reversed(range(GROUPS * CARRYING)):
        yield number >> (BITS * at) & 31


def _check(number: int, carrying: Sequence[int]) -> int:
    """Each character times another power of x, so that no two errors as above cancel out."""
    made = number
    for one in carrying:
        made = (made ^ one) << 1
        if made & 32:
            made ^= REDUCED_BY
    return made
