"""Codes of an authenticator app: six digits that change every half minute (TOTP, RFC 6238).

Time is an argument; whoever takes a code must remember its step, as a code counts once.
"""

from datetime import datetime
from hmac import compare_digest
from typing import Final

from cryptography.hazmat.primitives.hashes import SHA1
from cryptography.hazmat.primitives.twofactor.hotp import HOTP

PERIOD: Final = 30
"""Seconds a code lasts (RFC 6238, 5.2 recommends it; the only length all apps know)."""
DIGITS: Final = 6
DRIFT: Final = 1
"""Steps that a clock may be off, either way (RFC 6238, 5.2: at most one for the network)."""


def code_at(secret: bytes, step: int) -> str:
    """The code of one step, counted from 1970. SHA-1 is what apps and RFC 4226 mean by it."""
    return HOTP(secret, DIGITS, SHA1(), enforce_key_length=False).generate(step).decode()  # noqa: S303


def step_of(secret: bytes, code: str, now: datetime, used: int = -1) -> int | None:
    """The step that ``code`` is of, at ``now``; None when it is of none that may count now.
    Steps up to ``used`` were taken before, or are older than what was."""
    typed = "".join(code.split())
    if not (typed.isascii() and typed.isdigit()):
        return None
    current = int(now.timestamp()) // PERIOD
    for step in range(current - DRIFT, current + DRIFT + 1):
        if step > used and compare_digest(code_at(secret, step), typed):
            return step
    return None
