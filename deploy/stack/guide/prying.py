"""Looks over the operator's shoulder, as any other account of a host can: into command lines."""

from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from threading import Event, Thread

PAUSE = 0.05
"""Seconds between two looks."""


class Prying:
    """``seen``: the secrets that stood in a command line while somebody looked."""

    def __init__(self, secrets: Sequence[str]) -> None:
        self.secrets = [secret.encode() for secret in secrets]
        self.seen: set[str] = set()
        self._ended = Event()

    def start(self) -> None:
        Thread(target=self._go_on, daemon=True).start()

    def stop(self) -> None:
        self._ended.set()

    def _go_on(self) -> None:
        while not self._ended.wait(PAUSE):
            for process in Path("/proc").glob("[0-9]*/cmdline"):
                with suppress(OSError):
                    self._look(process.read_bytes())

    def _look(self, line: bytes) -> None:
        self.seen |= {one.decode() for one in self.secrets if one in line}
