"""The folder the demo keeps its data in: one demo at a time, and a way to start over."""

import fcntl
import os
import shutil
from pathlib import Path

from stack import postgres
from stack.supervisor import stop_leftovers

PARTS = ("valkey", "mail", "worker", "logs", "secret_key", "running.json")
"""What a demo makes in its folder, beside the lock, the database and what belongs to the log."""

LOG_PARTS = ("log_key", "log_memory", "log_memory.lock", "log_memory.new")
"""What goes with the database: a key that signed one log never signs another."""


class FolderBusy(Exception):
    """Another demo holds the folder; the text says which."""


class RunFolder:
    """A folder held by this process until it and all it started have ended.

    Raises `FolderBusy`, and `NotADirectoryError` for a folder that holds other things.
    """

    def __init__(self, path: Path) -> None:
        self.path = path.resolve()
        lock = self.path / "demo.lock"
        if self.path.is_dir() and any(self.path.iterdir()) and not lock.exists():
            raise NotADirectoryError(f"{self.path} holds other files, none of this demo's")
        self.path.mkdir(parents=True, exist_ok=True)
        self.lock = os.open(lock, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            fcntl.flock(self.lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise FolderBusy(lock.read_text().strip()) from None
        self.stopped = stop_leftovers(self.path)

    def note(self, text: str) -> None:
        """Leave word of who holds the folder, for `FolderBusy`."""
        os.ftruncate(self.lock, 0)
        os.pwrite(self.lock, text.encode(), 0)

    def close(self) -> None:
        """Let go of the folder before this process ends."""
        os.close(self.lock)

    def clear(self, keep_log: bool = False) -> None:
        """Delete what earlier demos left here, and nothing else; where the log lies elsewhere,
        its key is kept."""
        postgres.remove(self.path / "postgres")
        for part in PARTS if keep_log else PARTS + LOG_PARTS:
            target = self.path / part
            if target.is_dir():
                shutil.rmtree(target)
            else:
                target.unlink(missing_ok=True)
