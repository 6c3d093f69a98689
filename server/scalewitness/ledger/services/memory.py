"""The latest signed checkpoint, kept in a small file outside the database.

A database can be restored to an earlier day, and then remembers nothing of what was signed
since. The file does. It is written before a signature is given out, under a lock that all
processes of one host share; several hosts need it on storage they share, with locks.
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from time import monotonic, sleep
from typing import IO, Final

from django.conf import settings

from scalewitness.domain.errors import Busy, LogContradicted
from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint
from scalewitness.domain.translog.keys import VerifierKey, read_signer, read_verifier
from scalewitness.domain.translog.notes import BadNote, open_checkpoint
from scalewitness.ledger.queries.origins import is_closed
from scalewitness.ledger.queries.tree import Tip, continues

TIMEOUT: Final = 2.0
"""Seconds to wait for a file that is held for a few milliseconds at a time (our judgement);
whoever waits holds a lock of the database."""
A_MOMENT: Final = 0.02
"""Seconds."""


class Unreliable(ValueError):
    """The file holds something other than a checkpoint of this log."""


def log_keys() -> tuple[VerifierKey, ...]:
    """The public keys that this process is told of: that of `LOG_SIGNING_KEY` first, the one that
    is to follow it, and those that the log signed under before."""
    held = filter(None, (settings.LOG_SIGNING_KEY, settings.LOG_NEXT_KEY))
    retired = map(read_verifier, settings.LOG_RETIRED_KEYS)
    return tuple(dict.fromkeys((*(read_signer(one).verifier for one in held), *retired)))


def open_own(note: str | bytes) -> Checkpoint:
    """A checkpoint that this log signed, under its present key or a retired one.

    Raises:
        BadNote, NotACheckpoint: it is not; the words are about the present key.
    """
    present, *retired = log_keys()
    for key in retired:
        with suppress(BadNote):
            return open_checkpoint(note, key)[0]
    return open_checkpoint(note, present)[0]


def remembered() -> Tip | None:
    """The largest tree known to have been signed; None where no file is kept, or not yet under
    this name: what was signed under one that was closed speaks against nothing any more.

    Raises:
        Unreliable: what the file holds is not to be relied on.
        OSError: it cannot be read.
    """
    try:
        note = Path(settings.LOG_MEMORY).read_bytes() if settings.LOG_MEMORY else None
    except FileNotFoundError:
        return None
    if note is None:
        return None
    try:
        kept = open_own(note)
    except (BadNote, NotACheckpoint) as fault:
        raise Unreliable(
            f"{settings.LOG_MEMORY} holds no checkpoint of this log: {fault}"
        ) from None
    if kept.origin == present_origin():
        return Tip(kept.size, kept.root)
    if is_closed(kept.origin):
        return None
    raise Unreliable(f"{settings.LOG_MEMORY} holds a checkpoint of another log, {kept.origin}")


def present_origin() -> str:
    """The name that this process signs under."""
    return read_signer(settings.LOG_SIGNING_KEY).name


def remembered_as_it_stands() -> str | None:
    """The note in the file, of whatever log; None where there is none."""
    try:
        return Path(settings.LOG_MEMORY).read_text() if settings.LOG_MEMORY else None
    except FileNotFoundError:
        return None


def remember(note: str, head: Tip) -> None:
    """Keep a checkpoint over ``head``, durably, unless the file knows of a tree that ``head``
    does not continue. Where no file is configured nothing happens.

    Raises:
        LogContradicted: it does; nothing was written and nothing may be signed.
        Busy: another process keeps the file.
        OSError: the file cannot be written.
    """
    if not settings.LOG_MEMORY:
        return
    path = Path(settings.LOG_MEMORY)
    with _alone(path):
        try:
            last = remembered()
        except Unreliable as fault:
            raise LogContradicted(str(fault)) from None
        if last is not None and not continues(last, head):
            raise LogContradicted()
        if last is None and path.exists():  # of a name that was closed: kept, as evidence
            path.replace(path.with_name(f"{path.name}.closed-{head.size}"))
        _replace(path, note)


def remember_ahead(note: str, tree: Tip) -> None:
    """Keep a checkpoint that the log has not come to, or not any more: a copy that lacks it was
    refused, and so will any other be, whatever this database forgets. What the file knows of a
    tree as large stays.

    Raises:
        OSError: the file cannot be written.
    """
    if not settings.LOG_MEMORY:
        return
    path = Path(settings.LOG_MEMORY)
    with _alone(path), suppress(Unreliable):
        last = remembered()
        if last is None or last.size < tree.size:
            _replace(path, note)


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    """One process of this host at a time. The lock is a file of its own, since the file it
    guards is replaced.

    Raises:
        Busy: another process keeps it, one that was stopped perhaps.
    """
    with path.with_name(f"{path.name}.lock").open("w") as lock:
        until = monotonic() + TIMEOUT
        while not _locked(lock):
            if monotonic() > until:
                raise Busy()
            sleep(A_MOMENT)
        yield


def _locked(lock: IO[str]) -> bool:
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _replace(path: Path, text: str) -> None:
    """The new text or the old one, whenever the power fails."""
    fresh = path.with_name(f"{path.name}.new")
    with fresh.open("w") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
