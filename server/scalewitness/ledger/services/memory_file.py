"""The memory in a file: for one host, whose processes share it under a lock."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from time import monotonic, sleep
from typing import IO, Final

from scalewitness.domain.errors import Busy

TIMEOUT: Final = 2.0
"""Seconds to wait for a file that is held for a moment at a time (our judgement)."""
A_MOMENT: Final = 0.02
"""Seconds."""


class FileStore:
    """The text in a file; a lock file beside it, since the file itself is replaced."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def read(self, seconds_old: float = 0.0) -> bytes | None:
        """What the file holds, always as of now; None where there is none.

        Raises:
            OSError: it cannot be read.
        """
        try:
            return self._path.read_bytes()
        except FileNotFoundError:
            return None

    @contextmanager
    def alone(self) -> Iterator["FileStore"]:
        """One process of this host at a time.

        Raises:
            Busy: another process keeps it, one that was stopped perhaps.
        """
        with self._path.with_name(f"{self._path.name}.lock").open("w") as lock:
            until = monotonic() + TIMEOUT
            while not _locked(lock):
                if monotonic() > until:
                    raise Busy()
                sleep(A_MOMENT)
            yield self

    def replace(self, note: str, aside: str | None) -> None:
        """The new text or the old one, whenever the power fails. The old one is kept under the
        name that ends with ``aside``, if it has one."""
        if aside is not None:
            self._path.replace(self._path.with_name(f"{self._path.name}.{aside}"))
        fresh = self._path.with_name(f"{self._path.name}.new")
        with fresh.open("w") as file:
            file.write(note)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self._path)
        folder = os.open(self._path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _locked(lock: IO[str]) -> bool:
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
