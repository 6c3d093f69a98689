"""Writing the file of settings: readable by its owner alone, whole or not at all."""

import fcntl
import os
import shutil
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from scalewitness import env_file
from scalewitness.setting_up.refusing import CannotSetUp

OTHERS = stat.S_IROTH | stat.S_IWOTH | stat.S_IWGRP
"""Rights on the file that nobody may have. Its group may read it."""


@contextmanager
def alone(path: Path) -> Iterator[None]:
    """One process at a time sets up what this file is of; its folder is made.

    Raises:
        CannotSetUp: another does, or the folder cannot be used.
    """
    try:
        path.parent.mkdir(mode=0o755, parents=True, exist_ok=True)
        folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    except OSError as fault:
        raise CannotSetUp(f"{path.parent}: {fault.strerror}. Run this as root?") from None
    try:
        _lock(folder)
        yield
    finally:
        os.close(folder)


def _lock(folder: int) -> None:
    try:
        fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise CannotSetUp("Another init is at work in this folder.") from None


def kept(path: Path) -> dict[str, str]:
    """The settings that are in the file already; those left empty are not.

    Raises:
        CannotSetUp: others can read it, or it cannot be taken.
    """
    if not path.exists():
        return {}
    if path.stat().st_mode & OTHERS:
        raise CannotSetUp(
            f"{path} holds the keys, and others than its owner could read or change it. If nobody "
            f"did, close it with: chmod 600 {path}. If somebody may have, see “Changing the log's "
            "key” in OPERATING.md."
        )
    try:
        return {name: value for name, value in env_file.read(path).items() if value}
    except env_file.BadEnvFile as fault:
        raise CannotSetUp(str(fault)) from None


def write(path: Path, text: str, user: str | None = None) -> None:
    """The new text or the old one, whenever the power fails or the disk is full.

    Raises:
        CannotSetUp: it cannot be written; the file is as it was.
    """
    fresh = path.with_name(f"{path.name}.new")
    try:
        fresh.unlink(missing_ok=True)
        with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        _give(fresh, path, user)
        fresh.replace(path)
        folder = os.open(path.parent, os.O_RDONLY)
        os.fsync(folder)
        os.close(folder)
    except (OSError, LookupError) as fault:
        fresh.unlink(missing_ok=True)
        words = fault.strerror if isinstance(fault, OSError) else fault
        raise CannotSetUp(f"{path} cannot be written: {words}.") from None


def _give(fresh: Path, path: Path, user: str | None) -> None:
    """To ``user``, else to whom the file belongs already, with the rights it has."""
    if user is not None:
        shutil.chown(fresh, user)
    elif path.exists():
        known = path.stat()
        os.chown(fresh, known.st_uid, known.st_gid)
        fresh.chmod(stat.S_IMODE(known.st_mode))
