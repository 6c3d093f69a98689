"""The latest signed checkpoint, kept outside the database; and who signs, one at a time.

A database can be restored to an earlier day, and then remembers nothing of what was signed
since. The memory does. It is written before a checkpoint is given out, by whoever holds it alone:
a file for the processes of one host, etcd for those of several.
"""

import os
import ssl
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from functools import lru_cache
from pathlib import Path
from typing import Protocol

from django.conf import settings

from scalewitness.domain.errors import LogContradicted
from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint
from scalewitness.domain.translog.keys import VerifierKey, read_signer, read_verifier
from scalewitness.domain.translog.notes import BadNote, open_checkpoint
from scalewitness.ledger.queries.origins import is_closed
from scalewitness.ledger.queries.tree import Tip, continues
from scalewitness.ledger.services.memory_etcd import SCHEMES, EtcdStore
from scalewitness.ledger.services.memory_file import FileStore


class HeldStore(Protocol):
    """A store that nobody else may write."""

    def replace(self, note: str, aside: str | None) -> None:
        """Write another text; ``aside``: how the name ends under which the old one is kept."""


class Store(Protocol):
    """Where `LOG_MEMORY` is."""

    def read(self, seconds_old: float = 0.0) -> bytes | None:
        """What it holds, or did so many seconds ago."""

    def alone(self) -> AbstractContextManager[HeldStore]:
        """Nobody else writes it within the block; raises Busy where somebody else does."""


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


def remembered(seconds_old: float = 0.0) -> Tip | None:
    """The largest tree known to have been signed; None where no memory is kept, or not yet under
    this name: what was signed under one that was closed speaks against nothing any more.
    ``seconds_old``: how old an answer will do, of a memory that is another host's.

    Raises:
        Unreliable: what it holds is not to be relied on.
        OSError, Busy: it cannot be read.
    """
    store = _store()
    note = store.read(seconds_old) if store else None
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
    """The note that is kept, of whatever log; None where there is none."""
    store = _store()
    note = store.read() if store else None
    return None if note is None else note.decode()


class SoleSigner:
    """Whoever may sign, alone. Where no memory is kept it has nothing to do: the row of what was
    signed last is locked all the same."""

    def __init__(self, hold: HeldStore | None) -> None:
        self._hold = hold

    def require(self, head: Tip) -> Tip | None:
        """See that ``head`` continues what is remembered, which is answered.

        Raises:
            LogContradicted: it does not, and nothing may be signed.
            OSError, Busy: the memory cannot be read.
        """
        try:
            last = remembered() if self._hold else None
        except Unreliable as fault:
            raise LogContradicted(str(fault)) from None
        if last is not None and not continues(last, head):
            raise LogContradicted()
        return last

    def remember(self, note: str, head: Tip) -> None:
        """Keep a checkpoint over ``head``, durably.

        Raises:
            LogContradicted: ``head`` does not continue what is remembered; nothing was written
                and nothing may be given out.
            OSError, Busy: it cannot be written, or another may sign by now.
        """
        if self._hold is None:
            return
        last = self.require(head)
        other = last is None and remembered_as_it_stands() is not None
        self._hold.replace(note, f"closed-{head.size}" if other else None)  # kept, as evidence


@contextmanager
def only_signer() -> Iterator[SoleSigner]:
    """Within the block no other process signs.

    Raises:
        Busy: another one does.
        OSError: the memory cannot be used.
    """
    store = _store()
    if store is None:
        yield SoleSigner(None)
        return
    with store.alone() as hold:
        yield SoleSigner(hold)


def remember(note: str, head: Tip) -> None:
    """As :meth:`SoleSigner.remember`, for what was signed before."""
    with only_signer() as signer:
        signer.remember(note, head)


def remember_ahead(note: str, tree: Tip) -> None:
    """Keep a checkpoint that the log has not come to, or not any more: a copy that lacks it was
    refused, and so will any other be, whatever this database forgets. What is known of a
    tree as large stays.

    Raises:
        OSError, Busy: it cannot be written.
    """
    store = _store()
    if store is None:
        return
    with store.alone() as hold, suppress(Unreliable):
        last = remembered()
        if last is None or last.size < tree.size:
            hold.replace(note, None)


def _store() -> Store | None:
    where = settings.LOG_MEMORY
    if not where:
        return None
    if where.partition("://")[0] in SCHEMES:
        return _etcd(where, os.getpid())  # its connections are this process's own
    return FileStore(Path(where))


@lru_cache(maxsize=4)
def _etcd(url: str, process: int) -> EtcdStore:
    trusts = ssl.create_default_context(cafile=settings.LOG_MEMORY_CA or None)
    if settings.LOG_MEMORY_CERTIFICATE:
        trusts.load_cert_chain(settings.LOG_MEMORY_CERTIFICATE, settings.LOG_MEMORY_KEY or None)
    return EtcdStore(url, trusts)
