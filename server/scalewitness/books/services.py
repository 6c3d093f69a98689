"""Writing lines, closing the books over them, and forgetting what lines were about."""

import os
from collections.abc import Iterable, Sequence
from datetime import datetime
from itertools import islice
from typing import Any

from django.db import connection, transaction

from scalewitness.books.models import BookClosing, BookLine, BookSalt
from scalewitness.books.queries import BOOKS, THROUGH, Book, closed_in, last_closing, lines_from
from scalewitness.domain.translog.books import SALT_BYTES, Closed, chained, line_commitment


def write_lines() -> dict[str, Closed] | None:
    """Give every row that has none its line; the books as they then are. None, with nothing
    written, where nothing is new but what needs no closing.

    One at a time, and not under the log's lock: the first closing of a large record takes long.
    Lines that a closing did not come to are taken up by the next.
    """
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ONE_AT_A_TIME])
        closed = closed_in(last_closing())
        if not any(_has_news(one, closed) for one in BOOKS if not one.quiet):
            return None
        return closed | {one.name: _written(one, closed.get(one.name, Closed())) for one in BOOKS}


ONE_AT_A_TIME = 0xB00C


def _has_news(book: Book, closed: dict[str, Closed]) -> bool:
    lines = closed.get(book.name, Closed()).lines
    pending = BookLine.objects.filter(book=book.name, nth__gte=lines)
    return pending.exists() or bool(book.new_keys()[:1])


def _written(book: Book, closed: Closed) -> Closed:
    chain, nth = bytes.fromhex(closed.chain), closed.lines
    for lines in lines_from(book.name, nth):  # an earlier closing did not come to them
        chain, nth = _over(chain, lines), nth + len(lines)
    keys = book.new_keys().iterator(chunk_size=THROUGH)
    while some := set(islice(keys, THROUGH)):
        rows = book.rows({thing for thing, _ in some})
        new = [one for one in rows if (one["book_thing"], one["book_state"]) in some]
        lines = _store(book, new, nth)
        chain, nth = _over(chain, lines), nth + len(lines)
    return Closed(nth, chain.hex())


def _over(chain: bytes, lines: Iterable[BookLine]) -> bytes:
    for one in lines:
        chain = chained(chain, one.thing, one.state, bytes(one.commitment))
    return chain


def _store(book: Book, rows: Sequence[dict[str, Any]], first: int) -> list[BookLine]:
    salts = [os.urandom(SALT_BYTES) for _ in rows]
    lines = BookLine.objects.bulk_create(
        BookLine(
            book=book.name,
            nth=nth,
            thing=row["book_thing"],
            state=row["book_state"],
            commitment=line_commitment(salt, book.says(row)),
        )
        for nth, (row, salt) in enumerate(zip(rows, salts, strict=True), first)
    )
    if book.changes:  # what it said before is known no more, and nobody is to try out guesses
        things = [one.thing for one in lines]
        _salts(book.name, things).filter(line__nth__lt=first).delete()
    BookSalt.objects.bulk_create(
        BookSalt(line=line, salt=salt) for line, salt in zip(lines, salts, strict=True)
    )
    return lines


def store_closing(position: int, books: dict[str, Closed], at: datetime) -> BookClosing:
    members = {name: {"lines": one.lines, "chain": one.chain} for name, one in books.items()}
    return BookClosing.objects.create(position=position, at=at, books=members)


def forget_lines(book: str, things: Iterable[object]) -> None:
    """What rows said is to be known no more: whoever has their lines' salts could try guesses."""
    _salts(book, [str(one) for one in things]).delete()


def _salts(book: str, things: Sequence[str]) -> Any:
    return BookSalt.objects.filter(line__book=book, line__thing__in=things)
