"""One process at a time, and files that are there whole or not at all."""

import os
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from typing import IO

if sys.platform == "win32":
    import msvcrt

    def _lock(file: IO[bytes]) -> None:
        msvcrt.locking(file.fileno(), msvcrt.LK_LOCK, 1)
else:
    import fcntl

    def _lock(file: IO[bytes]) -> None:
        fcntl.flock(file, fcntl.LOCK_EX)


@contextmanager
def locked(
    path: Path,
    waiting: AbstractContextManager[object] = nullcontext(),  # noqa: B008  holds nothing
) -> Iterator[None]:
    """Wait until no other process holds the lock, within ``waiting``; a process that dies lets
    go of it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("ab") as file:
        with waiting:
            _lock(file)
        yield


def write_whole(path: Path, content: str | bytes, mode: int = 0o644) -> None:
    """Replace a file so that after any crash the old or the new content is there, and that the
    new one is on the disk when this returns."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.new")
    beside.unlink(missing_ok=True)
    with open(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:  # noqa: PTH123  a mode from the start
        file.write(content.encode() if isinstance(content, str) else content)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk."""
    if sys.platform != "win32":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
