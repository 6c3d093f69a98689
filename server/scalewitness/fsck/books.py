"""What lies outside the log against the lines of its books, and these against the log."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from typing import Any, Final, NamedTuple
from uuid import UUID

import msgspec
from django.db.models import Exists, Max, Model, OuterRef
from django.db.models.fields.json import KeyTransform

from scalewitness.animals.models import Animal, Collection
from scalewitness.books.models import BookClosing, BookLine
from scalewitness.books.queries import BOOKS, THROUGH, Book, closed_in
from scalewitness.domain.erasure import ERASED_NAME
from scalewitness.domain.translog.books import (
    EMPTY,
    Closed,
    chained,
    line_commitment,
    root_of_books,
)
from scalewitness.fsck.crew import Crew
from scalewitness.fsck.erasures import Erasures
from scalewitness.fsck.report import Difference
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.ledger.queries.snapshot import snapshot
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper

LINES: Final = BookLine._meta.db_table
CLOSINGS: Final = BookClosing._meta.db_table


class BookPiece(NamedTuple):
    """Of a book, its chain, or the rows that some of its lines are about."""

    book: str
    lines: tuple[int, int] | None = None


def check_books(crew: Crew) -> Iterator[Difference]:
    """All books, piece by piece."""
    yield from check_closings()
    for found in crew.each(check_piece, _pieces()):
        yield from found
    yield from check_records()
    yield from check_letters()


def _pieces() -> Iterator[BookPiece]:
    for book in BOOKS:
        yield BookPiece(book.name)
        last = BookLine.objects.filter(book=book.name).aggregate(nth=Max("nth"))["nth"]
        for first in range(0, 0 if last is None else last + 1, THROUGH):
            yield BookPiece(book.name, (first, first + THROUGH))


def check_piece(piece: BookPiece) -> list[Difference]:
    """In a snapshot of its own: a row and its line are told of together."""
    (book,) = (one for one in BOOKS if one.name == piece.book)
    with snapshot():
        if piece.lines is None:
            return list(_check_chain(book))
        first, end = piece.lines
        lines = BookLine.objects.filter(book=book.name, nth__gte=first, nth__lt=end)
        return list(_rows(book, list(lines.select_related("secret").order_by("nth"))))


def check_closings() -> Iterator[Difference]:
    """Each closing opens the root that its fact states, and each such fact has its closing."""
    closed = Entry.objects.filter(kind="books_closed").order_by("position")
    entries = closed.iterator(chunk_size=AT_ONCE)
    while some := {entry.position: entry for entry in islice(entries, AT_ONCE)}:
        rows = BookClosing.objects.in_bulk(list(some))
        for position, entry in some.items():
            if position not in rows:
                yield Difference(CLOSINGS, position, "the entry has no row")
            elif not _opens(rows[position], entry):
                what = "what the books came to is not what the entry commits to"
                yield Difference(CLOSINGS, position, what)
    stated = Entry.objects.filter(kind="books_closed", position=OuterRef("position"))
    strays = BookClosing.objects.filter(~Exists(stated)).order_by("position")
    for position in strays.values_list("position", flat=True).iterator():
        yield Difference(CLOSINGS, position, "a row that no entry calls for")


AT_ONCE = 500


def _opens(row: BookClosing, entry: Entry) -> bool:
    try:
        root: object = leaf_of(entry).body.get("root")
        return root_of_books(closed_in(row)) == root
    except (ValueError, msgspec.ValidationError):
        return False


def _check_chain(book: Book) -> Iterator[Difference]:
    """Its lines in order against each closing."""
    chain, nth, ahead = EMPTY, 0, _ends(book)
    position, end = next(ahead, (None, Closed()))
    lines = BookLine.objects.filter(book=book.name).order_by("nth")
    columns = ("nth", "thing", "state", "commitment")
    for place, thing, state, commitment in lines.values_list(*columns).iterator():
        while position is not None and end.lines == nth:
            yield from _chain(book, position, end, chain)
            position, end = next(ahead, (None, Closed()))
        if place != nth:
            break
        chain = chained(chain, thing, state, bytes(commitment))
        nth += 1
    while position is not None and end.lines == nth:
        yield from _chain(book, position, end, chain)
        position, end = next(ahead, (None, Closed()))
    if position is not None:
        what = f"{book.name}: it had {end.lines} lines, and line {nth} is missing"
        yield Difference(LINES, position, what)


def _ends(book: Book) -> Iterator[tuple[int | None, Closed]]:
    """Of each closing its position, and what the book came to."""
    closings = BookClosing.objects.annotate(ours=KeyTransform(book.name, "books"))
    rows = closings.order_by("position").values_list("position", "ours")
    for position, ours in rows.iterator():
        yield position, msgspec.convert(ours, Closed) if ours else Closed()


def _chain(book: Book, position: int, end: Closed, chain: bytes) -> Iterator[Difference]:
    if chain.hex() != end.chain:
        what = f"{book.name}: its first {end.lines} lines are not those that were closed"
        yield Difference(LINES, position, what)


def _rows(book: Book, lines: Sequence[BookLine]) -> Iterator[Difference]:
    rows: dict[str, dict[str, Mapping[str, Any]]] = {}
    for row in book.rows({one.thing for one in lines}):
        rows.setdefault(row["book_thing"], {})[row["book_state"]] = row
    faults = {one: _fault(book, one, rows.get(one.thing, {})) for one in lines}
    gone = [one for one, fault in faults.items() if fault in MAY_BE_ERASED and book.erasable]
    erasures = Erasures({UUID(one.thing) for one in gone})
    for line, fault in faults.items():
        if line in gone and erasures.tell_of(UUID(line.thing), book.erasable):
            continue
        if fault:
            yield Difference(book.store, None, f"row {line.thing}: {fault}")


GONE: Final = "it was closed, and is gone, and nobody had it erased"
HIDDEN: Final = "what it is held to in the books is gone, and nobody had it erased"
SHOWN: Final = "what it is held to in the books is gone, as if it were erased, and it is not"
MAY_BE_ERASED: Final = (GONE, HIDDEN)


def _fault(book: Book, line: BookLine, states: Mapping[str, Mapping[str, Any]]) -> str | None:
    """What is wrong with the row that a line is about, given its states that are there now."""
    row, secret = states.get(line.state), getattr(line, "secret", None)
    if row is None:
        return None if _went_on(book, line, states) else GONE
    if secret is None:
        return HIDDEN if row.get("name") == ERASED_NAME else SHOWN
    if line_commitment(bytes(secret.salt), book.says(row)) != bytes(line.commitment):
        return f"it is not what was closed: {', '.join(book.columns)}"
    return None


def _went_on(book: Book, line: BookLine, states: Iterable[str]) -> bool:
    """Whether the row is in a later state by now."""
    return book.changes and any(int(one) > int(line.state) for one in states)


def check_records() -> Iterator[Difference]:
    """Records that people edit are as their last edit left them."""
    shared = {
        Animal: ("collection_id", "name", "rack", "description", "hold_off", "version"),
        Collection: ("keeper_id", "name", "version"),
        Keeper: ("is_active", "version"),
    }
    for model, columns in shared.items():
        for pk in _unlike_history(model, columns):
            what = f"row {pk}: it is not as its last edit left it"
            yield Difference(model._meta.db_table, None, what)


def _unlike_history(model: type[Model], columns: tuple[str, ...]) -> Iterator[Any]:
    past = model.history.model.objects.filter(id=OuterRef("pk"))  # type: ignore[attr-defined]
    same = past.filter(**{name: OuterRef(name) for name in columns})
    later = past.filter(version__gt=OuterRef("version"))
    found = model._base_manager.exclude(Exists(same) & ~Exists(later))
    return found.order_by("pk").values_list("pk", flat=True).iterator()


def check_letters() -> Iterator[Difference]:
    """A letter that is said to have been sent was tried, and at some time."""
    sent = Letter.objects.filter(state__in=(Letter.State.SENT, Letter.State.RETURNED))
    for pk in (sent.filter(sent_at=None) | sent.filter(attempts=0)).values_list("pk", flat=True):
        yield Difference(Letter._meta.db_table, None, f"row {pk}: sent, and never tried")
