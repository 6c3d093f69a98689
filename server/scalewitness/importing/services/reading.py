"""A stranger's file is read in a process of its own, with little memory and time: what it does to
its reader, it does to that process alone."""

import os
import subprocess
import sys
from threading import BoundedSemaphore
from typing import Final

import msgspec
from django.db import connection

from scalewitness.domain.errors import Busy
from scalewitness.domain.tables.sheets import ListFile, Unreadable
from scalewitness.importing.services import apart

AT_ONCE: Final = 2
"""Files of one web process; a usual one takes some tenths of a second."""
TIMEOUT: Final = 10.0
"""Seconds that anyone waits for a place."""
TOO_MUCH: Final = "The file is too large or too intricate to be read here. Save the sheet as CSV."

_PLACES: Final = BoundedSemaphore(AT_ONCE)


def read_apart(content: bytes) -> ListFile:
    """As :func:`read_table`, in another process.

    Raises:
        Unreadable: it is no table, or too much for its reader.
        Busy: too many are being read.
    """
    if not connection.in_atomic_block:
        connection.close()  # back to the pool: nothing is asked meanwhile
    if not _PLACES.acquire(timeout=TIMEOUT):
        raise Busy()
    try:
        return _read(content)
    finally:
        _PLACES.release()


def _read(content: bytes) -> ListFile:
    paths = {"PYTHONPATH": os.pathsep.join(filter(None, sys.path)), "PATH": os.defpath}
    command = [sys.executable, "-c", f"from {apart.__name__} import main; main()"]
    try:
        done = subprocess.run(  # noqa: S603  nothing of it is anybody's input
            command,
            input=content,
            capture_output=True,
            timeout=apart.MOST_SECONDS,
            env=paths,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise Unreadable(TOO_MUCH) from None
    if done.returncode == apart.UNREADABLE:
        raise Unreadable(done.stdout.decode())
    if done.returncode:
        raise Unreadable(TOO_MUCH)
    return msgspec.json.decode(done.stdout, type=ListFile)
