"""Passwords are hashed slowly on purpose. So only a few are at a time, and whoever sends more, to
keep the processors busy, is told to come again."""

from collections.abc import Iterator
from contextlib import contextmanager
from threading import BoundedSemaphore
from typing import Any, Final

from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher, PBKDF2PasswordHasher

from scalewitness.domain.errors import Busy

TIMEOUT: Final = 2.0
"""Seconds to wait for a place: some twenty sign-ins long (our judgement)."""

places = BoundedSemaphore(settings.HASHES_AT_ONCE)


@contextmanager
def a_place(timeout: float | None = None) -> Iterator[None]:
    """One of the few.

    Raises:
        Busy: none came free.
    """
    if not places.acquire(timeout=TIMEOUT if timeout is None else timeout):
        raise Busy()
    try:
        yield
    finally:
        places.release()


class FewArgon2(Argon2PasswordHasher):
    """Argon2id with 19 MiB, two passes and one lane, the least that OWASP's password storage
    cheat sheet (2024) recommends; Django's own 100 MiB would be a way to use up the memory."""

    memory_cost = 19 * 1024
    time_cost = 2
    parallelism = 1

    def encode(self, password: str, salt: str) -> str:
        with a_place():
            return super().encode(password, salt)

    def verify(self, password: str, encoded: str) -> bool:
        with a_place():
            return super().verify(password, encoded)


class FewPBKDF2(PBKDF2PasswordHasher):
    """Of passwords set before Argon2 was used; signing in hashes them anew. It verifies by
    encoding."""

    def encode(self, password: str, salt: str, iterations: Any = None) -> str:
        with a_place():
            return super().encode(password, salt, iterations)
