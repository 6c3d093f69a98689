"""Writing the log."""

from collections.abc import Mapping
from datetime import datetime
from time import monotonic
from typing import Any, Generic, TypeVar
from uuid import UUID

import msgspec
from django.db import transaction

from scalewitness.domain.moments import rfc3339, to_the_microsecond
from scalewitness.domain.translog.leaf import Stamp, leaf_bytes, signable_bytes
from scalewitness.domain.translog.tree import Frontier, leaf_hash
from scalewitness.ledger.models import Entry, Head, Text
from scalewitness.ledger.queries.prepared import Prepared, PreparedQuery, asked, columns, executed
from scalewitness.ledger.services.fencing import refuse_if_closed
from scalewitness.ledger.services.inserting import insert_values
from scalewitness.ledger.services.tiling import lay_tiles
from scalewitness.monitoring.measures import LOCK_WAIT

B = TypeVar("B", covariant=True)

COLUMNS = (
    "position",  # from `Writer.flush`
    "fact",
    "kind",
    "by",
    "device",
    "about",
    "claimed_at",
    "received_at",
    "flags",
    "leaf",
    "leaf_hash",
)
"""Of an entry, the others in the order that `Writer.add` gives them."""
RECEIVED, FLAGS, LEAF = (COLUMNS.index(one) - 1 for one in ("received_at", "flags", "leaf"))
"""Where they stand in what `Writer.add` gives."""


class Draft(msgspec.Struct, frozen=True):
    """A fact about to enter the log."""

    id: UUID
    kind: str
    by: UUID | None
    device: UUID | None
    at: datetime
    about: UUID | None
    body: Mapping[str, Any]
    flags: tuple[str, ...] = ()
    sig: str | None = None
    encoded: tuple[datetime, bytes] | None = None

    def leaf(self, received_at: datetime) -> bytes:
        """The canonical bytes that the log hashes."""
        if self.encoded is not None and self.encoded[0] == received_at:
            return self.encoded[1]
        stamp = Stamp(to_the_microsecond(received_at), self.flags)
        return leaf_bytes(**self._stated(), sig=self.sig, stamp=stamp)

    def with_leaf(self, received_at: datetime) -> "Draft":
        """The same, its bytes made once and for all: ahead of the log's lock."""
        return msgspec.structs.replace(self, encoded=(received_at, self.leaf(received_at)))

    def signable(self) -> bytes:
        """The canonical bytes that a device signs."""
        return signable_bytes(**self._stated())

    def _stated(self) -> dict[str, Any]:
        return {
            "kind": self.kind,
            "id": self.id,
            "by": self.by,
            "device": self.device,
            "at": rfc3339(self.at),
            "about": self.about,
            "body": self.body,
        }


class Logged(msgspec.Struct, Generic[B], frozen=True):
    """A fact with its position, as the apps' services receive it. ``B``: its body type."""

    id: UUID
    position: int
    by: UUID | None
    at: datetime
    received_at: datetime
    about: UUID
    body: B

    @property
    def sender(self) -> UUID:
        """Who stated it; what the record itself states has no sender."""
        if self.by is None:
            raise ValueError("a fact that the record itself stated")
        return self.by


class Writer:
    """Gives out positions under the head's row lock and writes all entries at once.

    Make one inside a transaction, after everything slow is done: whoever holds it is the
    only writer until commit. That one lock is what makes order, permission checks and
    standings consistent without any other. Raises `Fenced` while the log is closed.
    """

    def __init__(self) -> None:
        self._head, self._since = take_turn(), monotonic()
        self._stored = self._head.size
        self._rows: list[tuple[Any, ...]] = []
        self._hashes: list[bytes] = []

    @property
    def held(self) -> float:
        """Seconds since the log was locked."""
        return monotonic() - self._since

    def add(self, draft: Draft, received_at: datetime) -> int:
        """Take the next position for a fact; nothing is stored before ``flush``."""
        position = self.size
        leaf = draft.leaf(received_at)
        self._hashes.append(leaf_hash(leaf))
        self._rows.append(
            (
                draft.id,
                draft.kind,
                draft.by,
                draft.device,
                draft.about,
                draft.at,
                received_at,
                list(draft.flags),
                leaf,
                self._hashes[-1],
            )
        )
        return position

    def stamp_at(self, position: int) -> Stamp:
        """What the record put on the pending fact at this position."""
        row = self._rows[position - self._stored]
        return Stamp(to_the_microsecond(row[RECEIVED]), tuple(row[FLAGS]))

    def leaf_at(self, position: int) -> bytes:
        """The bytes of the pending fact at this position."""
        leaf: bytes = self._rows[position - self._stored][LEAF]
        return leaf

    @property
    def size(self) -> int:
        """The log's size with what is pending: no position at or above it exists yet."""
        return self._stored + len(self._rows)

    def speaks_of(self, thing: UUID) -> bool:
        """Whether a pending fact is, or is about, this id."""
        return any(thing in (row[0], row[4]) for row in self._rows)

    def kinds_about(self, thing: UUID) -> set[str]:
        """Kinds of the pending facts about this id."""
        return {row[1] for row in self._rows if row[4] == thing}

    def flush(self) -> int:
        """Store the entries and move the head; the new size."""
        if self._rows:
            frontier = Frontier.from_bytes(bytes(self._head.frontier)).append(self._hashes)
            numbered = enumerate(self._rows, self._stored)
            insert_values(Entry, COLUMNS, [(position, *row) for position, row in numbered])
            lay_tiles(self._stored, self._hashes)
            self._head.size, self._head.frontier = frontier.size, frontier.to_bytes()
            executed(MOVE, (frontier.size, self._head.frontier, frontier.root()))
            self._stored = frontier.size
            self._rows.clear()
            self._hashes.clear()
        return self._stored


def take_turn() -> Head:
    """Hold the log's lock to commit: for the log, and for what is numbered beside it (edits of
    records), so that a reader of the feed who saw one number has seen every smaller one.

    Raises:
        Fenced: the log is closed.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("a turn ends with its transaction")
    with LOCK_WAIT.time():
        asked(*IN_LINE)
        (head,) = LOCKED.rows_of(Head)
    refuse_if_closed(head.size)
    return head


IN_LINE = PreparedQuery("SELECT 1 FROM pg_advisory_xact_lock(%s)", [0x5CA1E])
"""Waits in line for the log. PostgreSQL gives a lock of this sort to whoever has waited longest;
that of a row it may give to somebody who comes along just as it is let go of, such as one who
had it a moment ago and sends without end."""
MOVE = "UPDATE ledger_head SET size = %s, frontier = %s, root = %s WHERE id = 1"
LOCKED = Prepared(lambda: Head.objects.select_for_update().filter(pk=1).values_list(*columns(Head)))


def erase_text(fact: UUID) -> int:
    """Delete the free text of a fact, as the law may ask. Its commitment stays in the
    log, so every proof still holds. Returns how many texts there were."""
    deleted, _ = Text.objects.filter(fact=fact).delete()
    return deleted
