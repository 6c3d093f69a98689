"""How far something long has come, on one line of a terminal, from two seconds on."""

import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import TypeVar

T = TypeVar("T")
QUIET = 2.0
"""Seconds for which nothing is said: most commands are over by then (our judgement)."""
EVERY = 0.2
"""Seconds between two changes of the line."""


class Progress:
    """``words``: what is counted, by the name it is counted under; other names say only that it
    goes on. Where standard error is no terminal, nothing is written."""

    def __init__(self, words: Mapping[str, str]) -> None:
        self._words = words
        self._counts = Counter[str]()
        self._due = time.monotonic() + QUIET
        self._shown = False

    def count(self, name: str) -> None:
        if name in self._words:
            self._counts[name] += 1
        if self._counts and sys.stderr.isatty() and time.monotonic() >= self._due:
            counts = ", ".join(f"{self._words[one]} {n:,}" for one, n in self._counts.items())
            sys.stderr.write(f"\r\033[K{counts} …")
            sys.stderr.flush()
            self._shown, self._due = True, time.monotonic() + EVERY

    def end(self) -> None:
        """Takes the line away."""
        if self._shown:
            sys.stderr.write("\r\033[K")
            sys.stderr.flush()


@contextmanager
def progress(words: Mapping[str, str]) -> Iterator[Progress]:
    made = Progress(words)
    try:
        yield made
    finally:
        made.end()


def counted(items: Iterable[T], what: str) -> Iterator[T]:
    """The items, told of as they go by."""
    with progress({"item": what}) as shown:
        for one in items:
            shown.count("item")
            yield one
