"""What an earlier check has been over: its entries hashed again, and its rows held to digests.

PostgreSQL does the hashing, so that this takes a small part of what reading the entries takes.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice

import msgspec
from django.db import connection

from scalewitness.domain.translog.sealing import KIND as LATE_CALL
from scalewitness.fsck.reading import facts_in
from scalewitness.fsck.report import Difference
from scalewitness.fsck.seals import check_seals
from scalewitness.fsck.stretches import Looked
from scalewitness.fsck.tables import TABLES
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.prepared import asked
from scalewitness.ledger.queries.snapshot import snapshot

SHARE = 65_536
"""Positions whose rows one digest is over."""


def pass_over(place: tuple[int, int]) -> Looked:
    """Of the entries at [start, end) their hashes alone, made from the leaves."""
    start, end = place
    with snapshot():
        rows = asked(HASHES, place)
    here = [position for position, _, _ in rows]
    missing = next((at for at, one in enumerate(here, start) if at != one), None)
    if missing is None and len(here) < end - start:
        missing = start + len(here)
    what = "the leaf does not have the hash stored beside it"
    return Looked(
        start=start,
        end=end,
        hashes=[hash for at, (one, hash, _) in enumerate(rows, start) if at == one],
        missing=missing,
        faults=[Difference("ledger_entry", one, what) for one, _, fits in rows if not fits],
        stamped=None,
        unstamped=[],
        signatures=[],
        found=[],
    )


HASHES = r"""
SELECT position, sha256('\x00'::bytea || leaf), sha256('\x00'::bytea || leaf) = leaf_hash
FROM ledger_entry WHERE position >= %s AND position < %s ORDER BY position
"""


def check_older_seals(size: int) -> Iterator[Difference]:
    """Late calls of the first ``size`` entries: they wait in rows of which no digest tells."""
    sealed = Entry.objects.filter(kind=LATE_CALL, position__lt=size).order_by("position")
    entries = sealed.iterator(chunk_size=AT_ONCE)
    while some := list(islice(entries, AT_ONCE)):
        yield from check_seals(facts_in(some))


AT_ONCE = 500


class RowsShare(msgspec.Struct, frozen=True):
    """Rows of a table that was never to change, at the positions [start, end)."""

    store: str
    columns: tuple[str, ...]
    start: int
    end: int


class Digests(msgspec.Struct):
    """Of each table by its columns: the SHA-256 over the rows of each share of a log of ``size``
    entries, in hexadecimal; ``span``: how many positions a share has."""

    size: int = 0
    span: int = SHARE
    tables: dict[str, tuple[tuple[str, ...], list[str]]] = {}

    def shares(self) -> Iterator[tuple[RowsShare, str]]:
        for store, (columns, digests) in self.tables.items():
            yield from zip(_shares(store, columns, self.size, self.span), digests, strict=True)


def shares(size: int) -> list[RowsShare]:
    """All that a log of that many entries left in tables whose rows are found by a position."""
    tables = {table.store: table.columns for table in TABLES if table.placed}
    tables |= {"ledger_entry": [c.attname for c in Entry._meta.concrete_fields]}
    tables["ledger_entry"].remove("leaf")  # hashed by itself
    return [one for store, names in tables.items() for one in _shares(store, names, size, SHARE)]


def _shares(store: str, columns: Iterable[str], size: int, span: int) -> list[RowsShare]:
    starts = range(0, size, span)
    return [RowsShare(store, tuple(columns), at, min(at + span, size)) for at in starts]


def digest(share: RowsShare) -> str:
    """Over the rows as PostgreSQL writes them, in an order of their own."""
    names = ", ".join(f'"{one}"' for one in share.columns)
    statement = (
        f"SELECT encode(sha256(coalesce(string_agg(row, '' ORDER BY row), '')), 'hex') FROM ("  # noqa: S608
        f"SELECT sha256(convert_to(ROW({names})::text, 'UTF8')) AS row "
        f'FROM "{share.store}" WHERE position >= %s AND position < %s) AS rows'
    )
    with snapshot(), connection.cursor() as cursor:
        cursor.execute(statement, [share.start, share.end])
        return str(cursor.fetchone()[0])


def digested(share: RowsShare) -> tuple[RowsShare, str]:
    return share, digest(share)


def digests_of(size: int, made: Sequence[tuple[RowsShare, str]]) -> Digests:
    found = Digests(size, SHARE, {})
    for share, one in made:
        found.tables.setdefault(share.store, (share.columns, []))[1].append(one)
    return found


def altered(share: RowsShare) -> Difference:
    what = f"rows of positions {share.start} to {share.end - 1} are not those that were checked"
    return Difference(share.store, share.start, what)
