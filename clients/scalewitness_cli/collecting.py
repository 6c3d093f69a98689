"""How often Python looks for garbage while much is read that stays."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager

EVERY = 50_000
"""New values between two looks. With Python's 700 a sixth of the time in which records are held to
their proofs went into looking at what stays."""


@contextmanager
def seldom_collected() -> Iterator[None]:
    before = gc.get_threshold()
    gc.set_threshold(EVERY, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)
