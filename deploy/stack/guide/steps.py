"""The steps of a trial: each is printed with its seconds, and the first that fails ends it."""

import time
from collections.abc import Iterator
from contextlib import contextmanager


class NotDone(Exception):
    """A step did not end as it should."""


class Steps:
    """How long each took."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        print(f"{name} …", end=" ", flush=True)
        began = time.monotonic()
        yield
        self.seconds[name] = time.monotonic() - began
        print(f"{self.seconds[name]:.0f} s", flush=True)


def require(holds: bool, otherwise: str) -> None:
    """Raises `NotDone`."""
    if not holds:
        raise NotDone(otherwise)
